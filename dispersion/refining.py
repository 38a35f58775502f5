"""Curves solved as finely as they bend, so that a spline may stand for them in between.

Impulse responses need the pressure on thousands of evenly spaced frequencies, and a solve is too
dear for that. The distance's phase is taken off the pressure at a point already, so what is left
bends slowly, except at the resonances of the ring: there more frequencies are solved, until leaving
every second one out changes the curve no more than allowed.

On the first example twelve frequencies a band alone would miss a resonance (5.6 kHz, Q about 100)
altogether: the spline's error there was four times the pressure round it. About 500 frequencies in
5 rounds settle it, and those of the last round had been foretold within 0.2 to 0.7 per cent.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import CubicSpline

from dispersion.problem import Problem
from dispersion.response import Response

WITHIN = 0.03
"""Largest change of the pressure when every second frequency is left out, over its rms value in the
third octave round it. A cubic spline's error falls with the fourth power of the spacing, so with
all frequencies it is about a sixteenth of that: 0.2 per cent, 0.02 dB."""
MOST_ROUNDS = 10  # the spacing halves with each: a thousandth of the first is left
HALF_BAND = 0.05 * np.log(10.0)
"""Of a third octave, on a natural logarithm."""

Solver = Callable[[Problem], Response]


@dataclass(frozen=True, eq=False)
class Refined:
    """A response with enough frequencies to be read in between.

    Attributes
    ----------
    response : Response
        Frequencies ascending, closer where the curves bend.
    error : float
        Largest error that was met: of the pressure at frequencies added in the last round, foretold
        by all others, over its rms value in the third octave round it. nan if none was added.
    left : float
        Change of the pressure when every second frequency is left out, the same way; at most
        `WITHIN` unless the rounds ran out.
    """

    response: Response = field(repr=False)
    error: float
    left: float

    def near_by_way(
        self, frequencies: np.ndarray, points: Sequence[int] | slice = slice(None)
    ) -> np.ndarray:
        """(W, N, P) pressure at some of the problem's points as in `Response`, at any frequencies.

        Beyond the lowest and the highest solved frequency the value there is held.
        """
        solved = self.response.problem.frequencies
        at = np.log(np.clip(frequencies, solved[0], solved[-1]))
        known = self.response.near_by_way[:, :, points]
        return CubicSpline(np.log(solved), known, axis=1)(at)

    def near(
        self, frequencies: np.ndarray, points: Sequence[int] | slice = slice(None)
    ) -> np.ndarray:
        """(N, P) the same of all ways together, crossovers and driver curves included."""
        solved = self.response.problem.frequencies
        held = np.clip(frequencies, solved[0], solved[-1])
        transfer = np.array([way.transfer(held) for way in self.response.problem.ways])
        return np.einsum("wf,wfp->fp", transfer, self.near_by_way(frequencies, points))


def refined(
    problem: Problem,
    solver: Solver,
    within: float = WITHIN,
) -> Refined:
    """Solve a problem at its frequencies, and at more wherever its curves at the points bend.

    Parameters
    ----------
    problem : Problem
        At least eight frequencies, ascending, and a point.
    solver : callable
        (problem) -> Response, called once for each round.
    within : float
        See `WITHIN`.

    Returns
    -------
    Refined
    """
    if len(problem.frequencies) < 8 or not len(problem.points):
        raise ValueError("to read between frequencies at least 8 of them and a point are needed")
    response = solver(problem)
    error = float("nan")
    for _ in range(MOST_ROUNDS):
        change = bends(response)
        new = _between(response.problem.frequencies, change > within)
        if not len(new):
            break
        added = solver(replace(problem, frequencies=new))
        error = _foretold(response, added)
        response = _joined(response, added)
    return Refined(response, error, float(bends(response).max()))


def bends(response: Response) -> np.ndarray:
    """Change of the pressure at each frequency, (F,), when every second one is left out.

    The largest over ways and points, each over its rms value in the third octave round it.
    """
    f, near = response.problem.frequencies, response.near_by_way
    at, change = np.log(f), np.zeros(near.shape)
    for first in (0, 1):
        kept = np.zeros(len(f), dtype=bool)
        kept[first::2] = kept[[0, -1]] = True
        guessed = CubicSpline(at[kept], near[:, kept], axis=1)(at[~kept])
        change[:, ~kept] = np.abs(guessed - near[:, ~kept])
    return (change / _level(response, f)).max(axis=(0, 2))


def _foretold(known: Response, added: Response) -> float:
    guessed = Refined(known, 0.0, 0.0).near_by_way(added.problem.frequencies)
    level = _level(known, added.problem.frequencies)
    return float((np.abs(guessed - added.near_by_way) / level).max())


def _level(response: Response, frequencies: np.ndarray) -> np.ndarray:
    """(W, N, P) rms of the pressure in the third octave round each frequency."""
    solved = np.log(response.problem.frequencies)
    power = np.cumsum(np.abs(response.near_by_way) ** 2, axis=1)
    power = np.concatenate((np.zeros_like(power[:, :1]), power), axis=1)
    # A tenth of a per cent wider, so that no frequency falls out by its last bit.
    first = np.searchsorted(solved, np.log(frequencies) - 1.001 * HALF_BAND)
    last = np.searchsorted(solved, np.log(frequencies) + 1.001 * HALF_BAND)
    mean = (power[:, last] - power[:, first]) / (last - first)[:, None]
    return np.sqrt(np.maximum(mean, np.finfo(float).tiny))


def _between(frequencies: np.ndarray, bent: np.ndarray) -> np.ndarray:
    """Middles of the intervals on either side of what is bent."""
    here = np.flatnonzero(bent[:-1] | bent[1:])
    return np.sqrt(frequencies[here] * frequencies[here + 1])


def _joined(one: Response, other: Response) -> Response:
    """Put two responses of the same problem at different frequencies together."""
    frequencies = np.concatenate((one.problem.frequencies, other.problem.frequencies))
    order = np.argsort(frequencies)

    def together(name: str, axis: int) -> np.ndarray:
        both = np.concatenate((getattr(one, name), getattr(other, name)), axis=axis)
        return np.take(both, order, axis=axis)

    return replace(
        one,
        problem=replace(one.problem, frequencies=frequencies[order]),
        far_by_way=together("far_by_way", 1),
        near_by_way=together("near_by_way", 1),
        power_error_db=together("power_error_db", 1),
        unknowns=together("unknowns", 0),
    )
