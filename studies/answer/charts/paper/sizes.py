"""Sheets of paper: sizes, what a home printer can reach, and where things stand on them (mm)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from shapes.lengths import own_unit

MARGIN = 10.0
"""What home printers may leave white, mm: common practice, no source."""
HEADER = 15.0
BARS, SQUARES = {"mm": 100.0, "in": 101.6}, {"mm": 50.0, "in": 50.8}
"""Length of the bar and side of the square that tell the printer's scale, mm: 4 and 2 in where
inches stand first."""
STRIP = 54.0
"""The square and what stands beside it, mm."""
MM_PER_POINT = 25.4 / 72


class ShedError(ValueError):
    """Sheets that cannot be printed; the message says what to do instead."""


@dataclass(frozen=True)
class Box:
    """A rectangle, mm."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """From left to right, mm."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From bottom to top, mm."""
        return self.top - self.bottom

    @property
    def centre(self) -> tuple[float, float]:
        """Middle of the rectangle."""
        return (self.left + self.right) / 2, (self.bottom + self.top) / 2

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Lower left corner and, anticlockwise, the others."""
        left, right = self.left, self.right
        return (left, self.bottom), (right, self.bottom), (right, self.top), (left, self.top)

    def grown(self, by: float) -> Box:
        """Return the rectangle, larger by so much on every side."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def holds(self, x: float, y: float) -> bool:
        """Tell whether a point lies inside."""
        return self.left <= x <= self.right and self.bottom <= y <= self.top


@dataclass(frozen=True)
class Paper:
    """A size of paper, mm, upright."""

    name: str
    width: float
    height: float


# ISO 216 and ANSI/ASME Y14.1.
PAPERS = {
    "a4": Paper("A4", 210.0, 297.0),
    "letter": Paper("Letter", 215.9, 279.4),
    "a3": Paper("A3", 297.0, 420.0),
    "tabloid": Paper("Tabloid", 279.4, 431.8),
    "a2": Paper("A2", 420.0, 594.0),
}


@dataclass(frozen=True)
class SheetLayout:
    """A sheet lying one way or the other: a header, a strip for the scale, and the window.

    The strip lies below the window of an upright sheet and to the right of a lying one.
    """

    paper: Paper
    lying: bool = False

    @property
    def width(self) -> float:
        """Of the sheet, mm."""
        return self.paper.height if self.lying else self.paper.width

    @property
    def height(self) -> float:
        """Of the sheet, mm."""
        return self.paper.width if self.lying else self.paper.height

    @property
    def window(self) -> Box:
        """Where the sheet's own matter is drawn, mm from the sheet's lower left corner."""
        right, bottom = self.width - MARGIN, MARGIN
        if self.lying:
            right -= STRIP
        else:
            bottom += STRIP
        return Box(MARGIN, bottom, right, self.height - MARGIN - HEADER)

    @property
    def square_side(self) -> float:
        """Of the square, mm."""
        return SQUARES[own_unit()]

    @property
    def bar_length(self) -> float:
        """Of the bar, mm."""
        return BARS[own_unit()]

    @property
    def square(self) -> tuple[float, float]:
        """Lower left corner of the square, mm."""
        return (self.width - MARGIN - self.square_side if self.lying else MARGIN), MARGIN

    @property
    def bar(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ends of the bar, mm: level on an upright sheet, upright on a lying one."""
        (x, y), length = self.square, self.bar_length
        if self.lying:
            return (x + 2.0, y + STRIP), (x + 2.0, y + STRIP + length)
        return (x + STRIP, y + 2.0), (x + STRIP + length, y + 2.0)

    @property
    def notes(self) -> Box:
        """Room for words about the whole sheet, beside the square and the bar, mm."""
        window, (x, y) = self.window, self.square
        if self.lying:
            return Box(x + 11.0, y + STRIP, self.width - MARGIN, window.top)
        return Box(x + STRIP, y + 14.0, self.width - MARGIN, y + self.square_side)


def paper_named(name: str) -> Paper:
    """Return a size of paper by its name.

    Raises
    ------
    ShedError
        If it is not one of `PAPERS`.
    """
    if name.lower() not in PAPERS:
        raise ShedError(f"unknown paper {name!r}: choose from {_listed(PAPERS)}")
    return PAPERS[name.lower()]


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)
