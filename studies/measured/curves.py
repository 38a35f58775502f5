"""One measured curve from a file: sorted, each frequency once, nothing implausible."""

from __future__ import annotations

from array import array
from pathlib import Path

import numpy as np

from studies.measured.dialect import NumberRows
from studies.measured.text_files import MeasurementError

PLAUSIBLE_DB = (-300.0, 200.0)
"""From what a silent bin of a digital file holds to more than any air carries."""
HIGHEST_HZ = 1e6
SURELY_KHZ = 50.0
"""A column with no frequency above this is taken for kHz, and refused."""


def read_curve(path: Path) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """Read a file of two or three columns: Hz, dB and degrees, which are ignored.

    Parameters
    ----------
    path : Path
        In any of the ways of writing that `studies.measured.dialect` accepts. A file at both
        limits (`LARGEST_FILE`, `MOST_ROWS`) takes less than 256 MiB of memory while it is read.

    Returns
    -------
    frequencies, level_db : (N,) array
        Ascending, each frequency once: repeated ones as the mean of their power.
    notes : tuple of str
        Remarks for the user: what was ignored, skipped or merged.

    Raises
    ------
    MeasurementError
        With file, line and remedy.
    """
    rows = NumberRows(path)
    frequencies, levels, silent = array("d"), array("d"), 0
    for number, frequency, level in rows:
        _require_plausible(path, number, frequency, level)
        if frequency == 0.0:
            silent += 1
            continue
        frequencies.append(frequency)
        levels.append(level)
    if not frequencies:
        raise MeasurementError(
            f"{path}: no row of numbers in it: two columns are due, Hz and dB, one row for each"
            " frequency"
        )
    if max(frequencies) <= SURELY_KHZ:
        raise MeasurementError(
            f"{path}: no frequency above {max(frequencies):g} Hz: if the column is in kHz, write Hz"
        )
    f, level_db, repeated = _each_once(np.array(frequencies), np.array(levels))
    notes = list(rows.notes)
    if silent:
        notes.append(f"rows at 0 Hz passed over: {silent}")
    if repeated:
        notes.append(f"frequencies given more than once: {repeated}, the mean of their power taken")
    return f, level_db, tuple(notes)


def power_mean_db(level_db: np.ndarray) -> float:
    """Return the power mean of levels L, dB: 10 lg of the mean of 10^(L/10)."""
    top = float(np.max(level_db))
    return top + 10.0 * float(np.log10(np.mean(10.0 ** ((level_db - top) / 10.0))))


def _require_plausible(path: Path, number: int, frequency: float, level: float) -> None:
    if frequency < 0.0:
        problem = f"{frequency:g} Hz is negative: frequencies are positive"
    elif frequency > HIGHEST_HZ:
        problem = f"{frequency:g} Hz is far above all that is heard: the first column must be Hz"
    elif not PLAUSIBLE_DB[0] <= level <= PLAUSIBLE_DB[1]:
        problem = f"{level:g} dB is beyond any plausible level: the second column must be dB"
    else:
        return
    raise MeasurementError(f"{path}, line {number}: {problem}")


def _each_once(frequencies: np.ndarray, levels: np.ndarray) -> tuple[np.ndarray, np.ndarray, int]:
    """Sort by frequency and merge repeated ones; return both arrays and how many were repeated."""
    order = np.argsort(frequencies, kind="stable")
    f, level_db = frequencies[order], levels[order]
    starts = np.flatnonzero(np.diff(f, prepend=0.0) > 0.0)
    counts = np.diff(np.append(starts, f.size))
    once = level_db[starts]
    for at in np.flatnonzero(counts > 1):
        once[at] = power_mean_db(level_db[starts[at] : starts[at] + counts[at]])
    return f[starts], once, int(np.count_nonzero(counts > 1))
