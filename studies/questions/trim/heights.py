"""Every height at its gap, as fine as a choice needs, and those that may be chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from studies.design import Design
from studies.solving.candidates import SAME_SIZE, Row, contenders
from studies.solving.ensemble import Judged, judge, may_lead
from studies.solving.grid import (
    Fineness,
    Progress,
    Solver,
    built,
    read_per_band,
    run,
    solve_again,
)
from studies.solving.joint import Pair, best_gap_for, solve_pairs
from studies.solving.lines import PlaceInLine
from studies.solving.shaving import Cut, best_cut, cut_candidate, not_hollow, solve_cuts

MOST_GAPS_JUDGED = 4
"""Gaps over the file's own keep that are asked of every driver and build, besides the best."""


def is_own_ball(design: Design, ball_diameter: float) -> bool:
    """Return whether a ball of this diameter, m, is the one that the design is built with."""
    return design.ball is not None and abs(design.ball.diameter - ball_diameter) < SAME_SIZE


def is_written(design: Design, cut: Cut) -> bool:
    """Return whether a cut keeps what the file says of the file's ball."""
    ball = design.ball
    return ball is not None and cut.is_of(ball.diameter) and abs(cut.keep - ball.kept) < SAME_SIZE


def solved_pairs(
    design: Design, solver: Solver, fineness: Fineness, progress: Progress | None
) -> tuple[Pair, ...]:
    """Return the map of keep by gap; empty where the plate is not moved."""
    if not design.moves_plate:
        return ()
    return solve_pairs(design, design.trim_candidates(), solver, fineness, progress)


def solved_heights(
    design: Design,
    pairs: Sequence[Pair],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """Return every height as a cut: at its best gap by the map, if there is one."""
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


def settled_heights(
    design: Design,
    cuts: tuple[Cut, ...],
    solver: Solver,
    fine: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """Return the cuts, those that may be chosen as fine as leaders."""
    finer = read_per_band(fine)
    coarse = [row for row in _may_be_chosen(design, cuts) if row.per_band < finer]
    again = dict(
        zip(map(id, coarse), solve_again(design, coarse, solver, fine, progress), strict=True)
    )
    return tuple(replace(cut, row=again.get(id(cut.row), cut.row)) for cut in cuts)


def judged_heights(
    design: Design,
    cuts: tuple[Cut, ...],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[tuple[Cut, ...], Judged | None]:
    """Ask every driver and build; return the cuts, the file's keep at its gap of least regret."""
    over = _gaps_over_written(design, cuts, solver, fineness, progress)
    may_be = _may_be_chosen(design, cuts, over)
    judged = judge(design, may_be, solver, fineness, progress)
    return _hung_with_least_regret(cuts, over, judged) if judged else cuts, judged


def least_regretted(cuts: Sequence[Cut], judged: Judged | None) -> Cut:
    """Return the cut of least regret that is not hollow; of the lowest score if none was judged."""
    if judged is None:
        return best_cut(cuts)
    known = [cut for cut in not_hollow(cuts) if judged.knows(cut.row)]
    return min(known, key=lambda cut: judged.regret_of(cut.row))


def _may_be_chosen(design: Design, cuts: Sequence[Cut], over: Sequence[Cut] = ()) -> list[Row]:
    """Rows that may have the least regret: heights, the file's, and gaps over the file's height."""
    own = [cut.row for cut in cuts if is_written(design, cut)]
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
    own = next((cut for cut in cuts if cut.row.solved and is_written(design, cut)), None)
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
    cuts: tuple[Cut, ...], over: Sequence[Cut], judged: Judged
) -> tuple[Cut, ...]:
    """The cuts with the file's keep at the gap of least regret."""
    if not over:
        return cuts
    same = [cut for cut in cuts if cut.keep == over[0].keep and cut.is_of(over[0].ball_diameter)]
    known = [cut for cut in (*same, *over) if judged.knows(cut.row)]
    least = min(known, key=lambda cut: judged.regret_of(cut.row))
    return tuple(least if cut is same[0] else cut for cut in cuts)
