"""How much of the ball do I keep, and where does it hang?

What can be undone comes first: where the plate can be moved (`trim.hold`), keep and gap are
searched together, and every height has its own gap; over the file's own keep every gap is tried, as
by `roundcast gap`. Else plate gap or tip clearance stays.
The heights that may be chosen, and what they are compared with, are then asked of every driver and
build that the file may stand for (`studies.solving.ensemble`): the choice has the least regret.
"""

from __future__ import annotations

from itertools import pairwise

from studies.design import Design
from studies.questions.trim.choice import Trim
from studies.questions.trim.comparisons import ball_spread, rays_opinion, references
from studies.questions.trim.heights import (
    judged_heights,
    least_regretted,
    settled_heights,
    solved_heights,
    solved_pairs,
)
from studies.questions.trim.steps import ShaveStep, settled_stops
from studies.solving.all_round import score_askew, score_with_posts
from studies.solving.ensemble import Judged, judge, say_so_far
from studies.solving.grid import (
    COARSE_PER_BAND,
    Fineness,
    Progress,
    Solver,
    leaders_fineness,
    run,
)
from studies.solving.losses import may_overtake, soften
from studies.solving.ranking import solved_whole, to_rank
from studies.solving.shaving import best_cut, keep_islands, near_best_keeps


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
    pairs = solved_pairs(design, rank, fineness, progress)
    cuts = solved_heights(design, pairs, rank, fineness, progress)
    cuts = settled_heights(design, cuts, rank, fine, progress)
    judged: Judged | None = None
    if ensemble:
        say_so_far(progress, best_cut(cuts).row)
        cuts, judged = judged_heights(design, cuts, rank, fineness, progress)
    lowest, best = best_cut(cuts), least_regretted(cuts, judged)
    compared = run(design, references(design, best), rank, fine, "comparisons", progress)
    same_ball = [cut for cut in cuts if cut.is_of(best.ball_diameter)]
    stops = settled_stops(design, same_ball, best, rank, fine, progress)
    shaved = [stop.row for stop in stops]
    spread = ball_spread(design, best, rank, fine, progress)
    leaders = may_overtake([cut.row for cut in cuts], lowest.row, design.target.near_best_db)
    softened = stopped = None
    if judged is None:
        softened = soften(design, [*leaders, *shaved], rank, fineness, progress)
    else:
        judged = judged.joined(judge(design, compared, rank, fineness, progress))
        unknown = [row for row in shaved if not judged.knows(row)]
        stopped = judged.joined(judge(design, unknown, rank, fineness, progress))
    near = [cut for cut in cuts if cut.is_of(lowest.ball_diameter)]
    half_ball, plate_alone, bare_column, *own = compared
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
        ball_spread=spread,
        rays_opinion=rays_opinion(design, same_ball, best, progress),
        softened=softened,
        with_posts=score_with_posts(design, leaders, solver, progress),
        askew=score_askew(design, leaders, solver, progress),
        judged=judged,
        pairs=pairs,
        as_written=next((row for row in own if row.solved), None),
        islands=keep_islands(near, design.target.near_best_db),
    )
