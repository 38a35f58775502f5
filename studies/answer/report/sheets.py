"""Sheets of words, tables and boxes for a pencil: one HTML file, printed on any paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from studies.answer.charts.paper.lettering import bound
from studies.answer.release import mark_of
from studies.answer.report.rendering import render
from studies.answer.table import Subject

WIDTH_IN = 7.3
"""Inches: letters of a picture so wide are printed at their own size, 8 points and more."""


@dataclass(frozen=True, kw_only=True)
class ReadingBox:
    """A box to write a reading into.

    Attributes
    ----------
    predicted : str
        Printed left of the box; empty if nothing is predicted.
    telling : bool
        Drawn thick and red: one of the few readings that count most.
    asked : bool
        False: a grey field stands in its place.
    """

    predicted: str = ""
    telling: bool = False
    asked: bool = True


@dataclass(frozen=True, kw_only=True)
class SheetBlock:
    """A part of a sheet, printed in the order of the attributes; what is empty is left out.

    Attributes
    ----------
    heading : str
    picture : Markup
        SVG element.
    intro : str
        Paragraph above the table.
    columns : tuple of str
        Headings of a table; a line break is kept.
    rows : tuple of tuple
        Of the table; a cell is text or a box to fill in.
    words : tuple of int
        Columns set to the left; the others are numbers and stand to the right.
    text : str
        Paragraph.
    points : tuple of str
        List.
    """

    heading: str = ""
    picture: Markup = Markup()
    intro: str = ""
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str | ReadingBox, ...], ...] = ()
    words: tuple[int, ...] = (0,)
    text: str = ""
    points: tuple[str, ...] = ()

    @property
    def has_boxes(self) -> bool:
        """Tell whether any cell of the table is a box to fill in."""
        return any(isinstance(cell, ReadingBox) for row in self.rows for cell in row)


@dataclass(frozen=True)
class WrittenSheet:
    """A sheet that begins on a page of its own, and goes on over as many as it takes."""

    title: str
    blocks: tuple[SheetBlock, ...]


def sheets_html(design: Subject, sheets: Sequence[WrittenSheet]) -> bytes:
    """Write sheets into one HTML file, UTF-8, that fetches nothing and prints on A4 and Letter.

    A number stays with its unit. No row of a table is split between two pages; a table's headings
    are repeated on each. The same sheets give the same bytes.
    """
    page = render("sheets.html.j2", design=design, sheets=sheets, mark=mark_of(design), bound=bound)
    return page.encode("utf-8")
