"""The open question that a measurement should settle: which of the nearly best?

By default which height to keep, where the file asks for one (`[trim]`); otherwise which plate gap.
Candidates are those the studies `trim` and `gap` would call near-best, found the same way and from
the same solves: the ends of that range and the best.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NoReturn

from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from studies.design import Design, DesignError, Mistake
from studies.design.reflector_tables import BallTable
from studies.solving.candidates import Candidate, NearBest, Row, best_of, near_best
from studies.solving.grid import FINE_PER_BAND, Progress, Solver, require_one_solved, run, settle
from studies.solving.shaving import Cut, shaving_stops

Kind = Literal["keep", "plate gap"]
GAP_DOUBT = 3e-3
"""Without `[gap]`, plate gaps this far from the one in the file are told from it, m."""


@dataclass(frozen=True, eq=False)
class Contender:
    """One candidate of the question: a size, m, and what it builds."""

    size: float
    assembly: Assembly


@dataclass(frozen=True, eq=False)
class OpenQuestion:
    """What the measurement should tell apart.

    Attributes
    ----------
    kind : {"keep", "plate gap"}
    contenders : tuple of Contender
        Smallest first, two at least.
    near_best : NearBest or None
        The range they come from; None where they were named or only surround the file's size.
    best : Contender or None
    rows : tuple of Row
        Everything that was solved to find them.
    stops : tuple of Contender
        For a ball: where to stop and measure on the way from the tallest cap down to the best.
    too_far : Contender or None
        The next height beyond the near-best range: what the meter shows when too much is gone.
    ball_diameter : float or None
    """

    kind: Kind
    contenders: tuple[Contender, ...]
    near_best: NearBest | None = None
    best: Contender | None = None
    rows: tuple[Row, ...] = ()
    stops: tuple[Contender, ...] = ()
    too_far: Contender | None = None
    ball_diameter: float | None = None

    @property
    def ball(self) -> float:
        """Diameter of the ball where the question is about one, m; ValueError if it is not."""
        if self.ball_diameter is None:
            raise ValueError("the question is about no ball")
        return self.ball_diameter


def open_question(
    design: Design,
    solver: Solver,
    per_band: int,
    progress: Progress | None = None,
    kind: Kind | None = None,
    among: Sequence[float] = (),
) -> OpenQuestion:
    """Find what is open.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    per_band : int
        Frequencies in a third-octave band for the search; leaders are settled at `FINE_PER_BAND`.
    progress : callable, optional
        Called with (stage, done, total).
    kind : {"keep", "plate gap"}, optional
        Left out, the height to keep where the file has a ball and `[trim]`.
    among : sequence of float
        Sizes to tell apart, m; left out, the near-best ones.

    Raises
    ------
    DesignError
        If the question does not go with the design, or too few candidates can be built.
    """
    about = kind or ("keep" if design.ball is not None and design.tables.trim else "plate gap")
    if about == "keep":
        _ball_of(design)  # refuses any other reflector
    if among:
        return OpenQuestion(about, _named(design, about, among))
    if about == "keep":
        return _which_keep(design, solver, per_band, progress)
    if design.tables.gap is not None:
        return _which_gap(design, solver, per_band, progress)
    written = design.tables.plate_gap
    sizes = (written - GAP_DOUBT, written, written + GAP_DOUBT)
    contenders = tuple(_contender(design, about, size) for size in sizes if size > 0)
    return OpenQuestion(
        about, _enough(design, [c for c in contenders if not find_clashes(c.assembly)])
    )


def _which_keep(
    design: Design, solver: Solver, per_band: int, progress: Progress | None
) -> OpenQuestion:
    diameter = _ball_of(design).diameter
    sizes = sorted({keep for _, keep in design.trim_candidates()})
    candidates = [
        Candidate(f"ball {diameter * 1e3:.4g} mm, keep {keep * 1e3:.4g} mm", _trimmed(design, keep))
        for keep in sizes
    ]
    rows = run(design, candidates, solver, per_band, "keep heights", progress)
    require_one_solved(design, rows, "trim.keep", "candidate")
    rows = settle(design, rows, solver, max(per_band, FINE_PER_BAND), progress)
    cuts = tuple(Cut(diameter, keep, row) for keep, row in zip(sizes, rows, strict=True))
    best = next(cut for cut in cuts if cut.row is best_of(rows))
    good = near_best(sizes, rows, design.target.near_best_db)
    shorter = [cut for cut in cuts if cut.row.solved and cut.keep < good.low]
    return OpenQuestion(
        "keep",
        _ends_and_best(design, sizes, rows, good),
        good,
        Contender(best.keep, best.row.assembly),
        rows,
        tuple(Contender(cut.keep, cut.row.assembly) for cut in shaving_stops(cuts, best)),
        Contender(shorter[-1].keep, shorter[-1].row.assembly) if shorter else None,
        diameter,
    )


def _which_gap(
    design: Design, solver: Solver, per_band: int, progress: Progress | None
) -> OpenQuestion:
    tried = design.gap_candidates()
    candidates = [
        Candidate(f"plate gap {size * 1e3:.4g} mm", _with_gap(design, size)) for size in tried
    ]
    rows = run(design, candidates, solver, per_band, "plate gaps", progress)
    require_one_solved(design, rows, "gap", "gap")
    # A gap that chokes the driver is no candidate, whatever its score.
    free = [i for i, row in enumerate(rows) if row.solved and not row.assembly.is_choked]
    free = free or [i for i, row in enumerate(rows) if row.solved]
    sizes = [tried[i] for i in free]
    rows = settle(design, [rows[i] for i in free], solver, max(per_band, FINE_PER_BAND), progress)
    good = near_best(sizes, rows, design.target.near_best_db)
    best = next(i for i, row in enumerate(rows) if row is best_of(rows))
    return OpenQuestion(
        "plate gap",
        _ends_and_best(design, sizes, rows, good),
        good,
        Contender(sizes[best], rows[best].assembly),
        rows,
    )


def _ends_and_best(
    design: Design, sizes: Sequence[float], rows: Sequence[Row], good: NearBest
) -> tuple[Contender, ...]:
    """Ends of the near-best range and the best; its neighbours where it stands alone."""
    solved = [at for at, row in enumerate(rows) if row.solved]
    best = next(place for place, at in enumerate(solved) if rows[at] is best_of(rows))
    low, high = (
        next(place for place, at in enumerate(solved) if sizes[at] == end)
        for end in (good.low, good.high)
    )
    if low == high:
        low, high = max(low - 1, 0), min(high + 1, len(solved) - 1)
    chosen = [solved[place] for place in sorted({low, best, high})]
    return _enough(design, [Contender(sizes[at], rows[at].assembly) for at in chosen])


def _named(design: Design, kind: Kind, among: Sequence[float]) -> tuple[Contender, ...]:
    found = []
    for size in sorted(set(among)):
        try:
            contender = _contender(design, kind, size)
        except ValueError as error:
            _refuse(design, "--tell", f"{kind} {size * 1e3:g} mm: {error}")
        if clashes := find_clashes(contender.assembly):
            said = "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)
            _refuse(design, "--tell", f"{kind} {size * 1e3:g} mm: {said}")
        found.append(contender)
    return _enough(design, found)


def _contender(design: Design, kind: Kind, size: float) -> Contender:
    return Contender(size, (_trimmed if kind == "keep" else _with_gap)(design, size)())


def _ball_of(design: Design) -> BallTable:
    if design.ball is None:
        _refuse(design, "--question", "the reflector is no ball, so no keep is open: ask for gap")
    return design.ball


def _trimmed(design: Design, keep: float) -> Callable[[], Assembly]:
    return lambda: design.trimmed(_ball_of(design).diameter, keep)


def _with_gap(design: Design, size: float) -> Callable[[], Assembly]:
    return lambda: design.assembly().with_gap(size)


def _enough(design: Design, found: Sequence[Contender]) -> tuple[Contender, ...]:
    if len(found) < 2:
        _refuse(
            design,
            "--tell",
            "one candidate leaves nothing to tell apart: name two sizes or more, such as"
            " --tell 41mm --tell 47mm",
        )
    return tuple(found)


def _refuse(design: Design, key: str, message: str) -> NoReturn:
    raise DesignError(design.path, (Mistake(key, message),))
