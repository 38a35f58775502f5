"""The pictures that go with each command's answer, by file name."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from studies.charts import (
    AroundTrace,
    Contender,
    Ladder,
    Trace,
    around_figure,
    azimuth_figure,
    contest_figure,
    coverage_map_figure,
    curves_figure,
    index_figure,
    ladder_figure,
    polar_figure,
    rays_figure,
    section_figure,
    shave_figure,
    sweep_map_figure,
    trust_figure,
)
from studies.contest import Contest
from studies.design import Design
from studies.gap import GapStudy
from studies.grid import Row
from studies.posts import PostsStudy
from studies.rays import RayStudy
from studies.spread import Spread
from studies.trim import Cut, Trim
from studies.trust import WITHIN_DB, Trust

Pictures = dict[str, Figure]


def section_pictures(design: Design) -> Pictures:
    """Draw the design as written."""
    return {"section": section_figure(design.assembly(), design.title, design.seats)}


def spread_pictures(spread: Spread) -> Pictures:
    """Draw where the sound of one design goes."""
    design, row = spread.design, spread.row
    frequencies = row.response.problem.frequencies
    seats = zip(design.seats, row.seat_curves_db.T, strict=True)
    traces = [
        *(Trace(seat.name, frequencies, levels) for seat, levels in seats),
        _window_trace("mean of the window", row),
        Trace("driver alone", frequencies, spread.bare_driver_db, background=True),
    ]
    return {
        **section_pictures(design),
        "curves": curves_figure(f"{design.title}: at the seats", traces),
        "coverage": coverage_map_figure(design.title, row.coverage),
        "polar": polar_figure(design.title, row.coverage),
        "index": index_figure(design.title, row.coverage),
    }


def trim_pictures(trim: Trim) -> Pictures:
    """Draw how much of the ball to keep, and what it does."""
    design, best = trim.design, trim.best
    title = f"{design.title}: best cap, keep {best.keep * 1e3:.1f} mm"
    compared = {
        "best cap": best.row,
        "half ball": trim.half_ball,
        "top plate alone": trim.plate_alone,
        "bare column": trim.bare_column,
    }
    traces = [_window_trace(name, row) for name, row in compared.items() if row.solved]
    pictures = {
        "section": section_figure(best.row.assembly, title, design.seats),
        "score": _score_by_keep(trim),
        "sweep": _sweep_of_best_ball(trim),
        "curves": curves_figure(f"{design.title}: mean of the window", traces),
        "coverage": coverage_map_figure(title, best.row.coverage),
    }
    if trim.steps:
        pictures["shaving"] = _shaving(trim)
    return pictures


def gap_pictures(study: GapStudy) -> Pictures:
    """Draw how big a gap to leave."""
    design, best, present = study.design, study.best, study.design.tables.plate_gap * 1e3
    title = f"{design.title}: gap {best.plate_gap * 1e3:.1f} mm"
    sizes = [choice.plate_gap * 1e3 for choice in study.choices]
    rows = [choice.row for choice in study.choices]
    lines = {
        "one wave up to here (c / 2H)": [
            choice.plate_limit_hz(design.air.speed) for choice in study.choices
        ],
        "first dip, roughly (c / 4G)": [
            choice.tip_dip_hz if choice.row.solved else np.nan for choice in study.choices
        ],
    }
    return {
        "section": section_figure(best.row.assembly, title, design.seats),
        "score": ladder_figure(
            f"{design.title}: score by plate gap",
            [_ladder("", sizes, rows)],
            "plate gap, mm",
            (best.plate_gap * 1e3, best.row.score),
            study.near_best.within_db,
            [(study.near_best.low * 1e3, study.near_best.high * 1e3)],
            present,
        ),
        "sweep": sweep_map_figure(
            f"{design.title}: plate gap swept",
            sizes,
            "plate gap, mm",
            best.row.coverage.centres,
            _levels(rows, best.row),
            present,
            lines,
        ),
        "coverage": coverage_map_figure(title, best.row.coverage),
    }


def contest_pictures(contest: Contest) -> Pictures:
    """Draw every entry on one scale."""
    design, centres = contest.design, contest.winner.coverage.centres
    levels = _levels(contest.rows, contest.winner)
    contenders = [
        Contender(row.name, row.assembly, centres, level, row.score if row.solved else np.nan)
        for row, level in zip(contest.rows, levels, strict=True)
    ]
    traces = [_window_trace(row.name, row) for row in contest.ranking]
    pictures = {
        "contest": contest_figure(design.title, contenders),
        "curves": curves_figure(f"{design.title}: mean of the window", traces),
    }
    for place, row in enumerate(contest.ranking, start=1):
        title = f"{design.title}: {row.name}"
        pictures[f"coverage-{place}"] = coverage_map_figure(title, row.coverage)
    return pictures


def rays_pictures(study: RayStudy) -> Pictures:
    """Draw rays through the section; nothing for a free form, which has none."""
    if not study.paths:
        return {}
    subtitle = f"rays mean something above about {study.meaningful_above_hz / 1e3:.2g} kHz"
    lines = [path.points for path in study.paths]
    figure = rays_figure(study.design.title, study.design.assembly(), lines, subtitle)
    return {"section": figure}


def posts_pictures(study: PostsStudy) -> Pictures:
    """Draw how far the level swings round the column."""
    title, own = study.design.title, study.own
    traces = [
        AroundTrace(name, ripple.centres, ripple.minimum_db, ripple.maximum_db)
        for name, ripple in study.ripples.items()
    ]
    name = next(iter(study.ripples))
    return {
        "around": around_figure(f"{title}: level round the column", traces),
        "azimuth": azimuth_figure(
            f"{title}: posts {name}", own.azimuths_deg, own.centres, own.level_db
        ),
    }


def trust_pictures(trust: Trust) -> Pictures:
    """Draw how far each method is from the wave solver."""
    rms = {method: trust.rms_db(method) for method in trust.methods}
    title = f"{trust.design.title}: window level, {len(trust.cases)} designs"
    return {"trust": trust_figure(title, trust.centres, rms, WITHIN_DB)}


def _window_trace(name: str, row: Row) -> Trace:
    return Trace(name, row.response.problem.frequencies, row.window_curve_db)


def _score_by_keep(trim: Trim) -> Figure:
    balls = list(dict.fromkeys(cut.ball_diameter for cut in trim.cuts))
    ladders = []
    for ball in balls:
        cuts = [cut for cut in trim.cuts if cut.ball_diameter == ball]
        name = f"ball {ball * 1e3:.1f} mm" if len(balls) > 1 else ""
        keeps = [cut.keep * 1e3 for cut in cuts]
        ladders.append(_ladder(name, keeps, [cut.row for cut in cuts]))
    return ladder_figure(
        f"{trim.design.title}: score by keep",
        ladders,
        "keep, mm",
        (trim.best.keep * 1e3, trim.best.row.score),
        trim.near_best.within_db,
        [(trim.near_best.low * 1e3, trim.near_best.high * 1e3)],
        _present_keep(trim, trim.best.ball_diameter),
        balls[0] * 1e3 if len(balls) == 1 else None,
    )


def _ladder(name: str, sizes_mm: list[float], rows: list[Row]) -> Ladder:
    scores = [row.score if row.solved else np.nan for row in rows]
    return Ladder(name, sizes_mm, scores, [row.reason for row in rows])


def _sweep_of_best_ball(trim: Trim) -> Figure:
    ball = trim.best.ball_diameter
    cuts: list[Cut] = sorted(
        (cut for cut in trim.cuts if cut.ball_diameter == ball), key=lambda cut: cut.keep
    )
    return sweep_map_figure(
        f"{trim.design.title}: keep swept, ball {ball * 1e3:.1f} mm,"
        f" best {trim.best.keep * 1e3:.1f} mm",
        [cut.keep * 1e3 for cut in cuts],
        "keep, mm",
        trim.best.row.coverage.centres,
        _levels([cut.row for cut in cuts], trim.best.row),
        _present_keep(trim, ball),
    )


def _present_keep(trim: Trim, ball_diameter: float) -> float | None:
    """Keep of the design as written, mm, if it is a cap of this ball."""
    present = trim.design.ball
    if present is None or abs(present.diameter - ball_diameter) > 1e-7:
        return None
    return present.kept * 1e3


def _shaving(trim: Trim) -> Figure:
    stops = [trim.steps[0].start, *(step.stop for step in trim.steps)]
    return shave_figure(
        f"{trim.design.title}: shaving from tall to short",
        trim.best.ball_diameter * 1e3,
        [cut.keep * 1e3 for cut in stops],
        trim.best.row.coverage.centres,
        [step.change_db for step in trim.steps],
    )


def _levels(rows: tuple[Row, ...] | list[Row], like: Row) -> np.ndarray:
    """(C, B) window levels, nan where a candidate was not solved."""
    nothing = np.full(like.coverage.centres.size, np.nan)
    return np.array([row.coverage.window_level_db if row.solved else nothing for row in rows])
