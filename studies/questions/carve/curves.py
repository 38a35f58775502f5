"""How a few numbers make a smooth profile, the same to the last bit as a design file gives it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shapes.lengths import parse_length
from shapes.reflectors import Reflector, turned
from studies.solving.limits import Limits

KNOTS = 5
"""Of the curve, tip and rim included, if nobody asks for more."""
LEAST_SHARE = 0.15
"""Smallest height and base that are tried, as shares of the largest."""
_INNER_HEIGHTS, _INNER_RADII = (0.02, 1.2), (0.05, 1.3)

Numbers = NDArray[np.float64]
PointMm = tuple[float, float]


@dataclass(frozen=True)
class Form:
    """Makes profiles of a few numbers, and numbers of a profile.

    The numbers are shares: height and base radius of their limits, then each inner knot's height
    of the profile's; where an undercut is allowed, also its radius of the base's. Otherwise the
    knots stand at equal steps of radius. Where it may hang at more than one gap, the last number is
    its place among them, from 0 to 1.

    Attributes
    ----------
    limits : Limits
    gaps : tuple of float
        At which it may hang, m, smallest first.
    knots : int
    """

    limits: Limits
    gaps: tuple[float, ...]
    knots: int = KNOTS

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]:
        """Lowest and highest value of each number."""
        inner = self.knots - 2
        radii = (_INNER_RADII,) * inner if self.limits.undercut else ()
        place = ((0.0, 1.0),) if len(self.gaps) > 1 else ()
        return (*((LEAST_SHARE, 1.0),) * 2, *(_INNER_HEIGHTS,) * inner, *radii, *place)

    def plate_gap(self, numbers: Sequence[float] | Numbers) -> float:
        """At which gap the profile hangs, m."""
        last = len(self.gaps) - 1
        return self.gaps[round(float(numbers[-1]) * last) if last else 0]

    def points_mm(self, numbers: Sequence[float] | Numbers) -> tuple[PointMm, ...]:
        """Knots from tip to rim, mm, on whole micrometres within what was asked for."""
        inner = self.knots - 2
        height = numbers[0] * self.limits.height_at(self.plate_gap(numbers))
        radius = numbers[1] * self.limits.largest_diameter / 2.0
        steps = self._equal_steps()[1:-1]
        if self.limits.undercut:
            steps = np.asarray(numbers)[2 + inner : 2 + 2 * inner]
        shares = zip(steps, numbers[2 : 2 + inner], strict=True)
        places = ((radius * step, height * depth) for step, depth in shares)
        return (
            (0.0, -_floored_mm(height)),
            *((_floored_mm(r), -_floored_mm(z)) for r, z in places),
            (_floored_mm(radius), 0.0),
        )

    def numbers(self, reflector: Reflector, plate_gap: float) -> Numbers:
        """Return the numbers whose knots lie on another reflector's profile, hung at a gap, m."""
        limits, line = self.limits, reflector.profile.sample(1e-7)
        height, radius = reflector.height, reflector.base_radius
        along = line[:, 0] / radius
        if limits.undercut:
            along = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
            along /= along[-1]
        r, z = (np.interp(self._equal_steps()[1:-1], along, axis) for axis in line.T)
        last = len(self.gaps) - 1
        nearest = int(np.argmin(np.abs(np.array(self.gaps) - plate_gap)))
        tallest = limits.height_at(self.gaps[nearest])
        ends = (height / tallest, 2.0 * radius / limits.largest_diameter)
        radii, place = r / radius if limits.undercut else (), (nearest / last,) if last else ()
        found = np.array([*ends, *(-z / height), *radii, *place])
        return np.clip(found, *np.transpose(self.bounds))

    def _equal_steps(self) -> Numbers:
        return np.linspace(0.0, 1.0, self.knots)


def reflector_through(points_mm: Sequence[PointMm]) -> Reflector:
    """Turned reflector through knots in mm, to the last bit as the design file gives it."""
    return turned([(parse_length(r, "mm"), parse_length(z, "mm")) for r, z in points_mm])


def _floored_mm(metres: float) -> float:
    """Length in mm on whole micrometres, never more than asked for."""
    return math.floor(metres * 1e6 + 1e-3) / 1e3
