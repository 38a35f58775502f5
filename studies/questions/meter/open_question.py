"""The open question that a measurement should settle: which of the near-best candidates?

By default which height to keep, where the file asks for one (`[trim]`); otherwise which plate gap.
Candidates are the best, the ends of the near-best range and the best of every range as good but
apart from it, found as for `roundcast trim` and `roundcast gap`. Heights are compared at the gap of
the file, since a meter reads what is built: where `trim` moves the plate, its gap goes first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NoReturn

from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from shapes.lengths import in_own_exactly
from studies.design import Design, DesignError, Mistake
from studies.design.reflector_tables import BallTable
from studies.solving.candidates import NearBest, Row
from studies.solving.grid import Fineness, Progress, Solver
from studies.solving.hanging import (
    best_gap,
    gap_contenders,
    gap_islands,
    near_best_gaps,
    solve_gaps,
)
from studies.solving.shaving import (
    Cut,
    best_cut,
    keep_islands,
    near_best_keeps,
    shaving_stops,
    solve_cuts,
)

Kind = Literal["keep", "plate gap"]
GAP_DOUBT = 3e-3
"""Without `[gap]`, the candidates are the plate gap in the file and this much less or more, m."""
MOST_GAP = 1.0
"""Largest plate gap of a design file, m."""


@dataclass(frozen=True, eq=False)
class Contender:
    """One candidate of the question: a keep or plate gap, m, and the assembly that has it."""

    size: float
    assembly: Assembly


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenQuestion:
    """A size that is to be found out by measuring, and its candidates.

    Attributes
    ----------
    kind : {"keep", "plate gap"}
    contenders : tuple of Contender
        Smallest first, two at least.
    near_best : NearBest or None
        The range they come from; None where they were named or only surround the file's size.
    islands : tuple of NearBest
        Ranges as good, apart from it; a contender stands for each.
    best : Contender or None
    rows : tuple of Row
        Every candidate that was compared to find them.
    stops : tuple of Contender
        For a ball: where to stop and measure on the way from the tallest cap down to the best.
    too_far : Contender or None
        The next height below the near-best range: there too much is gone.
    ball_diameter : float or None
        m; None where the question is about no ball.
    """

    kind: Kind
    contenders: tuple[Contender, ...]
    near_best: NearBest | None = None
    islands: tuple[NearBest, ...] = ()
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

    def cut_off(self, kept: Contender) -> float:
        """Height that is cut off the ball where this is kept, m."""
        return self.ball - kept.size


def open_question(
    design: Design,
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
    kind: Kind | None = None,
    among: Sequence[float] = (),
) -> OpenQuestion:
    """Find the candidates that a measurement should separate.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
        Frequencies in a third-octave band for the search, or as many as it takes; leaders are
        settled more finely.
    progress : callable, optional
        Called with (stage, done, total).
    kind : {"keep", "plate gap"}, optional
        Left out, the height to keep where the file has a ball and `[trim]`.
    among : sequence of float
        Sizes to separate, m; left out, the near-best ones.

    Raises
    ------
    DesignError
        If the question does not go with the design, or too few candidates can be built.
    """
    about = kind or ("keep" if design.ball is not None and design.tables.trim else "plate gap")
    if about == "keep":
        _ball_of(design)  # refuses any other reflector
    if among:
        return OpenQuestion(kind=about, contenders=_named(design, about, among))
    if about == "keep":
        return _which_keep(design, solver, fineness, progress)
    if design.tables.gap is not None:
        return _which_gap(design, solver, fineness, progress)
    written = design.tables.plate_gap
    sizes = (written - GAP_DOUBT, written, written + GAP_DOUBT)
    contenders = [_contender(design, about, size) for size in sizes if size > 0]
    built = _enough(design, [one for one in contenders if not find_clashes(one.assembly)])
    return OpenQuestion(kind=about, contenders=built)


def _which_keep(
    design: Design, solver: Solver, fineness: Fineness, progress: Progress | None
) -> OpenQuestion:
    diameter = _ball_of(design).diameter
    sizes = sorted({(diameter, keep) for _, keep in design.trim_candidates()})
    cuts = solve_cuts(design, sizes, solver, fineness, progress)
    within = design.target.near_best_db
    winner, good, apart = best_cut(cuts), near_best_keeps(cuts, within), keep_islands(cuts, within)
    solved = {_of_cut(cut): cut.row for cut in cuts if cut.row.solved}
    best, shorter = _of_cut(winner), [one for one in solved if one.size < good.low]
    return OpenQuestion(
        kind="keep",
        contenders=_ends_and_best(design, solved, best, good, apart),
        near_best=good,
        islands=apart,
        best=best,
        rows=tuple(cut.row for cut in cuts),
        stops=tuple(map(_of_cut, shaving_stops(cuts, winner))),
        too_far=shorter[-1] if shorter else None,
        ball_diameter=diameter,
    )


def _of_cut(cut: Cut) -> Contender:
    return Contender(cut.keep, cut.row.assembly)


def _which_gap(
    design: Design, solver: Solver, fineness: Fineness, progress: Progress | None
) -> OpenQuestion:
    choices = gap_contenders(solve_gaps(design, solver, fineness, progress))
    within = design.target.near_best_db
    winner, good = best_gap(choices), near_best_gaps(choices, within)
    apart = gap_islands(choices, within)
    best = Contender(winner.plate_gap, winner.row.assembly)
    solved = {Contender(one.plate_gap, one.row.assembly): one.row for one in choices}
    return OpenQuestion(
        kind="plate gap",
        contenders=_ends_and_best(design, solved, best, good, apart),
        near_best=good,
        islands=apart,
        best=best,
        rows=tuple(choice.row for choice in choices),
    )


def _ends_and_best(
    design: Design,
    solved: Mapping[Contender, Row],
    best: Contender,
    good: NearBest,
    islands: Sequence[NearBest],
) -> tuple[Contender, ...]:
    """Return the ends of the near-best range, the best, and the best of every island.

    The best's neighbours if it stands alone.
    """
    ascending = sorted(solved, key=lambda one: one.size)
    sizes = [one.size for one in ascending]
    asked = {good.low, best.size, good.high}
    for island in islands:
        inside = [one for one in ascending if island.holds(one.size)]
        asked.add(min(inside, key=lambda one: solved[one].score).size)
    if len(asked) == 1:
        at = sizes.index(best.size)
        asked.update(sizes[max(at - 1, 0) : at + 2])
    return _enough(design, [one for one in ascending if one.size in asked])


def _named(design: Design, kind: Kind, among: Sequence[float]) -> tuple[Contender, ...]:
    found = []
    for size in sorted(set(among)):
        try:
            contender = _contender(design, kind, size)
        except ValueError as error:
            _refuse(design, "--tell", f"{kind} {in_own_exactly(size)}: {error}")
        if clashes := find_clashes(contender.assembly):
            said = "; ".join(f"{clash.message}: {clash.remedy}" for clash in clashes)
            _refuse(design, "--tell", f"{kind} {in_own_exactly(size)}: {said}")
        found.append(contender)
    return _enough(design, found)


def _contender(design: Design, kind: Kind, size: float) -> Contender:
    if kind == "keep":
        return Contender(size, design.trimmed(_ball_of(design).diameter, size))
    if size > MOST_GAP:
        raise ValueError(f"no plate hangs higher than {in_own_exactly(MOST_GAP)}: check the unit")
    return Contender(size, design.assembly().with_gap(size))


def _ball_of(design: Design) -> BallTable:
    if design.ball is None:
        _refuse(design, "--question", "the reflector is no ball, so no keep is open: ask for gap")
    return design.ball


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
