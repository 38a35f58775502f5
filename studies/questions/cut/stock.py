"""What boards are sold as: nominal sizes of planed softwood, of North America.

True sizes of dry planed boards by American Softwood Lumber Standard PS 20, table of boards [from
memory]; what is sold elsewhere has the size that is written on it, more or less.
"""

from __future__ import annotations

from dataclasses import dataclass

from shapes.lengths import INCH, in_both

THICKNESSES = {"1": 0.75, "5/4": 1.0, "2": 1.5}
WIDTHS = {3: 2.5, 4: 3.5, 6: 5.5, 8: 7.25, 10: 9.25, 12: 11.25}
"""Nominal to true, inches."""
SOLD_LENGTH = 96 * INCH
"""Usual length of a board on sale: common practice, no source."""
SLACK = 1e-6


@dataclass(frozen=True)
class Stock:
    """A board as it is sold: its name, its true width and thickness (metres)."""

    name: str
    width: float
    thickness: float

    @property
    def words(self) -> str:
        """Nominal and true size."""
        return f"{self.name}, in truth {in_both(self.thickness)} x {in_both(self.width)}"


def nominal_stock(width: float, thickness: float) -> Stock | None:
    """Return the smallest nominal board out of which one of this size can be planed and ripped."""
    for name, thick in THICKNESSES.items():
        for nominal, wide in WIDTHS.items():
            if wide * INCH >= width - SLACK and thick * INCH >= thickness - SLACK:
                return Stock(f"{name} x {nominal}", wide * INCH, thick * INCH)
    return None


def boards_needed(count: int, length: float, kerf: float) -> int:
    """Return how many boards of `SOLD_LENGTH` give `count` pieces, a saw cut after each; or 0.

    0 means that a piece is longer than what is sold.
    """
    pieces = int((SOLD_LENGTH + SLACK) / (length + kerf))
    return -(-count // pieces) if pieces else 0
