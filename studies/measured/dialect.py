"""Reading rows of numbers from a text file in any common way of writing.

Skipped: empty lines, lines that begin with one of ``* # ; / % ! '``, lines of words
(headings above the first row, remarks in quotation marks or not).

The first row of numbers decides the column separator of the whole file:

1. semicolons, if there is one anywhere in it;
2. else blanks or tabs, each perhaps with a comma in front, if there is one within it;
3. else commas.

With 1 and 2 a comma within a number is its decimal sign. With 3 it never is, unless the number
stands in quotation marks. The first decimal sign, too, decides for the whole file. So ``1000,5``
means the same in every line, and a line that does not fit is refused. Two kinds of files are
ambiguous, and refused as a whole:

- separated by commas, three columns, whole numbers only: these may be decimal commas;
- whole numbers for levels, frequencies like ``1.250`` or ``1,250``: these may be thousands.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from studies.measured.text_files import MeasurementError, text_lines

MOST_ROWS = 2_000_000
COLUMNS = ("frequency in Hz", "level in dB", "phase in degrees")
REMARK = "put # in front of it if it is a remark"

_COMMENT = "*#;/%!'"
_NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_NO_NUMBER = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_THOUSANDS = re.compile(r"[0-9]{1,3}([.,][0-9]{3})?")
_BLANK = re.compile(r",?\s+")
_QUOTED = re.compile(r'"[^"]*"')
_SEPARATORS = {";": "semicolons", " ": "blanks or tabs", ",": "commas"}
_SIGNS = {",": "comma", ".": "point"}


@dataclass
class NumberRows:
    """Iterates over the rows of numbers of one file; afterwards `notes` holds remarks on it.

    Attributes
    ----------
    path : Path
    width : int
        Columns of the widest row so far.
    words : int
        Lines of words that were skipped within the table.
    """

    path: Path
    width: int = 0
    words: int = 0
    _words_at: int = field(default=0, repr=False)
    _first: int = field(default=0, repr=False)
    _separator: str = field(default="", repr=False)
    _decimal: str = field(default="", repr=False)
    _decimal_at: int = field(default=0, repr=False)
    _whole_levels: bool = field(default=True, repr=False)
    _all_thousands: bool = field(default=True, repr=False)
    _thousands_at: int = field(default=0, repr=False)

    def __iter__(self) -> Iterator[tuple[int, float, float]]:
        """Yield line number, frequency and level of every row, whatever their size.

        Raises
        ------
        MeasurementError
            At the first line that is neither a row like the first one nor words, and at the end
            for a file that is ambiguous.
        """
        count = 0
        for number, text in text_lines(self.path):
            if not text or text[0] in _COMMENT:
                continue
            cells = self._cells(number, text)
            if cells:
                count += 1
                if count > MOST_ROWS:
                    self._refuse(number, f"more than {MOST_ROWS} rows: export fewer points")
                frequency, level, *_ = self._numbers(number, cells)
                self._look_for_thousands(number, cells)
                yield number, frequency, level
        self._refuse_ambiguous()

    @property
    def notes(self) -> tuple[str, ...]:
        """Remarks for the user: what was ignored or skipped."""
        notes = []
        if self.width > 2:
            notes.append("the third column is taken for phase and ignored")
        if self.words:
            notes.append(
                f"lines of words within the table passed over: {self.words}, the first is line"
                f" {self._words_at}"
            )
        return tuple(notes)

    def _cells(self, number: int, text: str) -> list[str] | None:
        """Return the cells of a row; None for words."""
        separator = self._separator or _separator_of(text)
        cells = _split(text, separator)
        kinds = [_is_number(cell) for cell in cells]
        if not self._first:
            if _is_heading(text, kinds):
                return None
            if all(kinds) and len(cells) > 1:
                self._first, self._separator = number, separator
        elif not any(kinds) and (text[0] == '"' or text[0].isalpha()):
            self.words += 1
            self._words_at = self._words_at or number
            return None
        self._require_columns(number, cells)
        self.width = max(self.width, len(cells))
        return cells

    def _require_columns(self, number: int, cells: list[str]) -> None:
        parted = ""
        if self._first not in (0, number):
            how = _SEPARATORS[self._separator]
            parted = f" (columns are parted by {how}, as in line {self._first})"
        if len(cells) == 1:
            alone = f"{_shown(cells[0])} stands alone where Hz and dB are due{parted}"
            self._refuse(number, f"{alone}: correct it, or {REMARK}")
        ragged = self._separator == "," and self.width not in (0, len(cells))
        if ragged or len(cells) > len(COLUMNS):
            due = f"{self.width}" if ragged else "two or three"
            remedy = f"keep Hz, dB and, if you like, degrees, or {REMARK}"
            if self._separator == ",":
                remedy = (
                    "if commas are decimal signs too, save it with semicolons between the columns"
                )
            self._refuse(number, f"{len(cells)} columns where {due} are due{parted}: {remedy}")

    def _numbers(self, number: int, cells: list[str]) -> list[float]:
        pairs = zip(COLUMNS, cells, strict=False)
        return [self._number(number, column, cell) for column, cell in pairs]

    def _number(self, number: int, column: str, cell: str) -> float:
        if _NO_NUMBER.fullmatch(cell):
            self._refuse(number, f"{cell} is no {column}: remove the row, or measure it again")
        if not _NUMBER.fullmatch(cell):
            what = _shown(cell) if cell else "nothing"
            both = "," in cell and "." in cell and _is_number(re.sub("[.,]", "", cell))
            remedy = "write numbers without thousands separators" if both else REMARK
            self._refuse(number, f"{what} stands where a {column} is due: correct it, or {remedy}")
        sign = "," if "," in cell else "." if "." in cell else ""
        if sign and not self._decimal:
            self._decimal, self._decimal_at = sign, number
        if sign and sign != self._decimal:
            self._refuse(
                number,
                f"{_shown(cell)} has a decimal {_SIGNS[sign]}, and line {self._decimal_at} a"
                f" decimal {_SIGNS[self._decimal]}: write the whole file with one of them",
            )
        value = float(cell.replace(",", "."))
        if abs(value) == float("inf"):
            self._refuse(number, f"{_shown(cell)} is too large for a {column}: correct it")
        return value

    def _look_for_thousands(self, number: int, cells: list[str]) -> None:
        frequency, level, *_ = cells
        grouped = _THOUSANDS.fullmatch(frequency)
        self._whole_levels = self._whole_levels and level.lstrip("+-").isdigit()
        self._all_thousands = self._all_thousands and grouped is not None
        if grouped and grouped[1] and not self._thousands_at:
            self._thousands_at = number

    def _refuse_ambiguous(self) -> None:
        if self._separator == "," and self.width > 2 and not self._decimal:
            self._refuse(
                self._first,
                "only whole numbers parted by commas, three in a row: these may be decimal commas,"
                " so save it with semicolons between the columns",
            )
        if self._thousands_at and self._whole_levels and self._all_thousands:
            self._refuse(
                self._thousands_at,
                "the frequency may be in thousands or have decimals, and nothing in the file"
                " tells: write 1250 for a thousand two hundred and fifty, or 1.25",
            )

    def _refuse(self, number: int, what: str) -> None:
        raise MeasurementError(f"{self.path}, line {number}: {what}")


def _is_heading(text: str, kinds: list[bool]) -> bool:
    """Return whether a line above the first row is words, and no row with a mistake in it."""
    if len(kinds) > len(COLUMNS):
        return not all(kinds)
    begins_as_number = kinds[0] or (text[0] in "+-.,0123456789" and any(kinds))
    return not begins_as_number


def _separator_of(text: str) -> str:
    outside = _QUOTED.sub('""', text)
    if ";" in outside:
        return ";"
    return " " if _BLANK.search(outside) else ","


def _split(text: str, separator: str) -> list[str]:
    """Return the cells of a line without quotation marks and without empty ones at its end."""
    if separator == " ":
        cells = [cell.strip('"') for cell in _BLANK.split(text.rstrip(","))]
    else:
        reader = csv.reader([text], delimiter=separator, skipinitialspace=True)
        cells = [cell.strip() for cell in next(reader)]
    while len(cells) > 2 and not cells[-1]:
        cells.pop()
    return [cell.replace("\u2212", "-") for cell in cells]


def _is_number(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell) or _NO_NUMBER.fullmatch(cell))


def _shown(cell: str) -> str:
    return repr(cell if len(cell) <= 40 else f"{cell[:40]}...")
