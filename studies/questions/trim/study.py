"""How much of the ball do I keep, and where does it hang?

What can be undone comes first: where the plate can be moved (`trim.hold`), keep and gap are
searched together, and every height has its own gap; over the file's own keep every gap is tried, as
by `roundcast gap`. Else plate gap or tip clearance stays.
The heights that may be chosen, and what they are compared with, are then asked of every driver and
build that the file may stand for (`studies.solving.ensemble`): the choice has the least regret.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise

import numpy as np

from dispersion.paths.rays import solve_rays
from shapes.assembly import Assembly
from shapes.reflectors import ball_cap
from studies.design import Design
from studies.solving.candidates import (
    SAME_SIZE,
    Candidate,
    NearBest,
    Row,
    Standing,
    contenders,
)
from studies.solving.ensemble import Judged, judge, may_lead
from studies.solving.grid import (
    COARSE_PER_BAND,
    Fineness,
    Progress,
    Solver,
    built,
    leaders_fineness,
    read_per_band,
    run,
    solve_again,
)
from studies.solving.joint import Pair, best_gap_for, solve_pairs
from studies.solving.lines import PlaceInLine
from studies.solving.losses import SoftBest, Softened, least_change, may_overtake, soften
from studies.solving.posted import PostedScores, score_with_posts
from studies.solving.ranking import solved_whole, to_rank
from studies.solving.shaving import (
    Cut,
    best_cut,
    cut_candidate,
    keep_islands,
    near_best_keeps,
    not_hollow,
    shaving_stops,
    solve_cuts,
)
from studies.solving.target import METER_DB
from studies.solving.verdicts import Lead, compared

OPINION_RAYS = 2**14
"""Rays that are followed for the comparison with the wave solver."""
MOST_GAPS_JUDGED = 4
"""Gaps over the file's own keep that are asked of every driver and build, besides the best."""


@dataclass(frozen=True, eq=False)
class ShaveStep:
    """One step of the shaving: from one keep height down to the next.

    Attributes
    ----------
    start, stop : Cut
        Before and after the step, both solved.
    softened : Softened or None
        The stops once more with a cone that absorbs; None where there is no such doubt.
    judged : Judged or None
        The stops in every driver and build; None where these were not asked.
    """

    start: Cut
    stop: Cut
    softened: Softened | None = None
    judged: Judged | None = None

    @property
    def change_db(self) -> np.ndarray:
        """(B,) change of the window level in each third-octave band, after less before, dB."""
        before, after = self.start.row.coverage, self.stop.row.coverage
        return after.window_level_db - before.window_level_db

    @cached_property
    def range_db(self) -> np.ndarray:
        """(2, B) the least and the most that it may be, dB.

        Over nine of ten drivers and builds where they were asked; else with a cone that absorbs
        and as it is, the same twice where there is no such doubt.
        """
        judged, rows = self.judged, (self.start.row, self.stop.row)
        if judged is not None and all(map(judged.knows, rows)):
            found = judged.change_range_db(*rows)
            if np.isfinite(found).all():
                return found
        return np.sort((self.change_db, self._soft_change_db), axis=0)

    @property
    def _soft_change_db(self) -> np.ndarray:
        """(B,) the change with a cone that absorbs; as it is where there is no such doubt, dB."""
        if self.softened is None:
            return self.change_db
        before, after = (self.softened.of(cut.row) for cut in (self.start, self.stop))
        if before is None or after is None:
            return self.change_db
        return after.coverage.window_level_db - before.coverage.window_level_db

    @property
    def sure_change_db(self) -> np.ndarray:
        """(B,) the end nearer to 0, 0 where the ends differ in sign: what a meter will show, dB."""
        return least_change(*self.range_db)

    @property
    def by_change(self) -> np.ndarray:
        """(B,) places of the bands by their sure change, the largest first; then by the likely."""
        likely = np.abs(self.range_db.mean(axis=0))
        return np.lexsort((-likely, -np.abs(self.sure_change_db)))

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
        Every candidate, solved or not; where the plate moves, each at its best gap by the map, the
        file's keep at that of least regret.
    best : Cut
        The one of least regret; that with the lowest score where nothing was judged.
    whole : Row
        That one with its whole column, where candidates are ranked with a shorter one.
    near_best : NearBest
        Range of keep heights of the best ball round the lowest score, m.
    islands : tuple of NearBest
        Ranges as good, apart from it.
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
        Leaders and shaving stops with a cone that absorbs; None where there is no such doubt, or
        where drivers and builds were asked.
    with_posts : PostedScores or None
        Leaders with their posts solved; None where the file does not ask for it.
    judged : Judged or None
        What may be chosen and what it is compared with, in every driver and build; None if quick.
    pairs : tuple of Pair
        The map of keep by gap; empty where the plate is not moved.
    as_written : Row or None
        The design as its file has it; None if its reflector is no ball that is tried.
    """

    design: Design
    cuts: tuple[Cut, ...]
    best: Cut
    whole: Row
    near_best: NearBest
    half_ball: Row
    plate_alone: Row
    bare_column: Row
    steps: tuple[ShaveStep, ...]
    ball_spread: BallSpread | None
    rays_opinion: RaysOpinion | None = None
    softened: Softened | None = None
    with_posts: PostedScores | None = None
    judged: Judged | None = None
    pairs: tuple[Pair, ...] = ()
    as_written: Row | None = None
    islands: tuple[NearBest, ...] = ()

    @property
    def moves_plate(self) -> bool:
        """True if every height hangs at a gap of its own."""
        return bool(self.pairs)

    def compare(self, first: Row, second: Row) -> Lead:
        """Compare two rows: in every driver and build if both were judged, else by usual spread."""
        judged = self.judged
        if judged is not None and judged.knows(first) and judged.knows(second):
            return judged.compare(first, second)
        return compared(second.score - first.score)

    @property
    def judged_cuts(self) -> tuple[Cut, ...]:
        """The cuts that were judged, the tallest first."""
        if self.judged is None:
            return ()
        known = [cut for cut in self.cuts if self.judged.knows(cut.row)]
        return tuple(sorted(known, key=lambda cut: -cut.keep))

    @property
    def like_best(self) -> tuple[Cut, ...]:
        """Judged cuts that cannot be told from the best, itself included, the tallest first."""
        cuts, best = self.judged_cuts, self.best.row
        return tuple(cut for cut in cuts if not self.compare(best, cut.row).told_apart)

    @property
    def gap_pays(self) -> bool:
        """True if the file's keep has less to regret at its best gap than as the file has it.

        Moving the plate can be undone, so nothing more is asked; where nothing was judged, a lead
        of the score.
        """
        written, now, judged = self.written, self.as_written, self.judged
        if written is None or now is None:
            return False
        if judged is None:
            return self.compare(written.row, now).gains
        return judged.regret_of(written.row) < judged.regret_of(now)

    @property
    def cut_buys(self) -> Lead | None:
        """The best against the file's keep at its own best gap; None if that is not among them."""
        written = self.written
        if written is None or written is self.best:
            return None
        return self.compare(self.best.row, written.row)

    @property
    def best_with_posts(self) -> tuple[Cut, float] | None:
        """The lowest score with posts solved, and its lead over the lowest without, dB."""
        lowest = best_cut(self.cuts).row
        if self.with_posts is None or lowest.assembly not in self.with_posts.changes_db:
            return None
        row, lead_db = self.with_posts.best([cut.row for cut in self.cuts], lowest)
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
        """The cut with the lowest score outside the near-best ranges; None if there is none."""
        others = (cut for cut in self.cuts if cut.row.solved and not self.standing_of(cut))
        return min(others, key=lambda cut: cut.row.score, default=None)

    @property
    def present_keep(self) -> float | None:
        """Keep of the design as written, m; None if the best ball is not the design's own."""
        ball = self.design.ball
        return ball.kept if ball and is_own_ball(self.design, self.best.ball_diameter) else None

    @property
    def written(self) -> Cut | None:
        """The cut of the file's keep, at its best gap if plates move; None if none was solved."""
        solved = (cut for cut in self.cuts if cut.row.solved)
        return next((cut for cut in solved if _is_written(self.design, cut)), None)

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
        ranges = (self.near_best, *self.islands)
        near = cut.is_of(self.best.ball_diameter) and any(r.holds(cut.keep) for r in ranges)
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
    *,
    ensemble: bool = False,
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
    ensemble : bool
        Ask every driver and build that the file may stand for (wave solver only).

    Returns
    -------
    Trim

    Raises
    ------
    DesignError
        If there is nothing to try, or nothing that can be built.
    """
    fine, rank = leaders_fineness(fineness), to_rank(solver, fineness)
    pairs = _pairs(design, rank, fineness, progress)
    cuts = _solved_cuts(design, pairs, rank, fineness, progress)
    cuts = _settled(design, cuts, rank, fine, progress)
    judged = None
    if ensemble:
        over = _gaps_over_written(design, cuts, rank, fineness, progress)
        may_be = _may_be_chosen(design, cuts, over)
        judged = judge(design, may_be, rank, fineness, progress)
        cuts = _hung_with_least_regret(cuts, over, judged)
    lowest = best_cut(cuts)
    best = lowest
    if judged is not None:
        known = [cut for cut in not_hollow(cuts) if judged.knows(cut.row)]
        regrets = [judged.regret_of(cut.row) for cut in known]
        best = known[regrets.index(min(regrets))]
    asked = [*_references(best), *_written(design)]
    compared_rows = run(design, asked, rank, fine, "comparisons", progress)
    if judged is not None:
        judged = judged.joined(judge(design, compared_rows, rank, fineness, progress))
    same_ball = [cut for cut in cuts if cut.is_of(best.ball_diameter)]
    stops = _settled_stops(design, shaving_stops(same_ball, best), rank, fine, progress)
    ends = _measured_ends(design, best)
    measured = run(
        design, [_end(design, best, *end) for end in ends], rank, fine, "uneven ball", progress
    )
    leaders = may_overtake([cut.row for cut in cuts], lowest.row, design.target.near_best_db)
    shaved = [stop.row for stop in stops]
    softened = stopped = None
    if judged is None:
        softened = soften(design, [*leaders, *shaved], rank, fineness, progress)
    else:
        unknown = [row for row in shaved if not judged.knows(row)]
        stopped = judged.joined(judge(design, unknown, rank, fineness, progress))
    near = [cut for cut in cuts if cut.is_of(lowest.ball_diameter)]
    half_ball, plate_alone, bare_column, *own = compared_rows
    return Trim(
        design=design,
        cuts=cuts,
        best=best,
        whole=solved_whole(design, best.row, solver, fineness, progress),
        near_best=near_best_keeps(near, design.target.near_best_db),
        half_ball=half_ball,
        plate_alone=plate_alone,
        bare_column=bare_column,
        steps=tuple(ShaveStep(start, stop, softened, stopped) for start, stop in pairwise(stops)),
        ball_spread=_ball_spread([Cut(*end, row) for end, row in zip(ends, measured, strict=True)]),
        rays_opinion=_rays_opinion(design, same_ball, best, progress),
        softened=softened,
        with_posts=score_with_posts(design, leaders, solver, progress),
        judged=judged,
        pairs=pairs,
        as_written=next((row for row in own if row.solved), None),
        islands=keep_islands(near, design.target.near_best_db),
    )


def _pairs(
    design: Design, solver: Solver, fineness: Fineness, progress: Progress | None
) -> tuple[Pair, ...]:
    if not design.moves_plate:
        return ()
    return solve_pairs(design, design.trim_candidates(), solver, fineness, progress)


def _solved_cuts(
    design: Design,
    pairs: Sequence[Pair],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """Every height: at its best gap by the map, if there is one."""
    sizes = design.trim_candidates()
    if not pairs:
        return solve_cuts(design, sizes, solver, fineness, progress)
    gaps = [best_gap_for(pairs, *size, _gaps_that_fit(design, *size)) for size in sizes]
    return solve_cuts(design, sizes, solver, fineness, progress, plate_gaps=gaps)


def _gaps_that_fit(design: Design, ball_diameter: float, keep: float) -> tuple[float, ...]:
    """Gaps at which a cap can hang; all of them if none is wide enough, to say why."""
    gaps = design.gap_candidates()
    fit = (gap for gap in gaps if not built(cut_candidate(design, ball_diameter, keep, gap)).reason)
    return tuple(fit) or tuple(gaps)


def _settled(
    design: Design,
    cuts: tuple[Cut, ...],
    solver: Solver,
    fine: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """The cuts with those that may be chosen as fine as leaders."""
    finer = read_per_band(fine)
    coarse = [row for row in _may_be_chosen(design, cuts) if row.per_band < finer]
    again = dict(
        zip(map(id, coarse), solve_again(design, coarse, solver, fine, progress), strict=True)
    )
    return tuple(replace(cut, row=again.get(id(cut.row), cut.row)) for cut in cuts)


def _written(design: Design) -> list[Candidate]:
    """The design as its file has it, where it is one of those that are asked for."""
    if design.ball is None:
        return []
    return [Candidate("as the file has it", design.assembly)]


def _may_be_chosen(design: Design, cuts: Sequence[Cut], over: Sequence[Cut] = ()) -> list[Row]:
    """Rows that may have the least regret: heights, the file's, and gaps over the file's height."""
    own = [cut.row for cut in cuts if _is_written(design, cut)]
    free = [over[place].row for place in contenders([cut.row for cut in over])]
    gaps = may_lead(free, most=MOST_GAPS_JUDGED) if free else []
    tall = sorted(not_hollow(cuts), key=lambda cut: -cut.keep)
    return may_lead([cut.row for cut in tall], [*own, *gaps])


def _gaps_over_written(
    design: Design,
    cuts: Sequence[Cut],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """The file's keep under a plate at every gap; none where the plate is not moved."""
    own = next((cut for cut in cuts if cut.row.solved and _is_written(design, cut)), None)
    if own is None or not design.moves_plate:
        return ()
    gaps = [gap for gap in design.gap_candidates() if gap != own.row.assembly.plate_gap]
    candidates = [
        replace(cut_candidate(design, own.ball_diameter, own.keep, gap), along=PlaceInLine("", gap))
        for gap in gaps
    ]
    rows = run(design, candidates, solver, fineness, "gaps over the file's keep", progress)
    return tuple(replace(own, row=row) for row in rows)


def _hung_with_least_regret(
    cuts: tuple[Cut, ...], over: Sequence[Cut], judged: Judged | None
) -> tuple[Cut, ...]:
    """The cuts with the file's keep at the gap of least regret."""
    if judged is None or not over:
        return cuts
    same = [cut for cut in cuts if cut.keep == over[0].keep and cut.is_of(over[0].ball_diameter)]
    known = [cut for cut in (*same, *over) if judged.knows(cut.row)]
    least = min(known, key=lambda cut: judged.regret_of(cut.row))
    return tuple(least if cut is same[0] else cut for cut in cuts)


def _is_written(design: Design, cut: Cut) -> bool:
    """Return whether a cut keeps what the file says of the file's ball."""
    ball = design.ball
    return ball is not None and cut.is_of(ball.diameter) and abs(cut.keep - ball.kept) < SAME_SIZE


def _settled_stops(
    design: Design,
    stops: tuple[Cut, ...],
    solver: Solver,
    fine: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """Shaving stops as fine as leaders; by need every cut has settled within a step's change."""
    coarse = [stop for stop in stops[:-1] if stop.row.response.settling is None]
    rows = solve_again(design, [stop.row for stop in coarse], solver, fine, progress)
    finer = dict(zip((stop.keep for stop in coarse), rows, strict=True))
    return tuple(replace(stop, row=finer.get(stop.keep, stop.row)) for stop in stops)


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


def _end(design: Design, best: Cut, ball_diameter: float, keep: float) -> Candidate:
    gap = best.row.assembly.plate_gap if design.moves_plate else None
    return cut_candidate(design, ball_diameter, keep, gap)


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
    candidates = [Candidate(cut.row.name, partial(_itself, cut.row.assembly)) for cut in solved]
    rows = run(design, candidates, solver, COARSE_PER_BAND, "what rays say", progress)
    if any(not row.solved for row in rows):
        return None
    favourite = min(range(len(rows)), key=lambda place: rows[place].score)
    return RaysOpinion(solved[favourite], best, rows[solved.index(best)])


def _itself(assembly: Assembly) -> Assembly:
    return assembly
