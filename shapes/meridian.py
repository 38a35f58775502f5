"""A body of revolution by its meridian: an ordered chain of pieces in the (r, z) half plane.

A `Meridian` keeps its pieces in the order in which they were given and never sorts them, so a
profile may double back. A solid is walked from its lower axis point outwards to its upper axis
point; with the unit tangent t in that direction the normal n = (t_z, -t_r) points into the air.

The pieces (`Line`, `Arc`, `Conic`, `Curve`) are made in `shapes.pieces` and `shapes.conics` and
can be had from here.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Self

import numpy as np

from shapes.conics import Conic
from shapes.crossings import polyline_self_crossings
from shapes.pieces import (
    TOLERANCE,
    Arc,
    Array,
    Curve,
    Line,
    MeridianError,
    Piece,
    Point,
    integrate,
    place,
)

__all__ = ["Arc", "Conic", "Curve", "Line", "Meridian", "MeridianError", "Piece", "Point", "sample"]


@dataclass(frozen=True)
class Meridian:
    """An ordered chain of pieces, each starting where the last one ended.

    The volume and centroid are those of the solid swept between the chain and the axis; ends
    off the axis are closed by flat discs.

    Raises
    ------
    MeridianError
        If the chain is empty, has a gap or a piece of no length, or reaches across the axis.
    """

    pieces: tuple[Piece, ...]

    def __post_init__(self) -> None:
        """Check the chain."""
        object.__setattr__(self, "pieces", tuple(self.pieces))
        if not self.pieces:
            raise MeridianError("a meridian needs at least one piece.")
        for piece in self.pieces:
            _check_piece(piece)
        for last, following in zip(self.pieces, self.pieces[1:], strict=False):
            if math.dist(last.end, following.start) > TOLERANCE:
                raise MeridianError(
                    f"'{last.part}' ends at {place(last.end)} but '{following.part}' starts at "
                    f"{place(following.start)}: join them."
                )

    @classmethod
    def joined(cls, pieces: Iterable[Piece]) -> Self:
        """Chain the pieces, leaving out those of no length."""
        return cls(tuple(p for p in pieces if p.length > TOLERANCE))

    @property
    def start(self) -> Point:
        """First point of the chain (r, z), metres."""
        return self.pieces[0].start

    @property
    def end(self) -> Point:
        """Last point of the chain (r, z), metres."""
        return self.pieces[-1].end

    @property
    def length(self) -> float:
        """Arc length, metres."""
        return sum(piece.length for piece in self.pieces)

    @property
    def area(self) -> float:
        """Area of the surface of revolution, square metres (2 pi times the integral of r ds)."""
        return self._integral(lambda x, dx: 2 * math.pi * x[:, 0] * np.hypot(dx[:, 0], dx[:, 1]))

    @property
    def volume(self) -> float:
        """Volume of the solid, cubic metres (pi times the integral of r^2 dz).

        Positive when the chain is walked from the lower axis point to the upper one.
        """
        return self._integral(lambda x, dx: math.pi * x[:, 0] ** 2 * dx[:, 1])

    @property
    def centroid_z(self) -> float:
        """Height of the solid's centre of volume, metres."""
        moment = self._integral(lambda x, dx: math.pi * x[:, 0] ** 2 * x[:, 1] * dx[:, 1])
        return moment / self.volume

    @property
    def parts(self) -> tuple[str, ...]:
        """Labels in the order of their first piece."""
        return tuple(dict.fromkeys(piece.part for piece in self.pieces))

    @property
    def is_closed(self) -> bool:
        """True if the chain starts and ends on the axis."""
        return abs(self.start[0]) <= TOLERANCE and abs(self.end[0]) <= TOLERANCE

    def of_parts(self, *parts: str) -> tuple[Piece, ...]:
        """Return the pieces with one of these labels, in order."""
        return tuple(piece for piece in self.pieces if piece.part in parts)

    def shifted(self, dz: float) -> Self:
        """Return the meridian moved up by dz metres."""
        return replace(self, pieces=tuple(piece.shifted(dz) for piece in self.pieces))

    def reversed(self) -> Self:
        """Return the same meridian walked the other way."""
        return replace(self, pieces=tuple(piece.reversed() for piece in self.pieces[::-1]))

    def sample(self, chord_error: float) -> Array:
        """Return a polyline that stays within chord_error metres of the meridian, (N, 2)."""
        return sample(self.pieces, chord_error)

    def self_intersections(self, chord_error: float = 1e-5) -> tuple[Point, ...]:
        """Points (r, z) where the meridian crosses, touches or runs back over itself.

        Found on a polyline within chord_error metres of the meridian.
        """
        return polyline_self_crossings(self.sample(chord_error))

    def _integral(self, integrand: Callable[[Array, Array], Array]) -> float:
        return sum(integrate(piece, integrand) for piece in self.pieces)


def sample(pieces: Iterable[Piece], chord_error: float) -> Array:
    """Polyline through a chain of pieces, within chord_error metres of it, shape (N, 2).

    Raises
    ------
    MeridianError
        If chord_error is not positive.
    """
    if not chord_error > 0:
        raise MeridianError(f"chord error must be positive, not {chord_error}.")
    rows: list[Array] = []
    for piece in pieces:
        points = piece.point(_parameters(piece, chord_error))
        rows.append(points[1:] if rows else points)
    return np.concatenate(rows)


def _check_piece(piece: Piece) -> None:
    if not all(map(math.isfinite, (*piece.start, *piece.end))):
        raise MeridianError(f"'{piece.part}' has an end that is not a finite number.")
    if piece.length <= TOLERANCE:
        raise MeridianError(
            f"'{piece.part}' has a piece of no length at {place(piece.start)}: leave it out."
        )
    points = piece.point(_evenly(8 * len(piece.breaks) + 1))
    lowest = int(np.argmin(points[:, 0]))
    if points[lowest, 0] < -TOLERANCE:
        raise MeridianError(
            f"'{piece.part}' reaches across the axis near {place(points[lowest])}: "
            "keep its radius at zero or above."
        )


@lru_cache(maxsize=64)
def _evenly(count: int) -> Array:
    return np.linspace(0.0, 1.0, count)


def _parameters(piece: Piece, chord_error: float) -> Array:
    """Parameters whose chords stay within chord_error: a chord h bulges by h^2 / (8 radius)."""
    stops = [np.array([0.0])]
    for low, high in zip(piece.breaks, piece.breaks[1:], strict=False):
        inside = np.linspace(low, high, 33)
        steps = np.diff(piece.point(inside), axis=0)
        size = float(np.sum(np.hypot(steps[:, 0], steps[:, 1])))
        radius = _tightest(piece, inside)
        chords = max(size / math.sqrt(8 * chord_error * radius), size / (1.5 * radius))
        # A chord as short as the allowed error cannot be out by more than that.
        count = max(1, math.ceil(min(chords, size / chord_error)))
        stops.append(np.linspace(low, high, count + 1)[1:])
    return np.concatenate(stops)


def _tightest(piece: Piece, t: Array) -> float:
    """Smallest radius of curvature over the parameters t, from the turn of the tangent."""
    if math.isinf(piece.min_radius):
        return math.inf
    slopes = piece.derivative(t)
    turns = np.abs(np.diff(np.unwrap(np.arctan2(slopes[:, 1], slopes[:, 0]))))
    steps = np.diff(piece.point(t), axis=0)
    bend = np.max(turns / np.hypot(steps[:, 0], steps[:, 1]))
    return math.inf if bend == 0 else float(1.0 / bend)
