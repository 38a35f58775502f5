"""Outlines seen from above: circles and regular polygons about the axis (metres, radians).

A polygon has a flat at azimuth 0 and is given by its width across the flats: twice the distance
from the axis to a flat, which for an odd number of sides is not the distance between two of them.
For N sides and a width w: face w tan(180/N), across the corners w / cos(180/N), area
N/4 w^2 tan(180/N). All from plane geometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from shapes.pieces import Array

LEAST_SIDES, MOST_SIDES = 4, 12
NAMES = {0: "round", 4: "square", 5: "pentagonal", 6: "hexagonal", 8: "octagonal"}
CIRCLE_POINTS = 720


@dataclass(frozen=True)
class Footprint:
    """A circle or a regular polygon about the axis.

    Parameters
    ----------
    width : float
        Diameter, or width across the flats.
    sides : int
        `LEAST_SIDES` to `MOST_SIDES`; 0 is a circle.
    """

    width: float
    sides: int = 0

    @property
    def name(self) -> str:
        """Its shape in words: "round", "hexagonal", "7-sided"."""
        return NAMES.get(self.sides, f"{self.sides}-sided")

    @property
    def is_round(self) -> bool:
        """Whether it is a circle."""
        return self.sides == 0

    @property
    def inner_radius(self) -> float:
        """Radius of the largest circle inside, from the axis to a flat."""
        return self.width / 2

    @property
    def outer_radius(self) -> float:
        """Radius of the smallest circle round it, from the axis to a corner."""
        return self.inner_radius / self._cosine

    @property
    def across_corners(self) -> float:
        """Diameter of the smallest circle round it."""
        return 2 * self.outer_radius

    @property
    def face(self) -> float:
        """Length of one side of a polygon, of its boards on the outside; 0 for a circle."""
        return 0.0 if self.is_round else self.width * math.tan(math.pi / self.sides)

    @property
    def area(self) -> float:
        """Area, square metres."""
        if self.is_round:
            return math.pi * self.inner_radius**2
        return self.sides / 4 * self.width**2 * math.tan(math.pi / self.sides)

    @property
    def radius(self) -> float:
        """Radius of the circle of equal area."""
        if self.is_round:
            return self.inner_radius
        return self.inner_radius * math.sqrt(self.sides * math.tan(math.pi / self.sides) / math.pi)

    @property
    def corners(self) -> Array:
        """(N, 2) corners, or points of a circle, in order, metres."""
        count = self.sides or CIRCLE_POINTS
        angles = math.pi / count * (2 * np.arange(count) + (0 if self.is_round else 1))
        return self.outer_radius * np.column_stack((np.cos(angles), np.sin(angles)))

    def inset(self, distance: float) -> Self:
        """Return the outline that runs so far inside this one; outside if negative."""
        return replace(self, width=self.width - 2 * distance)

    def reach(self, azimuth: float) -> float:
        """Distance from the axis to the outline in a direction."""
        if self.is_round:
            return self.inner_radius
        step = 2 * math.pi / self.sides
        return self.inner_radius / math.cos(math.remainder(azimuth, step))

    def left_at(self, y: float) -> float:
        """Where a level line at y meets the outline on its left, x; nan beyond it."""
        if abs(y) >= self.outer_radius:
            return math.nan
        if self.is_round:
            return -math.sqrt(self.inner_radius**2 - y**2)
        turns = [2 * math.pi * n / self.sides for n in range(self.sides)]
        left = [turn for turn in turns if math.cos(turn) < -1e-9]
        return max((self.inner_radius - y * math.sin(turn)) / math.cos(turn) for turn in left)

    def room(self, radius: float, azimuth: float) -> float:
        """Distance from a point inside to the nearest edge; negative outside."""
        if self.is_round:
            return self.inner_radius - radius
        step = 2 * math.pi / self.sides
        return self.inner_radius - radius * math.cos(math.remainder(azimuth, step))

    def circle_limit(self, count: int, spare: float) -> float:
        """Radius of the largest circle with `count` points on it that keep `spare` from the edge.

        They may turn towards the corners where their number divides the number of sides.
        """
        inside = self.inner_radius - spare
        return inside if self.is_round or self.sides % count else inside / self._cosine

    @property
    def _cosine(self) -> float:
        return 1.0 if self.is_round else math.cos(math.pi / self.sides)


def footprint_of_face(face: float, sides: int) -> Footprint:
    """Return the polygon whose sides are so long: boards glued edge to edge."""
    return Footprint(face / math.tan(math.pi / sides), sides)
