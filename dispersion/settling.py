"""Frequencies chosen by need: solve few, fit, and add where the fits still disagree.

The band is fitted in windows that overlap: three third octaves and one more on either side. In each
window several fits of the same samples are made (`dispersion.windows`), each of which leaves other
samples out of its support; where they differ, a sample is missing, and the next is taken where they
differ most.

Third octaves of the examples from 100 Hz to 16 kHz, level in the window: frequencies solved,
largest error of a band, and error of the score in dB, against 576 frequencies read by the same
fits. The ball over the plain driver and over the coaxial one, each at three kept heights, and the
cone; a fixed grid, and settled within 0.3 and 0.05 dB:

    =============  ============  ============  ============  ============  ============
    ..             4 a band, 92  12, 276       24, 552       within 0.3    within 0.05
    =============  ============  ============  ============  ============  ============
    ball 26        3.3   0.12    0.4   0.02    0.1   0.00    54 0.2  0.00  78 0.05 0.00
    ball 44        2.6   0.01    0.9   0.03    0.6   0.02    54 0.2  0.01  70 0.03 0.00
    ball 53        14.4  0.36    3.7   0.16    3.4   0.05    54 0.2  0.01  74 0.05 0.00
    coaxial 26     0.4   0.05    0.2   0.03    0.0   0.00    62 0.2  0.03  74 0.04 0.01
    coaxial 40     1.5   0.34    0.2   0.02    0.1   0.00    54 0.1  0.00  66 0.04 0.01
    coaxial 53     5.5   0.26    0.4   0.03    1.8   0.12    54 0.3  0.01  58 0.07 0.01
    cone           0.4   0.04    0.0   0.00    0.0   0.00    50 0.3  0.00  70 0.04 0.00
    =============  ============  ============  ============  ============  ============

The table was made with four frequencies a round. Ten caps of the example, against the same within
0.02 dB, with the rms error of a band and of the score in dB, and the share of bands that are off by
more than twice their doubt:

    ==================================  ======  =====  =====  ============
    ..                                  solves  band   score  beyond twice
    ==================================  ======  =====  =====  ============
    four a round                        58.8    0.059  0.017  2 per cent
    two a round                        54.4    0.068  0.018  3 per cent
    one a round                        50.9    0.094  0.031  4 per cent
    two, 3 a band to begin with on top  52.2    0.135  0.022  4 per cent
    two, 1.2 a band in the middle too   50.4    0.172  0.041  7 per cent
    ==================================  ======  =====  =====  ============

Left out: one frequency a round, which stops where the fits agree by chance; fewer to begin with,
which misses resonances by over 1 dB.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from dispersion.bands import band_edges, third_octave_centres
from dispersion.elevations import window_power
from dispersion.neighbours import Begun
from dispersion.problem import Problem
from dispersion.rational import (
    LEAST_SAMPLES,
    Complex,
    PiecewiseFit,
    RationalFit,
    Real,
    Resonance,
)
from dispersion.response import Response, Settling
from dispersion.windows import (
    CLOSEST,
    GROUP,
    LEAST_IN_WINDOW,
    Transfer,
    Wanted,
    Window,
    look_at,
)

BEGIN_PER_BAND = ((900.0, 0.6), (4500.0, 1.5), (np.inf, 4.0))
"""Up to what frequency, Hz, how many samples a third octave has to begin with. Fewer at the bottom
miss the ripple between the column's two ends and do not see that they do; fewer at the top take
more rounds."""
NEIGHBOURHOOD = 0.05
"""Logarithm of the ratio of frequencies within which a sample already chosen makes another less
urgent: a fifth of a third octave."""
OVERLAP = 1.05
"""Windows give way to each other within a fifth of a third octave on either side."""

Solve = Callable[[Real], Complex]
"""(N,) frequencies in Hz -> (N, W, K) complex pressure of W ways at K directions and points."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Settled:
    """Band values, what they come from, and how far they can be trusted.

    Attributes
    ----------
    frequencies : (F,) array
        What was solved, Hz, ascending.
    samples : (F, W, K) complex array
        Pressure there, by way.
    centres : (B,) array
        Third octaves, Hz.
    power : (B, K) array
        Mean |p|^2 over each band, all ways together; median of the fits.
    level_db : (B, V) array
        The values wanted.
    doubt_db : (B, V) array
        Error that each may have, one standard deviation as a rule.
    within_db : float
        What was asked for.
    fit : PiecewiseFit
        Of each window the fit nearest to the medians; its columns are W ways times K.
    others : tuple of tuple of RationalFit
        Every fit of each window.
    rounds : int
        How often the solver was called.
    """

    frequencies: Real = field(repr=False)
    samples: Complex = field(repr=False)
    centres: Real = field(repr=False)
    power: Real = field(repr=False)
    level_db: Real
    doubt_db: Real
    within_db: float
    fit: PiecewiseFit = field(repr=False)
    others: tuple[tuple[RationalFit, ...], ...] = field(repr=False)
    rounds: int

    @property
    def settled(self) -> np.ndarray:
        """(B,) bool: which bands have settled, all values of them."""
        return self.doubt_db.max(axis=1) <= self.within_db

    @cached_property
    def resonances(self) -> tuple[Resonance, ...]:
        """Poles near the real axis, ascending; trusted only if every fit of the window has them."""
        ends = np.concatenate(([0.0], self.fit.edges, [np.inf]))
        return tuple(
            replace(one, trusted=one.trusted and all(other.has_pole(one) for other in fits))
            for fit, fits, low, high in zip(
                self.fit.fits, self.others, ends[:-1], ends[1:], strict=True
            )
            for one in fit.resonances()
            if low <= one.frequency < high
        )

    def by_way(self, frequencies: Real) -> Complex:
        """(N, W, K) pressure of each way at any frequencies of the band, Hz."""
        return self.fit.at(frequencies).reshape(len(frequencies), *self.samples.shape[1:])


def first_frequencies(low: float, high: float) -> Real:
    """Frequencies to begin with: as many in a third octave as `BEGIN_PER_BAND` says.

    Parameters
    ----------
    low, high : float
        Hz; whole third octaves, as for `Wanted`.

    Returns
    -------
    (N,) array
        Ascending, Hz; the lowest and the highest stand on the outer edges of the first and the last
        band, so that no fit is read beyond its samples.
    """
    centres = third_octave_centres(low, high)
    starts, ends = band_edges(centres)
    density = np.select(
        [centres < limit for limit, _ in BEGIN_PER_BAND], [n for _, n in BEGIN_PER_BAND]
    )
    passed = np.append(0.0, np.cumsum(density))
    count = max(int(np.ceil(passed[-1])) + 1, LEAST_IN_WINDOW)
    edges = np.log(np.append(starts, ends[-1]))
    return np.exp(np.interp(np.linspace(0.0, passed[-1], count), passed, edges))


def solve_columns(problem: Problem, solver: Callable[[Problem], Response]) -> Solve:
    """A solver of whole problems as what `settle_bands` asks for.

    Parameters
    ----------
    problem : Problem
        Its own frequencies do not matter.
    solver : callable
        (problem) -> Response, one of `dispersion.solvers.SOLVERS`.

    Returns
    -------
    callable
        Of which the columns are the problem's elevations, then its points.
    """

    def solve(frequencies: Real) -> Complex:
        response = solver(replace(problem, frequencies=frequencies))
        columns = np.concatenate((response.far_of_each, response.near_by_way), axis=2)
        return columns.transpose(1, 0, 2)

    return solve


def transfer_of(problem: Problem) -> Transfer:
    """What the ways of a problem make of their pressure, at any frequencies."""
    return lambda frequencies: np.array([way.transfer(frequencies) for way in problem.ways])


def window_and_points(
    problem: Problem, window: tuple[float, float], points: Sequence[int] = ()
) -> Real:
    """Rows of `Wanted.values`: the mean over a window of elevations, then single points.

    Parameters
    ----------
    problem : Problem
    window : (float, float)
        Lower and upper elevation, degrees.
    points : sequence of int
        Numbers of the problem's points that are to settle too.

    Returns
    -------
    (1 + len(points), E + P) array
    """
    directions = len(problem.elevations)
    values = np.zeros((1 + len(points), directions + len(problem.points)))
    values[0, :directions] = window_power(np.eye(directions), problem.elevations, window)
    values[np.arange(len(points)) + 1, directions + np.asarray(points, dtype=int)] = 1.0
    return values


def settled_response(
    problem: Problem,
    solver: Callable[[Problem], Response],
    window: tuple[float, float],
    *,
    within_db: float,
    points: Sequence[int] = (),
    start: Real | None = None,
    begun: Begun | None = None,
) -> tuple[Response, Real]:
    """Solve a problem at frequencies chosen by need, and read it at its own.

    Parameters
    ----------
    problem : Problem
        Its frequencies are those at which the response is read; they fill whole third octaves.
    solver : callable
        (problem) -> Response, called once for each round.
    window : (float, float)
        Elevations, degrees, of which the mean has to settle in every band.
    within_db : float
        Doubt at which a band value has settled, dB.
    points : sequence of int
        Numbers of the problem's points of which the band values have to settle too.
    start : (N,) array, optional
        Frequencies of the first round, as for `settle_bands`.
    begun : Begun, optional
        The first round itself, where it is known already.

    Returns
    -------
    response : Response
        With its `settling`.
    power : (B, E) array
        Mean |p|^2 over each third octave at each elevation, all ways together.

    Raises
    ------
    ValueError
        If the solver refuses the problem.
    """
    rounds: list[Response] = []

    def remembered(asked: Problem) -> Response:
        rounds.append(solver(asked) if begun is None or rounds else begun.response)
        return rounds[-1]

    wanted = Wanted(
        low=float(problem.frequencies[0]),
        high=float(problem.frequencies[-1]),
        values=window_and_points(problem, window, points),
        within_db=within_db,
        transfer=transfer_of(problem),
    )
    start = start if begun is None else begun.response.problem.frequencies
    found = settle_bands(solve_columns(problem, remembered), wanted, start)
    directions = len(problem.elevations)
    read = found.by_way(problem.frequencies).transpose(1, 0, 2)
    order = np.argsort(np.concatenate([one.problem.frequencies for one in rounds]))
    settling = Settling(
        frequencies=found.frequencies,
        within_db=within_db,
        doubt_db=found.doubt_db.max(axis=1),
        near_power=found.power[:, directions:],
        resonances=tuple(one for one in found.resonances if one.trusted),
        read=0 if begun is None else begun.read,
    )
    response = replace(
        rounds[0],
        problem=problem,
        far_by_way=read[:, :, :directions],
        near_by_way=read[:, :, directions:],
        power_error_db=np.concatenate([one.power_error_db for one in rounds], axis=1)[:, order],
        unknowns=np.concatenate([one.unknowns for one in rounds])[order],
        settling=settling,
    )
    return response, found.power[:, :directions]


def settle_bands(solve: Solve, wanted: Wanted, start: Real | None = None) -> Settled:
    """Solve at frequencies chosen one batch after another until every band value has settled.

    Parameters
    ----------
    solve : callable
        See `Solve`; called once for each round.
    wanted : Wanted
    start : (N,) array, optional
        Frequencies of the first round, Hz, ascending, from edge to edge of the band;
        `first_frequencies` if left out.

    Returns
    -------
    Settled
        With bands that have not settled where the budget ran out.

    Raises
    ------
    ValueError
        For fewer than `LEAST_SAMPLES` frequencies to begin with: there would be no two fits.
    """
    new = first_frequencies(wanted.low, wanted.high) if start is None else start
    if len(new) < LEAST_SAMPLES:
        raise ValueError(f"bands settle from {LEAST_SAMPLES} frequencies or more, not {len(new)}")
    f, samples = new, solve(new)
    windows: dict[int, Window] = {}
    rounds = 1
    while True:
        windows = {
            first: look_at(f, samples, wanted, first, windows.get(first))
            for first in range(0, len(wanted.centres), GROUP)
        }
        new = _next(list(windows.values()), f, wanted)
        if not len(new):
            return _result(f, samples, wanted, list(windows.values()), rounds)
        together = np.concatenate((f, new))
        order = np.argsort(together)
        samples = np.concatenate((samples, solve(new)))[order]
        f, rounds = together[order], rounds + 1


def _next(windows: list[Window], f: Real, wanted: Wanted) -> Real:
    """Frequencies to solve next: where fits differ most, in the bands that are worst off."""
    doubt = np.concatenate([window.doubt_db.max(axis=1) for window in windows])
    places = np.concatenate([window.places for window in windows])
    spread = np.concatenate([window.spread.max(axis=2) for window in windows])
    spread = np.where(doubt[:, None] > wanted.within_db, spread, 0.0)
    taken, new = np.log(f), list[float]()
    while len(new) < min(wanted.batch, wanted.most - len(f)):
        apart = np.abs(np.log(places)[:, :, None] - taken).min(axis=2)
        free = np.where(apart > np.log(CLOSEST), spread, 0.0)
        if not np.any(free):
            break
        band = int(np.argmax(np.where(free.any(axis=1), doubt, 0.0)))
        new.append(float(places[band, np.argmax(free[band])]))
        taken = np.append(taken, np.log(new[-1]))
        # One more sample there, as a rule, halves what is left to be known.
        doubt[band] *= 0.5
        spread[band] *= np.minimum(1.0, np.abs(np.log(places[band] / new[-1])) / NEIGHBOURHOOD)
    return np.sort(new)


def _result(
    f: Real, samples: Complex, wanted: Wanted, windows: list[Window], rounds: int
) -> Settled:
    power = np.concatenate([window.powers(samples.shape[1]) for window in windows])
    level = np.concatenate([np.median(window.level_db, axis=0) for window in windows])
    starts, _ = band_edges(wanted.centres[::GROUP])
    return Settled(
        frequencies=f,
        samples=samples,
        centres=wanted.centres,
        power=power,
        level_db=level,
        doubt_db=np.concatenate([window.doubt_db for window in windows]),
        within_db=wanted.within_db,
        fit=PiecewiseFit(
            fits=tuple(window.nearest for window in windows), edges=starts[1:], overlap=OVERLAP
        ),
        others=tuple(window.fits for window in windows),
        rounds=rounds,
    )
