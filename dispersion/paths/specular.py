"""Mirror points in curved surfaces: every wave that rings of sources send to a place.

A ray from a ring to a place (`dispersion.paths.fans`) brings the near or the far half of the ring:

    p = A exp(ikT) G(kT''),    G(x) = 1/pi int_0^(pi/2) exp(ix (1 - cos phi)) dphi

T is its path, A the size of its tube (`dispersion.paths.tubes`), T'' the path's second derivative
by the azimuth on the ring. Before a plane both halves add up to J0, as a ring does.

A strip of rays ends at an edge. There the step from light to shadow is that of a screen with this
edge (Fresnel; Born & Wolf, Principles of Optics, 8.7): with xi the detour by the edge,

    p = A exp(ik(T + xi)) G g(w),    w = sqrt(k xi),    g(w) = exp(-iw^2) erfc(w exp(-i pi/4)) / 2

is taken from the light and added to the shadow, times (1 + cos delta) / 2, Kirchhoff's factor for
an angle delta from the strip's last ray. What an edge sends goes straight on, whatever stands in
its way.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numba import njit
from numpy.typing import NDArray

from dispersion.paths.fans import Mask, Rays, Real, SourceRings, Strips, Whole, cross, strips_of
from dispersion.paths.tubes import NEXT_TO, Tubes, tubes_of

Complex = NDArray[np.complex128]

NARROWEST = 1e-3
"""Least width of a tube, over that of a point source's at the same distance."""
LEAST_BEND = 1e-9
"""A tube that widens less counts as this, per radian: its rays are parallel."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Waves:
    """N waves, each of half a ring at one place: along rays, and from edges.

    Attributes
    ----------
    ring, place : (N,) arrays of int
    size : (N,) complex array
        A, over that of a point source in the middle of the baffle; of an edge's wave times
        (1 + cos delta) / 2, negative where the strip shines.
    path, later : (N,) arrays
        T less the distance of the place from the middle of the baffle, and T'', metres.
    detour : (N,) array
        xi, metres; negative past a caustic. nan for a wave along a ray.
    """

    ring: Whole
    place: Whole
    size: Complex
    path: Real
    later: Real
    detour: Real

    @property
    def focused(self) -> float:
        """Share of the waves along rays that have passed a caustic."""
        along = np.isnan(self.detour)
        return float(np.mean(np.abs(np.angle(self.size[along])) > 0.1)) if along.any() else 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class _Edges:
    """Where strips end: E edges, seen along the last leg of the last ray inside.

    `at` is the edge in all mirrors behind it, (E, 2); `path` the way to it, metres; `width` that of
    the tube there; `inside` the sign of `cross` from the last ray to the strip; `back` how far the
    edge lies before the last bounce, metres.
    """

    last: Rays
    tube: Tubes
    at: Real
    path: Real
    width: Real
    inside: Real
    back: Real
    sharp: Mask


def waves_at(rings: SourceRings, points: Real) -> Waves:
    """All that reaches places from rings of sources.

    Parameters
    ----------
    rings : SourceRings
    points : (P, 2) array
        r and z, metres; far away is a place that is far enough.
    """
    strips = strips_of(rings, NEXT_TO)
    heard = np.concatenate((points, points * [-1.0, 1.0]))
    both = (_lit(rings, strips, heard), _sent(_edges(rings, strips), heard))
    joined = {
        each.name: np.concatenate([getattr(one, each.name) for one in both])
        for each in fields(Waves)
    }
    return Waves(**joined | {"place": joined["place"] % len(points)})


def _edges(rings: SourceRings, strips: Strips) -> _Edges:
    last = strips.ends
    beside = rings.trace(last.ring, last.turn + strips.inwards)
    tube, legs = tubes_of(last, beside), last.legs
    before = np.where(np.arange(legs.shape[1]) < strips.leg[:, None], legs, 0.0).sum(axis=1)
    path = before + strips.along
    back = legs.sum(axis=1) - path
    return _Edges(
        last=last,
        tube=tube,
        at=last.last - back[:, None] * last.leaves,
        path=path,
        width=tube.width - back * tube.widens,
        inside=np.sign(cross(last.leaves, beside.leaves)),
        back=back,
        sharp=strips.sharp & (beside.history == last.history),
    )


def _lit(rings: SourceRings, strips: Strips, heard: Real) -> Waves:
    """Waves along rays."""
    fan = strips.rays
    before, place, share = _between(fan.last, fan.leaves, strips.number, heard)
    turn = fan.turn[before] + share * (fan.turn[before + 1] - fan.turn[before])
    rays, beside = (rings.trace(fan.ring[before], turn + step) for step in (0.0, NEXT_TO))
    kept = (rays.history == fan.history[before]) & (beside.history == rays.history)
    rays, beside, place = rays.only(kept), beside.only(kept), place[kept]
    distance, end = _length(heard[place]), _length(heard[place] - rays.last)
    size, later = tubes_of(rays, beside).size(end, NARROWEST * distance)
    return Waves(
        ring=rays.ring,
        place=place,
        size=size * distance,
        path=rays.legs.sum(axis=1) + end - distance,
        later=later,
        detour=np.full(len(place), np.nan),
    )


def _sent(edges: _Edges, heard: Real) -> Waves:
    """Waves from edges."""
    edge, place = (
        each.ravel() for each in np.meshgrid(np.flatnonzero(edges.sharp), np.arange(len(heard)))
    )
    leaves, beyond = edges.last.leaves[edge], heard[place] - edges.at[edge]
    away, distance = _length(beyond), _length(heard[place])
    # The strip's light as if it went on: from a source this far behind the edge.
    widens = edges.tube.widens[edge]
    behind = edges.width[edge] / np.where(np.abs(widens) < LEAST_BEND, LEAST_BEND, widens)
    cosine = (leaves * beyond).sum(axis=1) / away
    straight = np.sqrt(behind**2 + away**2 + 2.0 * behind * away * cosine)
    shadow = np.where(cross(leaves, beyond) * edges.inside[edge] < 0.0, 1.0, -1.0)
    size, later = edges.tube.only(edge).size(away - edges.back[edge], NARROWEST * distance)
    return Waves(
        ring=edges.last.ring[edge],
        place=place,
        size=size * distance * shadow * (0.5 + 0.5 * cosine),
        path=edges.path[edge] + away - distance,
        later=later,
        detour=behind + away - np.copysign(straight, behind + away),
    )


def _length(vectors: Real) -> Real:
    return np.hypot(vectors[:, 0], vectors[:, 1])


@njit(cache=True, nogil=True, error_model="numpy")
def _between(last, leaves, strip, heard):
    """Ray before, place, and share of the step, where neighbours of a strip enclose a place."""
    rays, places, shares = [0], [0], [0.0]
    for i in range(len(strip) - 1):
        if strip[i] < 0 or strip[i + 1] != strip[i]:
            continue
        for p in range(len(heard)):
            x, z = heard[p, 0] - last[i, 0], heard[p, 1] - last[i, 1]
            u, v = heard[p, 0] - last[i + 1, 0], heard[p, 1] - last[i + 1, 1]
            off = leaves[i, 0] * z - leaves[i, 1] * x
            beyond = leaves[i + 1, 0] * v - leaves[i + 1, 1] * u
            ahead = leaves[i, 0] * x + leaves[i, 1] * z > 0.0
            ahead = ahead and leaves[i + 1, 0] * u + leaves[i + 1, 1] * v > 0.0
            if ahead and (off >= 0.0) != (beyond >= 0.0):
                rays.append(i)
                places.append(p)
                shares.append(off / (off - beyond))
    return np.array(rays)[1:], np.array(places)[1:], np.array(shares)[1:]
