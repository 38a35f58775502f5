"""Scores by the mean power of all azimuths: what posts change of them, and what hangs askew.

Candidates are compared as if all were round. The few that lead are solved again as they are where
the file asks for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from dispersion.coverage import measure_coverage
from dispersion.problem import Problem
from dispersion.ripple import Balance
from shapes.assembly import Assembly
from studies.design import Design, DesignError
from studies.solving.askew_changes import powers_askew
from studies.solving.candidates import Row
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, problem_of
from studies.solving.leaning import as_hung
from studies.solving.posted import are_solved, solve_posts
from studies.solving.target import score

MOST_ASKEW = 4
"""Candidates that are solved as they hang: each takes as long as some twenty that hang straight."""
FARTHEST = 3.0
"""How many times as far off as the file says a change of score is followed, as its square."""


class Overtaken(NamedTuple):
    """The row that comes to lead, at how many times as far off as the file says."""

    row: Row
    times: float


@dataclass(frozen=True, eq=False)
class ScoreChanges:
    """What is not round changes of scores.

    Attributes
    ----------
    changes_db : mapping of Assembly to float
        Score with it less that without, both at four frequencies a third octave, dB.
    balances : tuple of Balance
        Of what was solved for that.
    """

    changes_db: Mapping[Assembly, float]
    balances: tuple[Balance, ...] = ()

    def best(self, rows: Sequence[Row], best: Row) -> tuple[Row, float] | None:
        """Return that of `rows` which scores best with it, and its lead over the best, dB.

        None if the best was not solved with it.
        """
        if best.assembly not in self.changes_db:
            return None
        scores = {row: row.score + self.changes_db[row.assembly] for row in self._known(rows)}
        first = min(scores, key=scores.__getitem__)
        return first, scores[best] - scores[first]

    def overtaken(self, rows: Sequence[Row], best: Row) -> Overtaken | None:
        """Find the row that first overtakes the best as what hangs askew does so ever more.

        Both sides weigh alike, so that the mean of all azimuths changes by the second order:
        s + d x^2, x times as far off (the example up to 3.15 kHz: 0.00092 dB with 1 mm, 0.00367 dB
        with 2 mm). None up to `FARTHEST`.
        """
        if best.assembly not in self.changes_db:
            return None
        worse = self.changes_db[best.assembly]
        found = [
            Overtaken(row, float(np.sqrt(max(row.score - best.score, 0.0) / gained)))
            for row in self._known(rows)
            if row is not best and (gained := worse - self.changes_db[row.assembly]) > 0.0
        ]
        first = min(found, key=lambda one: one.times, default=None)
        return None if first is None or first.times > FARTHEST else first

    @property
    def most_db(self) -> float:
        """Largest change of a score, without sign, dB."""
        return max(map(abs, self.changes_db.values()))

    def _known(self, rows: Sequence[Row]) -> list[Row]:
        return [row for row in rows if row.solved and row.assembly in self.changes_db]


def score_with_posts(
    design: Design, rows: Sequence[Row], solver: Solver, progress: Progress | None = None
) -> ScoreChanges | None:
    """Score candidates with their posts solved; None where the design does not ask for it.

    Candidates whose posts cannot be told exactly are passed over; None if that is all of them.
    """
    changes: dict[Assembly, float] = {}
    balances: list[Balance] = []
    for row in rows:
        if row.solved and are_solved(design, row.assembly, solver):
            try:
                change, balance = _with_posts(design, row.assembly, solver, progress)
            except DesignError:
                continue
            changes[row.assembly] = change
            balances.append(balance)
    return ScoreChanges(changes, tuple(balances)) if changes else None


def score_askew(
    design: Design, rows: Sequence[Row], solver: Solver, progress: Progress | None = None
) -> ScoreChanges | None:
    """Score the best few candidates as [askew] says that they hang; None where it says nothing."""
    hung = [row for row in rows if row.solved and as_hung(design, row.assembly, solver) is not None]
    changes: dict[Assembly, float] = {}
    balances: list[Balance] = []
    for row in sorted(hung, key=lambda one: one.score)[:MOST_ASKEW]:
        found = powers_askew(design, row.assembly, solver, progress)
        changes[row.assembly] = _change(
            design, found.problem, found.power, found.straight, found.alone
        )
        balances.append(found.balance)
    return ScoreChanges(changes, tuple(balances)) if changes else None


def _with_posts(
    design: Design, assembly: Assembly, solver: Solver, progress: Progress | None
) -> tuple[float, Balance]:
    """Change of score by the posts, dB."""
    problem = problem_of(design, assembly, COARSE_PER_BAND)
    problem = replace(problem, points=problem.points[:0])
    around = solve_posts(design, problem, solver, progress)
    alone = np.abs(around.reference.alone(problem.frequencies)) ** 2
    power = around.mean_power(assembly.standing_posts)
    return _change(design, problem, power, np.abs(around.bare) ** 2, alone), around.balance


def _change(
    design: Design, problem: Problem, power: np.ndarray, without: np.ndarray, alone: np.ndarray
) -> float:
    """Score of one power (F, E) less that of another, dB."""
    scores = []
    for each in (power, without):
        coverage = measure_coverage(
            problem.frequencies,
            problem.elevations,
            each,
            design.window_deg,
            design.target.band,
            alone,
        )
        scores.append(score(coverage, design.target).score)
    return scores[0] - scores[1]
