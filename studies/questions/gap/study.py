"""How big a gap between baffle and top plate?

The gaps that may be chosen are asked of every driver and build that the file may stand for
(`studies.solving.ensemble`): the choice has the least regret.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from dispersion.air_load import AirLoad, air_load, air_load_flush
from studies.design import Design
from studies.solving.all_round import ScoreChanges, score_askew, score_with_posts
from studies.solving.candidates import SAME_SIZE, NearBest, Row, Standing
from studies.solving.ensemble import Judged, judge, may_lead, say_so_far
from studies.solving.grid import COARSE_PER_BAND, Fineness, Progress, Solver, problem_of
from studies.solving.hanging import (
    GapChoice,
    best_gap,
    gap_contenders,
    gap_islands,
    near_best_gaps,
    solve_gaps,
)
from studies.solving.losses import SoftBest, Softened, may_overtake, soften
from studies.solving.ranking import solved_whole, to_rank
from studies.solving.verdicts import Lead, compared

CONE_MASS_BY_AREA = 1.1
"""Moving mass of a driver without air over its effective area where the file does not say, kg/m^2:
common practice, no source."""


@dataclass(frozen=True, eq=False, kw_only=True)
class GapStudy:
    """How big a plate gap to leave, with everything that was compared.

    Attributes
    ----------
    design : Design
    choices : tuple of GapChoice
        Smallest first, solved or not.
    best : GapChoice
        The one of least regret among the gaps that leak no more than wanted, if there is one; that
        with the lowest score where nothing was judged.
    lowest : GapChoice
        The lowest score among them.
    whole : Row
        The best gap with its whole column, where gaps are ranked with a shorter one.
    near_best : NearBest
        Range of plate gaps, m.
    islands : tuple of NearBest
        Ranges as good, apart from it.
    softened : Softened or None
        Leaders with a cone that absorbs; None where there is no such doubt.
    air_loads : tuple of (AirLoad or None)
        By choice; None if it was not solved, or not by the wave solver.
    judged : Judged or None
        What may be chosen, and the file's gap, in every driver and build; None if quick.
    with_posts : ScoreChanges or None
        Leaders with their posts solved; None where the file does not ask for it.
    askew : ScoreChanges or None
        The best of them as [askew] says that they hang; None where the file does not say so.
    """

    design: Design
    choices: tuple[GapChoice, ...]
    best: GapChoice
    lowest: GapChoice
    whole: Row
    near_best: NearBest
    softened: Softened | None = None
    air_loads: tuple[AirLoad | None, ...] = field(default=(), repr=False)
    islands: tuple[NearBest, ...] = ()
    judged: Judged | None = None
    with_posts: ScoreChanges | None = None
    askew: ScoreChanges | None = None

    @property
    def soft_best(self) -> SoftBest | None:
        """The best gap with a cone that absorbs; None where there is no such doubt."""
        if self.softened is None:
            return None
        return self.softened.best([choice.row for choice in self.contenders], self.best.row)

    def choice_of(self, row: Row) -> GapChoice:
        """Return the gap whose row this is."""
        return next(choice for choice in self.choices if choice.row is row)

    @property
    def contenders(self) -> tuple[GapChoice, ...]:
        """The gaps that may be chosen: solved, and leaking no more than wanted if any is so."""
        return gap_contenders(self.choices)

    @property
    def smallest(self) -> GapChoice:
        """The smallest gap that was solved."""
        return next(choice for choice in self.choices if choice.row.solved)

    def air_load(self, choice: GapChoice) -> AirLoad | None:
        """Return the air that moves along with the cone at a gap; None if it is not known."""
        return dict(zip(map(id, self.choices), self.air_loads, strict=False)).get(id(choice))

    @property
    def written(self) -> GapChoice | None:
        """The gap that the design file has; None if it is not among the solved ones."""
        size = self.design.tables.plate_gap
        same = (c for c in self.choices if c.row.solved and abs(c.plate_gap - size) < SAME_SIZE)
        return next(same, None)

    @property
    def post_length(self) -> float:
        """Cut length of a post at the best gap, sockets included, m."""
        return self.best.row.assembly.post_length

    def standing_of(self, choice: GapChoice) -> Standing:
        """Return how a gap compares with the best: the best itself, near-best, or neither."""
        if choice is self.best:
            return "best"
        ranges = (self.near_best, *self.islands)
        held = any(one.holds(choice.plate_gap) for one in ranges)
        near = choice in self.contenders and held
        return "near-best" if near else ""

    def behind_db(self, choice: GapChoice) -> float:
        """Score of a gap less that of the best, dB; below 0 if it is better but leaks too much."""
        return choice.row.score - self.best.row.score

    def compare(self, choice: GapChoice) -> Lead:
        """Compare the best with another gap: in every driver and build if both were judged."""
        judged = self.judged
        if judged is not None and judged.knows(choice.row) and judged.knows(self.best.row):
            return judged.compare(self.best.row, choice.row)
        return compared(self.behind_db(choice))

    @property
    def like_best(self) -> tuple[GapChoice, ...]:
        """Judged gaps that cannot be told from the best, itself not counted, smallest first."""
        judged = self.judged
        if judged is None:
            return ()
        known = [one for one in self.choices if judged.knows(one.row) and one is not self.best]
        return tuple(one for one in known if not self.compare(one).told_apart)

    def plate_limit_hz(self, choice: GapChoice) -> float:
        """Frequency c / 2H, Hz, up to which the plates carry one radial wave only."""
        return self.design.air.speed / (2.0 * choice.plate_gap)


def gap(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = COARSE_PER_BAND,
    *,
    ensemble: bool = False,
) -> GapStudy:
    """Solve every plate gap and recommend one.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.
    ensemble : bool
        Ask every driver and build that the file may stand for (wave solver only).

    Returns
    -------
    GapStudy

    Raises
    ------
    DesignError
        If there is nothing to try, or nothing that can be built.
    """
    choices = solve_gaps(design, solver, fineness, progress)
    rank, lowest = to_rank(solver, fineness), best_gap(choices)
    if ensemble:
        say_so_far(progress, lowest.row)
    may_be = _may_be_chosen(design, choices) if ensemble else []
    judged = judge(design, may_be, rank, fineness, progress)
    best = lowest if judged is None else next(c for c in choices if c.row is judged.least)
    rows = [choice.row for choice in gap_contenders(choices)]
    # With drivers and builds a cone that absorbs has been asked already.
    leaders = may_overtake(rows, lowest.row, design.target.near_best_db)
    asked = leaders if judged is None else []
    softened = soften(design, asked, rank, fineness, progress)
    return GapStudy(
        design=design,
        choices=choices,
        best=best,
        lowest=lowest,
        whole=solved_whole(design, best.row, solver, fineness, progress),
        near_best=near_best_gaps(choices, design.target.near_best_db),
        softened=softened,
        air_loads=tuple(_air_load(design, choice) for choice in choices),
        islands=gap_islands(choices, design.target.near_best_db),
        judged=judged,
        with_posts=score_with_posts(design, leaders, solver, progress),
        askew=score_askew(design, leaders, solver, progress),
    )


def _may_be_chosen(design: Design, choices: Sequence[GapChoice]) -> list[Row]:
    """Rows of the gaps that may have the least regret, and of the file's if it may be chosen."""
    free, written = gap_contenders(choices), design.tables.plate_gap
    own = [one.row for one in free if abs(one.plate_gap - written) < SAME_SIZE]
    return may_lead([choice.row for choice in free], own)


def _air_load(design: Design, choice: GapChoice) -> AirLoad | None:
    row = choice.row
    if not row.solved or row.response.method != "waves":
        return None
    problem, area = problem_of(design, row.assembly), row.assembly.driver_area
    flush, published = air_load_flush(problem), design.tables.driver.moving_mass
    cone = CONE_MASS_BY_AREA * area if published is None else published - flush
    return AirLoad(air_load(problem), flush, cone)
