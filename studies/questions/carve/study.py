"""What would a curve of my own gain over the best cap and the best cone?

Its profile is a smooth curve through a few knots, searched within what the workshop can make.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapes.reflectors import Reflector
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.questions.carve.bench import Bench, Trial
from studies.questions.carve.carved_file import carved_files
from studies.questions.carve.curves import KNOTS, Form
from studies.questions.carve.limits import Limits, impossible, limits_of
from studies.questions.carve.search import search_curves
from studies.questions.carve.starts import scan_caps, scan_cones
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import COARSE_DOUBT_DB, FINE_PER_BAND, Progress, Solver, run

SOLVES = 240
"""Coarse solves of the search, if nobody asks for more."""
FINALISTS = 3
"""Of caps, of cones and of curves: how many at most are settled."""
CHECK_PER_BAND, CHECK_FINER = 24, 1.5
"""Frequencies in a third-octave band, and how many times finer the mesh is, where the scores of
those that are compared are found once more, to see how far they can be believed."""
DOUBT = 2.0
"""Times the change of a score in that check is what it may be off by: the check is not exact."""
LEAST_DOUBT_DB = 0.034
"""No score is trusted farther: the largest error of a level that was found against a mesh three
times as fine, see DEVELOPERS.md."""
KINDS = {"carved": ("everywhere", "nearby"), "cap": ("caps",), "cone": ("cones",)}
"""What is compared, and at which stages of the search it was found."""


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
        At `FINE_PER_BAND`, as every other command would solve it.
    check : Row
        On a finer mesh, at `CHECK_PER_BAND`.
    """

    kind: str
    trial: Trial
    row: Row
    check: Row

    @property
    def name(self) -> str:
        """What to call it without its sizes."""
        return self.kind if self.kind == "carved" else f"best {self.kind}"

    @property
    def doubt_db(self) -> float:
        """How far the score may be off, dB: every term's change in the check, by its weight."""
        terms = zip(self.row.scorecard.terms, self.check.scorecard.terms, strict=True)
        change = sum(abs(settled.cost - checked.cost) for settled, checked in terms)
        return max(DOUBT * change, LEAST_DOUBT_DB)


@dataclass(frozen=True, eq=False)
class Carved:
    """The answer.

    Attributes
    ----------
    design : Design
    limits : Limits
    solves : int
        Coarse solves that were allowed.
    trials : tuple of Trial
        Every coarse solve in its order.
    curve : Finalist
        The carved profile.
    cap, cone : Finalist or None
        The best of either within the same limits; None if none keeps them.
    settled : int
        Solves at `FINE_PER_BAND`.
    """

    design: Design
    limits: Limits
    solves: int
    trials: tuple[Trial, ...]
    curve: Finalist
    cap: Finalist | None
    cone: Finalist | None
    settled: int

    @property
    def starts(self) -> tuple[Finalist, ...]:
        """The best cap and the best cone, where there is one, the better first."""
        found = (start for start in (self.cap, self.cone) if start is not None)
        return tuple(sorted(found, key=lambda start: start.row.score))

    @property
    def compared(self) -> tuple[Finalist, ...]:
        """The carved profile, then the starts."""
        return (self.curve, *self.starts)

    @property
    def rows(self) -> tuple[Row, ...]:
        """Whatever is compared, settled."""
        return tuple(finalist.row for finalist in self.compared)

    def gain_db(self, start: Finalist) -> float:
        """Score of a start less that of the carved profile."""
        return start.row.score - self.curve.row.score

    def error_db(self, start: Finalist) -> float:
        """What the gain over a start may be off by."""
        return self.curve.doubt_db + start.doubt_db

    def beats(self, start: Finalist) -> bool:
        """Tell whether the gain over a start is larger than the computation can be off by."""
        return self.gain_db(start) > self.error_db(start)

    @property
    def is_gain(self) -> bool:
        """Tell whether the carved profile beats the best cap and the best cone."""
        return all(map(self.beats, self.starts))


def carve(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    *,
    checker: Solver,
    knots: int = KNOTS,
    solves: int = SOLVES,
) -> Carved:
    """Search a profile of one's own within the workshop's limits.

    Caps and cones within the same limits are scanned first; differential evolution begins with the
    best of either, and with a curve that the design has, and Nelder-Mead goes on from its best,
    all at `COARSE_PER_BAND`. The best few of each kind are settled at `FINE_PER_BAND`, and the
    best of each checked at `CHECK_PER_BAND` on a finer mesh. The same input gives the same result.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    checker : callable
        The same solver on a mesh `CHECK_FINER` times finer.
    knots : int
        Of the curve, tip and rim included; three or more.
    solves : int
        Coarse solves allowed in all, eight or more.

    Raises
    ------
    DesignError
        If nothing within the limits can be built or solved.
    ValueError
        For fewer knots or solves.
    """
    if knots < 3 or solves < 8:
        raise ValueError("carve needs three knots and eight solves at least: allow more")
    bench = Bench(design, solver, limits_of(design), solves, progress)
    scan_caps(bench)
    scan_cones(bench)
    search_curves(bench, Form(bench.limits, knots), _starts(bench))
    return _settled(bench, checker)


def carve_files(carved: Carved) -> dict[str, bytes]:
    """Write the carved design as a design file, with the files that it names beside it."""
    return carved_files(carved.design, carved.curve.trial.points_mm)


def _starts(bench: Bench) -> list[Reflector]:
    """The best cap and the best cone, where there is one, and a curve that the design has."""
    best = [trials[0].reflector for kind in ("cap", "cone") if (trials := _of_kind(bench, kind))]
    if not best:
        raise impossible(bench.design, "no cap and no cone", bench.nearest_miss)
    present = bench.design.reflector()
    if present is None or present.kind in KINDS or present.kind == "ball cap":
        return best
    return [*best, present] if bench.missed_by(present) == 0.0 else best


def _of_kind(bench: Bench, kind: str) -> list[Trial]:
    return bench.of_stages(*KINDS[kind])


def _settled(bench: Bench, checker: Solver) -> Carved:
    """Solve the best few of each kind at many frequencies: no narrow resonance decides."""
    leaders = [(kind, trial) for kind in KINDS for trial in _leaders(_of_kind(bench, kind))]
    candidates = [_candidate(bench, kind, trial) for kind, trial in leaders]
    stage = "settling the best"
    rows = run(bench.design, candidates, bench.solver, FINE_PER_BAND, stage, bench.progress)
    best: dict[str, tuple[Trial, Row]] = {}
    pairs = zip(leaders, rows, strict=True)
    for (kind, trial), row in sorted(pairs, key=lambda pair: pair[1].score):
        best.setdefault(kind, (trial, row))
    finalists = dict(zip(best, _checked(bench, best, checker), strict=True))
    return Carved(
        bench.design,
        bench.limits,
        bench.solves,
        tuple(bench.trials),
        finalists["carved"],
        finalists.get("cap"),
        finalists.get("cone"),
        len({row.assembly for row in rows}),
    )


def _checked(bench: Bench, best: dict[str, tuple[Trial, Row]], checker: Solver) -> list[Finalist]:
    """Solve those that are compared once more, finer in every way."""
    candidates = [_candidate(bench, kind, trial) for kind, (trial, _) in best.items()]
    stage = "checking the scores"
    checks = run(bench.design, candidates, checker, CHECK_PER_BAND, stage, bench.progress)
    pairs = zip(best.items(), checks, strict=True)
    finalists = [Finalist(kind, trial, row, check) for (kind, (trial, row)), check in pairs]
    for finalist in finalists:
        if reason := finalist.row.reason or finalist.check.reason:
            raise DesignError(bench.design.path, (Mistake("target.band", reason),))
    return finalists


def _leaders(trials: Sequence[Trial]) -> list[Trial]:
    """Those that could still be the best if coarse scores are off by `COARSE_DOUBT_DB`."""
    return [t for t in trials[:FINALISTS] if t.score <= trials[0].score + COARSE_DOUBT_DB]


def _candidate(bench: Bench, kind: str, trial: Trial) -> Candidate:
    return Candidate(_name(kind, trial.reflector), lambda: bench.hung(trial.reflector))


def _name(kind: str, reflector: Reflector) -> str:
    """What a finalist is called."""
    label = reflector.label
    if kind == "carved":
        return label.replace("turned", kind)
    return f"best {label}" if kind == reflector.kind else f"best {kind}, {label}"
