"""A driver flush in an endless rigid baffle at any frequency: solved at few, read in between.

What it gives straight ahead is smooth in frequency but for dips of its cone, which are about as
wide for every driver if frequency is counted in ka. So it is solved at fixed places, evenly spaced
in `PER_OCTAVE` lb(ka) + `PER_KA` ka, those that are asked for, and read by the polynomial through
the eight nearest. The same driver in the same air is solved once a run, and kept by the store.

The drivers of the examples from 45 Hz to 17.8 kHz: 106 places, 4 ms each; off by 0.007 dB at most
between them, and by 0.023 dB at 4 kHz, where one begins to let go without a smooth slope.

Its walls take what they take in the column; the baffle is hard, and the air on the way absorbs
nothing: what it takes is in the levels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from threading import Lock

import numpy as np
from scipy.special import lambertw

from dispersion.air import Air
from dispersion.fields import Fields, Moves, Store, drive_of, moves_of, units
from dispersion.keys import key_of
from dispersion.problem import Problem
from dispersion.rational import Complex, Real
from dispersion.walls import Walls
from dispersion.waves import DEFAULT_SETTINGS, WaveSettings, solve_flush
from shapes.meridian import Meridian
from shapes.outlines import driver_outline

PER_OCTAVE, PER_KA = 1.5, 4.0
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

    def solved(self, frequency: float) -> Fields:
        """Solve it: the far field has one direction, straight ahead; there are no points."""
        drives = [drive_of(built, lets_go, self.air) for built, lets_go in self.ways]
        found = solve_flush(
            self.outline.pieces, frequency, drives, self.air, self.settings, walls=self.walls
        )
        straight = (found.on_axis / units(found.surface, self.ways))[:, None]
        mesh = found.surface.mesh
        nowhere = np.zeros((0, len(drives), len(drives)))
        return Fields(straight, straight[:, :0], found.power_error_db, mesh.unknowns, nowhere)

    @property
    def scale(self) -> float:
        """Hz for ka of 1, a being the outside of the frame."""
        return self.air.speed / (2.0 * np.pi * self.outline.start[0])


def flush_driver(problem: Problem, settings: WaveSettings) -> FlushDriver:
    """Return the driver of a problem, by itself.

    Where settings serve to compare and leave out some of the column, 0 dB stays that of the whole.
    """
    if np.isfinite(settings.column_wavelengths):
        settings = DEFAULT_SETTINGS
    assembly = problem.assembly
    outline = Meridian.joined(driver_outline(assembly.driver, assembly.tweeter))
    absorbers = tuple(one for one in problem.walls.absorbers if one[0] in outline.parts)
    walls = replace(problem.walls, absorbers=absorbers)
    return FlushDriver(
        outline=outline, ways=moves_of(problem), air=problem.air, walls=walls, settings=settings
    )


class FlushCurve:
    """What the ways of a driver give flush, at any frequency: a `dispersion.reference.Flush`.

    Parameters
    ----------
    driver : FlushDriver
    store : Store, optional
        Where solves are found, and kept.
    """

    def __init__(self, driver: FlushDriver, store: Store | None = None) -> None:
        self._driver, self._store = driver, store
        self._known: dict[int, Complex] = {}
        self._lock = Lock()

    def __call__(self, frequencies: Real) -> Complex:
        """(W, N) at frequencies in Hz."""
        ka = np.asarray(frequencies, dtype=float) / self._driver.scale
        at = PER_OCTAVE * np.log2(ka) + PER_KA * ka
        first = np.floor(at).astype(int) - NEAREST // 2 + 1
        numbers = first[:, None] + np.arange(NEAREST)
        needed, place = np.unique(numbers, return_inverse=True)
        known = np.array([self._at_place(int(number)) for number in needed])
        nearest = known[place.reshape(numbers.shape)]
        return np.einsum("nk,nkw->wn", _lagrange(at - first), nearest)

    def _at_place(self, number: int) -> Complex:
        with self._lock:
            if number not in self._known:
                self._known[number] = self._solved(place_ka(number) * self._driver.scale)
            return self._known[number]

    def _solved(self, frequency: float) -> Complex:
        if self._store is None:
            return self._driver.solved(frequency).far[:, 0]
        key = key_of(self._driver, frequency)
        fields = self._store.fetch(key)
        if fields is None:
            fields = self._driver.solved(frequency)
            self._store.keep(key, fields)
        return fields.far[:, 0]


@lru_cache(maxsize=64)
def flush_curve(driver: FlushDriver, store: Store | None = None) -> FlushCurve:
    """Return the curve of a driver, the same one as long as the store is the same."""
    return FlushCurve(driver, store)


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
