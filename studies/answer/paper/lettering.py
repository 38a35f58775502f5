"""Words on a sheet: how wide they are, where lines break, tables, and pouring it over pages."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from studies.answer.charts.style import FAINT, INK, QUIET
from studies.answer.paper.paper import MM_PER_POINT

SMALL, BODY, LARGE, TITLE = 8.0, 9.0, 11.0, 13.0
"""Sizes of type, points; nothing is smaller, so that a sheet can be read at arm's length."""
LEADING = 1.3
CELL_GAP = 3.0
ELLIPSIS = "\u2026"
BINDING = "\u00a0"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:mm|in|deg|kg|lb|\d+/\d+)\b|%)")


@dataclass(frozen=True)
class Cell:
    """Words at x mm from the left of their line; `align` is what x means."""

    x: float
    text: str
    size: float = BODY
    bold: bool = False
    align: str = "left"
    quiet: bool = False


@dataclass(frozen=True)
class Line:
    """One line of words.

    Attributes
    ----------
    height : float
        mm.
    cells : tuple of Cell
    kept : bool
        Never the last line of a page: what follows belongs to it.
    ruled : float
        Length of a thin rule below, mm.
    """

    height: float
    cells: tuple[Cell, ...] = ()
    kept: bool = False
    ruled: float = 0.0


def height_of(size: float) -> float:
    """Height of a line of type of so many points, mm."""
    return size * LEADING * MM_PER_POINT


@functools.lru_cache(maxsize=8192)
def width_of(text: str, size: float = BODY, bold: bool = False) -> float:
    """Width of some words, mm."""
    font = FontProperties(family="DejaVu Sans", size=size, weight="bold" if bold else "normal")
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return width * MM_PER_POINT


def wrapped(text: str, width: float, size: float = BODY, bold: bool = False) -> list[str]:
    """Break words into lines of at most so many mm.

    A number stays with its unit; a word longer than a line is broken too.
    """
    lines = [""]
    for word in _BEFORE_UNIT.sub(BINDING, text).split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if width_of(longer, size, bold) <= width:
            lines[-1] = longer
            continue
        *full, last = _broken(word, width, size, bold)
        lines += [*full, last]
    return [line.replace(BINDING, " ") for line in lines if line] or [""]


def _broken(word: str, width: float, size: float, bold: bool) -> list[str]:
    parts = [""]
    for letter in word:
        if parts[-1] and width_of(parts[-1] + letter, size, bold) > width:
            parts.append("")
        parts[-1] += letter
    return parts


def shortened(text: str, width: float, size: float = BODY, bold: bool = False) -> str:
    """Return the words on one line of at most so many mm, with an ellipsis if some are lost."""
    first, *rest = wrapped(text, width, size, bold)
    if not rest:
        return first
    while first and width_of(first + ELLIPSIS, size, bold) > width:
        first = first[:-1]
    return first + ELLIPSIS


def heading(text: str, width: float) -> list[Line]:
    """Lines of a heading, with some air above."""
    lines = wrapped(text, width, LARGE, bold=True)
    type_height = height_of(LARGE)
    return [
        Line(2.5, kept=True),
        *(Line(type_height, (Cell(0.0, line, LARGE, bold=True),), kept=True) for line in lines),
    ]


def paragraph(
    text: str, width: float, size: float = BODY, bold: bool = False, hang: str = ""
) -> list[Line]:
    """Lines of a paragraph; `hang` stands before the first line and the others hang below it."""
    indent = width_of(hang + " ", size) if hang else 0.0
    lines = wrapped(text, width - indent, size, bold)
    return [
        Line(
            height_of(size),
            (
                *((Cell(0.0, hang, size),) if hang and not at else ()),
                Cell(indent, line, size, bold),
            ),
        )
        for at, line in enumerate(lines)
    ]


def table(
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    width: float,
    left: Sequence[int] = (0,),
    size: float = BODY,
) -> list[Line]:
    """Lines of a table at most so wide, mm: cells break where they must.

    Parameters
    ----------
    headings : sequence of str
    rows : iterable of sequence of str
    width : float
        Room, mm.
    left : sequence of int
        Columns of words, set to the left; the others are numbers and stand to the right.
    size : float
        Points.
    """
    texts = [tuple(row) for row in rows]
    widths = _column_widths([tuple(headings), *texts], width, size)
    head = _table_row(tuple(headings), widths, left, size, bold=True)
    head = [Line(line.height, line.cells, kept=True) for line in head]
    total = sum(widths) + CELL_GAP * (len(widths) - 1)
    head[-1] = Line(head[-1].height + 0.8, head[-1].cells, kept=True, ruled=total)
    return [*head, *(line for row in texts for line in _table_row(row, widths, left, size))]


def _column_widths(rows: list[tuple[str, ...]], width: float, size: float) -> list[float]:
    """Widths of the columns; the widest gives way until all of them fit."""
    widths = [max(width_of(text, size, bold=True) for text in column) for column in zip(*rows)]  # noqa: B905
    room = width - CELL_GAP * (len(widths) - 1)
    while sum(widths) > room:
        widest = widths.index(max(widths))
        others = sorted(widths)[-2] if len(widths) > 1 else 0.0
        over = sum(widths) - room
        widths[widest] -= min(over, max(widths[widest] - others, 1.0))
    return widths


def _table_row(
    row: tuple[str, ...], widths: list[float], left: Sequence[int], size: float, bold: bool = False
) -> list[Line]:
    broken = [wrapped(text, w, size, bold) for text, w in zip(row, widths, strict=True)]
    lines = []
    for at in range(max(map(len, broken))):
        x, cells = 0.0, []
        for column, (texts, w) in enumerate(zip(broken, widths, strict=True)):
            if at < len(texts):
                words = column in left
                place = (x, "left") if words else (x + w, "right")
                cells.append(Cell(place[0], texts[at], size, bold, place[1]))
            x += w + CELL_GAP
        lines.append(Line(height_of(size), tuple(cells), kept=at + 1 < max(map(len, broken))))
    return lines


def total_height(lines: Iterable[Line]) -> float:
    """Height of some lines, mm."""
    return sum(line.height for line in lines)


def poured(lines: Sequence[Line], height: float) -> Iterator[list[Line]]:
    """Share lines out over pages of so many mm; what is kept together goes to the next page."""
    rest = list(lines)
    while rest:
        count, used = 0, 0.0
        while count < len(rest) and used + rest[count].height <= height:
            used += rest[count].height
            count += 1
        whole = count
        while count < len(rest) and whole > 0 and rest[whole - 1].kept:
            whole -= 1
        count = max(whole or count, 1)
        yield rest[:count]
        rest = rest[count:]


def write(axes: Axes, lines: Iterable[Line], x: float, top: float) -> float:
    """Write lines from the top down; return where the next line would begin, mm."""
    for line in lines:
        base = top - 0.78 * line.height
        for cell in line.cells:
            axes.text(
                x + cell.x,
                base,
                cell.text,
                fontsize=cell.size,
                fontweight="bold" if cell.bold else "normal",
                ha=cell.align,
                va="baseline",
                color=QUIET if cell.quiet else INK,
            )
        top -= line.height
        if line.ruled:
            axes.plot((x, x + line.ruled), (top + 0.4, top + 0.4), color=FAINT, linewidth=0.8)
    return top
