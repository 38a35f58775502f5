"""Words on a sheet of paper: how wide they are, where lines break, paragraphs, lists."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from studies.answer.charts.paper.sizes import MM_PER_POINT
from studies.answer.charts.style import INK, QUIET

SMALL, BODY, LARGE, TITLE = 8.0, 9.0, 11.0, 13.0
"""Sizes of type, points; nothing is smaller, so that a sheet can be read at arm's length."""
LEADING = 1.3
ELLIPSIS = "\u2026"
BINDING = "\u00a0"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:mm|in|deg|kg|lb|dB|m3|k?Hz|\d+/\d+)\b|%)")


@dataclass(frozen=True)
class Span:
    """Words at x mm from the left of their line; `align` says which end of them x is."""

    x: float
    text: str
    size: float = BODY
    bold: bool = False
    align: str = "left"
    quiet: bool = False


@dataclass(frozen=True)
class TextLine:
    """One line of words, or with no words a gap; `height` in mm."""

    height: float
    spans: tuple[Span, ...] = ()


def height_of(size: float) -> float:
    """Height of a line of type of so many points, mm."""
    return size * LEADING * MM_PER_POINT


@functools.lru_cache(maxsize=8192)
def width_of(text: str, size: float = BODY, bold: bool = False) -> float:
    """Width of some words, mm."""
    font = FontProperties(family="DejaVu Sans", size=size, weight="bold" if bold else "normal")
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return width * MM_PER_POINT


def bound(text: str) -> str:
    """Return the text with spaces between a number and its unit that no line breaks at."""
    return _BEFORE_UNIT.sub(BINDING, text)


def wrapped(text: str, width: float, size: float = BODY, bold: bool = False) -> list[str]:
    """Break words into lines of at most so many mm.

    A number stays with its unit; a word longer than a line is broken too.
    """
    lines = [""]
    for word in bound(text).split(" "):
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


def paragraph(text: str, width: float, size: float = BODY, hang: str = "") -> list[TextLine]:
    """Lines of a paragraph; `hang` stands before the first line and the others hang below it."""
    indent = width_of(hang + " ", size) if hang else 0.0
    lines = wrapped(text, width - indent, size)
    first = (Span(0.0, hang, size),) if hang else ()
    return [
        TextLine(height_of(size), (*(() if at else first), Span(indent, line, size)))
        for at, line in enumerate(lines)
    ]


def dashed_list(texts: Iterable[str], width: float) -> list[TextLine]:
    """Lines of several paragraphs, each with a dash before it."""
    return [
        line for text in texts for line in (*paragraph(text, width, BODY, hang="-"), TextLine(0.8))
    ]


def named_values(rows: Sequence[tuple[str, str]], width: float) -> list[TextLine]:
    """Lines of names and values, each value large below its name."""
    lines: list[TextLine] = []
    for name, value in rows:
        lines.append(TextLine(height_of(SMALL), (Span(0.0, name, SMALL, quiet=True),)))
        for text in wrapped(value, width, LARGE, bold=True):
            lines.append(TextLine(height_of(LARGE), (Span(0.0, text, LARGE, bold=True),)))
        lines.append(TextLine(1.4))
    return lines


def total_height(lines: Iterable[TextLine]) -> float:
    """Height of some lines, mm."""
    return sum(line.height for line in lines)


def write(axes: Axes, lines: Iterable[TextLine], x: float, top: float) -> float:
    """Write lines from the top down; return where the next line would begin, mm."""
    for line in lines:
        base = top - 0.78 * line.height
        for span in line.spans:
            axes.text(
                x + span.x,
                base,
                span.text,
                fontsize=span.size,
                fontweight="bold" if span.bold else "normal",
                ha=span.align,
                va="baseline",
                color=QUIET if span.quiet else INK,
            )
        top -= line.height
    return top
