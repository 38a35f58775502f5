"""Where the saw goes through a ball: the cut, its checks, the jig ring (metres)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapes.lengths import INCH, own_unit
from shapes.reflectors import base_of_cap
from studies.design.reflector_tables import BallTable

RING_SHARE = 0.6
"""A jig ring of at most this share of the ball's diameter holds it without wedging: common
practice, no source."""
RING_STEPS = {"mm": 5e-3, "in": INCH / 4}


@dataclass(frozen=True)
class JigRing:
    """A ring (a slice of pipe) in which the ball rests, on the ring's inner edge.

    Attributes
    ----------
    inner_diameter : float
    sunk : float
        How far the ball's lowest point lies below the ring's top, R - sqrt(R^2 - q^2) with R
        the ball's radius and q half the inner diameter.
    """

    inner_diameter: float
    sunk: float


@dataclass(frozen=True)
class OtherCut:
    """The same keep where the ball measures something else (metres)."""

    diameter: float
    cut_off: float
    base_diameter: float


@dataclass(frozen=True, kw_only=True)
class BallCut:
    """A ball, what is kept of it, and how it is sawn.

    Attributes
    ----------
    diameter : float
        Mean of the measured diameters.
    keep : float
        From the apex (the kept pole) to the finished flat.
    kerf : float
        Width that the saw takes, on the waste side.
    sanding : float
        Left on the kept piece by the saw, to be sanded off.
    smallest, largest : float
        Measured diameters.
    """

    diameter: float
    keep: float
    kerf: float
    sanding: float
    smallest: float
    largest: float

    @property
    def cut_off(self) -> float:
        """Height of the piece that is cut off, with kerf and sanding."""
        return self.diameter - self.keep

    @property
    def base_diameter(self) -> float:
        """Diameter of the finished flat: the check."""
        return base_of_cap(self.diameter, self.keep)

    @property
    def rim_slope(self) -> float:
        """Angle of the surface above the flat's plane at its rim, radians."""
        return math.acos(1 - 2 * self.keep / self.diameter)

    @property
    def base_per_keep(self) -> float:
        """Change of the base diameter b = 2 sqrt(h (D - h)) for a change of keep h."""
        return 2 * (self.diameter - 2 * self.keep) / self.base_diameter

    @property
    def blade(self) -> tuple[float, float]:
        """Near and far face of the saw blade, from the kept pole."""
        return self.keep + self.sanding, self.keep + self.sanding + self.kerf

    @property
    def ring(self) -> JigRing:
        """A ring that holds the ball either way up, its edge well away from the cut."""
        radius = self.diameter / 2
        deepest = min(self.keep, self.cut_off) / 2
        across = min(RING_SHARE * self.diameter, 2 * math.sqrt(deepest * (self.diameter - deepest)))
        step = RING_STEPS[own_unit()]
        if across > step:
            across = step * math.floor(across / step + 1e-9)
        return JigRing(across, radius - math.sqrt(radius**2 - across**2 / 4))

    def above_ring(self, from_pole: float, *, kept_down: bool) -> float:
        """Height above the jig ring's top of a plane so far from the kept pole."""
        height = from_pole if kept_down else self.diameter - from_pole
        return height - self.ring.sunk

    @property
    def spread(self) -> tuple[OtherCut, ...]:
        """What is cut off, and left as a base, where the ball is smallest and largest.

        Empty for a ball that was measured once, or that measures less than `keep` somewhere.
        """
        if self.smallest == self.largest or self.smallest < self.keep:
            return ()
        return tuple(
            OtherCut(ball, ball - self.keep, base_of_cap(ball, self.keep))
            for ball in (self.smallest, self.largest)
        )


def ball_cut(ball: BallTable, kerf: float, sanding: float) -> BallCut:
    """Return the cut of the ball of a design file; `kerf` and `sanding` as in `BallCut`, metres."""
    measured = ball.ball_diameter
    return BallCut(
        diameter=ball.diameter,
        keep=ball.kept,
        kerf=kerf,
        sanding=sanding,
        smallest=min(measured),
        largest=max(measured),
    )
