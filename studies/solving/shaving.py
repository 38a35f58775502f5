"""Cuts of balls: solving them, the best, and where to stop and measure on the way down to it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapes.lengths import in_own_exactly
from shapes.reflectors import ball_cap, base_of_cap
from studies.design import Design
from studies.solving.candidates import (
    SAME_SIZE,
    Candidate,
    NearBest,
    Row,
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


@dataclass(frozen=True, eq=False)
class Cut:
    """One cap of a ball as a candidate.

    Attributes
    ----------
    ball_diameter : float
        m.
    keep : float
        Height from the apex to the flat, m.
    row : Row
        Its geometry, solution and score.
    """

    ball_diameter: float
    keep: float
    row: Row

    @property
    def cut_off(self) -> float:
        """Height that is cut away: the ball's diameter less `keep`, m."""
        return self.ball_diameter - self.keep

    @property
    def base_diameter(self) -> float:
        """Diameter of the flat, m, by which the cut is checked: b = 2 sqrt(h (D - h))."""
        return base_of_cap(self.ball_diameter, self.keep)

    @property
    def base_per_keep(self) -> float:
        """How much the base diameter changes for a change of `keep`: |db/dh| = 2 |D - 2h| / b."""
        return 2.0 * abs(self.ball_diameter - 2.0 * self.keep) / self.base_diameter

    @property
    def is_cap(self) -> bool:
        """True if the ball is tall enough for `keep`."""
        return 0.0 < self.keep <= self.ball_diameter

    @property
    def rim_slope_deg(self) -> float | None:
        """Angle at which the surface rises at its rim, degrees; None if there is no such cap."""
        if not self.is_cap:
            return None
        return math.degrees(ball_cap(self.ball_diameter, self.keep).rim_slope)

    def is_of(self, ball_diameter: float) -> bool:
        """Return whether this is a cut of a ball of this diameter, m."""
        return abs(self.ball_diameter - ball_diameter) < SAME_SIZE


def cut_candidate(
    design: Design, ball_diameter: float, keep: float, plate_gap: float | None = None
) -> Candidate:
    """Return the design with another cap as a candidate, named by both sizes (m).

    Under a plate at this gap, m; left out, where `Design.trimmed` leaves it.
    """
    name = f"ball {in_own_exactly(ball_diameter)}, keep {in_own_exactly(keep)}"
    along = PlaceInLine(f"ball {ball_diameter}", keep)
    if plate_gap is None:
        return Candidate(name, lambda: design.trimmed(ball_diameter, keep), along)
    return Candidate(
        f"{name}, gap {in_own_exactly(plate_gap)}",
        lambda: design.trimmed(ball_diameter, keep).with_gap(plate_gap),
        along,
    )


def solve_cuts(
    design: Design,
    sizes: Sequence[tuple[float, float]],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
    plate_gaps: Sequence[float] | None = None,
) -> tuple[Cut, ...]:
    """Solve caps of balls, and those that may be the best once more at more frequencies.

    Parameters
    ----------
    design : Design
    sizes : sequence of (float, float)
        Ball diameter and keep of each cap, m.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        Frequencies in a third-octave band at which all are compared, or as many as it takes; the
        leaders
        are solved again, see `leaders_fineness`.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.
    plate_gaps : sequence of float, optional
        At which gap each hangs, m; left out, where `Design.trimmed` leaves them.

    Returns
    -------
    tuple of Cut
        In the order of `sizes`, solved or not.

    Raises
    ------
    DesignError
        If none of them can be built.
    """
    gaps = [None] * len(sizes) if plate_gaps is None else plate_gaps
    candidates = [
        cut_candidate(design, *size, plate_gap) for size, plate_gap in zip(sizes, gaps, strict=True)
    ]
    solver = to_rank(solver, fineness)
    rows = run(design, candidates, solver, fineness, "keep heights", progress)
    require_one_solved(design, rows, "trim.keep", "candidate")
    rows = settle(design, rows, solver, leaders_fineness(fineness), progress)
    return tuple(Cut(ball, keep, row) for (ball, keep), row in zip(sizes, rows, strict=True))


def best_cut(cuts: Sequence[Cut]) -> Cut:
    """Return the solved cut with the lowest score; raise NotSolvedError if none was solved.

    Cuts that hollow out the treble are passed over unless all do. What leaks above the window does
    not count here: a cut changes little of it.
    """
    winner = winner_of([cut.row for cut in not_hollow(cuts)])
    return next(cut for cut in cuts if cut.row is winner)


def not_hollow(cuts: Sequence[Cut]) -> Sequence[Cut]:
    """Return the solved cuts that do not hollow out the treble; all of them if there is none."""
    free = [cut for cut in cuts if cut.row.solved and not cut.row.scorecard.too_hollow]
    return free or cuts


def near_best_keeps(cuts: Sequence[Cut], within_db: float) -> NearBest:
    """Return the unbroken range of keep, m, round the best of one ball's cuts.

    Every solved score in it is at most `within_db` above the lowest.
    """
    free = not_hollow(cuts)
    return near_best([cut.keep for cut in free], [cut.row for cut in free], within_db)


def keep_islands(cuts: Sequence[Cut], within_db: float) -> tuple[NearBest, ...]:
    """Return ranges of keep, m, as good as that of `near_best_keeps` but apart from it."""
    free = not_hollow(cuts)
    return islands([cut.keep for cut in free], [cut.row for cut in free], within_db)


def shaving_stops(cuts: Sequence[Cut], best: Cut) -> tuple[Cut, ...]:
    """Choose where to stop and measure on the way from the tallest cap down to the best.

    Foam does not grow back, so the order is from tall to short, and every step takes off no more
    than half of what is left to take, or else goes to the next shorter cap.

    Parameters
    ----------
    cuts : sequence of Cut
        Of one ball; those that were not solved, and those shorter than the best, are no stops.
    best : Cut
        One of `cuts`.

    Returns
    -------
    tuple of Cut
        The tallest first, the best last.
    """
    way_down = sorted(
        (cut for cut in cuts if cut.row.solved and cut.keep >= best.keep), key=lambda cut: -cut.keep
    )
    stops = [way_down[0]]
    while stops[-1] is not best:
        half_left = 0.5 * (stops[-1].keep + best.keep)
        shorter = [cut for cut in way_down if cut.keep < stops[-1].keep]
        reached = [cut for cut in shorter if cut.keep >= half_left - 1e-9]
        stops.append(reached[-1] if reached else shorter[0])
    return tuple(stops)
