"""Frequencies chosen by need: solve few, fit, and add where the fits still disagree.

The band is fitted in windows that overlap: three third octaves and one more on either side. In each
window several fits of the same samples are made (`dispersion.windows`), each of which leaves other
samples out of its support; where they differ, a sample is missing, and the next is taken where they
differ most.

Third octaves of the examples from 100 Hz to 16 kHz, level in the window: frequencies solved,
largest error of a band, and error of a score in dB (rms across the window and along the third
octaves, added), against 576 frequencies read by the same fits. The ball over the plain driver and
over the coaxial one, each at three kept heights, and the cone; a fixed grid, and settled within 0.3
and 0.05 dB, walls hard:

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
from typing import NamedTuple

import numpy as np

from dispersion.bands import band_edges, third_octave_centres
from dispersion.elevations import power_at, window_power
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
from dispersion.reference import Reference
from dispersion.response import Response, Settling, arrived_in, finer_in
from dispersion.sliding import (
    DirectionWeights,
    FinePower,
    SlidingBands,
    direction_weights,
    joined,
    slide,
)
from dispersion.windows import (
    CLOSEST,
    FAINT,
    GROUP,
    LEAST_IN_WINDOW,
    Wanted,
    Window,
    look_at,
    middle_of,
    places_in_band,
    read_fine,
)

BEGIN_PER_BAND = ((900.0, 0.6), (4500.0, 1.5), (np.inf, 4.0))
"""Up to what frequency, Hz, how many samples a third octave has to begin with. Fewer at the bottom
miss the ripple between the column's two ends and do not see that they do; fewer at the top take
more rounds."""
NEIGHBOURHOOD = 0.05
"""Logarithm of the ratio of frequencies within which a sample already chosen makes another less
urgent: a fifth of a third octave."""
GAPS_PER_BAND = 64
"""Places in a third octave among which the one farthest from all samples is looked for."""
MOST_FOR_BANDS, MOST_FOR_CURVES = 120, 300
"""Frequencies solved at most."""
BATCH_FOR_BANDS, BATCH_FOR_CURVES = 2, 4
"""Frequencies solved in a round."""
SURE_OF_SPREAD_DB = 0.1
"""Where the window's mean settles within less, single directions need not be asked for."""
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
    foretold : (N,) array
        Where curves were to settle: errors of the fit at frequencies that were solved to try it,
        one in each band, before they were added; the largest over the curves, over the rms value
        of a curve in the band.
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
    foretold: Real = field(default_factory=lambda: np.zeros(0), repr=False)

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

    def fine_power(self, reference: Reference, how: DirectionWeights) -> FinePower:
        """Power along closely spaced frequencies of the whole band, read as `how` says."""
        groups = range(0, len(self.centres), GROUP)
        return joined(
            [
                read_fine(fit, self.centres[first : first + GROUP], reference, how)
                for fit, first in zip(self.fit.fits, groups, strict=True)
            ]
        )


class SettledResponse(NamedTuple):
    """A response by need, and what was read from its fit more finely.

    Attributes
    ----------
    response : Response
        With its `settling`.
    found : Settled
        What it was read from.
    sliding : SlidingBands
        Levels in a third octave that slides from the lowest to the highest centre.
    """

    response: Response
    found: Settled
    sliding: SlidingBands


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


def window_and_points(
    problem: Problem,
    window: tuple[float, float],
    points: Sequence[int] = (),
    *,
    spread: bool = False,
) -> Real:
    """Rows of `Wanted.values`: mean over a window, ends and middle if asked, then single points.

    Where the mean alone has settled within 0.3 dB, the rms of level over the window's directions,
    and so the score, was off by up to 0.22 dB at a resonance; with the three directions, for a
    fifth more solves, by 0.03 dB at most (eight caps of two examples). Where the mean has settled
    within 0.05 dB, the score was within 0.01 dB of an even grid of 96 without them.

    Parameters
    ----------
    problem : Problem
    window : (float, float)
        Lower and upper elevation, degrees.
    points : sequence of int
        Numbers of the problem's points that are to settle too.
    spread : bool
        The window's two ends and its middle too.

    Returns
    -------
    (V, E + P) array
    """
    directions = len(problem.elevations)
    single = np.linspace(*window, 3) if spread else np.empty(0)
    seen = 1 + len(single)
    values = np.zeros((seen + len(points), directions + len(problem.points)))
    values[0, :directions] = window_power(np.eye(directions), problem.elevations, window)
    values[1:seen, :directions] = power_at(np.eye(directions), problem.elevations, single).T
    values[np.arange(len(points)) + seen, directions + np.asarray(points, dtype=int)] = 1.0
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
    curves: np.ndarray | None = None,
    within: float = np.inf,
    rings: bool = True,
) -> SettledResponse:
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
    curves, within
        As for `Wanted`; columns are the problem's elevations, then its points.
    rings : bool
        Name the resonances.

    Returns
    -------
    SettledResponse

    Raises
    ------
    ValueError
        If the solver refuses the problem.
    """
    rounds = _Rounds(solver, begun)
    wanted = Wanted(
        low=float(problem.frequencies[0]),
        high=float(problem.frequencies[-1]),
        values=window_and_points(problem, window, points, spread=within_db > SURE_OF_SPREAD_DB),
        within_db=within_db,
        curves=curves,
        within=within,
        most=MOST_FOR_BANDS if curves is None else MOST_FOR_CURVES,
        batch=BATCH_FOR_BANDS if curves is None else BATCH_FOR_CURVES,
        transfer=rounds.transfer,
    )
    start = start if begun is None else begun.response.problem.frequencies
    response, found = _settled(problem, rounds, wanted, start, rings=rings)
    how = direction_weights(problem.elevations, window)
    fine = found.fine_power(response.reference, how)
    sliding = slide(fine, found.centres[0], found.centres[-1])
    return SettledResponse(response, found, sliding)


def settled_at_points(
    problem: Problem,
    solver: Callable[[Problem], Response],
    *,
    within_db: float,
    points: Sequence[int],
    start: Real | None = None,
) -> Response:
    """Solve a problem at frequencies chosen by need for single points, and read it at its own.

    Parameters
    ----------
    problem, solver, within_db, start
        As for `settled_response`.
    points : sequence of int
        Numbers of the problem's points of which the band values have to settle; what is read
        elsewhere is as good as the same frequencies make it.

    Raises
    ------
    ValueError
        If the solver refuses the problem.
    """
    values = np.zeros((len(points), len(problem.elevations) + len(problem.points)))
    values[np.arange(len(points)), len(problem.elevations) + np.asarray(points, dtype=int)] = 1.0
    rounds = _Rounds(solver)
    wanted = Wanted(
        low=float(problem.frequencies[0]),
        high=float(problem.frequencies[-1]),
        values=values,
        within_db=within_db,
        transfer=rounds.transfer,
    )
    return _settled(problem, rounds, wanted, start, rings=True)[0]


class _Rounds:
    """A solver that remembers what it was asked for; the first round may be known already."""

    def __init__(self, solver: Callable[[Problem], Response], begun: Begun | None = None) -> None:
        self._solver, self.begun = solver, begun
        self.responses: list[Response] = []

    def __call__(self, asked: Problem) -> Response:
        first = None if self.responses or self.begun is None else self.begun.response
        self.responses.append(first or self._solver(asked))
        return self.responses[-1]

    def transfer(self, frequencies: Real) -> Complex:
        """See `windows.Transfer`; known after the first round."""
        return self.responses[0].reference.in_bands(frequencies)


def _settled(
    problem: Problem, rounds: _Rounds, wanted: Wanted, start: Real | None, *, rings: bool
) -> tuple[Response, Settled]:
    found = settle_bands(solve_columns(problem, rounds), wanted, start)
    solved, begun = rounds.responses, rounds.begun
    directions = len(problem.elevations)
    read = found.by_way(problem.frequencies).transpose(1, 0, 2)
    order = np.argsort(np.concatenate([one.problem.frequencies for one in solved]))
    settling = Settling(
        frequencies=found.frequencies,
        within_db=wanted.within_db,
        doubt_db=found.doubt_db.max(axis=1),
        near_power=found.power[:, directions:],
        resonances=tuple(one for one in found.resonances if one.trusted) if rings else (),
        read=0 if begun is None else begun.read,
        foretold=found.foretold,
    )
    response = replace(
        solved[0],
        problem=problem,
        far_by_way=read[:, :, :directions],
        near_by_way=read[:, :, directions:],
        power_error_db=np.concatenate([one.power_error_db for one in solved], axis=1)[:, order],
        unknowns=np.concatenate([one.unknowns for one in solved])[order],
        arrived_by_way=arrived_in(solved, order),
        finer=finer_in(solved, order),
        settling=settling,
    )
    return response, found


def settle_bands(solve: Solve, wanted: Wanted, start: Real | None = None) -> Settled:
    """Solve at frequencies chosen one batch after another until every band value has settled.

    Where curves are to settle too, frequencies in the widest gaps are solved at the end, one in
    each band: what they show, the fits' agreement may have missed. It goes on until all of them had
    been foretold.

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
    rounds, foretold = 1, np.zeros(0)
    while True:
        windows = {
            first: look_at(f, samples, wanted, first, windows.get(first))
            for first in range(0, len(wanted.centres), GROUP)
        }
        new = _next(list(windows.values()), f, wanted)
        settled = not len(new)
        if settled:
            found = _result(f, samples, wanted, list(windows.values()), rounds)
            if wanted.curves is None or _confirmed(foretold, len(f), wanted):
                return replace(found, foretold=foretold)
            new = _widest_gaps(f, wanted)
        values = solve(new)
        if settled:
            foretold = _foretold(found, new, values, wanted)
        together = np.concatenate((f, new))
        order = np.argsort(together)
        samples = np.concatenate((samples, values))[order]
        f, rounds = together[order], rounds + 1


def _confirmed(foretold: Real, solved: int, wanted: Wanted) -> bool:
    """Whether curves were tried, and all was foretold or no more may be solved."""
    return bool(len(foretold) and (foretold.max() <= wanted.within or solved >= wanted.most))


def _widest_gaps(f: Real, wanted: Wanted) -> Real:
    """(B,) of each band the frequency that is farthest from all that were solved."""
    places = wanted.centres[:, None] * 10.0 ** places_in_band(GAPS_PER_BAND)
    far = np.array([_nearest(np.log(one), np.log(f)) for one in places])
    return places[np.arange(len(places)), far.argmax(axis=1)]


def _foretold(found: Settled, f: Real, values: Complex, wanted: Wanted) -> Real:
    """(N,) largest error of a curve at frequencies new to it, over its rms value in the band."""
    size = np.sqrt(found.power[:, wanted.curves])
    size = np.maximum(size, FAINT * size.max(axis=1, keepdims=True))
    off = np.einsum("wf,fwk->fk", wanted.transfer(f), found.by_way(f) - values)
    return (np.abs(off[:, wanted.curves]) / size).max(axis=1)


def _next(windows: list[Window], f: Real, wanted: Wanted) -> Real:
    """Frequencies to solve next: where fits differ most, in the bands that are worst off.

    A band has two rows here, its values and its curves; each as a multiple of what is allowed.
    """
    doubt = np.concatenate([window.doubt_db.max(axis=1) for window in windows])
    apart = np.concatenate([window.apart for window in windows])
    need = np.append(doubt / wanted.within_db, apart.max(axis=1, initial=0.0) / wanted.within)
    if need.max() <= 1.0:
        return np.zeros(0)
    differ = [window.spread.max(axis=2) for window in windows] + [apart]
    where = [window.places for window in windows] + [window.curve_places for window in windows]
    hz = np.concatenate([one.ravel() for one in where])
    places = np.log(hz)
    row = np.repeat(np.arange(len(need)), [len(one) for rows in where for one in rows])
    urgency = np.concatenate([one.ravel() for one in differ]) * (need > 1.0)[row]
    taken, new = np.log(f), list[int]()
    while len(new) < min(wanted.batch, wanted.most - len(f)):
        free = np.where(_nearest(places, taken) > np.log(CLOSEST), urgency, 0.0)
        if not free.any():
            break
        worst = need[row] * (free > 0.0)
        new.append(int(np.argmax(np.where(worst == worst.max(), free, 0.0))))
        here = places[new[-1]]
        taken = np.sort(np.append(taken, here))
        # One more sample there, as a rule, halves what is left to be known.
        need[row[new[-1]] % len(doubt) :: len(doubt)] *= 0.5
        urgency *= np.minimum(1.0, np.abs(places - here) / NEIGHBOURHOOD)
    return np.sort(hz[new])


def _nearest(places: Real, taken: Real) -> Real:
    """(N,) distance of each place from the nearest of those taken, which ascend."""
    after = np.clip(np.searchsorted(taken, places), 1, len(taken) - 1)
    return np.minimum(np.abs(places - taken[after - 1]), np.abs(taken[after] - places))


def _result(
    f: Real, samples: Complex, wanted: Wanted, windows: list[Window], rounds: int
) -> Settled:
    power = np.concatenate([window.powers(samples.shape[1]) for window in windows])
    level = np.concatenate([middle_of(window.level_db) for window in windows])
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
