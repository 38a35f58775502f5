"""How big a gap between baffle and top plate?"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from studies.design import Design
from studies.solving.candidates import Candidate, NearBest, Row, best_of, near_best
from studies.solving.grid import (
    COARSE_PER_BAND,
    FINE_PER_BAND,
    Progress,
    Solver,
    require_one_solved,
    run,
    settle,
)

NOTCH_DEPTH_DB = 4.0
"""A dip counts as a notch when the window level rises this far on both sides of it."""


@dataclass(frozen=True, eq=False)
class GapChoice:
    """One plate gap (metres) and what became of it."""

    plate_gap: float
    row: Row

    @cached_property
    def notches_hz(self) -> np.ndarray:
        """Frequencies of the notches in the window level, deepest first."""
        from scipy.signal import find_peaks

        if not self.row.solved:
            return np.empty(0)
        curve = self.row.window_curve_db
        at, found = find_peaks(-curve, prominence=NOTCH_DEPTH_DB)
        deepest_first = np.argsort(found["prominences"])[::-1]
        return self.row.response.problem.frequencies[at[deepest_first]]

    def plate_limit_hz(self, speed: float) -> float:
        """Frequency c / 2H up to which the plates carry one radial wave only."""
        return speed / (2.0 * self.plate_gap)

    @property
    def tip_dip_hz(self) -> float:
        """Rough place of the first driver-to-tip dip, c / 4G: common practice, no source."""
        return self.row.response.problem.air.speed / (4.0 * self.row.assembly.tip_clearance)


@dataclass(frozen=True, eq=False)
class GapStudy:
    """The answer.

    Attributes
    ----------
    design : Design
    choices : tuple of GapChoice
        Smallest first, solved or not.
    best : GapChoice
        The lowest score among the gaps that do not choke the driver, if there is one.
    near_best : NearBest
        Range of plate gaps, metres.
    """

    design: Design
    choices: tuple[GapChoice, ...]
    best: GapChoice
    near_best: NearBest

    @property
    def post_length(self) -> float:
        """Cut length of a post at the best gap, sockets included, metres."""
        return self.best.row.assembly.post_length


def gap(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = COARSE_PER_BAND,
) -> GapStudy:
    """Solve every plate gap and recommend one.

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
        If there is nothing to try, or nothing that can be built.
    """
    sizes = design.gap_candidates()
    candidates = [_candidate(design, size) for size in sizes]
    rows = run(design, candidates, solver, per_band, "plate gaps", progress)
    require_one_solved(design, rows, "gap", "gap")
    free = [i for i, row in enumerate(rows) if row.solved and not row.assembly.is_choked]
    if not free:
        free = [i for i, row in enumerate(rows) if row.solved]
    leading = settle(
        design, [rows[i] for i in free], solver, max(per_band, FINE_PER_BAND), progress
    )
    final = dict(zip(free, leading, strict=True))
    choices = tuple(GapChoice(size, final.get(i, rows[i])) for i, size in enumerate(sizes))
    contenders = [choices[i] for i in free]
    winner = best_of([choice.row for choice in contenders])
    return GapStudy(
        design,
        choices,
        next(choice for choice in contenders if choice.row is winner),
        near_best(
            [choice.plate_gap for choice in contenders],
            [choice.row for choice in contenders],
            design.target.near_best_db,
        ),
    )


def _candidate(design: Design, size: float) -> Candidate:
    return Candidate(f"plate gap {size * 1e3:.4g} mm", lambda: design.assembly().with_gap(size))
