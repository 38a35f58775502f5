"""What nobody knows of a cone's losses, as a doubt: leaders solved again with a cone that takes.

A cone that no longer moves as one gives way to the sound over it: of paper, by 0.2 to 3 per cent
of the air's own admittance, of soft fabric or foam by up to 5 (the mass law and common practice,
no source). What an answer rests on must not hang on which it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from dispersion.absorbers import Above
from dispersion.bands import band_edges
from dispersion.walls import ConstantAdmittance
from shapes.assembly import Assembly
from studies.design import Design
from studies.design.walls_table import PIECES
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import Fineness, Progress, Solver, run

SOFT_CONE = 0.03
"""Admittance over that of air: takes 11 per cent of what meets it head on."""
MOST_OVERTAKEN_DB = 0.3
"""How far one score can overtake another by such a cone: 26 keeps of the example moved by 0.12 dB
with a standard deviation of 0.08, 0.25 at most."""


@dataclass(frozen=True, eq=False)
class SoftBest:
    """The best candidate with a cone that absorbs.

    Attributes
    ----------
    row : Row
        As it was solved without.
    lead_db : float
        By how much it leads the best as it is, both with such a cone; 0 if it is that one, dB.
    from_hz : float
        From where the cone takes something, Hz.
    """

    row: Row
    lead_db: float
    from_hz: float


@dataclass(frozen=True, eq=False)
class Softened:
    """Candidates solved again with a cone that takes something.

    Attributes
    ----------
    from_hz : float
        From where the cone takes it, Hz.
    rows : mapping of Assembly to Row
        Those that were solved.
    """

    from_hz: float
    rows: Mapping[Assembly, Row]

    def of(self, row: Row) -> Row | None:
        """Return a candidate with such a cone; None where it was not solved again."""
        return None if row.drawn is None else self.rows.get(row.drawn)

    def best(self, rows: Sequence[Row], best: Row) -> SoftBest | None:
        """Return that of `rows` which scores best then; None if the `best` was not solved again."""
        scores = {row: soft.score for row in rows if (soft := self.of(row)) is not None}
        if best not in scores:
            return None
        row = min(scores, key=scores.__getitem__)
        return SoftBest(row=row, lead_db=scores[best] - scores[row], from_hz=self.from_hz)


def soften(
    design: Design,
    rows: Sequence[Row],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
) -> Softened | None:
    """Solve candidates again with a cone of `SOFT_CONE` where it no longer moves as one.

    Parameters
    ----------
    design : Design
    rows : sequence of Row
        What to solve again; those that were not solved are passed over.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        Frequencies in a third-octave band, or as many as it takes.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    Softened or None
        None where there is no doubt, as for `soft_design`, or where the method takes every surface
        as hard.
    """
    soft = soft_design(design)
    solved = [row for row in rows if row.solved]
    by_waves = all(row.response.method == "waves" for row in solved)
    if soft is None or not by_waves:
        return None
    different = {row.assembly: row for row in solved}
    candidates = [
        Candidate(row.name, partial(_itself, assembly), row.along)
        for assembly, row in different.items()
    ]
    stage = "with a cone that absorbs"
    again = run(soft, candidates, solver, fineness, stage, progress)
    rows_of = {row.assembly: row for row in again if row.solved}
    return Softened(design.tables.driver.lets_go_hz, rows_of)


def soft_design(design: Design) -> Design | None:
    """Return the design with a cone of `SOFT_CONE` where it no longer moves as one.

    None where there is no doubt: the file says what its cone takes, or switches losses off, or the
    band ends below where a cone may take anything.
    """
    from_hz = design.tables.driver.lets_go_hz
    if not design.cone_is_open or band_edges(design.target.band[1])[1] <= from_hz:
        return None
    cone = Above(from_hz, ConstantAdmittance(SOFT_CONE))
    return design.with_absorbers(dict.fromkeys(PIECES["cone"], cone))


def may_overtake(rows: Sequence[Row], best: Row, within_db: float) -> list[Row]:
    """Return the solved rows that such a cone could make the best, or that are near-best."""
    limit = best.score + max(within_db, MOST_OVERTAKEN_DB)
    return [row for row in rows if row.score <= limit]


def least_change(change_db: np.ndarray, other_db: np.ndarray) -> np.ndarray:
    """Change that is there in both cases: the smaller one, 0 where they differ in sign, dB."""
    smaller = np.where(np.abs(change_db) < np.abs(other_db), change_db, other_db)
    return np.where(change_db * other_db > 0.0, smaller, 0.0)


def _itself(assembly: Assembly) -> Assembly:
    return assembly
