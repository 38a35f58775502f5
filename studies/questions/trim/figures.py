"""How much of the ball to keep, and what it does."""

from __future__ import annotations

from shapes.lengths import in_own
from studies.answer.charts.curves import curves_figure
from studies.answer.charts.shaving import shave_figure
from studies.answer.charts.sweeps import ladder_figure, sweep_map_figure
from studies.answer.picture import (
    Picture,
    Pictures,
    choosing_picture,
    coverage_picture,
    ladder_of,
    section_picture,
    window_levels,
    window_trace,
)
from studies.answer.table import joined
from studies.questions.trim.choice import Trim


def trim_pictures(trim: Trim) -> Pictures:
    """Draw how much of the ball to keep, and what it does."""
    design, best = trim.design, trim.best
    title = f"{design.title}: best cap, keep {in_own(best.keep)}"
    traces = [window_trace(name, row) for name, row in trim.compared.items() if row.solved]
    pictures = {
        "score": _score_by_keep(trim),
        "section": section_picture(best.row.assembly, title, design),
        "sweep": _sweep_of_best_ball(trim),
        "curves": Picture(
            curves_figure(f"{design.title}: mean of the window", traces),
            f"The best cap against {joined(list(trim.references))}.",
        ),
        "coverage": coverage_picture(title, trim.whole),
        "choosing": choosing_picture(design, [cut.row for cut in trim.cuts], best.row),
    }
    if any(step.shows_on_a_meter for step in trim.steps):
        pictures["shaving"] = _shaving(trim)
    return pictures


def _score_by_keep(trim: Trim) -> Picture:
    balls, ladders = trim.balls, []
    for ball in balls:
        cuts = [cut for cut in trim.cuts if cut.ball_diameter == ball]
        name = f"ball {in_own(ball)}" if len(balls) > 1 else ""
        keeps = [cut.keep * 1e3 for cut in cuts]
        among = [cut.row for cut in trim.cuts]
        ladders.append(ladder_of(name, keeps, [cut.row for cut in cuts], among))
    figure = ladder_figure(
        f"{trim.design.title}: score by keep",
        ladders,
        "keep",
        (trim.best.keep * 1e3, trim.best.row.score),
        trim.near_best.within_db,
        [(one.low * 1e3, one.high * 1e3) for one in (trim.near_best, *trim.islands)],
        _present_mm(trim),
        balls[0] * 1e3 if len(balls) == 1 else None,
    )
    return Picture(
        figure, "Every height that was tried; lower is better, shaded: nearly as good as the best."
    )


def _sweep_of_best_ball(trim: Trim) -> Picture:
    ball, cuts = trim.best.ball_diameter, trim.cuts_of_best_ball
    figure = sweep_map_figure(
        f"{trim.design.title}: keep swept, ball {in_own(ball)}, best {in_own(trim.best.keep)}",
        [cut.keep * 1e3 for cut in cuts],
        "keep",
        trim.best.row.coverage.centres,
        window_levels([cut.row for cut in cuts], trim.best.row),
        _present_mm(trim),
        best_mm=trim.best.keep * 1e3,
    )
    return Picture(figure, "What each height does to each pitch: as it is, and against one choice.")


def _present_mm(trim: Trim) -> float | None:
    return None if trim.present_keep is None else trim.present_keep * 1e3


def _shaving(trim: Trim) -> Picture:
    stops = [trim.steps[0].start, *(step.stop for step in trim.steps)]
    figure = shave_figure(
        f"{trim.design.title}: shaving from tall to short",
        trim.best.ball_diameter * 1e3,
        [cut.keep * 1e3 for cut in stops],
        trim.best.row.coverage.centres,
        [step.sure_change_db for step in trim.steps],
    )
    return Picture(
        figure, "What a level meter should show at least after each step of the shaving."
    )
