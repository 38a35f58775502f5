"""Levels by frequency and position that a library found once, kept in a file."""

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np


def read_levels(path: Path, header: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (F,) and levels (F, P) of a file with such a header; remarks begin with #."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(line for line in file if not line.startswith("#")))
    assert rows[0] == list(header)
    table = np.array(rows[1:], dtype=float)
    return table[:, 0], table[:, 1:]
