"""The filled-in sheet of `roundcast meter`: one row for each position and band."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from shapes.lengths import LENGTH_UNITS, LengthError, parse_length
from studies.measured.curves import HIGHEST_HZ, PLAUSIBLE_DB
from studies.measured.positions import Position
from studies.measured.text_files import MeasurementError, text_lines

FARTHEST, HIGHEST = 30.0, 20.0
"""Of any position, from the axis and above the floor, m."""
MOST_ROWS = 100_000
MOST_SLIPS = 20
"""Of one sheet that are shown at a time."""

_NUMBER = re.compile(r"[+-]?([0-9]+[.,]?[0-9]*|[.,][0-9]+)([eE][+-]?[0-9]+)?")
_FINGERPRINT = re.compile(r"\b[0-9a-f]{8,64}\b")


@dataclass(frozen=True)
class Reading:
    """One filled-in box: its line, position, band (Hz), reading (dB), and what hung there."""

    line: int
    position: Position
    band_hz: float
    reading_db: float
    hung: str = ""

    @property
    def box(self) -> tuple[str, str]:
        """Name of the position and what hung there: readings of one row of boxes have the same."""
        return self.position.name, self.hung


@dataclass(frozen=True)
class FilledSheet:
    """Readings from a filled-in sheet of `roundcast meter`.

    Attributes
    ----------
    readings : tuple of Reading
        In the order of the file; empty boxes are skipped.
    fingerprints : frozenset of str
        Fingerprints of the design it was made for, from remarks above the header; may be empty.
    """

    readings: tuple[Reading, ...]
    fingerprints: frozenset[str]


HUNG = "hung"
"""A column that a sheet may have besides: what hung over the driver, as `studies.measured.hung`
reads it."""


def header(unit: str) -> tuple[str, ...]:
    """Return the names of the columns of a sheet with lengths in this unit, "mm" or "in"."""
    lengths = (f"distance_{unit}", f"height_{unit}")
    return ("position", *lengths, "azimuth_deg", "band_hz", "predicted_db", "reading_db")


def is_sheet(path: Path) -> bool:
    """Return whether a file is a sheet and no curve, by its header.

    Raises
    ------
    MeasurementError
        If the file cannot be read.
    """
    for _, text in text_lines(path):
        if text and not _is_remark(text):
            return text.strip('"').lower().startswith("position") and "reading_db" in text.lower()
    return False


def read_sheet(path: Path) -> FilledSheet:
    """Read a filled-in sheet, as it was written or as a spreadsheet saved it.

    The header says whether lengths are in millimetres or inches (fractions are read), and decides
    the column separator: commas, semicolons or tabs. With the last two a comma within a number is
    its decimal sign; with commas it is where the number is in quotation marks.

    Raises
    ------
    MeasurementError
        With file, line and remedy.
    """
    lines = text_lines(path)
    line, names, remarks = _header(lines)
    separator = next((sign for sign in ";\t" if sign in names), ",")
    columns = [name.lower() for name in _cells(names, separator)]
    unit = "in" if {"distance_in", "height_in"} & set(columns) else "mm"
    missing = [name for name in header(unit) if name not in columns]
    if missing:
        raise MeasurementError(
            f"{path}, line {line}: the header lacks {', '.join(missing)}: it must be"
            f" {','.join(header(unit))}"
        )
    slips: list[str] = []
    readings = tuple(_readings(path, lines, separator, columns, unit, slips))
    if slips:
        left = len(slips) - MOST_SLIPS
        more = (f"{path}: {left} more mistakes: correct these first",) if left > 0 else ()
        raise MeasurementError("\n".join((*slips[:MOST_SLIPS], *more)))
    if not readings:
        raise MeasurementError(
            f"{path}: no reading_db is filled in yet: write what the meter shows, at one position"
            " and band at least"
        )
    return FilledSheet(readings, frozenset(_FINGERPRINT.findall(remarks)))


def _header(lines: Iterator[tuple[int, str]]) -> tuple[int, str, str]:
    """Return number and text of the first line that is no remark, and the remarks above it."""
    remarks: list[str] = []
    for number, text in lines:
        if text and not _is_remark(text):
            return number, text, "\n".join(remarks)
        remarks.append(text)
    return len(remarks), "", ""


def _readings(
    path: Path,
    lines: Iterator[tuple[int, str]],
    separator: str,
    columns: list[str],
    unit: str,
    slips: list[str],
) -> Iterator[Reading]:
    """Yield every reading; what cannot be read is noted among the slips, a line each."""
    for count, (number, text) in enumerate(lines):
        if count > MOST_ROWS:
            raise MeasurementError(f"{path}, line {number}: more than {MOST_ROWS} rows")
        if not text.strip(separator) or _is_remark(text):
            continue
        cells = _cells(text, separator)
        # What a spreadsheet cuts off at the end of a row is an empty reading.
        cells += [""] * (len(columns) - len(cells))
        if len(cells) != len(columns):
            slips.append(
                f"{path}, line {number}: {len(cells)} cells where {len(columns)} are due: put a"
                " name that holds a comma in quotation marks, and write numbers with points"
            )
            continue
        row = dict(zip(columns, cells, strict=True))
        if row["reading_db"]:
            try:
                yield _reading(path, number, row, unit)
            except MeasurementError as slip:
                slips.append(str(slip))


def _reading(path: Path, line: int, row: dict[str, str], unit: str) -> Reading:
    def checked(key: str, value: float, low: float, high: float) -> float:
        cell = row[key]
        if not low <= value <= high:
            what = f"{cell[:40]!r} is no {key}" if cell else f"{key} is empty"
            raise MeasurementError(
                f"{path}, line {line}: {what}: a number from {low:g} to {high:g} is due"
            )
        return value

    def number(key: str, low: float, high: float) -> float:
        cell = row[key].replace("\u2212", "-")
        value = float(cell.replace(",", ".")) if _NUMBER.fullmatch(cell) else math.nan
        return checked(key, value, low, high)

    def length(key: str, most: float) -> float:
        one = LENGTH_UNITS[unit]
        try:
            value = parse_length(f"{row[key].replace(',', '.')} {unit}")
        except LengthError:
            value = math.nan
        checked(key, value / one, 0.0, most / one)
        return round(value, 6)

    if not row["position"]:
        raise MeasurementError(f"{path}, line {line}: the position has no name: write it as before")
    azimuth = number("azimuth_deg", -360.0, 360.0) % 360.0 if row["azimuth_deg"] else None
    position = Position(
        row["position"],
        length(f"distance_{unit}", FARTHEST),
        length(f"height_{unit}", HIGHEST),
        azimuth,
    )
    return Reading(
        line,
        position,
        number("band_hz", 1.0, HIGHEST_HZ),
        number("reading_db", *PLAUSIBLE_DB),
        row.get(HUNG, ""),
    )


def _is_remark(text: str) -> bool:
    return text.lstrip('"').startswith("#")


def _cells(text: str, separator: str) -> list[str]:
    return [
        cell.strip()
        for cell in next(csv.reader([text], delimiter=separator, skipinitialspace=True))
    ]
