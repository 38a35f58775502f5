"""A driver's own measured curve: read from a file, looked up in between.

Its response follows exp(-i omega t): a delay turns the phase forward.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import pairwise
from os import PathLike
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.bounded import UnreadableError, bytes_of

LARGEST_CURVE = 4 * 2**20
"""Bytes of a driver's curve; a point every hertz up to 20 kHz takes an eighth of it."""
MOST_ROWS = 50_000
LOUDEST_DB = 300.0  # either way; beyond it is another column, and far beyond it no number at all


class CurveError(ValueError):
    """A curve that cannot be used; the message names file, line and remedy."""


@dataclass(frozen=True)
class DriverCurve:
    """A driver's own curve, on its axis in a large baffle.

    It takes the place of the flat line that constant diaphragm acceleration would give there.

    Parameters
    ----------
    frequencies : tuple of float
        Hz, ascending, at least two.
    levels_db : tuple of float
        dB at these frequencies.
    phases_deg : tuple of float or None
        Degrees as measuring programs write them, for exp(+j omega t): a delay falls. Wrapped
        phase is unwrapped, which needs steps below 180 degrees from point to point. None stands
        for no phase at all: good for one way alone, not for adding ways around a crossover.
    beyond : {"refuse", "hold"}
        What happens outside the curve's frequencies: an error, or the end values.
    zero_db : float
        Level in the curve that stands for 0 dB (see `dispersion.response`).
    """

    frequencies: tuple[float, ...]
    levels_db: tuple[float, ...]
    phases_deg: tuple[float, ...] | None = None
    beyond: Literal["refuse", "hold"] = "refuse"
    zero_db: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be interpolated."""
        f = np.asarray(self.frequencies, dtype=float)
        columns = [f, np.asarray(self.levels_db, dtype=float)]
        if self.phases_deg is not None:
            columns.append(np.asarray(self.phases_deg, dtype=float))
        if f.size < 2 or any(column.shape != f.shape for column in columns):
            raise CurveError("driver curve: give two points or more, each with all its values")
        if not all(np.all(np.isfinite(column)) for column in columns):
            raise CurveError("driver curve: every value must be a finite number")
        if f[0] <= 0.0 or np.any(np.diff(f) <= 0.0):
            raise CurveError("driver curve: frequencies must be above 0 Hz and ascend")
        if self.beyond not in ("refuse", "hold"):
            raise CurveError(f"driver curve: beyond {self.beyond!r} must be refuse or hold")

    def response(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """Complex response for exp(-i omega t), interpolated on the logarithm of the frequency.

        Raises
        ------
        CurveError
            Outside the curve's frequencies, unless `beyond` is "hold".
        """
        f = np.asarray(frequencies, dtype=float)
        first, last = self.frequencies[0], self.frequencies[-1]
        # Room for rounding where a study starts or ends exactly with the curve.
        outside = (f < first * (1.0 - 1e-9)) | (f > last * (1.0 + 1e-9))
        if self.beyond == "refuse" and np.any(outside):
            raise CurveError(
                f"the driver curve reaches from {first:g} to {last:g} Hz and is asked for "
                f"{f[outside].flat[0]:g} Hz: narrow the band, or allow its end values to be held"
            )
        knots, wanted = np.log(self.frequencies), np.log(np.maximum(f, first))
        level = np.interp(wanted, knots, self.levels_db) - self.zero_db
        phase = np.zeros_like(level)
        if self.phases_deg is not None:
            phase = np.interp(wanted, knots, np.unwrap(self.phases_deg, period=360.0))
        return 10.0 ** (level / 20.0) * np.exp(-1j * np.radians(phase))

    def usual_level(self) -> float:
        """Mean level in dB from 500 Hz to 2 kHz, or of the whole curve where it ends before."""
        grid = np.geomspace(500.0, 2000.0, 49)
        if self.frequencies[0] > grid[0] or self.frequencies[-1] < grid[-1]:
            grid = np.geomspace(self.frequencies[0], self.frequencies[-1], 49)
        return float(np.mean(np.interp(np.log(grid), np.log(self.frequencies), self.levels_db)))

    def with_zero(self, zero_db: float) -> DriverCurve:
        """Return the same curve with another level for 0 dB (see `dispersion.response`)."""
        return replace(self, zero_db=zero_db)


def read_driver_curve(
    path: str | PathLike[str], beyond: Literal["refuse", "hold"] = "refuse"
) -> DriverCurve:
    """Read a driver's curve from a text file.

    Parameters
    ----------
    path : path
        A text file with two or three columns: Hz, dB and, where there is one, phase in degrees.
        Columns are parted by spaces, tabs, semicolons or commas; a comma may also be the decimal
        sign where the columns are parted by anything else. Passed over: empty lines, lines that
        start with one of # * ; / % or a quotation mark, headings above the first row of
        numbers, and rows at 0 Hz.
    beyond : {"refuse", "hold"}
        See `DriverCurve`.

    Raises
    ------
    CurveError
        With file and line, if the file cannot be read as such a table.
    """
    file = Path(path)
    rows: list[tuple[int, list[float]]] = []
    for number, line in enumerate(_text_of(file).splitlines(), start=1):
        text = line.strip()
        if not text or text[0] in "#*;/%\"'":
            continue
        row = _numbers_in(text)
        if row is None and not rows:
            continue
        if row is None or len(row) not in (2, 3):
            raise CurveError(
                f"{file}, line {number}: {text[:60]!r} is not a row of two or three numbers "
                "(Hz, dB, degrees): correct it, or put # in front"
            )
        if row[0] != 0.0:
            rows.append((number, row))
        if len(rows) > MOST_ROWS:
            raise CurveError(
                f"{file}, line {number}: more than {MOST_ROWS} rows: export fewer points, 96 an"
                " octave are plenty"
            )
    _require_table(file, rows)
    columns = list(zip(*(row for _, row in rows), strict=True))
    return DriverCurve(columns[0], columns[1], columns[2] if len(columns) == 3 else None, beyond)


def _text_of(file: Path) -> str:
    try:
        raw = bytes_of(file, LARGEST_CURVE)
    except UnreadableError as error:
        raise CurveError(f"{file}: {error}") from error
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _numbers_in(text: str) -> list[float] | None:
    if ";" in text or "\t" in text:
        fields = re.split(r"[;\t]+", text)
    elif re.search(r",\s|^\S+$", text):
        fields = text.split(",")
    else:
        fields = text.split()
    try:
        return [float(field.strip().replace(",", ".")) for field in fields if field.strip()]
    except ValueError:
        return None


def _require_table(file: Path, rows: list[tuple[int, list[float]]]) -> None:
    if len(rows) < 2:
        raise CurveError(f"{file}: fewer than two rows of numbers (Hz, dB, degrees) found")
    for (_, above), (number, row) in pairwise(rows):
        if len(row) != len(above):
            raise CurveError(f"{file}, line {number}: {len(row)} numbers, {len(above)} above it")
        if not row[0] > above[0]:
            raise CurveError(
                f"{file}, line {number}: {row[0]:g} Hz comes after {above[0]:g} Hz: "
                "sort the rows by frequency, each one once"
            )
    for number, row in rows:
        if row[0] < 0.0 or not np.all(np.isfinite(row)):
            raise CurveError(f"{file}, line {number}: needs finite numbers and a frequency above 0")
        if abs(row[1]) > LOUDEST_DB:
            raise CurveError(
                f"{file}, line {number}: {row[1]:g} is no level of a driver in dB: put frequency"
                " first, level second"
            )
