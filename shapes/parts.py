"""The parts an assembly is put together from, by the dimensions a builder measures (metres).

A part refuses values that are no sizes at all (negative, not finite). Whether the parts fit one
another is found by `shapes.clashes`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shapes.lengths import in_mm

WHIZZER_RIM = 1e-3
"""Thickness of a whizzer's wall, measured horizontally, metres."""

_SIDES = {"square": 4, "hexagonal": 6}


class AssemblyError(ValueError):
    """A value that is no size of a part; the message says what to change."""


@dataclass(frozen=True)
class Column:
    """Column with the baffle as its upper end.

    Parameters
    ----------
    width : float
        Diameter, or width across the flats of a square or hexagonal column.
    height : float
        From the foot to the baffle's face.
    shape : {"round", "square", "hexagonal"}
        A column that is not round is computed as the round one of equal area.
    edge_radius : float
        Rounding of the baffle's edge.
    """

    width: float
    height: float
    shape: Literal["round", "square", "hexagonal"] = "round"
    edge_radius: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero("column", width=self.width, height=self.height)
        _check_at_least_zero("column", edge_radius=self.edge_radius)
        if self.shape != "round" and self.shape not in _SIDES:
            raise AssemblyError(
                f"unknown column shape {self.shape!r}: choose round, square or hexagonal."
            )

    @property
    def radius(self) -> float:
        """Radius of the circle of equal area."""
        if self.shape == "square":
            return self.width / math.sqrt(math.pi)
        if self.shape == "hexagonal":
            return self.width * math.sqrt(math.sqrt(3) / (2 * math.pi))
        return self.width / 2

    @property
    def tipping_angle(self) -> float:
        """Angle, rad, at which an evenly heavy column tips: atan(half width over half height)."""
        return math.atan2(self.width / 2, self.height / 2)

    @property
    def flat_radius(self) -> float:
        """Radius of the largest circle on the flat of the real baffle, inside its edge."""
        return self.width / 2 - self.edge_radius

    def post_circle_limit(self, count: int, post_radius: float) -> float:
        """Largest post circle radius for which `count` posts still stand on the baffle's flat.

        On a square or hexagonal baffle the posts may be turned towards the corners if their
        number divides the number of corners.
        """
        inside = self.flat_radius - post_radius
        sides = _SIDES.get(self.shape)
        if sides is None or sides % count:
            return inside
        return inside / math.cos(math.pi / sides)


@dataclass(frozen=True)
class DustCap:
    """Spherical dome that stands up from the cone's neck."""

    radius: float
    height: float

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero("dust cap", radius=self.radius)
        _check_at_least_zero("dust cap", height=self.height)


@dataclass(frozen=True)
class Whizzer:
    """Small cone that stands up from the neck and moves with the cone.

    Parameters
    ----------
    radius : float
        At its rim, outside.
    height : float
        Of the rim above the neck.
    neck_radius : float
        Outside, where it stands on the cone's neck. The wall is `WHIZZER_RIM` thick.
    cap : DustCap, optional
        In its middle, standing on the level of the neck; flat if left out.
    """

    radius: float
    height: float
    neck_radius: float
    cap: DustCap | None = None

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero(
            "whizzer", radius=self.radius, height=self.height, neck_radius=self.neck_radius
        )


@dataclass(frozen=True, kw_only=True)
class Driver:
    """Driver that fires up.

    Parameters
    ----------
    effective_radius : float
        sqrt(area / pi), about the cone and half of the surround.
    frame_radius : float
        Outside of the frame or gasket ring.
    cone_depth : float
        From the cone's outer rim down to its neck. 0 is a flat piston.
    centre : DustCap or Whizzer, optional
        What stands on the neck. Without it the cone runs straight down to the axis.
    proud : float
        How far the ring from `effective_radius` to `frame_radius` stands above the baffle.
    recess : float
        How far the cone's outer rim lies below the baffle.
    excursion : float
        Peak, one way.
    cutout_radius : float, optional
        Opening in the baffle.
    """

    effective_radius: float
    frame_radius: float
    cone_depth: float = 0.0
    centre: DustCap | Whizzer | None = None
    proud: float = 0.0
    recess: float = 0.0
    excursion: float = 0.0
    cutout_radius: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero(
            "driver", effective_radius=self.effective_radius, frame_radius=self.frame_radius
        )
        _check_at_least_zero(
            "driver",
            cone_depth=self.cone_depth,
            proud=self.proud,
            recess=self.recess,
            excursion=self.excursion,
        )
        if self.cutout_radius is not None:
            _check_above_zero("driver", cutout_radius=self.cutout_radius)

    @property
    def neck_z(self) -> float:
        """Height of the neck, below zero under the baffle's face."""
        return -self.recess - self.cone_depth

    @property
    def neck_radius(self) -> float:
        """Radius at which the cone ends and the centre begins."""
        if isinstance(self.centre, Whizzer):
            return self.centre.neck_radius
        return self.centre.radius if self.centre else 0.0

    @property
    def area(self) -> float:
        """Effective area, square metres."""
        return math.pi * self.effective_radius**2


@dataclass(frozen=True)
class Tweeter:
    """Coaxial second way: a dome on a round pod that rises from the cone's neck.

    It takes the place of the driver's centre; the cone ends at the pod.

    Parameters
    ----------
    dome_radius, dome_height : float
        Of the dome, at most half a sphere.
    face_height : float
        Of the dome's base above the baffle's face; may be below it (negative).
    housing_radius : float
        Of the pod.
    """

    dome_radius: float
    dome_height: float
    face_height: float
    housing_radius: float

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero(
            "tweeter", dome_radius=self.dome_radius, housing_radius=self.housing_radius
        )
        _check_at_least_zero("tweeter", dome_height=self.dome_height)
        if not math.isfinite(self.face_height):
            raise AssemblyError("tweeter: the face height must be a number.")


@dataclass(frozen=True)
class TopPlate:
    """Round plate that carries the reflector; its edge may be rounded above and below."""

    radius: float
    thickness: float
    edge_radius: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero("plate", radius=self.radius, thickness=self.thickness)
        _check_at_least_zero("plate", edge_radius=self.edge_radius)

    @property
    def flat_radius(self) -> float:
        """Radius of the flat of the underside, inside the rounded edge."""
        return self.radius - self.edge_radius


@dataclass(frozen=True)
class Posts:
    """Round posts between baffle and plate.

    Parameters
    ----------
    count : int
        At least one.
    radius : float
        Of one post.
    circle_radius : float
        Of the circle on which their axes stand.
    socket_plate, socket_baffle : float
        Depth of the sockets.
    """

    count: int
    radius: float
    circle_radius: float
    socket_plate: float = 0.0
    socket_baffle: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        if self.count < 1:
            raise AssemblyError(f"posts: the count must be at least 1, not {self.count}.")
        _check_above_zero("posts", radius=self.radius, circle_radius=self.circle_radius)
        _check_at_least_zero(
            "posts", socket_plate=self.socket_plate, socket_baffle=self.socket_baffle
        )

    @property
    def inner_radius(self) -> float:
        """Where the posts begin, seen from the axis."""
        return self.circle_radius - self.radius

    @property
    def outer_radius(self) -> float:
        """Where the posts end, seen from the axis."""
        return self.circle_radius + self.radius

    @property
    def chord(self) -> float:
        """Distance between the axes of neighbouring posts; inf for a single one."""
        if self.count == 1:
            return math.inf
        return 2 * self.circle_radius * math.sin(math.pi / self.count)


@dataclass(frozen=True)
class FeltRing:
    """Flat ring of felt or carpet on the baffle or under the plate, about the axis.

    Parameters
    ----------
    thickness : float
    inner_radius : float, optional
        Left out, from the driver's frame or from the reflector's widest.
    outer_radius : float, optional
        Left out, to the edge of the flat it lies on.
    """

    thickness: float
    inner_radius: float | None = None
    outer_radius: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        _check_above_zero("felt", thickness=self.thickness)
        if self.inner_radius is not None:
            _check_at_least_zero("felt", inner_radius=self.inner_radius)
        if self.outer_radius is not None:
            _check_above_zero("felt", outer_radius=self.outer_radius)

    def within(self, inside: float, outside: float) -> FeltBand:
        """Return where it lies on a flat that is free from `inside` to `outside`."""
        inner, outer = self.inner_radius, self.outer_radius
        return FeltBand(
            inside if inner is None else inner, outside if outer is None else outer, self.thickness
        )


@dataclass(frozen=True)
class FeltBand:
    """A ring of felt with both its radii known (metres)."""

    inner: float
    outer: float
    thickness: float

    @property
    def width(self) -> float:
        """From its inner to its outer edge."""
        return self.outer - self.inner

    @property
    def area(self) -> float:
        """Of the ring seen from above, square metres."""
        return math.pi * (self.outer**2 - self.inner**2)


def post_angles(column: Column, posts: Posts) -> tuple[float, ...]:
    """Azimuths of the posts, radians; the first at 0, across the flats of a column with sides.

    They turn towards the corners where only those have room for the post circle.
    """
    sides = _SIDES.get(column.shape)
    fits_flats = posts.outer_radius <= column.flat_radius
    first = 0.0 if sides is None or fits_flats else math.pi / sides
    return tuple(first + 2 * math.pi * k / posts.count for k in range(posts.count))


def _check_above_zero(part: str, **sizes: float) -> None:
    for name, size in sizes.items():
        if not (math.isfinite(size) and size > 0):
            raise AssemblyError(f"{part}: {_words(name)} must be more than zero, not {_mm(size)}.")


def _check_at_least_zero(part: str, **sizes: float) -> None:
    for name, size in sizes.items():
        if not (math.isfinite(size) and size >= 0):
            raise AssemblyError(f"{part}: {_words(name)} must not be negative ({_mm(size)}).")


def _words(name: str) -> str:
    return name.replace("_", " ")


def _mm(size: float) -> str:
    return in_mm(size) if math.isfinite(size) else str(size)
