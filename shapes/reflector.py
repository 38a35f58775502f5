"""What a reflector is: a profile, its base, and the dimensions that go to the workshop.

As mounted, in local coordinates: the flat base lies at z = 0 and is fixed under the top plate;
the tip hangs down to (0, -height). The profile runs from the tip outwards to the rim at
(base_radius, 0). Slopes are angles of the meridian above horizontal.
"""

import math
from dataclasses import dataclass
from itertools import takewhile
from typing import Literal, NamedTuple

from shapes.meridian import Meridian

PART = "reflector"


class ReflectorError(ValueError):
    """Dimensions that make no reflector; the message says what to change."""


class WorkshopFact(NamedTuple):
    """A dimension for the workshop: SI value, and what kind of quantity it is."""

    name: str
    value: float
    unit: Literal["length", "angle"]


@dataclass(frozen=True)
class Reflector:
    """A reflector's profile and the dimensions that go to the workshop.

    Parameters
    ----------
    kind : str
        Name of its shape, such as "ball cap" or "cone".
    profile : Meridian
        From the tip on the axis to the rim at z = 0, metres.
    facts : tuple of WorkshopFact
        Named dimensions, metres or radians.
    label : str
        One line for tables.
    """

    kind: str
    profile: Meridian
    facts: tuple[WorkshopFact, ...]
    label: str

    @property
    def height(self) -> float:
        """Depth from the flat base to the lowest point, metres."""
        return -float(self.profile.sample(1e-6)[:, 1].min())

    @property
    def base_radius(self) -> float:
        """Radius of the flat base, metres."""
        return self.profile.end[0]

    @property
    def widest_radius(self) -> float:
        """Largest radius anywhere (above the base radius where a profile bulges), metres."""
        return float(self.profile.sample(1e-6)[:, 0].max())

    @property
    def rim_z(self) -> float:
        """Height of the base edge's lower side (below zero if the rim is a cylinder), metres."""
        points = self.profile.sample(1e-6)[::-1]
        rim = takewhile(lambda point: abs(point[0] - self.base_radius) < 1e-6, points)
        return float(min(z for _, z in rim))

    @property
    def rim_slope(self) -> float:
        """Angle of the meridian above horizontal at the rim, radians; over pi/2 if it bulges."""
        return slope_at(self.profile, 1.0)

    @property
    def tip_slope(self) -> float:
        """Angle of the meridian above horizontal at the tip, radians."""
        return slope_at(self.profile, 0.0)

    @property
    def volume(self) -> float:
        """Volume, cubic metres."""
        return self.profile.volume

    def fact(self, name: str) -> float:
        """Return the value of a named fact.

        Raises
        ------
        KeyError
            If this kind of reflector has no such fact.
        """
        return {fact.name: fact.value for fact in self.facts}[name]


def size_facts(base_radius: float, height: float) -> tuple[WorkshopFact, ...]:
    """Facts that every reflector but a ball cap begins with."""
    return (
        WorkshopFact("base diameter", 2 * base_radius, "length"),
        WorkshopFact("height", height, "length"),
    )


def slope_at(profile: Meridian, t: float) -> float:
    """Angle of the meridian above horizontal at its first (t = 0) or last (t = 1) point."""
    piece = profile.pieces[0] if t == 0.0 else profile.pieces[-1]
    dr, dz = piece.derivative(t)
    return math.atan2(dz, dr)


def check_positive(name: str, value: float) -> None:
    """Refuse a length that is not more than zero."""
    if not (math.isfinite(value) and value > 0):
        raise ReflectorError(f"the {name} must be more than zero, not {value * 1e3:g} mm.")


def check_not_negative(name: str, value: float) -> None:
    """Refuse a negative length."""
    if not (math.isfinite(value) and value >= 0):
        raise ReflectorError(f"the {name} must not be negative ({value * 1e3:g} mm).")
