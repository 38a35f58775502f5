"""Findings on the screen: plain sentences and tables that fit a page of 100 characters."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import IO

from rich import box
from rich.console import Console
from rich.table import Table as Grid
from rich.text import Text

from studies.tables import Column, Findings, Table
from studies.tables.table import Value

PAGE_WIDTH = 100
"""Characters in a line where there is no terminal to ask."""
NOTE_LENGTH = 190
"""About two lines; the files have all of it."""


def open_console(stream: IO[str]) -> Console:
    """Console on a stream: colours and the terminal's width only where it is a terminal."""
    if isinstance(stream, io.TextIOWrapper):
        # A character that the terminal does not know is no reason to withhold an answer.
        stream.reconfigure(errors="replace")
    if stream.isatty():
        return Console(file=stream, highlight=False, markup=False, emoji=False)
    return Console(
        file=stream,
        width=PAGE_WIDTH,
        highlight=False,
        markup=False,
        emoji=False,
        no_color=True,
        force_terminal=False,
    )


def print_findings(console: Console, findings: Findings) -> None:
    """Print the answer first, then the tables, the evidence and the cautions."""
    console.print(findings.design.title, style="bold")
    console.print()
    for sentence in findings.answer:
        _print_wrapped(console, sentence)
    for table in findings.tables:
        if table.scope == "printed":
            console.print()
            print_table(console, table)
    if findings.evidence is not None:
        _print_list(console, "What this rests on", findings.evidence.sentences())
    _print_list(console, "Take care", findings.cautions)


def print_files(console: Console, folder: Path, count: int) -> None:
    """Tell where the files are."""
    console.print()
    _print_wrapped(console, f"{count} files in {folder}")


def print_table(console: Console, table: Table) -> None:
    """Print one table with its title, caption and numbered notes."""
    console.print(table.title, style="bold")
    notes = _numbered(table)
    for heading, rows in _grouped(table):
        if heading:
            console.print(heading)
        console.print(_grid(table, rows, notes))
    for line in table.caption.splitlines():
        _print_wrapped(console, line, style="dim")
    for note, mark in notes.items():
        short = textwrap.shorten(note, NOTE_LENGTH, placeholder=" ...")
        _print_wrapped(console, f"{mark} {short}", indent=len(mark) + 1)


def _grid(table: Table, rows: list[tuple[Value, ...]], notes: dict[str, str]) -> Grid:
    shown = [
        at
        for at, column in enumerate(table.columns)
        if column.shown and column.key != table.group_key
    ]
    grid = Grid(
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        header_style="bold",
        show_header=any(table.columns[at].heading for at in shown),
    )
    for at in shown:
        column = table.columns[at]
        grid.add_column(column.heading, justify="left" if column.is_text else "right")
    for row in rows:
        mark = notes.get(_note(table, row), "")
        cells = (_cell(table.columns[at], row[at], mark, table.mark_key) for at in shown)
        grid.add_row(*(Text(cell) for cell in cells))
    return grid


def _cell(column: Column, value: Value, mark: str, mark_key: str) -> str:
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
        yield f"\n{column.heading} {column.format(value)}", list(rows)


def _print_list(console: Console, title: str, sentences: tuple[str, ...]) -> None:
    if sentences:
        console.print()
        console.print(title, style="bold")
        for sentence in sentences:
            _print_wrapped(console, f"- {sentence}", indent=2)


def _print_wrapped(console: Console, words: str, indent: int = 0, style: str = "") -> None:
    width = max(min(console.width, PAGE_WIDTH), 40)
    console.print(
        textwrap.fill(words, width, subsequent_indent=" " * indent, break_long_words=False),
        style=style or None,
        soft_wrap=True,
    )
