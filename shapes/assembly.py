"""Assembly: column, driver, reflector, top plate and posts, put together (metres).

z = 0 is the baffle's upper face. Three gaps, never just "gap":

- plate gap: from the baffle's face to the underside of the top plate;
- rim gap: from the baffle's face to the reflector's base edge;
- tip clearance: the least vertical distance from the reflector (or plate) to the driver.

Ask `shapes.clashes.find_clashes` first: outlines and gaps of parts that do not fit mean nothing.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from shapes.columns import Column
from shapes.gaps import highest_at, lowest_at, vertical_gap
from shapes.meridian import Meridian
from shapes.outlines import column_outline, driver_outline, upper_outline
from shapes.parts import (
    AssemblyError,
    Driver,
    DustCap,
    FeltBand,
    FeltRing,
    Posts,
    TopPlate,
    Tweeter,
    Whizzer,
)
from shapes.pieces import Array
from shapes.reflector import Reflector

__all__ = [
    "Assembly",
    "AssemblyError",
    "Column",
    "DrivenWay",
    "Driver",
    "DustCap",
    "FeltRing",
    "Nearest",
    "Posts",
    "TopPlate",
    "Tweeter",
    "Whizzer",
]

MOVING_PARTS = ("cone", "whizzer", "dust cap")
FIXED_PARTS = ("frame", "recess", "pod", "dome")
CHORD_ERROR = 1e-6
"""Clearances are measured on polylines this close to the true outlines, metres."""
Part = TypeVar("Part")


@dataclass(frozen=True)
class DrivenWay:
    """A way that moves: its name, the labels of its pieces, its effective radius (metres)."""

    name: str
    parts: tuple[str, ...]
    effective_radius: float


@dataclass(frozen=True)
class Nearest:
    """Where the reflector comes closest to the driver: vertical gap, radius (metres), part."""

    gap: float
    radius: float
    part: str


@dataclass(frozen=True, kw_only=True)
class Assembly:
    """Everything that stands on one axis.

    Parameters
    ----------
    column : Column
        Column and baffle.
    driver : Driver
        Driver.
    plate_gap : float
        From the baffle's face to the underside of the plate (or the reflector's flat), metres.
    reflector : Reflector, optional
        Hangs under the plate.
    plate : TopPlate, optional
        Top plate.
    posts : Posts, optional
        Posts; not part of the bodies of revolution.
    tweeter : Tweeter, optional
        Coaxial second way.
    felt_on_baffle, felt_under_plate : FeltRing, optional
        Rings of felt, part of the bodies of revolution.

    Raises
    ------
    AssemblyError
        If the plate gap is no size. Whether the parts fit is found by `find_clashes`.
    """

    column: Column
    driver: Driver
    plate_gap: float
    reflector: Reflector | None
    plate: TopPlate | None
    posts: Posts | None = None
    tweeter: Tweeter | None = None
    felt_on_baffle: FeltRing | None = None
    felt_under_plate: FeltRing | None = None

    def __post_init__(self) -> None:
        """Refuse what is no gap."""
        if not (math.isfinite(self.plate_gap) and self.plate_gap > 0):
            raise AssemblyError(
                f"the plate gap must be more than zero, not {self.plate_gap * 1e3:g} mm."
            )

    @cached_property
    def lower(self) -> Meridian:
        """Column, baffle and driver, from the foot to the driver's middle."""
        outline = (
            *column_outline(self.column, self.driver.frame_radius, self.baffle_felt),
            *driver_outline(self.driver, self.tweeter, self.baffle_felt),
        )
        return Meridian.joined(outline)

    @cached_property
    def upper(self) -> Meridian | None:
        """Reflector and plate, from the tip to the top; None if there is neither."""
        if self.reflector is None and self.plate is None:
            return None
        pieces = upper_outline(self.plate_gap, self.reflector, self.plate, self.plate_felt)
        return Meridian.joined(pieces)

    @property
    def baffle_felt(self) -> FeltBand | None:
        """Where felt lies on the baffle; None where there is none."""
        if self.felt_on_baffle is None:
            return None
        return self.felt_on_baffle.within(self.driver.frame_radius, self.column.flat_radius)

    @property
    def plate_felt(self) -> FeltBand | None:
        """Where felt lies under the plate; None where there is none, or no plate."""
        if self.felt_under_plate is None or self.plate is None:
            return None
        inside = 0.0 if self.reflector is None else self.reflector.widest_radius
        return self.felt_under_plate.within(inside, self.plate.flat_radius)

    @property
    def hung_body(self) -> Meridian:
        """Meridian of what hangs over the baffle; raises AssemblyError if nothing does."""
        return _present(self.upper, "reflector or top plate")

    @property
    def bare_plate(self) -> Meridian:
        """Meridian of the top plate by itself; raises AssemblyError if there is none."""
        return replace(self, reflector=None, felt_under_plate=None).hung_body

    @property
    def hung_reflector(self) -> Reflector:
        """The reflector where there must be one; raises AssemblyError if there is none."""
        return _present(self.reflector, "reflector")

    @property
    def hung_plate(self) -> TopPlate:
        """The top plate where there must be one; raises AssemblyError if there is none."""
        return _present(self.plate, "top plate")

    @property
    def standing_posts(self) -> Posts:
        """The posts where there must be some; raises AssemblyError if there are none."""
        return _present(self.posts, "set of posts")

    @property
    def bodies(self) -> tuple[Meridian, ...]:
        """The closed meridians of the assembly."""
        return (self.lower,) if self.upper is None else (self.lower, self.upper)

    @cached_property
    def placed_bodies(self) -> tuple[tuple[Meridian, float], ...]:
        """The closed meridians, each in a place of its own, with how far it is lifted from there.

        Reflector and plate start from a plate gap of nothing, so that the same ones at another
        gap are the same meridian to the last bit.
        """
        if self.upper is None:
            return ((self.lower, 0.0),)
        pieces = upper_outline(0.0, self.reflector, self.plate, self.plate_felt)
        return ((self.lower, 0.0), (Meridian.joined(pieces), self.plate_gap))

    @property
    def ways(self) -> tuple[DrivenWay, ...]:
        """What moves: the driver, then the tweeter."""
        moving = tuple(part for part in self.lower.parts if part in MOVING_PARTS)
        driver = DrivenWay("driver", moving, self.driver.effective_radius)
        if self.tweeter is None:
            return (driver,)
        return (driver, DrivenWay("tweeter", ("dome",), self.tweeter.dome_radius))

    @cached_property
    def nearest_at_rest(self) -> Nearest:
        """Where the tip clearance is, with the driver at rest."""
        return self._nearest(0.0)

    @cached_property
    def nearest_in_motion(self) -> Nearest:
        """Where the tip clearance is, with the cone out by its excursion."""
        return self._nearest(self.driver.excursion)

    @property
    def tip_clearance(self) -> float:
        """Least vertical distance from reflector and plate to the driver at rest, metres.

        Negative if they overlap; inf if nothing hangs above.
        """
        return self.nearest_at_rest.gap

    @property
    def tip_clearance_in_motion(self) -> float:
        """Tip clearance with cone, whizzer and dust cap out by the excursion, metres."""
        return self.nearest_in_motion.gap

    @property
    def rim_gap(self) -> float:
        """From the baffle's face to the reflector's base edge, metres.

        Without a reflector it is the plate gap; inf if nothing hangs above.
        """
        if self.reflector is not None:
            return self.plate_gap + self.reflector.rim_z
        return self.plate_gap if self.plate is not None else math.inf

    @property
    def height_of_ring(self) -> float:
        """Middle of the rim gap above the column's foot, metres; the baffle if it is open."""
        half = 0.0 if math.isinf(self.rim_gap) else self.rim_gap / 2
        return self.column.height + half

    @property
    def post_length(self) -> float:
        """Cut length of a post: the plate gap and both sockets, metres."""
        if self.posts is None:
            return self.plate_gap
        return self.plate_gap + self.posts.socket_plate + self.posts.socket_baffle

    @property
    def driver_area(self) -> float:
        """Effective area of the driver, square metres."""
        return self.driver.area

    @property
    def throat_gap(self) -> float:
        """Vertical gap at the driver's effective radius, metres; inf if open above."""
        return float(self.vertical_gap_at(self.driver.effective_radius))

    @property
    def throat_area(self) -> float:
        """Area of the ring through which the driver breathes, 2 pi a times the gap there."""
        return 2 * math.pi * self.driver.effective_radius * self.throat_gap

    @property
    def ring_over_driver(self) -> float:
        """Area of the ring over the effective area of the driver; below 1 it chokes the driver."""
        return self.throat_area / self.driver_area

    @property
    def is_choked(self) -> bool:
        """True if the throat is smaller than the driver."""
        return self.throat_area < self.driver_area

    def vertical_gap_at(self, radius: ArrayLike) -> Array:
        """Vertical gap at the given radii, metres; inf where one of the bodies ends."""
        radius = np.asarray(radius, dtype=float)
        if self.upper is None:
            return np.full(radius.shape, math.inf)
        flat = radius.ravel()
        gaps = lowest_at(self.upper_line, flat) - highest_at(self.lower_line, flat)
        return gaps.reshape(radius.shape)

    def path_area(self, radius: ArrayLike) -> Array:
        """Area of the upright ring through which sound passes each radius, square metres.

        2 pi r times the vertical gap. Where the walls slope it is larger than the area square to
        the flow, so read its course rather than its value.
        """
        return 2 * math.pi * np.asarray(radius, dtype=float) * self.vertical_gap_at(radius)

    def with_gap(self, plate_gap: float) -> Self:
        """Return the assembly with another plate gap."""
        return replace(self, plate_gap=plate_gap)

    def with_column_to(self, depth: float) -> Self:
        """Return the assembly with a column that ends so far, m, below the baffle's face."""
        return replace(self, column=self.column.to_depth(depth))

    def with_reflector(self, reflector: Reflector | None) -> Self:
        """Return the assembly with another reflector, or none under the same plate."""
        return replace(self, reflector=reflector)

    def with_plate(self, plate: TopPlate | None) -> Self:
        """Return the assembly with another top plate, or none."""
        return replace(self, plate=plate)

    def with_felt(self, on_baffle: FeltRing | None, under_plate: FeltRing | None) -> Self:
        """Return the assembly with other rings of felt, or none."""
        return replace(self, felt_on_baffle=on_baffle, felt_under_plate=under_plate)

    def without_upper(self) -> Self:
        """Return the bare column with its driver: no reflector, plate or posts."""
        return replace(self, reflector=None, plate=None, posts=None)

    @property
    def gap_over_felt(self) -> float:
        """Least vertical distance from felt to what is opposite, metres; inf without felt.

        From felt on the baffle up, from felt under the plate down.
        """
        gaps, above, below = [math.inf], self.plate_felt, self.baffle_felt
        if below is not None and self.upper is not None:
            gaps.append(vertical_gap(self.upper_line, _face(below, below.proud))[0])
        if above is not None:
            face = _face(above, self.plate_gap - above.proud)
            gaps.append(vertical_gap(face, self.lower_line)[0])
        return min(gaps)

    @cached_property
    def upper_line(self) -> Array:
        """Polyline of the upper body, for measuring; empty if there is none."""
        return self.upper.sample(CHORD_ERROR) if self.upper is not None else np.empty((0, 2))

    @cached_property
    def lower_line(self) -> Array:
        """Polyline of the lower body, for measuring."""
        return self.lower.sample(CHORD_ERROR)

    def _nearest(self, excursion: float) -> Nearest:
        nearest = Nearest(math.inf, math.nan, "")
        if self.upper is None:
            return nearest
        for piece in self.lower.of_parts(*MOVING_PARTS, *FIXED_PARTS):
            lift = excursion if piece.part in MOVING_PARTS else 0.0
            line = Meridian((piece,)).shifted(lift).sample(CHORD_ERROR)
            gap, radius = vertical_gap(self.upper_line, line)
            if gap < nearest.gap:
                nearest = Nearest(gap, radius, piece.part)
        return nearest


def _face(felt: FeltBand, z: float) -> Array:
    """Polyline of a felt's face at a height."""
    return np.array([(felt.inner, z), (felt.outer, z)])


def _present(part: Part | None, name: str) -> Part:
    if part is None:
        raise AssemblyError(f"there is no {name} in this assembly.")
    return part
