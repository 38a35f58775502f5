"""The parts an assembly is put together from, by the dimensions a builder measures (metres).

A part refuses values that are no sizes at all (negative, not finite). Whether the parts fit one
another is found by `shapes.clashes`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapes.footprints import Footprint
from shapes.lengths import in_own

WHIZZER_RIM = 1e-3
"""Thickness of a whizzer's wall, measured horizontally, metres."""


class AssemblyError(ValueError):
    """A value that is no size of a part; the message says what to change."""


@dataclass(frozen=True)
class DustCap:
    """Spherical dome that stands up from the cone's neck."""

    radius: float
    height: float

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        check_above_zero("dust cap", radius=self.radius)
        check_at_least_zero("dust cap", height=self.height)


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
        check_above_zero(
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
        check_above_zero(
            "driver", effective_radius=self.effective_radius, frame_radius=self.frame_radius
        )
        check_at_least_zero(
            "driver",
            cone_depth=self.cone_depth,
            proud=self.proud,
            recess=self.recess,
            excursion=self.excursion,
        )
        if self.cutout_radius is not None:
            check_above_zero("driver", cutout_radius=self.cutout_radius)

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

    def radius_below(self, depth: float) -> float:
        """Radius of the cavity at a depth under the baffle's face, m; 0 below the neck."""
        if depth >= -self.neck_z:
            return 0.0
        share = max(depth - self.recess, 0.0) / self.cone_depth if self.cone_depth else 0.0
        return self.effective_radius + share * (self.neck_radius - self.effective_radius)

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
        check_above_zero(
            "tweeter", dome_radius=self.dome_radius, housing_radius=self.housing_radius
        )
        check_at_least_zero("tweeter", dome_height=self.dome_height)
        if not math.isfinite(self.face_height):
            raise AssemblyError("tweeter: the face height must be a number.")


@dataclass(frozen=True)
class TopPlate:
    """Plate that carries the reflector; its edge may be rounded above and below.

    Parameters
    ----------
    radius : float
        Of a round plate; of the circle of equal area where it has sides.
    thickness : float
    edge_radius : float
    sides : int
        0 is round.
    """

    radius: float
    thickness: float
    edge_radius: float = 0.0
    sides: int = 0

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        check_above_zero("plate", radius=self.radius, thickness=self.thickness)
        check_at_least_zero("plate", edge_radius=self.edge_radius)

    @property
    def footprint(self) -> Footprint:
        """Its outline from above."""
        if self.sides == 0:
            return Footprint(2 * self.radius)
        # A polygon's width is in proportion to the radius of the circle of equal area.
        return Footprint(self.radius / Footprint(1.0, self.sides).radius, self.sides)

    @property
    def flat_radius(self) -> float:
        """Radius of the largest circle on the flat of the underside, inside the rounded edge."""
        return self.footprint.inner_radius - self.edge_radius


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
        check_above_zero("posts", radius=self.radius, circle_radius=self.circle_radius)
        check_at_least_zero(
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
    let_in : bool
        True for felt in a rebate, its face flush with the board; else it stands out.
    """

    thickness: float
    inner_radius: float | None = None
    outer_radius: float | None = None
    let_in: bool = False

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        check_above_zero("felt", thickness=self.thickness)
        if self.inner_radius is not None:
            check_at_least_zero("felt", inner_radius=self.inner_radius)
        if self.outer_radius is not None:
            check_above_zero("felt", outer_radius=self.outer_radius)

    def within(self, inside: float, outside: float) -> FeltBand:
        """Return where it lies on a flat that is free from `inside` to `outside`."""
        inner, outer = self.inner_radius, self.outer_radius
        return FeltBand(
            inner=inside if inner is None else inner,
            outer=outside if outer is None else outer,
            thickness=self.thickness,
            proud=0.0 if self.let_in else self.thickness,
        )


@dataclass(frozen=True)
class FeltBand:
    """A ring of felt with both its radii known, and how far it stands out (metres)."""

    inner: float
    outer: float
    thickness: float
    proud: float

    @property
    def width(self) -> float:
        """From its inner to its outer edge."""
        return self.outer - self.inner

    @property
    def area(self) -> float:
        """Of the ring seen from above, square metres."""
        return math.pi * (self.outer**2 - self.inner**2)


def check_above_zero(part: str, **sizes: float) -> None:
    """Raise AssemblyError unless every size of a part is more than zero."""
    for name, size in sizes.items():
        if not (math.isfinite(size) and size > 0):
            raise AssemblyError(f"{part}: {_words(name)} must be more than zero, not {_mm(size)}.")


def check_at_least_zero(part: str, **sizes: float) -> None:
    """Raise AssemblyError if a size of a part is negative."""
    for name, size in sizes.items():
        if not (math.isfinite(size) and size >= 0):
            raise AssemblyError(f"{part}: {_words(name)} must not be negative ({_mm(size)}).")


def _words(name: str) -> str:
    return name.replace("_", " ")


def _mm(size: float) -> str:
    return in_own(size) if math.isfinite(size) else str(size)
