"""Findings on the screen: plain sentences and tables that fit a page of 100 characters."""

from __future__ import annotations

import functools
import sys
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich import box
from rich.console import Console, ConsoleOptions, RenderResult
from rich.prompt import Confirm
from rich.segment import Segment
from rich.table import Table as Grid
from rich.text import Text

from shapes.lengths import unbroken
from studies.answer.command_options import visible
from studies.answer.layout import Group, TableLayout, lay_out
from studies.answer.table import Findings, Table
from studies.solving.progress import PAGE_WIDTH, open_console

NOTE_LENGTH = 190
"""About two lines; the files have all of it."""
BINDING = "\ue000"
"""Stands for a space inside a length while a table is laid out, which breaks lines at any other."""


def print_findings(console: Console, findings: Findings) -> None:
    """Print the answer first, then the tables, the evidence and the cautions."""
    console.print(visible(findings.design.title), style="bold")
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


def print_files(console: Console, folder: Path, count: int, page: str) -> None:
    """Print how many files are in which folder, and which page to open."""
    console.print()
    _print_wrapped(console, f"{count} files in {folder}; open {page} in a browser, or print it")


def print_next(console: Console, steps: Sequence[tuple[str, str]]) -> None:
    """Print what to ask next, a line for each command: unbroken, so that it can be copied."""
    if steps:
        console.print("Next:", style="bold")
    longest = max((len(command) for command, _ in steps), default=0)
    for command, answers in steps:
        console.print(visible(f"  {command:{longest}}  {answers}"), soft_wrap=True)


def print_table(console: Console, table: Table) -> None:
    """Print one table with its title, caption and numbered notes."""
    layout = lay_out(table)
    console.print(table.title, style="bold")
    for group in layout.groups:
        if group.heading:
            console.print(f"\n{group.heading}")
        console.print(_BoundGrid(_grid(layout, group)))
    for line in table.caption.splitlines():
        _print_wrapped(console, line, style="dim")
    for mark, note in layout.notes:
        short = textwrap.shorten(note, NOTE_LENGTH, placeholder=" ...")
        _print_wrapped(console, f"{mark} {short}", indent=len(mark) + 1)


def _grid(layout: TableLayout, group: Group) -> Grid:
    grid = Grid(
        box=box.SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        header_style="bold",
        show_header=layout.has_headings,
    )
    rows = [[_bound(visible(cell)) for cell in cells] for cells in group.rows]
    for place, column in enumerate(layout.columns):
        words = [word for cells in rows for word in cells[place].split()]
        grid.add_column(
            column.heading,
            justify="left" if column.is_text else "right",
            min_width=max(map(len, words), default=None),  # no word is cut off
        )
    for cells in rows:
        grid.add_row(*map(Text, cells))
    return grid


def _bound(words: str) -> str:
    return unbroken(words).replace("\u00a0", BINDING)


@dataclass(frozen=True)
class _BoundGrid:
    """A grid in whose cells no line ends within a length; spaces that bind are put back."""

    grid: Grid

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Render the grid, then write each binding character as the space that it is."""
        for part in console.render(self.grid, options):
            yield Segment(part.text.replace(BINDING, " "), part.style, part.control)


def _print_list(console: Console, title: str, sentences: tuple[str, ...]) -> None:
    if sentences:
        console.print()
        console.print(title, style="bold")
        for sentence in sentences:
            _print_wrapped(console, f"- {sentence}", indent=2)


def _print_wrapped(console: Console, words: str, indent: int = 0, style: str = "") -> None:
    width = max(min(console.width, PAGE_WIDTH), 40)
    lines = textwrap.fill(
        unbroken(visible(words)), width, subsequent_indent=" " * indent, break_long_words=False
    )
    console.print(lines.replace("\u00a0", " "), style=style or None, soft_wrap=True)


def ask_at_the_terminal() -> Callable[[str], bool] | None:
    """Return a function that asks yes or no at the terminal; None if nobody sits there."""
    if not sys.stdin.isatty():
        return None
    return functools.partial(Confirm.ask, console=open_console(sys.stderr), default=False)
