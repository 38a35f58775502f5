"""Cone or dome or a curve of my own? Same column, same driver, same scale, absolute level."""

from dataclasses import dataclass

import numpy as np

from studies.design import ContestEntry, Design
from studies.solving.candidates import Candidate, Row, winner_of
from studies.solving.grid import FINE_PER_BAND, Progress, Solver, run


@dataclass(frozen=True, eq=False)
class Contest:
    """Every entry with what became of it; the design as written is the first."""

    design: Design
    entries: tuple[ContestEntry, ...]
    rows: tuple[Row, ...]

    @property
    def ranking(self) -> tuple[Row, ...]:
        """Solved rows, best first."""
        return tuple(sorted((row for row in self.rows if row.solved), key=lambda row: row.score))

    @property
    def winner(self) -> Row:
        """Row with the lowest score."""
        return winner_of(self.rows)

    @property
    def margin_db(self) -> float:
        """By how much the winner leads the next one, dB of score."""
        ranking = self.ranking
        return ranking[1].score - ranking[0].score if len(ranking) > 1 else float("inf")

    @property
    def band_difference_db(self) -> np.ndarray:
        """(B,) window level of the winner less that of the next one."""
        first, second = self.ranking[:2]
        return first.coverage.window_level_db - second.coverage.window_level_db


def contest(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
) -> Contest:
    """Solve the design as written and every entry of its contest.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band, four or more.

    Raises
    ------
    DesignError
        If the file has no contest.
    """
    entries = design.contest_entries()
    candidates = [_candidate(design, entry) for entry in entries]
    rows = run(design, candidates, solver, per_band, "contest", progress)
    return Contest(design, entries, rows)


def _candidate(design: Design, entry: ContestEntry) -> Candidate:
    return Candidate(
        entry.name,
        lambda: design.assembly().with_gap(entry.plate_gap).with_reflector(entry.reflector),
    )
