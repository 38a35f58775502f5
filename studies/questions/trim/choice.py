"""What was chosen: every height, the best, and what it was compared with."""

from __future__ import annotations

from dataclasses import dataclass

from studies.design import Design
from studies.questions.trim.comparisons import BallSpread, RaysOpinion
from studies.questions.trim.heights import is_own_ball, is_written
from studies.questions.trim.steps import ShaveStep
from studies.solving.all_round import ScoreChanges
from studies.solving.candidates import NearBest, Row, Standing
from studies.solving.ensemble import Judged
from studies.solving.joint import Pair, at_end
from studies.solving.losses import SoftBest, Softened
from studies.solving.shaving import Cut
from studies.solving.verdicts import Lead, compared

OTHER = "reflector of the file"


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
    with_posts : ScoreChanges or None
        Leaders with their posts solved; None where the file does not ask for it.
    askew : ScoreChanges or None
        The best of them as [askew] says that they hang; None where the file does not say so.
    judged : Judged or None
        What may be chosen and what it is compared with, in every driver and build; None if quick.
    pairs : tuple of Pair
        The map of keep by gap; empty where the plate is not moved.
    as_written : Row or None
        The design as its file has it; None if nothing hangs there, or it cannot be solved.
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
    with_posts: ScoreChanges | None = None
    askew: ScoreChanges | None = None
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

    def at_end_of_gaps(self, cut: Cut) -> bool:
        """Whether a height chose the least or the largest gap it could: it may do better beyond."""
        gaps = self.design.gap_candidates() if self.moves_plate else ()
        return bool(gaps) and cut.row.solved and at_end(cut.row.assembly.plate_gap, gaps)

    @property
    def gap_pays(self) -> bool:
        """True if the file's keep has less to regret at its best gap than as the file has it.

        Moving the plate can be undone, so it need not be sure, but a difference; where nothing was
        judged, a lead of the score.
        """
        written, now, judged = self.written, self.as_written, self.judged
        if written is None or now is None:
            return False
        lead = self.compare(written.row, now)
        if judged is None:
            return lead.gains
        if lead.verdict == "no difference":
            return False
        return judged.regret_of(written.row) < judged.regret_of(now)

    @property
    def cut_buys(self) -> Lead | None:
        """The best against the file's keep at its own best gap; None if that is not among them."""
        written = self.written
        if written is None or written is self.best:
            return None
        return self.compare(self.best.row, written.row)

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
        return next((cut for cut in solved if is_written(self.design, cut)), None)

    @property
    def other_reflector(self) -> Row | None:
        """The file's own reflector as it hangs, where that is no ball cap."""
        return None if self.design.ball else self.as_written

    @property
    def references(self) -> dict[str, Row]:
        """What the best cap is compared with, by name; some may not have been solved."""
        other = self.other_reflector
        return {
            "half ball": self.half_ball,
            "top plate alone": self.plate_alone,
            "bare column": self.bare_column,
            **({OTHER: other} if other else {}),
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
