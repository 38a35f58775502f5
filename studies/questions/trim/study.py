"""How much of the ball do I keep?

Every keep height of every ball is solved and scored. What stays in place while the cap changes,
plate gap or tip clearance, is the design's choice (`trim.hold`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np

from dispersion.paths.rays import solve_rays
from shapes.assembly import Assembly
from shapes.reflectors import ball_cap
from studies.design import Design
from studies.solving.candidates import SAME_SIZE, Candidate, NearBest, Row, Standing
from studies.solving.grid import (
    COARSE_PER_BAND,
    Fineness,
    Progress,
    Solver,
    leaders_fineness,
    run,
)
from studies.solving.losses import SoftBest, Softened, least_change, may_overtake, soften
from studies.solving.posted import PostedScores, score_with_posts
from studies.solving.shaving import (
    Cut,
    best_cut,
    cut_candidate,
    near_best_keeps,
    shaving_stops,
    solve_cuts,
)
from studies.solving.target import METER_DB

OPINION_RAYS = 2**16
"""Rays that are followed for the comparison with the wave solver."""


@dataclass(frozen=True, eq=False)
class ShaveStep:
    """One step of the shaving: from one keep height down to the next.

    Attributes
    ----------
    start, stop : Cut
        Before and after the step, both solved.
    softened : Softened or None
        The stops once more with a cone that absorbs; None where there is no such doubt.
    """

    start: Cut
    stop: Cut
    softened: Softened | None = None

    @property
    def change_db(self) -> np.ndarray:
        """(B,) change of the window level in each third-octave band, after less before, dB."""
        before, after = self.start.row.coverage, self.stop.row.coverage
        return after.window_level_db - before.window_level_db

    @property
    def soft_change_db(self) -> np.ndarray:
        """(B,) the same with a cone that absorbs; as it is where there is no such doubt, dB."""
        if self.softened is None:
            return self.change_db
        before, after = (self.softened.of(cut.row) for cut in (self.start, self.stop))
        if before is None or after is None:
            return self.change_db
        return after.coverage.window_level_db - before.coverage.window_level_db

    @property
    def sure_change_db(self) -> np.ndarray:
        """(B,) the smaller of both, 0 where they differ in sign: what a meter will show, dB."""
        return least_change(self.change_db, self.soft_change_db)

    @property
    def by_change(self) -> np.ndarray:
        """(B,) places of the bands in the order of their sure change, the largest first."""
        return np.argsort(-np.abs(self.sure_change_db), kind="stable")

    @property
    def largest_change_db(self) -> float:
        """Sure change of the window level in the band where it is largest, with its sign, dB."""
        return float(self.sure_change_db[self.by_change[0]])

    @property
    def shows_on_a_meter(self) -> bool:
        """True if some band surely changes by `METER_DB` or more."""
        return abs(self.largest_change_db) >= METER_DB


@dataclass(frozen=True, eq=False)
class BallSpread:
    """What it costs that the ball is not round: the same keep, two measured diameters.

    Attributes
    ----------
    smallest, largest : Cut
        The best keep of a ball of the least and of the largest measured diameter.
    """

    smallest: Cut
    largest: Cut

    @property
    def score_change_db(self) -> float:
        """Difference of the score between the two, without sign, dB."""
        return abs(self.largest.row.score - self.smallest.row.score)

    @property
    def level_change_db(self) -> float:
        """Largest difference of the window level in any third-octave band, without sign, dB."""
        change = (
            self.largest.row.coverage.window_level_db - self.smallest.row.coverage.window_level_db
        )
        return float(np.max(np.abs(change)))


@dataclass(frozen=True, eq=False)
class RaysOpinion:
    """What rays alone would choose, beside the wave solver.

    Attributes
    ----------
    favourite : Cut
        The cut of the best ball that rays score best, with the wave solver's row.
    best : Cut
        The wave solver's best cut, with its row.
    best_by_rays : Row
        The same cut as rays see it.
    """

    favourite: Cut
    best: Cut
    best_by_rays: Row

    @property
    def agrees(self) -> bool:
        """True if rays would keep the same height."""
        return abs(self.favourite.keep - self.best.keep) < SAME_SIZE

    @property
    def widest(self) -> int:
        """Place of the band in which both methods' window levels of the best cut differ most."""
        rays, waves = self.best_by_rays.coverage, self.best.row.coverage
        return int(np.argmax(np.abs(rays.window_level_db - waves.window_level_db)))


@dataclass(frozen=True, eq=False, kw_only=True)
class Trim:
    """How much of the ball to keep, with everything that was compared.

    Attributes
    ----------
    design : Design
    cuts : tuple of Cut
        Every candidate, solved or not.
    best : Cut
        The one with the lowest score.
    near_best : NearBest
        Range of keep heights of the best ball, m.
    half_ball, plate_alone, bare_column : Row
        For comparison: half of the best ball at the same tip clearance (longer posts), the top
        plate without a reflector, and nothing above the driver.
    steps : tuple of ShaveStep
        From the tallest cap of the best ball down to the best.
    ball_spread : BallSpread or None
        None unless the best ball is the design's own and several diameters of it were measured.
    rays_opinion : RaysOpinion or None
        None if the method asked for was not the wave solver.
    softened : Softened or None
        Leaders and shaving stops with a cone that absorbs; None where there is no such doubt.
    with_posts : PostedScores or None
        Leaders with their posts solved; None where the file does not ask for it.
    """

    design: Design
    cuts: tuple[Cut, ...]
    best: Cut
    near_best: NearBest
    half_ball: Row
    plate_alone: Row
    bare_column: Row
    steps: tuple[ShaveStep, ...]
    ball_spread: BallSpread | None
    rays_opinion: RaysOpinion | None = None
    softened: Softened | None = None
    with_posts: PostedScores | None = None

    @property
    def best_with_posts(self) -> tuple[Cut, float] | None:
        """The best cut with its posts solved, and its lead over the best without, dB."""
        if self.with_posts is None or self.best.row.assembly not in self.with_posts.changes_db:
            return None
        row, lead_db = self.with_posts.best([cut.row for cut in self.cuts], self.best.row)
        return self.cut_of(row), lead_db

    @property
    def soft_best(self) -> SoftBest | None:
        """The best cut with a cone that absorbs; None where there is no such doubt."""
        if self.softened is None:
            return None
        return self.softened.best([cut.row for cut in self.cuts], self.best.row)

    def cut_of(self, row: Row) -> Cut:
        """Return the cut whose row this is."""
        return next(cut for cut in self.cuts if cut.row is row)

    @property
    def balls(self) -> tuple[float, ...]:
        """Diameter of every ball that was tried, m, each once, in the file's order."""
        return tuple(dict.fromkeys(cut.ball_diameter for cut in self.cuts))

    @property
    def cuts_of_best_ball(self) -> tuple[Cut, ...]:
        """Every cut of the ball that the best one is cut from, the shortest first."""
        same = (cut for cut in self.cuts if cut.is_of(self.best.ball_diameter))
        return tuple(sorted(same, key=lambda cut: cut.keep))

    @property
    def runner_up(self) -> Cut | None:
        """The cut with the lowest score outside the near-best range; None if there is none."""
        others = (cut for cut in self.cuts if cut.row.solved and not self.standing_of(cut))
        return min(others, key=lambda cut: cut.row.score, default=None)

    @property
    def present_keep(self) -> float | None:
        """Keep of the design as written, m; None if the best ball is not the design's own."""
        ball = self.design.ball
        return ball.kept if ball and is_own_ball(self.design, self.best.ball_diameter) else None

    @property
    def written(self) -> Cut | None:
        """The cut that the design file describes; None if it is not among the solved ones."""
        ball = self.design.ball
        if ball is None:
            return None
        same = (cut for cut in self.cuts if cut.row.solved and cut.is_of(ball.diameter))
        return next((cut for cut in same if abs(cut.keep - ball.kept) < SAME_SIZE), None)

    @property
    def references(self) -> dict[str, Row]:
        """What the best cap is compared with, by name; some may not have been solved."""
        return {
            "half ball": self.half_ball,
            "top plate alone": self.plate_alone,
            "bare column": self.bare_column,
        }

    @property
    def compared(self) -> dict[str, Row]:
        """The best cap, then what it is compared with, by name."""
        return {"best cap": self.best.row, **self.references}

    @property
    def gains_db(self) -> dict[str, float | None]:
        """Score of each reference less that of the best cap, dB; None where it was not solved."""
        return {
            name: row.score - self.best.row.score if row.solved else None
            for name, row in self.references.items()
        }

    def standing_of(self, cut: Cut) -> Standing:
        """Return how a cut compares with the best: the best itself, near-best, or neither."""
        if cut is self.best:
            return "best"
        near = cut.is_of(self.best.ball_diameter) and self.near_best.holds(cut.keep)
        return "near-best" if near else ""

    def behind_db(self, cut: Cut) -> float:
        """Score of a cut less that of the best, dB."""
        return cut.row.score - self.best.row.score


def is_own_ball(design: Design, ball_diameter: float) -> bool:
    """Return whether a ball of this diameter, m, is the one that the design is built with."""
    return design.ball is not None and abs(design.ball.diameter - ball_diameter) < SAME_SIZE


def trim(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = COARSE_PER_BAND,
) -> Trim:
    """Solve every keep height of every ball and choose.

    All candidates are compared as finely as `fineness` says; the leaders, the comparisons and the
    steps of the shaving are solved again at `FINE_PER_BAND`.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.

    Returns
    -------
    Trim

    Raises
    ------
    DesignError
        If there is nothing to try, or nothing that can be built.
    """
    fine = leaders_fineness(fineness)
    cuts = solve_cuts(design, design.trim_candidates(), solver, fineness, progress)
    best = best_cut(cuts)
    same_ball = [cut for cut in cuts if cut.is_of(best.ball_diameter)]
    stops = shaving_stops(same_ball, best)
    # By need every cut has settled within less than a shaving step has to show.
    coarse = [stop for stop in stops if stop.row.response.settling is None and stop is not best]
    asked = _references(best)
    ends = _measured_ends(design, best)
    again = [cut_candidate(design, cut.ball_diameter, cut.keep) for cut in coarse]
    candidates = [*asked, *(cut_candidate(design, *end) for end in ends), *again]
    stage = "comparisons and shaving steps"
    rows = iter(run(design, candidates, solver, fine, stage, progress))
    half_ball, plate_alone, bare_column = (next(rows) for _ in asked)
    measured = [Cut(*end, next(rows)) for end in ends]
    finer = dict(zip((stop.keep for stop in coarse), rows, strict=True))
    stops = tuple(replace(stop, row=finer.get(stop.keep, stop.row)) for stop in stops)
    leaders = may_overtake([cut.row for cut in cuts], best.row, design.target.near_best_db)
    doubtful = [*leaders, *(stop.row for stop in stops)]
    softened = soften(design, doubtful, solver, fineness, progress)
    return Trim(
        design=design,
        cuts=cuts,
        best=best,
        near_best=near_best_keeps(same_ball, design.target.near_best_db),
        half_ball=half_ball,
        plate_alone=plate_alone,
        bare_column=bare_column,
        steps=tuple(ShaveStep(start, stop, softened) for start, stop in pairwise(stops)),
        ball_spread=_ball_spread(measured),
        rays_opinion=_rays_opinion(design, same_ball, best, progress),
        softened=softened,
        with_posts=score_with_posts(design, leaders, solver, progress),
    )


def _references(best: Cut) -> tuple[Candidate, Candidate, Candidate]:
    return (
        Candidate("half ball", lambda: _half_ball(best)),
        Candidate("top plate alone", lambda: best.row.assembly.with_reflector(None)),
        Candidate("bare column", lambda: best.row.assembly.without_upper()),
    )


def _measured_ends(design: Design, best: Cut) -> list[tuple[float, float]]:
    """Least and largest measured diameter of the design's own ball, each with the best keep, m."""
    ball = design.ball
    if ball is None or not ball.spread or not is_own_ball(design, best.ball_diameter):
        return []
    half = 0.5 * ball.spread
    return [(best.ball_diameter - half, best.keep), (best.ball_diameter + half, best.keep)]


def _ball_spread(measured: Sequence[Cut]) -> BallSpread | None:
    if not measured or not all(cut.row.solved for cut in measured):
        return None
    smallest, largest = measured
    return BallSpread(smallest, largest)


def _half_ball(best: Cut) -> Assembly:
    """Half of the best ball, hung so that its tip clears the driver as the best cap does."""
    cap = ball_cap(best.ball_diameter, 0.5 * best.ball_diameter)
    # Its posts would have to stand farther out; they make no sound here.
    built = replace(best.row.assembly, posts=None)
    return built.with_gap(built.plate_gap + cap.height - best.keep).with_reflector(cap)


def _rays_opinion(
    design: Design, cuts: Sequence[Cut], best: Cut, progress: Progress | None
) -> RaysOpinion | None:
    if best.row.response.method != "waves":
        return None
    solver = partial(solve_rays, rays=OPINION_RAYS)
    solved = [cut for cut in cuts if cut.row.solved]
    candidates = [cut_candidate(design, cut.ball_diameter, cut.keep) for cut in solved]
    rows = run(design, candidates, solver, COARSE_PER_BAND, "what rays say", progress)
    if any(not row.solved for row in rows):
        return None
    favourite = min(range(len(rows)), key=lambda place: rows[place].score)
    return RaysOpinion(solved[favourite], best, rows[solved.index(best)])
