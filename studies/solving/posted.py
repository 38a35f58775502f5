"""Posts solved exactly, where a design asks for it: `posts = "solved"` in its [target].

Round posts are exact (`dispersion.allround`); what costs time is the column without them, once for
every azimuthal order, about ten times as much as a round solve. Else posts are left out, or
estimated where azimuth matters.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from dispersion.allround import AllRoundError, Around, Solving, solve_around
from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.ripple import Balance, Ripple
from dispersion.solvers import SOLVERS
from shapes.assembly import Assembly
from studies.design import Design, DesignError, Mistake
from studies.measured.positions import Position
from studies.solving.cluster import ClusterSolver
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, problem_of
from studies.solving.predicting import places

STAGE = "posts"
IN_WINDOW = 9
"""Elevations over the window: the lobes of a gap are seldom narrower than the steps between."""


NOTHING_SOLVED = Balance(0.0, np.empty(0))


class ChangeAround(NamedTuple):
    """What is not round changes, and how well power balanced.

    Attributes
    ----------
    values : array
        Levels in dB, or pressures over 0 dB.
    balance : Balance
    """

    values: np.ndarray
    balance: Balance


def are_solved(design: Design, assembly: Assembly, solver: Solver) -> bool:
    """Whether posts are there, are to be solved, and the wave solver is at hand."""
    asked = design.tables.target.posts == "solved" and assembly.posts is not None
    return asked and given_to(solver) is not None


def solve_posts(
    design: Design,
    problem: Problem,
    solver: Solver,
    progress: Progress | None = None,
    *,
    counts: Sequence[int] = (),
    key: str = "target.posts",
    instead: str = 'posts = "round"',
) -> Around:
    """Solve a design's round bodies for every order that its posts excite.

    Parameters
    ----------
    design : Design
    problem : Problem
        In free air; what it holds besides its posts, elevations, points and frequencies is as for
        the wave solver.
    solver : callable
        The wave solver as the study has it: with its threads, settings and ledger.
    progress : callable, optional
        Called with (stage, done, total).
    counts : sequence of int
        Other numbers of posts to be asked for.
    key, instead : str
        What an error names: the place in the file, and what to write or take instead.

    Raises
    ------
    DesignError
        If posts of this design cannot be told exactly.
    """
    how = solving_by(solver, _ticking(progress, len(problem.frequencies)))
    try:
        return solve_around(problem, counts, how)
    except AllRoundError as refusal:
        raise DesignError(design.path, (Mistake(key, f"{refusal}; or {instead}"),)) from None


def solved_ripple(
    design: Design, assembly: Assembly, solver: Solver, progress: Progress | None = None
) -> Ripple:
    """Solve the ripple of a design's posts over its window of elevations."""
    window = np.linspace(*design.window_deg, IN_WINDOW)
    problem = problem_of(design, assembly, COARSE_PER_BAND)
    problem = replace(problem, elevations=window, points=problem.points[:0])
    around = solve_posts(design, problem, solver, progress)
    return around.ripples(assembly.standing_posts, [window.tolist()])[0]


def change_at_positions(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    progress: Progress | None = None,
    band: tuple[float, float] | None = None,
) -> ChangeAround | None:
    """What posts change at measuring positions, by third octave.

    Parameters
    ----------
    design, assembly, solver, progress
        As for `solve_posts`.
    positions : sequence of Position
        Where the azimuth was not noted nothing changes.
    band : (float, float), optional
        Lowest and highest third octave, Hz; the design's own if left out.

    Returns
    -------
    ChangeAround or None
        (P, B), dB; None where the design does not ask for posts to be solved, or has none.
    """
    if not are_solved(design, assembly, solver):
        return None
    problem = replace(
        problem_of(design, assembly, COARSE_PER_BAND),
        frequencies=study_frequencies(*(band or design.target.band), COARSE_PER_BAND),
        elevations=np.zeros(1),
        points=places(positions, design.column_height),
    )
    around = solve_posts(design, problem, solver, progress)
    ripples = around.ripples_at_points(assembly.standing_posts)
    changes = [
        np.zeros(len(ripple.centres)) if at.azimuth_deg is None else ripple.at(at.azimuth_deg)
        for ripple, at in zip(ripples, positions, strict=True)
    ]
    return ChangeAround(np.array(changes), around.balance)


def given_to(solver: Solver) -> Mapping[str, Any] | None:
    """Return what the wave solver was given by name; None if it is another method."""
    inner = solver.solve if isinstance(solver, ClusterSolver) else solver
    plain = inner.func if isinstance(inner, partial) else inner
    if plain is not SOLVERS["waves"]:
        return None
    return inner.keywords if isinstance(inner, partial) else {}


def solving_by(solver: Solver, progress: Callable[[int], None] | None) -> Solving:
    """Solve what is not round with the settings, threads, ledger and cluster of a wave solver."""
    known = ("settings", "workers", "store", "executor")
    given = {name: value for name, value in (given_to(solver) or {}).items() if name in known}
    return Solving(progress=progress, **given)


def _ticking(progress: Progress | None, total: int) -> Callable[[int], None] | None:
    """Count what is done, whatever thread says so."""
    if progress is None:
        return None
    done = itertools.count(1)
    progress(STAGE, 0, total)
    return lambda _: progress(STAGE, next(done), total)
