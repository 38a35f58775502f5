"""Fans of rays in the plane of the axis, from rings of sources, and the strips that they fill.

Everything is round, and so is the sound: all azimuths of a ring of sources move alike. What adds
up to such a field at a place in the half plane x >= 0 are the rays that stay in the plane of the
axis: those of the ring's near half leave x = s, those of its far half x = -s. The far half heard
at (x, z) is the near half heard at (-x, z), so one fan from x = s serves both.

Neighbours that met the same surfaces in the same order make a strip; it ends at an edge.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

from dispersion.paths import tracing
from dispersion.paths.scene import Scene

Real = NDArray[np.float64]
Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]

MOST_BOUNCES = 12
"""Rays with more are left out: of thirty designs a window level moves by 0.1 dB from 8 to 12."""
FAN = 512
"""Rays of a fan."""
LEAST_STRIP = 0.01
"""Radians at the source; thinner ones are left out, whose two ends take away all that they bring
but at the shortest waves. On six designs, nothing left out differs by 0.2 dB and costs twice as
much."""
HALVINGS = 32
"""The last ray of a strip is found to a step of the fan over 2 to this power."""


def cross(a: Real, b: Real) -> Real:
    """Area between two vectors (..., 2), x and z, positive where the second is anticlockwise."""
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


@dataclass(frozen=True, eq=False, kw_only=True)
class Rays:
    """Rays in the plane of the axis, N of them, M bounces at most.

    Attributes
    ----------
    ring : (N,) array of int
        Number of the ring of sources that each one leaves.
    turn : (N,) array
        Angle at which it leaves, radians from straight up towards +x.
    places : (N, M + 1, 2) array
        x and z of the start and of every bounce, metres; the last one again beyond.
    towards : (N, M + 1, 2) array
        Direction after each of them, the last one again beyond.
    bounces : (N,) array of int
    history : (N,) array of int
        The surfaces met, `tracing.GROUP_BITS` each; -1 for a ray that is still inside.
    """

    ring: Whole
    turn: Real
    places: Real = field(repr=False)
    towards: Real = field(repr=False)
    bounces: Whole
    history: Whole

    def only(self, kept: Whole | Mask) -> Self:
        """Return the rays chosen by an index or a mask."""
        return type(self)(**{each.name: getattr(self, each.name)[kept] for each in fields(self)})

    @property
    def last(self) -> Real:
        """(N, 2) place of the last bounce, or the start."""
        return self.places[:, -1]

    @property
    def leaves(self) -> Real:
        """(N, 2) direction of leaving."""
        return self.towards[:, -1]

    @property
    def legs(self) -> Real:
        """(N, M) lengths from one bounce to the next, metres; 0 beyond the last."""
        return np.linalg.norm(np.diff(self.places, axis=1), axis=2)

    @property
    def surfaces(self) -> Whole:
        """(N, M) number of the surface met at the end of each leg; 0 beyond the last."""
        back = self.bounces[:, None] - 1 - np.arange(self.places.shape[1] - 1)
        met = self.history[:, None] >> np.maximum(back, 0) * tracing.GROUP_BITS
        return np.where(back < 0, 0, met & (2**tracing.GROUP_BITS - 1))


@dataclass(frozen=True, eq=False)
class SourceRings:
    """SourceRings of sources about the axis, and the surfaces around them.

    Attributes
    ----------
    scene : Scene
        Round, at rest on the axis. Each smooth surface has a number of its own.
    radii : (R,) array
        Metres, above 0.
    z : float
        Height of all of them, metres: 0 in the plane of the baffle, or above it.
    rim : float
        Radius of the baffle, metres.
    """

    scene: Scene
    radii: Real
    z: float
    rim: float

    @property
    def turns(self) -> Real:
        """(`FAN`,) angles of a fan: up from the baffle's plane, or all round above it."""
        widest = 0.5 * np.pi * (1.0 - 1e-9) if self.z == 0.0 else np.pi
        return np.linspace(-widest, widest, FAN)

    def trace(self, ring: Whole, turn: Real) -> Rays:
        """Follow rays that leave the given rings at the given angles."""
        found = np.full((len(ring), MOST_BOUNCES + 2, 3), np.nan)
        out, code = self._followed(ring, turn, found)
        bounces = code[:, 0]
        at = np.minimum(np.arange(MOST_BOUNCES + 1), bounces[:, None])
        places = np.take_along_axis(found, at[:, :, None], axis=1)[:, :, ::2]
        steps, left = np.diff(places, axis=1), out[:, None, 0:3:2]
        length = np.linalg.norm(steps, axis=2, keepdims=True)
        along = np.divide(steps, length, out=np.zeros_like(steps), where=length > 0.0)
        towards = np.concatenate((along, left), axis=1)
        return Rays(
            ring=ring,
            turn=turn,
            places=places,
            towards=np.where((at >= bounces[:, None])[:, :, None], left, towards),
            bounces=bounces,
            history=np.where(code[:, 1] > 0, -1, code[:, 2]),
        )

    def histories(self, ring: Whole, turn: Real) -> Whole:
        """`Rays.history` of rays that leave the given rings at the given angles."""
        _, code = self._followed(ring, turn, np.empty((0, 0, 3)))
        return np.where(code[:, 1] > 0, -1, code[:, 2])

    def _followed(self, ring: Whole, turn: Real, places: Real) -> tuple[Real, Whole]:
        """Where rays leave, and their code, as `tracing.trace` gives them."""
        count = len(ring)
        origins, starts = np.zeros((count, 3)), np.zeros((count, 3))
        origins[:, 0], origins[:, 2] = self.radii[ring], self.z
        starts[:, 0], starts[:, 2] = np.sin(turn), np.cos(turn)
        out, code = np.empty((count, 4)), np.empty((count, 3), dtype=np.int64)
        tracing.trace(*self.scene.rows, origins, starts, MOST_BOUNCES, places, out, code)
        return out, code


@dataclass(frozen=True, eq=False, kw_only=True)
class Strips:
    """Rays of all fans, and the S strips that they make.

    Attributes
    ----------
    rays : Rays
        Those of the fans and the last ones inside, strip by strip, in the order of their angles.
    number : (N,) array of int
        Strip of each ray; -1 where it does not count.
    ends : Rays
        The last rays inside, 2 S of them: all lower ends, then all upper ones.
    inwards : (2 S,) array
        Step to a neighbour inside, radians.
    leg, along : (2 S,) arrays
        On which leg of the last ray the edge is that it just meets, or just passes, and how far
        along, metres.
    sharp : (2 S,) array of bool
        False where there is no edge, or no ray.
    """

    rays: Rays
    number: Whole
    ends: Rays
    inwards: Real
    leg: Whole
    along: Real
    sharp: Mask


def joined(first: Rays, second: Rays) -> Rays:
    """Return the rays of both."""
    names = [each.name for each in fields(Rays)]
    return Rays(**{n: np.concatenate((getattr(first, n), getattr(second, n))) for n in names})


def strips_of(rings: SourceRings, inward: float) -> Strips:
    """Trace all fans and find where their strips end.

    Parameters
    ----------
    rings : SourceRings
    inward : float
        Step from the end of a strip to a neighbour inside, radians.
    """
    count, turns = len(rings.radii), rings.turns
    fan = rings.trace(np.repeat(np.arange(count), FAN), np.tile(turns, count))
    alike = (fan.history[1:] == fan.history[:-1]) & (fan.ring[1:] == fan.ring[:-1])
    number = np.concatenate(([0], np.cumsum(~alike)))
    first = np.flatnonzero(np.diff(number, prepend=-1))
    last = np.append(first[1:], len(number)) - 1
    opens, closes = first % FAN == 0, last % FAN == FAN - 1
    step = turns[1] - turns[0]
    low, past_low = _narrowed(rings, fan.only(first), np.where(opens, 0.0, -step))
    high, past_high = _narrowed(rings, fan.only(last), np.where(closes, 0.0, step))
    ring, turn = np.tile(fan.ring[first], 2), np.concatenate((low, high))
    ends = rings.trace(ring, turn)
    leg, along = _edge(ends, rings.trace(ring, np.concatenate((past_low, past_high))))
    whole = (fan.history[first] >= 0) & (high - low > LEAST_STRIP)
    sharp, at_fan = np.tile(whole, 2), np.concatenate((opens, closes))
    if rings.z == 0.0:
        # The fan ends along the baffle, and the baffle at its rim.
        along = np.where(at_fan, rings.rim - rings.radii[ring] * np.sign(turn), along)
        leg = np.where(at_fan, 0, leg)
    else:
        sharp &= ~at_fan
    every = np.concatenate((number, np.tile(np.arange(len(first)), 2)))
    order = np.lexsort((np.concatenate((fan.turn, turn)), every))
    return Strips(
        rays=joined(fan, ends).only(order),
        number=np.where(whole[every], every, -1)[order],
        ends=ends,
        inwards=np.repeat([inward, -inward], len(first)),
        leg=leg,
        along=along,
        sharp=sharp,
    )


def _narrowed(rings: SourceRings, rays: Rays, step: Real) -> tuple[Real, Real]:
    """Angles of the last ray with the history of each one given, and of the next without it."""
    inner, outer = rays.turn, rays.turn + step
    for _ in range(HALVINGS):
        middle = 0.5 * (inner + outer)
        same = rings.histories(rays.ring, middle) == rays.history
        inner, outer = np.where(same, middle, inner), np.where(same, outer, middle)
    return inner, outer


def _edge(inner: Rays, outer: Rays) -> tuple[Whole, Real]:
    """Leg on which two neighbours part, and how far along it the edge is that parts them.

    It is on the nearer of the two surfaces that they meet.
    """
    leg = (inner.surfaces != outer.surfaces).argmax(axis=1)
    row = np.arange(len(leg))
    met = [np.where(leg < each.bounces, each.legs[row, leg], np.inf) for each in (inner, outer)]
    nearer = np.minimum(*met)
    return leg, np.where(np.isfinite(nearer), nearer, 0.0)
