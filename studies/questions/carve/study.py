"""What would a curve of my own gain over the best cap and the best cone?

Its profile is a smooth curve through a few knots, searched within what the workshop can make. Cap,
cone and curve hang each at its own best gap, where plates may move. The best few of each are then
asked of every driver and build that the file may stand for (`studies.solving.ensemble`): the curve
of least regret is compared with the cap and the cone over which it leads in the fewest of them, and
no gain is claimed that these do not bear.

The search settles every third octave within 0.3 dB, the best three caps, cones and curves within
0.05 dB, as `roundcast spread` does, and the best of each once more on a mesh 1.5 times finer. Nine
curves near the example's cap took 51 solves and 0.63 s of processor time each, and their scores
were off by 0.028 dB (rms) from those within 0.05 dB (by an earlier score, without sliding bands);
four frequencies a band took 92, 0.64 s and were off by 0.090 dB. Beginning at the frequencies of
the first curve saved 5 per cent of the time and was left out. A score may be off by twice the sum
of what its terms change by (weights included), and by 0.034 dB at least; a gain by both of its
scores together. On the example, with gaps searched and 24 drivers and builds asked (240 s of
processor time, beside other work): carved 3.36 dB at 62 mm, in the mean of the members 0.58 dB
ahead of the cone (21 of 24 agree), 0.49 of the cap (19), give or take 0.1. Members turn the curve
exactly: what the lathe is off by, `roundcast tolerance` tells. A run that was killed half-way and
asked again wrote the same bytes as one that was not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from shapes.lengths import in_own_exactly
from shapes.reflectors import Reflector
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.questions.carve.bench import Bench, Hung, Trial
from studies.questions.carve.curves import KNOTS, Form
from studies.questions.carve.search import scan_caps, scan_cones, search_curves
from studies.solving.candidates import Candidate, Row, contenders
from studies.solving.ensemble import MAY_LEAD_DB, Judged, judge, say_so_far
from studies.solving.grid import (
    COARSE_BY_NEED,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    leaders_fineness,
    run,
    score_doubt_db,
)
from studies.solving.joint import thinned
from studies.solving.limits import Limits, impossible, limits_of
from studies.solving.ranking import to_rank
from studies.solving.target import NO_DIFFERENCE_DB
from studies.solving.verdicts import Lead, compared

SOLVES = 240
"""Coarse solves of the search, if nobody asks for more."""
FINALISTS = 3
"""Of caps, of cones and of curves: how many at most are settled."""
CHECK_PER_BAND, CHECK_FINER = 24, 1.5
"""Frequencies in a third-octave band at least where they are evenly spaced, and how many times
finer the mesh is, with which the final scores are found once more to estimate their errors."""
DOUBT = 2.0
"""Error of a score over its change in that check, since the check is not exact."""
LEAST_DOUBT_DB = 0.034
"""Least error of a score: the largest error of a level that was found against a mesh three times as
fine, see DEVELOPERS.md."""
KINDS = {"carved": ("everywhere", "nearby"), "cap": ("caps",), "cone": ("cones",)}
"""What is compared, and the stages of the search that find it."""


@dataclass(frozen=True, eq=False)
class Finalist:
    """The best of its kind.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    trial : Trial
        How it was found.
    row : Row
        Solved as finely as every other command would.
    check : Row
        Solved on a mesh `CHECK_FINER` times finer.
    """

    kind: str
    trial: Trial
    row: Row
    check: Row

    @property
    def name(self) -> str:
        """Name without sizes: "carved", "best cap" or "best cone"."""
        return self.kind if self.kind == "carved" else f"best {self.kind}"

    @property
    def doubt_db(self) -> float:
        """Error of the score, dB: `DOUBT` times the sum of what its terms change in the check.

        Never less than `LEAST_DOUBT_DB`.
        """
        terms = zip(self.row.scorecard.terms, self.check.scorecard.terms, strict=True)
        change = sum(abs(settled.cost - checked.cost) for settled, checked in terms)
        return max(DOUBT * change, LEAST_DOUBT_DB)


@dataclass(frozen=True, eq=False, kw_only=True)
class Carved:
    """A curve of one's own beside the best cap and the best cone: answer of `roundcast carve`.

    Attributes
    ----------
    design : Design
    limits : Limits
    solves : int
        Coarse solves that were allowed.
    trials : tuple of Trial
        Every coarse solve, in order.
    curve : Finalist
        The carved profile.
    cap, cone : Finalist or None
        The best of either within the same limits; None if none keeps them.
    settled : int
        Designs that were solved again to settle what is best.
    fine : int or ByNeed
        How finely.
    judged : Judged or None
        These in every driver and build that the file may stand for; None if not asked.
    """

    design: Design
    limits: Limits
    solves: int
    trials: tuple[Trial, ...]
    curve: Finalist
    cap: Finalist | None
    cone: Finalist | None
    settled: int
    fine: Fineness
    judged: Judged | None = None

    @property
    def starts(self) -> tuple[Finalist, ...]:
        """The best cap and the best cone, where there is one, the better first."""
        found = (start for start in (self.cap, self.cone) if start is not None)
        return tuple(sorted(found, key=lambda start: self.compare(start).lead_db))

    @property
    def compared(self) -> tuple[Finalist, ...]:
        """The carved profile, then the starts."""
        return (self.curve, *self.starts)

    @property
    def rows(self) -> tuple[Row, ...]:
        """Rows of all that is compared, the carved profile first."""
        return tuple(finalist.row for finalist in self.compared)

    def gain_db(self, start: Finalist) -> float:
        """Score of a start less that of the carved profile, dB."""
        return start.row.score - self.curve.row.score

    def error_db(self, start: Finalist) -> float:
        """Error of the gain over a start, dB: the errors of both scores."""
        return self.curve.doubt_db + start.doubt_db

    def compare(self, start: Finalist) -> Lead:
        """Compare the carved profile with a start, in every driver and build if both were asked."""
        error = max(self.error_db(start), NO_DIFFERENCE_DB)
        if self.judged is None:
            return compared(self.gain_db(start), error)
        return replace(self.judged.compare(self.curve.row, start.row), error_db=error)

    @property
    def is_gain(self) -> bool:
        """Whether the carved profile beats the best cap and the best cone, probably at least."""
        return self.rival is None

    @property
    def is_sure(self) -> bool:
        """Whether it does so really."""
        return self.is_gain and all(self.compare(one).verdict == "real" for one in self.starts)

    @property
    def rival(self) -> Finalist | None:
        """The best start that the carved profile does not beat; None if it beats all."""
        return next((start for start in self.starts if not self.compare(start).gains), None)

    @property
    def moves_plate(self) -> bool:
        """Whether each of those that are compared hangs at a gap of its own."""
        return self.design.moves_plate

    def tried(self, stage: str) -> int:
        """Count the coarse solves of one stage of the search."""
        return sum(trial.stage == stage for trial in self.trials)

    @property
    def scores_db(self) -> np.ndarray:
        """(N,) coarse scores in the order of the search, dB."""
        return np.array([trial.score for trial in self.trials])

    @property
    def best_so_far_db(self) -> np.ndarray:
        """(N,) lowest coarse score up to each solve, dB."""
        return np.minimum.accumulate(self.scores_db)


def carve(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = COARSE_BY_NEED,
    *,
    checker: Solver,
    knots: int = KNOTS,
    solves: int = SOLVES,
    ensemble: bool = False,
) -> Carved:
    """Search a profile of one's own within the workshop's limits.

    Caps and cones within the same limits are scanned first; differential evolution begins with the
    best of either, and with a curve that the design has, and Nelder-Mead goes on from its best,
    all at `fineness`. The best few of each kind are settled and asked of every driver and build;
    what is compared is checked on a finer mesh. The same input gives the same result.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band of the search, four or more, or as many as it takes.
    checker : callable
        The same solver on a mesh `CHECK_FINER` times finer.
    knots : int
        Knots of the curve, tip and rim included; three or more.
    solves : int
        Coarse solves allowed in all, eight or more.
    ensemble : bool
        Ask every driver and build that the file may stand for (wave solver only).

    Raises
    ------
    DesignError
        If nothing within the limits can be built or solved.
    ValueError
        For fewer knots or solves.
    """
    if knots < 3 or solves < 8:
        raise ValueError("carve needs three knots and eight solves at least: allow more")
    bench = Bench(
        design=design,
        solver=to_rank(solver, fineness),
        limits=limits_of(design),
        solves=solves,
        fineness=fineness,
        progress=progress,
    )
    scan_caps(bench)
    scan_cones(bench)
    search_curves(bench, Form(bench.limits, bench.gaps, knots), _starts(bench))
    return _decided(bench, solver, checker, ensemble=ensemble)


def _starts(bench: Bench) -> list[Hung]:
    """The best cap and the best cone, where there is one, and a curve that the design has."""
    found = [trials[0] for kind in ("cap", "cone") if (trials := _of_kind(bench, kind))]
    if not found:
        raise impossible(bench.design, "no cap and no cone", bench.nearest_miss)
    best = [(trial.reflector, trial.plate_gap) for trial in found]
    present, gap = bench.design.reflector(), bench.written_gap
    if present is None or present.kind in KINDS or present.kind == "ball cap":
        return best
    return [*best, (present, gap)] if bench.missed_by(present, gap) == 0.0 else best


def _of_kind(bench: Bench, kind: str) -> list[Trial]:
    return bench.of_stages(*KINDS[kind])


@dataclass(frozen=True, eq=False)
class _Settled:
    """A trial that was settled."""

    kind: str
    trial: Trial
    row: Row


def _decided(bench: Bench, solver: Solver, checker: Solver, *, ensemble: bool) -> Carved:
    """Choose of each kind, and check the scores of these."""
    settled = _settled(bench, solver, ensemble=ensemble)
    if ensemble:
        say_so_far(bench.progress, min((one.row for one in settled), key=lambda row: row.score))
    judged = judge(
        bench.design,
        [one.row for one in settled] if ensemble else (),
        bench.solver,
        bench.fineness,
        bench.progress,
    )
    curve = _best(settled, "carved", judged)
    starts = [_rival(settled, kind, curve, judged) for kind in KINDS if kind != "carved"]
    best = [curve, *(start for start in starts if start is not None)]
    finalists = {one.kind: one for one in _checked(bench, best, checker)}
    return Carved(
        design=bench.design,
        limits=bench.limits,
        solves=bench.solves,
        trials=tuple(bench.trials),
        curve=finalists["carved"],
        cap=finalists.get("cap"),
        cone=finalists.get("cone"),
        settled=len({one.row.assembly for one in settled}),
        fine=leaders_fineness(bench.fineness),
        judged=judged,
    )


def _settled(bench: Bench, solver: Solver, *, ensemble: bool) -> list[_Settled]:
    """Solve the best few of each kind again, as spread would: no narrow resonance decides."""
    fine = leaders_fineness(bench.fineness)
    choose = may_lead_of if ensemble else partial(_leaders, doubt_db=score_doubt_db(fine))
    leaders = [(kind, trial) for kind in KINDS for trial in choose(_of_kind(bench, kind))]
    candidates = [_candidate(bench, kind, trial) for kind, trial in leaders]
    rows = run(
        bench.design,
        candidates,
        solver,
        fine,
        "settling the best",
        bench.progress,
        settle_seats=True,
    )
    return [_Settled(*leader, row) for leader, row in zip(leaders, rows, strict=True)]


def _free(settled: Sequence[_Settled], kind: str) -> list[_Settled]:
    """Of a kind, what may be chosen; all of it if nothing may."""
    own = [one for one in settled if one.kind == kind]
    return [own[place] for place in contenders([one.row for one in own])] or own


def _best(settled: Sequence[_Settled], kind: str, judged: Judged | None) -> _Settled:
    """Of a kind, the one of least regret; of the lowest score where nothing was judged."""
    free = _free(settled, kind)
    if judged is None:
        return min(free, key=lambda one: one.row.score)
    return min(free, key=lambda one: judged.regret_of(one.row) if one.row.solved else math.inf)


def _rival(
    settled: Sequence[_Settled], kind: str, curve: _Settled, judged: Judged | None
) -> _Settled | None:
    """Of a kind, the one over which the curve leads in the fewest members; None if there is none.

    The one with the lowest score where nothing was judged.
    """
    free = _free(settled, kind)
    if not free:
        return None
    known = [one for one in free if one.row.solved]
    if judged is None or not known or not curve.row.solved:
        return _best(settled, kind, None)

    def leads(one: _Settled) -> tuple[float, float]:
        found = judged.compare(curve.row, one.row)
        return found.holds if found.lead_db > 0.0 else 1.0 - found.holds, found.lead_db

    return min(known, key=leads)


def _checked(bench: Bench, best: Sequence[_Settled], checker: Solver) -> list[Finalist]:
    """Solve the best of each kind once more, finer in every way."""
    candidates = [_candidate(bench, one.kind, one.trial) for one in best]
    stage = "checking the scores"
    fine = leaders_fineness(bench.fineness)
    finest = fine if isinstance(fine, ByNeed) else max(fine, CHECK_PER_BAND)
    checks = run(bench.design, candidates, checker, finest, stage, bench.progress)
    pairs = zip(best, checks, strict=True)
    finalists = [Finalist(one.kind, one.trial, one.row, check) for one, check in pairs]
    for finalist in finalists:
        if reason := finalist.row.reason or finalist.check.reason:
            raise DesignError(bench.design.path, (Mistake("target.band", reason),))
    return finalists


def _leaders(trials: Sequence[Trial], doubt_db: float) -> list[Trial]:
    """Those that could still be the best if coarse scores are off by so much."""
    return [t for t in trials[:FINALISTS] if t.score <= trials[0].score + doubt_db]


def may_lead_of(trials: Sequence[Trial]) -> list[Trial]:
    """Return the best, and some evenly over the gaps and heights of those that may regret less."""
    if not trials:
        return []
    near = [t for t in trials[1:] if t.score <= trials[0].score + MAY_LEAD_DB]
    near.sort(key=lambda trial: (trial.plate_gap, trial.reflector.height))
    return [trials[0], *thinned(near, FINALISTS - 1)]


def _candidate(bench: Bench, kind: str, trial: Trial) -> Candidate:
    name = _name(kind, trial.reflector)
    if len(bench.gaps) > 1:
        name = f"{name}, gap {in_own_exactly(trial.plate_gap)}"
    return Candidate(name, lambda: bench.hung(trial.reflector, trial.plate_gap))


def _name(kind: str, reflector: Reflector) -> str:
    """What a finalist is called."""
    label = reflector.label
    if kind == "carved":
        return label.replace("turned", kind)
    return f"best {label}" if kind == reflector.kind else f"best {kind}, {label}"
