"""Conic sections as pieces of a meridian, and the one that a reflector needs.

In a half plane through the axis, sound from a point F1 on the axis meets the mirror curve. It
leaves

    ellipse     towards a second focus F2 (a ring round the axis), by paths of one length
    parabola    in one direction, the second focus being infinitely far
    hyperbola   as if from a second focus F2 behind the mirror

All three have the polar form distance = p / (1 - e . u) about F1, u the direction.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, Self

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike

from shapes.pieces import (
    TOLERANCE,
    Array,
    MeridianError,
    Point,
    angle,
    arc_length,
    pinned,
    unit,
    unit_turned,
    up,
)

ConicKind = Literal["ellipse", "parabola", "hyperbola"]

FARTHEST = 10.0
"""From the focus, metres: a section that runs on beyond is no reflector."""


@dataclass(frozen=True)
class Conic:
    """A true section of an ellipse, parabola or hyperbola, in polar form about one focus.

    A point seen from the focus in the direction of the unit vector u lies at the distance
    p / (1 - e . u), with the eccentricity vector e: |e| < 1 ellipse, 1 parabola, > 1 hyperbola
    (on the branch that is farther from the focus both p and 1 - e . u are negative).
    The parameter t runs evenly in the angle seen from the focus, the short way round.

    Raises
    ------
    MeridianError
        If start and end do not lie on one conic with this focus and eccentricity.
    """

    start: Point
    end: Point
    focus: Point
    eccentricity: Point
    part: str

    def __post_init__(self) -> None:
        """Refuse ends that do not lie on one conic."""
        spread = 1.0 - unit(self._angles(self._turns)) @ np.array(self.eccentricity)
        at_end = math.dist(self.end, self.focus) * spread[1]
        one_branch = spread.min() * spread.max() > 0
        far_off = abs(self.semi_latus) >= FARTHEST * np.abs(spread).min()
        if not one_branch or far_off or abs(at_end - self.semi_latus) > TOLERANCE:
            raise MeridianError(
                f"conic of '{self.part}': its two ends do not lie on one branch with this focus "
                "and eccentricity; give ends that do."
            )

    @property
    def semi_latus(self) -> float:
        """The p of the polar form (semi-latus rectum), metres."""
        to_start = np.array(self.start) - np.array(self.focus)
        return float(np.hypot(*to_start) - to_start @ np.array(self.eccentricity))

    @cached_property
    def length(self) -> float:
        """Arc length, metres."""
        return arc_length(self)

    @cached_property
    def min_radius(self) -> float:
        """Smallest radius of curvature, metres, found on a dense grid."""
        t = np.linspace(0.0, 1.0, 257)
        u, turned = unit(self._angles(t)), unit_turned(self._angles(t))
        eccentricity = np.array(self.eccentricity)
        # rho = p / w with w = 1 - e.u; tan of the incidence angle is rho'/rho = e.u'/w,
        # and the radius of curvature of any conic is |p| / cos^3 of that angle.
        tangent = (turned @ eccentricity) / (1.0 - u @ eccentricity)
        return float(abs(self.semi_latus) * np.min(1.0 + tangent**2) ** 1.5)

    @property
    def breaks(self) -> tuple[float, ...]:
        """Smooth throughout; cut in four so that quadrature is exact to rounding."""
        return (0.0, 0.25, 0.5, 0.75, 1.0)

    def point(self, t: ArrayLike) -> Array:
        """Points [r, z] at the parameters t, shape (..., 2)."""
        t = np.asarray(t, dtype=float)
        u = unit(self._angles(t))
        distance = self.semi_latus / (1.0 - u @ np.array(self.eccentricity))
        return pinned(np.array(self.focus) + distance[..., None] * u, t, self.start, self.end)

    def derivative(self, t: ArrayLike) -> Array:
        """Return d[r, z]/dt at the parameters t, shape (..., 2)."""
        angles = self._angles(np.asarray(t, dtype=float))
        u, turned = unit(angles), unit_turned(angles)
        eccentricity = np.array(self.eccentricity)
        distance = self.semi_latus / (1.0 - u @ eccentricity)
        growth = distance**2 / self.semi_latus * (turned @ eccentricity)
        return self._sweep * (growth[..., None] * u + distance[..., None] * turned)

    def reversed(self) -> Self:
        """Return the same section walked the other way."""
        return replace(self, start=self.end, end=self.start)

    def shifted(self, dz: float) -> Self:
        """Return the section moved up by dz metres."""
        start, end, focus = (up(p, dz) for p in (self.start, self.end, self.focus))
        return replace(self, start=start, end=end, focus=focus)

    def relabelled(self, part: str) -> Self:
        """Return the section as belonging to another part."""
        return replace(self, part=part)

    @property
    def other_focus(self) -> Point | None:
        """The second focus F1 + 2 p e / (1 - |e|^2); None for a parabola."""
        squared = math.hypot(*self.eccentricity) ** 2
        if abs(1 - squared) <= 1e-12:
            return None
        scale = 2 * self.semi_latus / (1 - squared)
        e_r, e_z = self.eccentricity
        return (self.focus[0] + scale * e_r, self.focus[1] + scale * e_z)

    @property
    def _turns(self) -> Array:
        """Parameters where 1 - e . u may be least or largest: both ends, along and against e.

        A parabola's axis, where it comes back from infinity, hides between any samples.
        """
        along = math.atan2(self.eccentricity[1], self.eccentricity[0])
        start, sweep = angle(self.focus, self.start), self._sweep
        turns = [math.remainder(along + half - start, 2 * math.pi) for half in (0.0, math.pi)]
        inside = [
            turn / sweep for turn in turns if 0.0 < turn * math.copysign(1.0, sweep) < abs(sweep)
        ]
        return np.array([0.0, 1.0, *inside])

    @property
    def _sweep(self) -> float:
        turn = angle(self.focus, self.end) - angle(self.focus, self.start)
        return math.remainder(turn, 2 * math.pi)

    def _angles(self, t: Array) -> Array:
        return angle(self.focus, self.start) + t * self._sweep


def conics_through(
    kind: ConicKind, start: Point, end: Point, focus: Point, ring_radius: float, part: str
) -> tuple[Conic, ...]:
    """Find the conics through two points, with one focus given and the other at a given radius.

    `start` must lie straight above the focus. With e_r and e_z linear in p (both points lie on
    the curve), the second focus F2 = F1 + 2 p e / (1 - |e|^2) at the radius `ring_radius`, or
    |e| = 1 for the parabola (which ignores it), leaves one quadratic in p.

    Returns
    -------
    tuple of Conic
        None, one or two, the one with the larger |p| (the flatter one) first.
    """
    d, reach = math.dist(start, focus), math.dist(end, focus)
    u_r, u_z = (end[0] - focus[0]) / reach, (end[1] - focus[1]) / reach
    p = Polynomial([0.0, 1.0])
    e_z = 1 - p / d
    e_r = (1 - p / reach - u_z * e_z) / u_r
    beyond = 1 - e_r**2 - e_z**2
    condition = beyond if kind == "parabola" else ring_radius * beyond - 2 * p * e_r
    found = []
    for root in sorted(condition.roots().tolist(), key=abs, reverse=True):
        if abs(root.imag) > 1e-12 * reach or abs(root) < 1e-9 * reach:
            continue
        eccentricity = (float(e_r(root.real)), float(e_z(root.real)))
        size = math.hypot(*eccentricity)
        if kind == "parabola" or (size < 1) == (kind == "ellipse"):
            try:
                found.append(Conic(start, end, focus, eccentricity, part))
            except MeridianError:
                continue  # the two points lie on different branches
    return tuple(found)
