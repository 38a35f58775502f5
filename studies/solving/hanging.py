"""Plate gaps as candidates: solving them, and among which of them the best is chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dispersion.rational import Resonance
from shapes.lengths import in_own_exactly
from studies.design import Design
from studies.solving.candidates import (
    Candidate,
    NearBest,
    Row,
    contenders,
    islands,
    near_best,
    winner_of,
)
from studies.solving.grid import (
    Fineness,
    Progress,
    Solver,
    leaders_fineness,
    require_one_solved,
    run,
    settle,
)
from studies.solving.lines import PlaceInLine
from studies.solving.ranking import to_rank

NOTCH_DEPTH_DB = 4.0
"""A dip counts as a notch when the window level rises this far on both sides of it."""


@dataclass(frozen=True, eq=False)
class GapChoice:
    """One plate gap as a candidate.

    Attributes
    ----------
    plate_gap : float
        Baffle to underside of the top plate, m.
    row : Row
        Its geometry, solution and score.
    """

    plate_gap: float
    row: Row

    @cached_property
    def notches_hz(self) -> np.ndarray:
        """Frequencies of the notches in the window level, deepest first, Hz; none if not solved."""
        from scipy.signal import find_peaks

        if not self.row.solved:
            return np.empty(0)
        curve = self.row.window_curve_db
        at, found = find_peaks(-curve, prominence=NOTCH_DEPTH_DB)
        deepest_first = np.argsort(found["prominences"])[::-1]
        return self.row.response.problem.frequencies[at[deepest_first]]

    @property
    def resonances(self) -> tuple[Resonance, ...]:
        """Poles of the fit, ascending; none if not solved, or not by need."""
        settling = self.row.response.settling if self.row.solved else None
        return () if settling is None else settling.resonances


def solve_gaps(
    design: Design, solver: Solver, fineness: Fineness, progress: Progress | None = None
) -> tuple[GapChoice, ...]:
    """Solve every plate gap of ``[gap]``, and those that may be the best at more frequencies.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        Frequencies in a third-octave band at which all are compared, or as many as it takes; the
        leaders among those that may be chosen
        are solved again, see `leaders_fineness`.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    tuple of GapChoice
        Smallest first, solved or not.

    Raises
    ------
    DesignError
        If there is nothing to try, or nothing that can be built.
    """
    sizes = design.gap_candidates()
    candidates = [_candidate(design, size) for size in sizes]
    solver = to_rank(solver, fineness)
    rows = run(design, candidates, solver, fineness, "plate gaps", progress)
    require_one_solved(design, rows, "gap", "gap")
    places = contenders(rows)
    fine = leaders_fineness(fineness)
    settled = settle(design, [rows[place] for place in places], solver, fine, progress)
    finer = dict(zip(places, settled, strict=True))
    return tuple(GapChoice(size, finer.get(i, rows[i])) for i, size in enumerate(sizes))


def _candidate(design: Design, size: float) -> Candidate:
    name = f"plate gap {in_own_exactly(size)}"
    return Candidate(name, lambda: design.assembly().with_gap(size), PlaceInLine("plate gap", size))


def gap_contenders(choices: Sequence[GapChoice]) -> tuple[GapChoice, ...]:
    """Return the gaps among which the best is chosen, smallest first.

    Those that were solved and leak no more above the window than the designer takes, whatever
    their score; every solved one if there is none.
    """
    return tuple(choices[place] for place in contenders([choice.row for choice in choices]))


def best_gap(choices: Sequence[GapChoice]) -> GapChoice:
    """Return the contender with the lowest score; raise NotSolvedError if none was solved."""
    free = gap_contenders(choices)
    winner = winner_of([choice.row for choice in free])
    return next(choice for choice in free if choice.row is winner)


def near_best_gaps(choices: Sequence[GapChoice], within_db: float) -> NearBest:
    """Return the unbroken range of plate gaps, m, round the best contender.

    Every score of a contender in it is at most `within_db` above the lowest.
    """
    free = gap_contenders(choices)
    return near_best([choice.plate_gap for choice in free], [c.row for c in free], within_db)


def gap_islands(choices: Sequence[GapChoice], within_db: float) -> tuple[NearBest, ...]:
    """Return ranges of plate gaps, m, as good as that of `near_best_gaps` but apart from it."""
    free = gap_contenders(choices)
    return islands([choice.plate_gap for choice in free], [c.row for c in free], within_db)
