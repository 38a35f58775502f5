"""A driver flush in an endless rigid baffle at any frequency: solved at few, read in between.

What it gives straight ahead is smooth in frequency but for dips of its cone, which are about as
wide for every driver if frequency is counted in ka. So it is solved at fixed places, evenly spaced
in `PER_OCTAVE` lb(ka) + `PER_KA` ka, those that are asked for, and read by the polynomial through
the eight nearest. The same driver in the same air is solved once a run, and kept by the store; what
moves otherwise in the same frame is another right-hand side, solved along with it.

The drivers of the examples from 45 Hz to 17.8 kHz: 68 places, 4 ms each; off by 0.008 dB at most
between them, and by 0.04 dB at 4 kHz, where one begins to let go without a smooth slope. Drivers
that a file may stand for besides are off by 0.07 dB at most, 0.004 (rms), at dips of their cones.
More places do not mend the slope: a fifth more of them leave 0.06 dB there, half as many again
0.04. A seventh fewer leave 0.2 dB at dips, 0.008 (rms); rational functions through two thirds of
them (`dispersion.rational`) up to 0.25 dB, 0.02 (rms). On the mesh on which candidates are
compared it takes 0.6 of that and is off by 0.025 dB at most, 0.005 (rms), alike for all candidates
of one driver.

Its walls take what they take in the column; the baffle is hard, and the air on the way absorbs
nothing: what it takes is in the levels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from threading import Lock
from weakref import WeakValueDictionary

import numpy as np
from scipy.special import lambertw

from dispersion.air import Air
from dispersion.fields import Fields, Moves, Store, drive_of, moves_of, units
from dispersion.keys import naming
from dispersion.problem import Problem
from dispersion.rational import Complex, Real
from dispersion.walls import Walls
from dispersion.waves import WaveSettings, one_blas_thread, solve_flush
from shapes.assembly import Driver, Tweeter
from shapes.meridian import Meridian
from shapes.outlines import driver_outline

PER_OCTAVE, PER_KA = 1.0, 2.5
"""Places an octave far below ka 1, and in each unit of ka far above."""
NEAREST = 8


@dataclass(frozen=True, kw_only=True)
class FlushDriver:
    """A driver by itself: all that its flush curve depends on.

    Attributes
    ----------
    outline : Meridian
        From its outside on the baffle to the axis.
    ways : tuple of Moves
    air : Air
    walls : Walls
        Of the driver's own parts.
    settings : WaveSettings
    """

    outline: Meridian
    ways: tuple[Moves, ...]
    air: Air
    walls: Walls
    settings: WaveSettings

    def solved(self, frequency: float, also: Sequence[FlushDriver] = ()) -> list[Fields]:
        """Solve it, and others that differ in how they move: their fields, its own first.

        The far field has one direction, straight ahead; there are no points.
        """
        moves = [move for one in (self, *also) for move in one.ways]
        drives = [drive_of(built, lets_go, self.air) for built, lets_go in moves]
        with one_blas_thread():
            found = solve_flush(
                self.outline.pieces, frequency, drives, self.air, self.settings, walls=self.walls
            )
        straight = (found.on_axis / units(found.surface, moves))[:, None]
        error, unknowns, count = found.power_error_db, found.surface.mesh.unknowns, len(self.ways)
        nowhere = np.zeros((0, count, count))
        own = [slice(first, first + count) for first in range(0, len(moves), count)]
        return [Fields(straight[i], straight[i, :0], error[i], unknowns, nowhere) for i in own]

    @property
    def scale(self) -> float:
        """Hz for ka of 1, a being the outside of the frame."""
        return self.air.speed / (2.0 * np.pi * self.outline.start[0])


def flush_driver(problem: Problem, settings: WaveSettings) -> FlushDriver:
    """Return the driver of a problem, by itself: how much of the column is solved is all one."""
    settings = replace(settings, column_wavelengths=np.inf)
    assembly = problem.assembly
    outline = _outline(assembly.driver, assembly.tweeter)
    absorbers = tuple(one for one in problem.walls.absorbers if one[0] in outline.parts)
    walls = replace(problem.walls, absorbers=absorbers)
    return FlushDriver(
        outline=outline, ways=moves_of(problem), air=problem.air, walls=walls, settings=settings
    )


@lru_cache(maxsize=256)
def _outline(driver: Driver, tweeter: Tweeter | None) -> Meridian:
    return Meridian.joined(driver_outline(driver, tweeter))


class FlushCurve:
    """What the ways of a driver give flush, at any frequency: a `dispersion.reference.Flush`.

    Parameters
    ----------
    driver : FlushDriver
    store : Store, optional
        Where solves are found, and kept.
    also : sequence of FlushDriver
        Others that differ in how they move: solved along with it and kept, if there is a store.
    """

    def __init__(
        self, driver: FlushDriver, store: Store | None = None, also: Sequence[FlushDriver] = ()
    ) -> None:
        self._driver, self._store = driver, store
        self._also = () if store is None else tuple(also)
        self._name, *self._names = (naming(one) for one in (driver, *self._also))
        self._known: dict[int, Complex] = {}
        self._locks: dict[int, Lock] = {}
        _curves[driver] = self

    def __reduce__(self) -> tuple[object, ...]:
        """In another process it is the curve of that process, which learns what is known here."""
        return _learned, (self._driver, dict(self._known))

    def __call__(self, frequencies: Real) -> Complex:
        """(W, N) at frequencies in Hz."""
        ka = np.asarray(frequencies, dtype=float) / self._driver.scale
        at = PER_OCTAVE * np.log2(ka) + PER_KA * ka
        first = np.floor(at).astype(int) - NEAREST // 2 + 1
        numbers = first[:, None] + np.arange(NEAREST)
        needed, place = np.unique(numbers, return_inverse=True)
        self._learn(needed.tolist())
        known = np.array([self._known[number] for number in needed.tolist()])
        nearest = known[place.reshape(numbers.shape)]
        return np.einsum("nk,nkw->wn", _lagrange(at - first), nearest)

    def _learn(self, numbers: Sequence[int]) -> None:
        """Solve what is not known: first what no other thread is at, then wait for the rest."""
        for wait in (False, True):
            for number in numbers:
                lock = self._locks.setdefault(number, Lock())
                if number not in self._known and lock.acquire(blocking=wait):
                    try:
                        if number not in self._known:
                            at = place_ka(number) * self._driver.scale
                            self._known[number] = self._solved(at)
                    finally:
                        lock.release()

    def _solved(self, frequency: float) -> Complex:
        if self._store is None:
            return self._driver.solved(frequency)[0].far[:, 0]
        key = self._name(frequency)
        fields = self._store.fetch(key)
        if fields is None:
            fields, *others = self._driver.solved(frequency, self._also)
            self._store.keep(key, fields)
            for name, other in zip(self._names, others, strict=True):
                self._store.keep(name(frequency), other)
        return fields.far[:, 0]


_curves: WeakValueDictionary[FlushDriver, FlushCurve] = WeakValueDictionary()
"""The latest curve of each driver in this process."""


def _learned(driver: FlushDriver, known: dict[int, Complex]) -> FlushCurve:
    """Return the curve that this process has of a driver, with what another has found."""
    curve = _curves.get(driver) or FlushCurve(driver)
    curve._known.update(known)
    return curve


@lru_cache(maxsize=64)
def flush_curve(
    driver: FlushDriver, store: Store | None = None, also: tuple[FlushDriver, ...] = ()
) -> FlushCurve:
    """Return the curve of a driver, the same one as long as the store is the same."""
    return FlushCurve(driver, store, also)


def place_ka(number: int) -> float:
    """Return ka at a place: where `PER_OCTAVE` lb(ka) + `PER_KA` ka is this number."""
    each = PER_OCTAVE / math.log(2.0)
    return float(each / PER_KA * lambertw(PER_KA / each * math.exp(number / each)).real)


def _lagrange(at: Real) -> Real:
    """(N, NEAREST) weights of values at 0, 1, ... in the polynomial through them, read at (N,)."""
    nodes = np.arange(NEAREST)
    apart = at[:, None] - nodes
    weights = np.empty_like(apart)
    for node in nodes:
        others = nodes[nodes != node]
        weights[:, node] = np.prod(apart[:, others], axis=1) / np.prod(node - others)
    return weights
