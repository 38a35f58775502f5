"""Delay and polarity with which two ways add best towards the window about their crossover.

At one frequency, and averaged over the window's directions, the sum of two pressures has the power
P1 + P2 + 2 Re(C), C being the mean of conj(p1) p2. In step everywhere it would be P1 + P2 + 2 M,
M being the mean of |p1| |p2|. What is compared is the share of the first in the second, averaged
over an octave either way of the crossover, every share of an octave alike: 0 dB is the best that
these two ways can do. A delay t of the second way turns C by exp(i omega t), a polarity by its
sign. So nothing is solved again, and 0 dB of levels, which the delays change too, has no part in
it.

Ways in step are what a Linkwitz-Riley is made for. Two Butterworths of odd order add up flat a
quarter of a period apart, and in step rise to 3 dB above at the crossover.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.elevations import level_db, window_power
from dispersion.reference import Reference
from dispersion.response import Response
from dispersion.sources import Way

OCTAVES = 1.0
"""Either way of the crossover: farther off one of two second-order filters is 12 dB down."""
PERIODS = 1.0
"""Of the crossover's frequency that a delay may be long: beyond, ways only seem to be in step."""
TRIES = 801
"""Delays that are tried, evenly, and a parabola through the best three."""


@dataclass(frozen=True, kw_only=True)
class Timing:
    """How two ways are set against each other, and how well they add so.

    Attributes
    ----------
    ways : (Way, Way)
        With this delay and polarity.
    summed_db : float
        Mean power of the sum over that of both in step, dB: 0 at best.
    worst_db, worst_hz : float
        The same at the frequency where it is least.
    curve_db : (N,) array
        The same at each frequency, dB.
    """

    ways: tuple[Way, Way]
    summed_db: float
    worst_db: float
    worst_hz: float
    curve_db: np.ndarray = field(repr=False)

    @property
    def later(self) -> float:
        """By how much the second way is held back more than the first, s."""
        return self.ways[1].delay - self.ways[0].delay

    @property
    def reversed(self) -> bool:
        """Whether one of the two is connected in reverse."""
        return self.ways[0].polarity != self.ways[1].polarity


@dataclass(frozen=True, eq=False, kw_only=True)
class Alignment:
    """Two ways as they are written, and as they add best.

    Attributes
    ----------
    crossing_hz : float
        Where both give the same power in the window, Hz.
    frequencies : (N,) array
        About it, Hz.
    written, best, other : Timing
        As in the file; best of all; best with the other polarity.
    """

    crossing_hz: float
    frequencies: np.ndarray = field(repr=False)
    written: Timing
    best: Timing
    other: Timing

    @property
    def gain_db(self) -> float:
        """What the best timing adds to the sum about the crossover, dB."""
        return self.best.summed_db - self.written.summed_db


def alignment(response: Response, window: tuple[float, float]) -> Alignment | None:
    """Find how the two ways of a solved design add best in a window.

    Parameters
    ----------
    response : Response
        With its far field.
    window : (float, float)
        Lowest and highest elevation, degrees.

    Returns
    -------
    Alignment or None
        None unless there are two ways that cross over within the frequencies of the response, and
        for rays, which have no phase.
    """
    problem = response.problem
    if len(problem.ways) != 2 or response.method == "rays":
        return None
    pressures = _pressures(response)
    return align(problem.ways, pressures, problem.frequencies, problem.elevations, window)


def gain_in(found: Alignment, response: Response, window: tuple[float, float]) -> float:
    """Return what the best timing of an alignment gains in another driver or build, dB.

    Parameters
    ----------
    found : Alignment
    response : Response
        Of the other, with its far field, at frequencies about the same crossover.
    window : (float, float)
        Lowest and highest elevation, degrees.
    """
    problem = response.problem
    pair = _pair(_pressures(response), problem.frequencies, problem.elevations, window)
    near = pair.within(found.crossing_hz, OCTAVES)
    best, written = (near.timing(*one.ways).summed_db for one in (found.best, found.written))
    return best - written


def _pressures(response: Response) -> np.ndarray:
    """(2, F, E) of each way with its filters and level, but without its delay and polarity."""
    plain = tuple(replace(way, delay=0.0, polarity=1) for way in response.problem.ways)
    drive = Reference(plain, response.reference.flush).drive(response.problem.frequencies)
    return drive[:, :, None] * response.far_of_each


def align(
    ways: Sequence[Way],
    pressures: np.ndarray,
    frequencies: np.ndarray,
    elevations: np.ndarray,
    window: tuple[float, float],
) -> Alignment | None:
    """Find how two ways add best whose pressures are known.

    Parameters
    ----------
    ways : sequence of two Way
        As they are written.
    pressures : (2, F, E) complex array
        Of each way with its filters and level, but without its delay and polarity.
    frequencies, elevations : (F,) and (E,) arrays
        Hz, ascending; degrees.
    window : (float, float)
        Lowest and highest elevation, degrees.

    Returns
    -------
    Alignment or None
        None if the ways do not cross over within the frequencies.
    """
    pair = _pair(pressures, frequencies, elevations, window)
    crossing = _crossing(pair)
    if crossing is None:
        return None
    near = pair.within(crossing, OCTAVES)
    first, second = ways
    same, turned = (
        near.timing(*_apart(first, second, near.best_delay(crossing, sign), sign))
        for sign in (1, -1)
    )
    best, other = (same, turned) if same.summed_db >= turned.summed_db else (turned, same)
    return Alignment(
        crossing_hz=crossing,
        frequencies=near.frequencies,
        written=near.timing(first, second),
        best=best,
        other=other,
    )


@dataclass(frozen=True, eq=False)
class _TwoWays:
    """Two ways without delay or polarity: powers, and their mean product, over the window, (F,)."""

    frequencies: np.ndarray
    powers: np.ndarray
    product: np.ndarray
    sizes: np.ndarray

    def within(self, middle: float, octaves: float) -> _TwoWays:
        kept = np.abs(np.log2(self.frequencies / middle)) <= octaves
        return _TwoWays(
            self.frequencies[kept], self.powers[:, kept], self.product[kept], self.sizes[kept]
        )

    @property
    def in_step(self) -> np.ndarray:
        return self.powers.sum(axis=0) + 2.0 * self.sizes

    def shares(self, later: np.ndarray, sign: int) -> np.ndarray:
        """(T, F) power of the sum over that of both in step, for delays (T,) of the second way."""
        turns = np.exp(2j * np.pi * np.outer(later, self.frequencies))
        together = self.powers.sum(axis=0) + 2.0 * sign * (turns * self.product).real
        return np.maximum(together, 0.0) / self.in_step

    def best_delay(self, crossing: float, sign: int) -> float:
        """Delay of the second way, s, rounded to 0.01 ms; that of the first if less than 0."""
        later = np.linspace(-PERIODS, PERIODS, TRIES) / crossing
        summed = self.shares(later, sign).mean(axis=1)
        at = int(np.clip(np.argmax(summed), 1, TRIES - 2))
        low, middle, high = summed[at - 1 : at + 2]
        bend = low - 2.0 * middle + high
        aside = 0.5 * (low - high) / bend if bend < 0.0 else 0.0
        return round(float(later[at] + np.clip(aside, -1.0, 1.0) * (later[1] - later[0])), 5)

    def timing(self, first: Way, second: Way) -> Timing:
        """Measure how two ways add."""
        later, sign = second.delay - first.delay, first.polarity * second.polarity
        shares = self.shares(np.array([later]), sign)[0]
        least = int(np.argmin(shares))
        return Timing(
            ways=(first, second),
            summed_db=float(level_db(shares.mean())),
            worst_db=float(level_db(shares[least])),
            worst_hz=float(self.frequencies[least]),
            curve_db=level_db(shares),
        )


def _pair(
    pressures: np.ndarray,
    frequencies: np.ndarray,
    elevations: np.ndarray,
    window: tuple[float, float],
) -> _TwoWays:
    first, second = pressures

    def mean(power: np.ndarray) -> np.ndarray:
        return window_power(power, elevations, window)

    powers = np.array([mean(np.abs(one) ** 2) for one in (first, second)])
    both = powers.sum(axis=0)
    # |p1 + p2|^2 and |p1 - i p2|^2 hold the real and the imaginary part of conj(p1) p2.
    real, imaginary = (mean(np.abs(first + turn * second) ** 2) - both for turn in (1.0, -1j))
    sizes = mean(np.abs(first) * np.abs(second))
    return _TwoWays(frequencies, powers, 0.5 * (real + 1j * imaginary), sizes)


def _crossing(pair: _TwoWays) -> float | None:
    """Return where the first way hands over to the second: the crossing with most power, Hz."""
    over = np.log(pair.powers[0]) - np.log(pair.powers[1])
    hands_over = np.flatnonzero((over[:-1] > 0.0) & (over[1:] <= 0.0))
    if not len(hands_over):
        return None
    at = hands_over[np.argmax(pair.powers[0, hands_over])]
    share = over[at] / (over[at] - over[at + 1])
    low, high = np.log(pair.frequencies[at : at + 2])
    return math.exp(low + share * (high - low))


def _apart(first: Way, second: Way, later: float, sign: int) -> tuple[Way, Way]:
    """Return both ways with one of them held back, and the second's polarity against the first."""
    return (
        replace(first, delay=max(0.0, -later)),  # in this order: never -0
        replace(second, delay=max(0.0, later), polarity=sign * first.polarity),
    )
