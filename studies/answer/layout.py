"""A table as a reader sees it: columns that are shown, cells as text, rows grouped, notes numbered.

The terminal and the pages set the same layout in type, each in its way.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from studies.answer.table import Table, TableColumn, Value


@dataclass(frozen=True)
class Group:
    """Rows of cells under one heading; the heading is empty where a table has no groups."""

    heading: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class TableLayout:
    """What is shown of a table.

    Attributes
    ----------
    columns : tuple of TableColumn
        Those that are shown.
    groups : tuple of Group
        One cell for each column.
    notes : tuple of (str, str)
        Mark and text of every note, in the order of the rows.
    """

    columns: tuple[TableColumn, ...]
    groups: tuple[Group, ...]
    notes: tuple[tuple[str, str], ...]

    @property
    def has_headings(self) -> bool:
        """Whether any column has a heading."""
        return any(column.heading for column in self.columns)


def lay_out(table: Table) -> TableLayout:
    """Lay a table out for print: values as text, rows in groups, notes numbered."""
    marks = _numbered(table)
    shown = [
        at
        for at, column in enumerate(table.columns)
        if column.shown and column.key != table.group_key
    ]
    groups = tuple(
        Group(heading, tuple(_cells(table, row, shown, marks) for row in rows))
        for heading, rows in _grouped(table)
    )
    columns = tuple(table.columns[at] for at in shown)
    return TableLayout(columns, groups, tuple((mark, note) for note, mark in marks.items()))


def _cells(
    table: Table, row: tuple[Value, ...], shown: list[int], marks: dict[str, str]
) -> tuple[str, ...]:
    mark = marks.get(_note(table, row), "")
    return tuple(_cell(table.columns[at], row[at], mark, table.mark_key) for at in shown)


def _cell(column: TableColumn, value: Value, mark: str, mark_key: str) -> str:
    if value is None:
        return mark if mark and column.key == mark_key else "-"
    return column.format(value)


def _note(table: Table, row: tuple[Value, ...]) -> str:
    if not table.note_key:
        return ""
    keys = [column.key for column in table.columns]
    return str(row[keys.index(table.note_key)] or "")


def _numbered(table: Table) -> dict[str, str]:
    """Every note once, with its mark, in the order of the rows."""
    notes = dict.fromkeys(note for row in table.rows if (note := _note(table, row)))
    return {note: f"({number})" for number, note in enumerate(notes, start=1)}


def _grouped(table: Table) -> Iterator[tuple[str, list[tuple[Value, ...]]]]:
    if not table.group_key:
        yield "", list(table.rows)
        return
    at = [column.key for column in table.columns].index(table.group_key)
    column = table.columns[at]
    for value, rows in groupby(table.rows, key=lambda row: row[at]):
        yield f"{column.heading} {column.format(value)}", list(rows)
