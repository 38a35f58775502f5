"""Ray tubes: how neighbours of a ray part on their way, and so how loud it is when it arrives.

About each ray its neighbours obey two matrices, one in the plane of the axis and one square to it.
In the plane a neighbour is traced. Square to it everything is round, so a bounce at x that turns
the direction by t adds t_x / x to the slope of a neighbour one metre aside: that is what the
surface's second principal radius, x over the normal's x, does (Deschamps, Ray Techniques in
Electromagnetics, Proc. IEEE 60, 1022 (1972)). Pressure goes as 1/sqrt(width times extent across);
where a tube has none of the one or the other, a caustic, it turns by -90 degrees (Kravtsov &
Orlov, Caustics, Catastrophes and Wave Fields (1993), 3.1).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

from dispersion.paths.fans import Mask, Rays, Real, Whole, cross

Complex = NDArray[np.complex128]

NEXT_TO = 1e-6
"""Angle to the neighbour that tells how wide a tube is, radians."""
ON_AXIS = 1e-12
"""A bounce this close to the axis counts as this far from it, metres."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Tubes:
    """The tubes about N rays, as they are right after the last bounce.

    Attributes
    ----------
    width, across, offset : (N,) arrays
        In the plane, and square to it, metres per radian at the source; square to it per metre of
        offset at the source. Negative past a caustic.
    widens, opens, bends : (N,) arrays
        Their changes per metre of the last leg.
    caustics : (N,) array of int
        How often a tube has had no width so far, in one direction or the other.
    radius, outwards : (N,) arrays
        Of the ring, metres, and the x of the direction in which the ray leaves it.
    """

    width: Real
    widens: Real
    across: Real
    opens: Real
    offset: Real
    bends: Real
    caustics: Whole
    radius: Real
    outwards: Real

    def only(self, kept: Whole | Mask) -> Self:
        """Return the tubes chosen by an index or a mask."""
        return type(self)(**{each.name: getattr(self, each.name)[kept] for each in fields(self)})

    def size(self, end: Real, narrowest: Real | float = 0.0) -> tuple[Complex, Real]:
        """What arrives some metres after the last bounce.

        Parameters
        ----------
        end : (N,) array
            Metres from the last bounce.
        narrowest : (N,) array or float
            Least width that counts, metres per radian.

        Returns
        -------
        size : (N,) complex array
            Pressure over that of a point source one metre away, without the phase of the path.
        later : (N,) array
            Second derivative of the path by the azimuth of the source on its ring, metres.
        """
        width, across = self.width + self.widens * end, self.across + self.opens * end
        # A ray that has not been reflected starts with no width at all, and that is no caustic.
        more = (width * self.width < 0.0).astype(int) + (across * self.across < 0.0)
        extent = np.maximum(np.abs(width), narrowest) * np.abs(across)
        later = (self.offset + self.bends * end) / across * self.radius**2
        turned = (-1j) ** (self.caustics + more)
        size: Complex = turned / np.sqrt(extent)
        return size, later + self.radius * self.outwards


def tubes_of(rays: Rays, beside: Rays) -> Tubes:
    """Tubes about rays, by a neighbour of each that has met the same surfaces."""
    apart = (beside.turn - rays.turn)[:, None]
    # A mirror turns left into right.
    flip = (-1.0) ** np.arange(rays.places.shape[1])
    start = flip * cross(beside.places - rays.places, rays.towards) / apart
    widens = flip * cross(beside.towards, rays.towards) / apart
    legs, at = rays.legs, rays.bounces[:, None]
    stop = start[:, :-1] + widens[:, :-1] * legs
    passed = (start[:, :-1] * stop < 0.0) & (np.arange(legs.shape[1]) < at)
    across, opens, offset, bends, more = _across(rays, legs)
    return Tubes(
        width=np.take_along_axis(start, at, axis=1)[:, 0],
        widens=np.take_along_axis(widens, at, axis=1)[:, 0],
        across=across,
        opens=opens,
        offset=offset,
        bends=bends,
        # The first leg starts with no width.
        caustics=passed[:, 1:].sum(axis=1) + more,
        radius=rays.places[:, 0, 0],
        outwards=rays.towards[:, 0, 0],
    )


def _across(rays: Rays, legs: Real) -> tuple[Real, Real, Real, Real, Whole]:
    """Square to the plane: extent and slope by a slope, and by an offset, at the source."""
    count = len(legs)
    across, opens, offset, bends = (np.full(count, value) for value in (0.0, 1.0, 1.0, 0.0))
    caustics = np.zeros(count, dtype=np.int64)
    for n in range(legs.shape[1]):
        after = across + opens * legs[:, n]
        caustics += after * across < 0.0
        across, offset = after, offset + bends * legs[:, n]
        x = rays.places[:, n + 1, 0]
        x = np.where(np.abs(x) < ON_AXIS, ON_AXIS, x)
        turned = rays.towards[:, n + 1, 0] - rays.towards[:, n, 0]
        kick = np.where(n < rays.bounces, turned / x, 0.0)
        opens, bends = opens + kick * across, bends + kick * offset
    return across, opens, offset, bends, caustics
