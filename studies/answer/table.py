"""What a command found, as sentences, numbers and tables, ready to be printed or exported."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import KW_ONLY, dataclass
from pathlib import Path
from typing import Any, Literal, Protocol

from studies.answer.evidence import Evidence

Value = str | float | int | bool | None
"""One cell or number; None where there is none."""


@dataclass(frozen=True)
class TableColumn:
    """One column of a table.

    Attributes
    ----------
    key : str
        Name in files, with its unit: ``keep_mm``.
    heading : str
        Name in print; a line break is kept.
    description : str
        What it means, for the documentation of the data.
    format : callable
        From a value (not None) to its printed text.
    is_text : bool
        Words, set to the left; numbers stand to the right.
    shown : bool
        False: only in files.
    """

    key: str
    heading: str
    description: str
    format: Callable[[Any], str] = str
    _: KW_ONLY
    is_text: bool = False
    shown: bool = True


@dataclass(frozen=True)
class Table:
    """Rows of values under named columns.

    Attributes
    ----------
    name : str
        Short, for file names.
    title : str
        In print.
    columns : tuple of TableColumn
    rows : tuple of tuple
        One value for each column, in the unit of the column's key.
    caption : str
        What a reader must know to read the columns; printed below.
    scope : {"printed", "data", "bulk"}
        Printed and in all files; in all files; only in a CSV file of its own, since it is long.
    note_key, mark_key : str
        The texts of the column `note_key` are numbered and printed below the table; the number
        stands in the column `mark_key`, which has no value there.
    group_key : str
        A new heading wherever the value of this column changes; the column itself is not printed.
    """

    name: str
    title: str
    columns: tuple[TableColumn, ...]
    rows: tuple[tuple[Value, ...], ...]
    caption: str = ""
    _: KW_ONLY
    scope: Literal["printed", "data", "bulk"] = "printed"
    note_key: str = ""
    mark_key: str = ""
    group_key: str = ""

    def values(self, key: str) -> tuple[Value, ...]:
        """Return the values of a column from top to bottom, by the column's key."""
        at = [column.key for column in self.columns].index(key)
        return tuple(row[at] for row in self.rows)

    def records(self) -> list[dict[str, Value]]:
        """Return every row as a dictionary: value by the column's key."""
        keys = [column.key for column in self.columns]
        return [dict(zip(keys, row, strict=True)) for row in self.rows]


class Subject(Protocol):
    """What findings are about: a design file, or the program itself."""

    @property
    def title(self) -> str:
        """One line that names it."""

    @property
    def path(self) -> Path:
        """Where it came from, as it was named."""

    @property
    def text(self) -> str:
        """Its exact text."""

    @property
    def fingerprint(self) -> str:
        """SHA-256 of all that the findings depend on."""


@dataclass(frozen=True)
class Fact:
    """A single number or word of an answer, with its key (unit included) and what it means."""

    key: str
    value: Value
    description: str


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What one command found.

    Attributes
    ----------
    command : str
    design : Subject
    answer : tuple of str
        Sentences, the most important first.
    facts : tuple of Fact
        Single numbers, for files.
    tables : tuple of Table
    evidence : Evidence or None
        None where nothing was solved.
    cautions : tuple of str
        What to take care of at the bench, where this answer leads to work.
    """

    command: str
    design: Subject
    answer: tuple[str, ...]
    facts: tuple[Fact, ...]
    tables: tuple[Table, ...]
    evidence: Evidence | None
    cautions: tuple[str, ...] = ()

    def fact(self, key: str) -> Value:
        """Return a single number by its key."""
        return next(fact.value for fact in self.facts if fact.key == key)

    def table(self, name: str) -> Table:
        """Return a table by its name."""
        return next(table for table in self.tables if table.name == name)


def joined(words: Sequence[str], last_by: str = "and") -> str:
    """Join words as in a sentence: "a, b and c"."""
    *first, last = words
    return f"{', '.join(first)} {last_by} {last}" if first else last
