"""The pieces of a meridian: lines, true arcs and splines (conic sections: `shapes.conics`).

Each lies in the (r, z) half plane, carries the label of the part it belongs to, and has a
parameter t from 0 to 1:

    point(t)        (..., 2)   [r, z] in metres
    derivative(t)   (..., 2)   d[r, z]/dt, not normalised
"""

import math
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shapes.lengths import in_mm, in_own

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

Point = tuple[float, float]
Array = NDArray[np.float64]

TOLERANCE = 1e-9
"""Two points closer than this (metres) are the same point."""

_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(32)


class MeridianError(ValueError):
    """A chain of pieces that is no meridian; the message holds the place in mm."""


class Piece(Protocol):
    """What every piece of a meridian offers."""

    def __hash__(self) -> int:
        """Pieces that are alike are found again."""

    @property
    def part(self) -> str:
        """Label of the part it belongs to."""

    @property
    def start(self) -> Point:
        """First point (r, z), metres."""

    @property
    def end(self) -> Point:
        """Last point (r, z), metres."""

    @property
    def length(self) -> float:
        """Arc length, metres."""

    @property
    def min_radius(self) -> float:
        """Smallest radius of curvature, metres; inf for a line."""

    @property
    def breaks(self) -> tuple[float, ...]:
        """Parameters from 0 to 1 between which the piece is smooth to all orders."""

    def point(self, t: ArrayLike) -> Array:
        """Points [r, z] at the parameters t, shape (..., 2)."""

    def derivative(self, t: ArrayLike) -> Array:
        """Return d[r, z]/dt at the parameters t, shape (..., 2)."""

    def reversed(self) -> Self:
        """Return the same piece walked the other way."""

    def shifted(self, dz: float) -> Self:
        """Return the piece moved up by dz metres."""

    def relabelled(self, part: str) -> Self:
        """Return the piece as belonging to another part."""


@dataclass(frozen=True)
class Line:
    """A straight line from start to end (metres)."""

    start: Point
    end: Point
    part: str

    @property
    def length(self) -> float:
        """Arc length, metres."""
        return math.dist(self.start, self.end)

    @property
    def min_radius(self) -> float:
        """Infinite: a line has no curvature."""
        return math.inf

    @property
    def breaks(self) -> tuple[float, ...]:
        """Smooth throughout."""
        return (0.0, 1.0)

    def point(self, t: ArrayLike) -> Array:
        """Points [r, z] at the parameters t, shape (..., 2)."""
        t = np.asarray(t, dtype=float)[..., None]
        return (1.0 - t) * np.array(self.start) + t * np.array(self.end)

    def derivative(self, t: ArrayLike) -> Array:
        """Return d[r, z]/dt at the parameters t, shape (..., 2)."""
        slope = np.array(self.end) - np.array(self.start)
        return np.broadcast_to(slope, (*np.shape(t), 2)).copy()

    def reversed(self) -> Self:
        """Return the same line walked the other way."""
        return replace(self, start=self.end, end=self.start)

    def shifted(self, dz: float) -> Self:
        """Return the line moved up by dz metres."""
        return replace(self, start=up(self.start, dz), end=up(self.end, dz))

    def relabelled(self, part: str) -> Self:
        """Return the line as belonging to another part."""
        return replace(self, part=part)


@dataclass(frozen=True)
class Arc:
    """A true circular arc from start to end about centre (metres).

    `clockwise` is as seen with r to the right and z up. The arc sweeps less than a full turn.

    Raises
    ------
    MeridianError
        If start and end are not equally far from the centre.
    """

    start: Point
    end: Point
    centre: Point
    _: KW_ONLY
    clockwise: bool
    part: str

    def __post_init__(self) -> None:
        """Refuse ends that do not lie on one circle."""
        if abs(self.radius - math.dist(self.end, self.centre)) > TOLERANCE:
            raise MeridianError(
                f"arc of '{self.part}': its ends are {in_mm(self.radius, 3)} and "
                f"{in_mm(math.dist(self.end, self.centre), 3)} from its centre; "
                "give a centre equally far from both."
            )

    @property
    def radius(self) -> float:
        """Radius, metres."""
        return math.dist(self.start, self.centre)

    @cached_property
    def sweep(self) -> float:
        """Angle swept from start to end, radians, positive counter-clockwise."""
        turn = (angle(self.centre, self.end) - angle(self.centre, self.start)) % (2 * math.pi)
        if math.dist(self.start, self.end) <= TOLERANCE:
            return 0.0
        return turn - 2 * math.pi if self.clockwise else turn

    @property
    def length(self) -> float:
        """Arc length, metres."""
        return self.radius * abs(self.sweep)

    @property
    def min_radius(self) -> float:
        """The radius, metres."""
        return self.radius

    @property
    def breaks(self) -> tuple[float, ...]:
        """Smooth throughout."""
        return (0.0, 1.0)

    def point(self, t: ArrayLike) -> Array:
        """Points [r, z] at the parameters t, shape (..., 2)."""
        t = np.asarray(t, dtype=float)
        points = np.array(self.centre) + self.radius * unit(self._angles(t))
        return pinned(points, t, self.start, self.end)

    def derivative(self, t: ArrayLike) -> Array:
        """Return d[r, z]/dt at the parameters t, shape (..., 2)."""
        return self.radius * self.sweep * unit_turned(self._angles(np.asarray(t, dtype=float)))

    def reversed(self) -> Self:
        """Return the same arc walked the other way."""
        return replace(self, start=self.end, end=self.start, clockwise=not self.clockwise)

    def shifted(self, dz: float) -> Self:
        """Return the arc moved up by dz metres."""
        start, end, centre = (up(p, dz) for p in (self.start, self.end, self.centre))
        return replace(self, start=start, end=end, centre=centre)

    def relabelled(self, part: str) -> Self:
        """Return the arc as belonging to another part."""
        return replace(self, part=part)

    def _angles(self, t: Array) -> Array:
        return angle(self.centre, self.start) + t * self.sweep


@dataclass(frozen=True)
class Curve:
    """A cubic spline through knots (r, z), its parameter following the chord length.

    Parameters
    ----------
    knots : sequence of (r, z)
        At least two different points, metres; kept as a tuple of tuples, so that curves can be
        compared and hashed by value.
    part : str
        Label.

    Raises
    ------
    MeridianError
        If there are fewer than two knots, or two neighbours coincide.
    """

    knots: tuple[Point, ...]
    part: str

    def __post_init__(self) -> None:
        """Freeze the knots and refuse neighbours that coincide."""
        knots = tuple((float(r), float(z)) for r, z in self.knots)
        object.__setattr__(self, "knots", knots)
        if len(knots) < 2:
            raise MeridianError(f"curve of '{self.part}': give at least two points.")
        for i in range(len(knots) - 1):
            if math.dist(knots[i], knots[i + 1]) <= TOLERANCE:
                raise MeridianError(
                    f"curve of '{self.part}': points {i + 1} and {i + 2} are the same "
                    f"({place(knots[i])}); leave one out."
                )

    @property
    def start(self) -> Point:
        """First knot."""
        return self.knots[0]

    @property
    def end(self) -> Point:
        """Last knot."""
        return self.knots[-1]

    @cached_property
    def breaks(self) -> tuple[float, ...]:
        """Parameters of the knots."""
        steps = np.hypot(*np.diff(np.array(self.knots), axis=0).T)
        along = np.concatenate(([0.0], np.cumsum(steps)))
        return tuple(float(s) for s in along / along[-1])

    @cached_property
    def length(self) -> float:
        """Arc length, metres."""
        return arc_length(self)

    @cached_property
    def min_radius(self) -> float:
        """Smallest radius of curvature, metres, found on a dense grid."""
        return float(np.min(self._radii(np.linspace(0.0, 1.0, 32 * len(self.knots) + 1))))

    def point(self, t: ArrayLike) -> Array:
        """Points [r, z] at the parameters t, shape (..., 2)."""
        t = np.asarray(t, dtype=float)
        return pinned(self._spline(t), t, self.start, self.end)

    def derivative(self, t: ArrayLike) -> Array:
        """Return d[r, z]/dt at the parameters t, shape (..., 2)."""
        return self._spline(np.asarray(t, dtype=float), 1)

    def reversed(self) -> Self:
        """Return the same curve walked the other way."""
        return replace(self, knots=self.knots[::-1])

    def shifted(self, dz: float) -> Self:
        """Return the curve moved up by dz metres."""
        return replace(self, knots=tuple(up(p, dz) for p in self.knots))

    def relabelled(self, part: str) -> Self:
        """Return the curve as belonging to another part."""
        return replace(self, part=part)

    @cached_property
    def _spline(self) -> "CubicSpline":
        # scipy is slow to import and only splines need it.
        from scipy.interpolate import CubicSpline

        return CubicSpline(self.breaks, np.array(self.knots))

    def _radii(self, t: Array) -> Array:
        first, second = self._spline(t, 1), self._spline(t, 2)
        bend = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
        with np.errstate(divide="ignore"):
            return np.hypot(first[:, 0], first[:, 1]) ** 3 / bend


def integrate(piece: Piece, integrand: Callable[[Array, Array], Array]) -> float:
    """Integrate over t along a piece, exactly to rounding for smooth integrands.

    `integrand` takes the points (N, 2) and derivatives (N, 2) and returns N values.
    """
    total = 0.0
    for low, high in zip(piece.breaks, piece.breaks[1:], strict=False):
        t = low + (high - low) * (1 + _GAUSS_NODES) / 2
        values = integrand(piece.point(t), piece.derivative(t))
        total += (high - low) / 2 * float(_GAUSS_WEIGHTS @ values)
    return total


def arc_length(piece: Piece) -> float:
    """Arc length of a piece by quadrature, metres."""
    return integrate(piece, lambda _, dx: np.hypot(dx[:, 0], dx[:, 1]))


def up(point: Point, dz: float) -> Point:
    """Return the point moved up by dz."""
    return (point[0], point[1] + dz)


def angle(centre: Point, point: Point) -> float:
    """Direction of a point seen from the centre, radians from the r axis."""
    return math.atan2(point[1] - centre[1], point[0] - centre[0])


def unit(angles: Array) -> Array:
    """Return unit vectors (..., 2) in the given directions."""
    return np.stack((np.cos(angles), np.sin(angles)), axis=-1)


def unit_turned(angles: Array) -> Array:
    """Return unit vectors (..., 2) a quarter turn counter-clockwise of the directions."""
    return np.stack((-np.sin(angles), np.cos(angles)), axis=-1)


def pinned(points: Array, t: Array, start: Point, end: Point) -> Array:
    """Make the ends exact, so that a point on the axis has r = 0 and not a rounding below it."""
    points = np.where((t == 0.0)[..., None], np.array(start), points)
    return np.where((t == 1.0)[..., None], np.array(end), points)


def place(point: ArrayLike) -> str:
    """Write a point of the meridian plane, ``"r 12.0 mm, z -3.0 mm"``."""
    r, z = np.asarray(point)
    return f"r {in_own(float(r))}, z {in_own(float(z))}"
