"""What a study will cost in time and memory, estimated before it starts."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from dispersion.allround.around import orders_with
from dispersion.allround.askew import MORE_ORDERS, orders_of, steps_of
from dispersion.bands import study_frequencies, third_octave_centres
from dispersion.fields import solve_fields
from dispersion.waves import WaveSettings
from dispersion.waves.sharing import MOST_BLOCK_BYTES
from dispersion.waves.solution import checked_mesh
from studies.design import Design
from studies.solving.grid import COARSE_PER_BAND, problem_of, work_of
from studies.solving.leaning import bands_solved
from studies.solving.processes import LEAST_WORK

PER_UNKNOWN_S, PER_PAIR_S, PER_CUBE_S = 4.4e-5, 4.8e-8, 6.2e-11
"""Processor time of a solve over its unknowns, their squares and cubes, as measured on 15 solves of
190 to 1042 unknowns, beside other work; other machines differ by the one factor that a trial solve
finds."""
SLOWER_AT_MOST = 4.0
"""A machine so much slower than that is reckoned with before anything is tried."""
TRIAL_UNKNOWNS = 1500
"""A trial solve has no more: half a second."""
TRIALS = 3
"""Of which the quickest counts: what else a machine does only takes time away."""
SHARED = 0.6
"""Cost of one more candidate over the first, keep or gap changed: DEVELOPERS.md, Measured."""
RANKED = 0.28
"""The same where designs are only compared (`studies.solving.ranking`), or asked of every driver
and build. Chosen to fit six questions about the example on two quiet cores (`trim`, also
`--as-written` and under a plate that stays, `felt`, `tolerance`, `meter`) before solves became
cheaper, and then guessed at. Reckoned and taken since, s: `trim` 82 and 73, under a plate that
stays 25 and 19 to 24, `felt` 22 and 22, `tolerance` 26 and 28, `meter` 53 and 51."""
NEEDED, NEEDED_PER_KA = 1.3, 0.35
"""Frequencies by need in a third octave: so many, or so many for each wave number times the
baffle's radius, if that is more. Up to 4 and to 16 kHz examples needed 22 to 28 and 64 to 76."""
SECOND_WORKER = 0.86
"""What every worker gives of its best when two work at once: DEVELOPERS.md, Measured."""
BASE_MB, ROW_MB = 420.0, 0.1
"""Memory of the program itself, once compiled, and of what is kept of a candidate."""
PROCESS_MB = 240.0
"""Of each process that solves beside this one: the program, compiled, besides the blocks that it
shares among its own candidates. `trim` of the example is so reckoned at 2220 MB in all and took
2230 (one arena each: `processes`)."""
MATRICES = 4
"""System, its factors, what they are made from and what walls take, at once for every worker."""
OWN_PAIRS = 0.6
"""Share of a system's entries that column and reflector have to themselves: these are kept."""
PER_MEETING_S, PER_ORDERS_S = 2.5e-6, 3e-8
"""Processor time of two axes over pairs of their unknowns and steps round; likewise for each pair
of their orders. A quarter less than fitted before solves became cheaper: the example, 2 mm off at
1 to 1.25 kHz, then took 0.63 of what was reckoned, on quiet cores. The tall build was not tried
again."""
PER_ORDER = 1.2
"""Time of each azimuthal order of a solve with posts over that of a round solve."""
PER_PASSING, PASSING_ORDERS = 0.5, 4
"""Time of each azimuthal order of what passes from beside over that of a round solve, on a coarser
mesh: 0.53 and 0.41 on the example and the small build of the tests; orders above the column's
circumference in wavelengths."""
MEETINGS = 5
"""Matrices of all orders of both bodies at once for every worker that solves two axes."""
DIRECTIONS = 120
"""Chebyshev points of a far field that is kept (`dispersion.waves.field`), about: 32 at low
frequencies, some 220 at 17 kHz where the whole column of the example is solved."""
START_S, ANSWER_S = 1.5, 2.5
"""To load what is compiled; to draw and write the answer."""
TRIED = 12
"""Frequencies at which the mesh is looked at; between them unknowns follow a power law."""


class BudgetError(ValueError):
    """A study larger than its budget, and nobody to say that it may start."""


@dataclass(frozen=True)
class Portion:
    """Part of the work of a study: designs solved at the same frequencies.

    Attributes
    ----------
    designs : int
        How many designs will be solved.
    per_band : int
        Frequencies in each third-octave band of the design's target; one where `passed`. Where
        `ranked`, `COARSE_PER_BAND` stands for as many as are needed.
    ranked : bool
        Whether they are only compared, by need and with a shorter column
        (`studies.solving.ranking`).
    counts : tuple of int
        Of posts with which each is solved; none where they are left out.
    displaced : float or None
        Farthest that a point of what hangs is off its place, m: column and reflector have an axis
        each, solved from `SOLVED_FROM_HZ` up. None where all is round about one.
    passed : bool
        Whether sound passes them from beside, order by order (`questions.seat.shadows`).
    """

    designs: int
    per_band: int
    ranked: bool = False
    counts: tuple[int, ...] = ()
    displaced: float | None = None
    passed: bool = False

    @property
    def is_round(self) -> bool:
        """Whether it takes the solver of round bodies, once for each frequency."""
        return not self.counts and self.displaced is None and not self.passed


Work = tuple[Portion, ...]
"""All that a study will solve."""


@dataclass(frozen=True)
class Budget:
    """What may be spent without asking.

    Attributes
    ----------
    minutes, megabytes : float
        Time, min, and memory, MB (1e6 bytes).
    ask : callable or None
        Question -> True for yes; None where there is nobody to ask.
    """

    minutes: float
    megabytes: float
    ask: Callable[[str], bool] | None = None


@dataclass(frozen=True)
class Cost:
    """What some work will take on this machine, roughly, if the ledger holds nothing of it.

    Attributes
    ----------
    designs, solves : int
        Designs, and solves of one design at one frequency.
    all_round : int
        How many of these solves take several azimuthal orders: posts, two axes, passing sound.
    seconds : float
        Time, s.
    megabytes : float
        Peak memory, MB (1e6 bytes): with all the blocks that solves may share, so an upper end.
    """

    designs: int
    solves: int
    seconds: float
    megabytes: float
    all_round: int = 0

    @property
    def time_in_words(self) -> str:
        """Write the time, "12 min"."""
        return _duration(self.seconds)

    def in_words(self) -> str:
        """Write designs, solves, time and memory in one sentence."""
        dear = f" ({self.all_round} of them not round)" if self.all_round else ""
        return (
            f"{self.designs} design{'s' * (self.designs != 1)}, {self.solves} solves of one"
            f" frequency{dear}: about {self.time_in_words} and {self.megabytes / 1e3:.1f} GB on"
            " this machine (less for what the ledger holds)"
        )


def _duration(seconds: float) -> str:
    minutes = seconds / 60.0
    if minutes < 100.0:
        return f"{max(minutes, 1.0):.0f} min"
    hours = minutes / 60.0
    return f"{hours:.0f} hours" if hours < 72.0 else f"{hours / 24.0:.0f} days"


def reckon(design: Design, work: Work, workers: int | None = None, finer: float = 1.0) -> Cost:
    """Reckon what some work takes from its meshes alone, on the machine that was measured.

    Parameters
    ----------
    design : Design
    work : tuple of Portion
    workers : int, optional
        Threads; as many as there are processors if left out.
    finer : float
        How many times finer the wave solver's mesh is than by default.

    Raises
    ------
    ValueError
        If the wave solver refuses the design.
    """
    count = workers or os.cpu_count() or 1
    tried, bodies = _meshes(design, WaveSettings().finer(finer))
    unknowns = bodies.sum(axis=1)
    seconds = blocks = meetings = 0.0
    for portion in work:
        frequencies = _frequencies(design, portion)
        each = _between(frequencies, tried, unknowns)
        if portion.displaced is not None:
            met = _meetings(design, portion.displaced, frequencies, tried, bodies)
            meeting = met.pairs * met.steps * (PER_MEETING_S + PER_ORDERS_S * met.orders**2)
            seconds += portion.designs * float((meeting + met.orders * _solve_seconds(each)).sum())
            meetings = max(meetings, 16.0 * MEETINGS * float((met.pairs * met.orders**2).max()))
        elif portion.passed:
            k = 2.0 * np.pi * frequencies / design.air.speed
            orders = k * _radius(design) + PASSING_ORDERS
            seconds += portion.designs * PER_PASSING * float(orders @ _solve_seconds(each))
        elif portion.counts:
            orders = _orders_with_posts(design, portion.counts, frequencies)
            seconds += portion.designs * PER_ORDER * float(orders @ _solve_seconds(each))
        else:
            share = RANKED if portion.ranked else SHARED
            one = float(_needed(design, portion, frequencies) @ _solve_seconds(each))
            seconds += one * (1.0 + share * (portion.designs - 1))
            block = OWN_PAIRS * each**2 + DIRECTIONS * each
            blocks += 16.0 * block.sum() * (1.0 + 0.5 * (portion.designs - 1))
    beside = [work_of(design, one.designs) >= LEAST_WORK for one in work if one.is_round]
    processes = count if count > 1 and any(beside) else 0
    # What is not round is mostly solved round as well.
    designs = sum(one.designs for one in work if one.is_round) or sum(one.designs for one in work)
    matrices = count * max(MATRICES * 16.0 * unknowns[-1] ** 2, meetings)
    solves = [
        portion.designs * round(_needed(design, portion, _frequencies(design, portion)).sum())
        for portion in work
    ]
    dear = [many for many, portion in zip(solves, work, strict=True) if not portion.is_round]
    return Cost(
        designs=designs,
        solves=sum(solves),
        seconds=START_S
        + ANSWER_S
        + float(seconds) / (count * (SECOND_WORKER if count > 1 else 1.0)),
        megabytes=BASE_MB
        + PROCESS_MB * processes
        + (min(blocks, MOST_BLOCK_BYTES) * max(processes, 1) + matrices) / 1e6
        + ROW_MB * designs,
        all_round=sum(dear),
    )


def estimate(design: Design, work: Work, workers: int | None = None, finer: float = 1.0) -> Cost:
    """Estimate what some work takes on this machine: `reckon`, and the time of a trial solve.

    Parameters, errors as for `reckon`.
    """
    cost, settings = reckon(design, work, workers, finer), WaveSettings().finer(finer)
    tried, bodies = _meshes(design, settings)
    unknowns = bodies.sum(axis=1)
    frequency = tried[max(int((unknowns <= TRIAL_UNKNOWNS).sum()) - 1, 0)]
    problem = problem_of(design, design.assembly(), COARSE_PER_BAND)
    solve_fields(problem, [tried[0]], settings, 1)  # compiles or loads what is compiled
    took = np.inf
    for _ in range(TRIALS):
        start = time.process_time()
        (found,) = solve_fields(problem, [frequency], settings, 1).values()
        took = min(took, time.process_time() - start)
    slower = took / float(_solve_seconds(found.unknowns))
    return replace(cost, seconds=ANSWER_S + slower * (cost.seconds - ANSWER_S))


def _orders_with_posts(
    design: Design, counts: tuple[int, ...], frequencies: np.ndarray
) -> np.ndarray:
    """How many azimuthal orders posts excite at each frequency."""
    k, assembly = 2.0 * np.pi * frequencies / design.air.speed, design.assembly()
    return np.array([len(orders_with(assembly, float(each), counts)) for each in k])


class _Meetings(NamedTuple):
    """Of two axes by frequency: pairs of their unknowns, azimuthal orders, steps round."""

    pairs: np.ndarray
    orders: np.ndarray
    steps: np.ndarray


def _meetings(
    design: Design,
    displaced: float,
    frequencies: np.ndarray,
    tried: np.ndarray,
    bodies: np.ndarray,
) -> _Meetings:
    column, hung = (_between(frequencies, tried, one) for one in bodies.T)
    k = 2.0 * np.pi * frequencies / design.air.speed
    orders = orders_of(k, displaced, MORE_ORDERS if displaced else 0)
    return _Meetings(column * hung, orders, steps_of(orders))


def _frequencies(design: Design, portion: Portion) -> np.ndarray:
    if portion.displaced is not None:
        return bands_solved(design.target.band, portion.per_band)
    if portion.passed:
        return third_octave_centres(*design.target.band)
    return study_frequencies(*design.target.band, portion.per_band)


def _needed(design: Design, portion: Portion, frequencies: np.ndarray) -> np.ndarray:
    """How many frequencies by need each of these stands for, shape (F,); 1 on an even grid."""
    if not portion.ranked:
        return np.ones(len(frequencies))
    ka = 2.0 * np.pi * frequencies / design.air.speed * _radius(design)
    return np.maximum(NEEDED, NEEDED_PER_KA * ka) / COARSE_PER_BAND


def _radius(design: Design) -> float:
    """Of what stands below, m."""
    return float(design.assembly().lower_line[:, 0].max())


def _solve_seconds(unknowns: Any) -> Any:
    n = np.asarray(unknowns, dtype=float)
    return PER_UNKNOWN_S * n + PER_PAIR_S * n**2 + PER_CUBE_S * n**3


def _between(at: np.ndarray, tried: np.ndarray, unknowns: np.ndarray) -> np.ndarray:
    return np.exp(np.interp(np.log(at), np.log(tried), np.log(unknowns)))


def _meshes(design: Design, settings: WaveSettings) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies over the band, Hz, (T,), and unknowns of each body as written there, (T, B)."""
    problem = problem_of(design, design.assembly(), COARSE_PER_BAND)
    tried = np.geomspace(problem.frequencies[0], problem.frequencies[-1], TRIED)
    bodies, lifts = zip(*problem.assembly.placed_bodies, strict=True)
    moving = frozenset().union(*(way.parts for way in problem.assembly.ways))
    meshes = [
        checked_mesh(
            bodies, f, moving, problem.air, settings.mesh, lifts, problem.floor_z, problem.walls
        )
        for f in tried
    ]
    return tried, np.array([[body.unknowns for body in mesh.bodies] for mesh in meshes], float)


def require_consent(
    design: Design,
    work: Work,
    budget: Budget,
    workers: int | None = None,
    finer: float = 1.0,
) -> None:
    """Ask before a study that is larger than its budget.

    Parameters
    ----------
    design : Design
    work : tuple of Portion
    budget : Budget
    workers : int, optional
        Threads; as many as there are processors if left out.
    finer : float
        How many times finer the wave solver's mesh is than by default.

    Raises
    ------
    BudgetError
        If the answer is no, or there is nobody to ask.
    """
    try:
        cost = reckon(design, work, workers, finer)
        if _within(cost, budget, SLOWER_AT_MOST):
            return
        cost = estimate(design, work, workers, finer)
    except ValueError:  # which the study itself says, and better
        return
    if _within(cost, budget):
        return
    sentence = (
        f"{cost.in_words()}, above the budget of {budget.minutes:g} min and"
        f" {budget.megabytes / 1e3:g} GB"
    )
    if budget.ask is not None and budget.ask(f"{sentence}. Start?"):
        return
    raise BudgetError(
        f"{sentence}: try fewer sizes, a narrower band or fewer frequencies a"
        " band, raise the budget (--time-budget, --memory-budget), or say --yes"
    )


def _within(cost: Cost, budget: Budget, slower: float = 1.0) -> bool:
    in_time = slower * cost.seconds <= 60.0 * budget.minutes
    return in_time and cost.megabytes <= budget.megabytes
