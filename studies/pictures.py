"""The pictures that go with each command's answer, by file name, the telling one first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from shapes.assembly import Assembly
from studies.batch import seat_levels_db
from studies.charts import (
    AroundTrace,
    Contender,
    Ladder,
    Trace,
    Worry,
    around_figure,
    azimuth_figure,
    batch_figure,
    choosing_figure,
    contest_figure,
    coverage_map_figure,
    curves_figure,
    index_figure,
    ladder_figure,
    polar_figure,
    rays_figure,
    round_band_figure,
    section_figure,
    shave_figure,
    slice_figure,
    sweep_map_figure,
    trust_figure,
    worries_figure,
)
from studies.choosing import choices
from studies.contest import Contest
from studies.design import Design
from studies.gap import GapStudy
from studies.grid import Row
from studies.posts import PostsStudy, posts_name
from studies.rays import RayStudy
from studies.shed import Cutting
from studies.slices import Slices
from studies.spread import Spread
from studies.tables.tolerance_words import ends_in_words, plus_minus
from studies.tolerance import Tolerance
from studies.trim import Cut, Trim
from studies.trust import WITHIN_DB, Trust


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure, and one sentence on what to look for."""

    figure: Figure
    caption: str


Pictures = dict[str, Picture]

ESTIMATE = "Off-centre and tilt: estimate by rays,\nnot by the wave solver; summed with nothing."
SECTION = "What is built, cut through the axis: the parts, the three gaps, the lines to the ears."
COVERAGE = (
    "How loud each pitch is at each angle. Left as it is; right only the difference to the window,"
    " which hides what the whole window loses in the treble."
)


def section_pictures(design: Design) -> Pictures:
    """Draw the design as written."""
    return {"section": _section(design.assembly(), design.title, design)}


def cut_pictures(cutting: Cutting) -> Pictures:
    """Draw what is to be built; the sheets themselves are printed from the PDF."""
    return section_pictures(cutting.design)


def spread_pictures(spread: Spread) -> Pictures:
    """Draw where the sound of one design goes."""
    design, row = spread.design, spread.row
    pictures = {
        "coverage": _coverage(design.title, row),
        "curves": Picture(
            curves_figure(f"{design.title}: at the seats and off the ceiling", _at_ears(spread)),
            "What reaches the ears seated and standing, what goes to the ceiling first and straight"
            " up, and the driver alone for comparison.",
        ),
        "polar": Picture(
            polar_figure(design.title, row.coverage),
            "The same seen from the side, one pitch at a time, all on one scale.",
        ),
        "index": Picture(
            index_figure(design.title, row.coverage),
            "How much stronger the ring is than the average direction, how much sound there is in"
            " all, and how much of it goes up past the ears.",
        ),
        **section_pictures(design),
    }
    if spread.ripple is not None:
        pictures["round"] = _round(spread)
    return pictures


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
        "score": _score_by_keep(trim),
        "section": _section(best.row.assembly, title, design),
        "sweep": _sweep_of_best_ball(trim),
        "curves": Picture(
            curves_figure(f"{design.title}: mean of the window", traces),
            "The best cap against half the ball, the top plate alone and the bare column.",
        ),
        "coverage": _coverage(title, best.row),
        "choosing": _choosing(design, [cut.row for cut in trim.cuts], best.row),
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
    ladder = ladder_figure(
        f"{design.title}: score by plate gap",
        [_ladder("", sizes, rows)],
        "plate gap, mm",
        (best.plate_gap * 1e3, best.row.score),
        study.near_best.within_db,
        [(study.near_best.low * 1e3, study.near_best.high * 1e3)],
        present,
    )
    sweep = sweep_map_figure(
        f"{design.title}: plate gap swept",
        sizes,
        "plate gap, mm",
        best.row.coverage.centres,
        _levels(rows, best.row),
        present,
        lines,
        best.plate_gap * 1e3,
    )
    return {
        "score": Picture(
            ladder, "Every plate gap that was tried; lower is better, shaded: nearly as good."
        ),
        "section": _section(best.row.assembly, title, design),
        "sweep": Picture(sweep, "How peaks and dips move as the plate goes up."),
        "coverage": _coverage(title, best.row),
        "choosing": _choosing(design, rows, best.row),
    }


def contest_pictures(contest: Contest) -> Pictures:
    """Draw every entry on one scale."""
    design, centres = contest.design, contest.winner.coverage.centres
    levels = _levels(contest.rows, contest.winner)
    contenders = [
        Contender(row.name, row.assembly, centres, level, row.score if row.solved else np.nan)
        for row, level in zip(contest.rows, levels, strict=True)
    ]
    # In the order of the first picture, so that each keeps its colour.
    traces = [_window_trace(row.name, row) for row in contest.rows if row.solved]
    pictures = {
        "contest": Picture(
            contest_figure(design.title, contenders),
            "Each shape at one scale, with the level that it gives in the window.",
        ),
        "curves": Picture(
            curves_figure(f"{design.title}: mean of the window", traces),
            "The same levels over each other, frequency by frequency.",
        ),
    }
    for place, row in enumerate(contest.ranking, start=1):
        pictures[f"coverage-{place}"] = _coverage(f"{design.title}: {row.name}", row)
    return pictures


def slice_pictures(slices: Slices) -> Pictures:
    """Draw the field in the plane of the axis at each frequency."""
    caption = "Left: how loud it is in and round the ring. Right: the wave frozen at one instant."
    return {
        name: Picture(slice_figure(slices, number), caption)
        for number, name in enumerate(slices.names)
    }


def rays_pictures(study: RayStudy) -> Pictures:
    """Draw rays through the section; nothing for a free form, which has none."""
    if not study.paths:
        return {}
    subtitle = f"rays mean something above about {study.meaningful_above_hz / 1e3:.2g} kHz"
    lines = [path.points for path in study.paths]
    figure = rays_figure(study.design.title, study.design.assembly(), lines, subtitle)
    caption = "Which way the sound leaves after one, two and more bounces, if it were light."
    return {"section": Picture(figure, caption)}


def posts_pictures(study: PostsStudy) -> Pictures:
    """Draw how far the level swings round the column."""
    title, own = study.design.title, study.own
    traces = [
        AroundTrace(name, ripple.centres, ripple.minimum_db, ripple.maximum_db)
        for name, ripple in study.ripples.items()
    ]
    name = next(iter(study.ripples))
    azimuth = azimuth_figure(f"{title}: posts {name}", own.azimuths_deg, own.centres, own.level_db)
    return {
        "around": Picture(
            around_figure(f"{title}: level round the column", traces),
            "How far the level swings as you walk round the column, by estimate.",
        ),
        "azimuth": Picture(azimuth, "Where round the column it is louder and softer."),
    }


def trust_pictures(trust: Trust) -> Pictures:
    """Draw how far each method is from the wave solver."""
    rms = {method: trust.rms_db(method) for method in trust.methods}
    title = f"{trust.design.title}: window level, {len(trust.cases)} designs"
    figure = trust_figure(title, trust.centres, rms, WITHIN_DB)
    return {"trust": Picture(figure, "How far each quick method is off, pitch by pitch.")}


def tolerance_pictures(found: Tolerance) -> Pictures:
    """Draw what every millimetre costs, and what a batch of speakers does."""
    return {"worries": _worries(found), "batch": _batch(found)}


def _worries(found: Tolerance) -> Picture:
    worries = [
        Worry(
            f"{size.dimension.name}, {ends_in_words(size.dimension)}",
            size.minus_db,
            size.plus_db,
            *size.curve_ends_db,
        )
        for size in found.sizes
    ]
    estimates = [
        (f"{case.name}, {plus_minus(case.tolerance, case.unit)}", case.largest_db)
        for case in found.askew
    ]
    title = f"{found.design.title}: what each size costs"
    return Picture(
        worries_figure(title, worries, found.ears, estimates, ESTIMATE),
        "Which size to watch: the longest bars, on either side of its tolerance. What hangs"
        " off-centre or tilted is an estimate by rays and stands apart.",
    )


def _batch(found: Tolerance) -> Picture:
    batch = found.batch
    figure = batch_figure(
        f"{found.design.title}: {len(batch.solved)} speakers, every size off, {found.ears}",
        batch.nominal.coverage.centres,
        seat_levels_db(batch.nominal),
        batch.seat_band_db,
        batch.scores_db,
        batch.nominal.score,
        batch.within_db,
        batch.doubt_db,
    )
    return Picture(
        figure, "How much speakers built to these tolerances differ: nine in ten lie in the band."
    )


def _section(assembly: Assembly, title: str, design: Design) -> Picture:
    return Picture(section_figure(assembly, title, design.seats), SECTION)


def _coverage(title: str, row: Row) -> Picture:
    return Picture(coverage_map_figure(title, row.coverage), COVERAGE)


def _choosing(design: Design, rows: Sequence[Row], chosen: Row) -> Picture:
    return Picture(
        choosing_figure(f"{design.title}: what no other beats", choices(rows, chosen)),
        "Louder, more even, less upwards: whoever wants one of them more than the score does finds"
        " the others to choose from here.",
    )


def _at_ears(spread: Spread) -> list[Trace]:
    frequencies = spread.row.response.problem.frequencies
    seats = zip(spread.design.seats, spread.row.seat_curves_db.T, strict=True)
    traces = [Trace(seat.name, frequencies, levels) for seat, levels in seats]
    if spread.ceiling_deg is not None:
        name = f"off the ceiling, {spread.ceiling_deg:.0f} deg"
        traces.append(Trace(name, frequencies, spread.ceiling_curve_db))
    return [
        *traces,
        Trace("straight up", frequencies, spread.straight_up_curve_db),
        Trace("driver alone", frequencies, spread.bare_driver_db, background=True),
    ]


def _round(spread: Spread) -> Picture:
    ripple = spread.ripple
    figure = round_band_figure(
        f"{spread.design.title}: round the column, posts estimated",
        spread.row.coverage.window_level_db,
        ripple.mean_db,
        AroundTrace(posts_name(ripple.posts), ripple.centres, ripple.minimum_db, ripple.maximum_db),
    )
    return Picture(
        figure,
        "A walk round the column: the shaded band is how far the posts make the level swing, by"
        " estimate.",
    )


def _window_trace(name: str, row: Row) -> Trace:
    return Trace(name, row.response.problem.frequencies, row.window_curve_db)


def _score_by_keep(trim: Trim) -> Picture:
    balls = list(dict.fromkeys(cut.ball_diameter for cut in trim.cuts))
    ladders = []
    for ball in balls:
        cuts = [cut for cut in trim.cuts if cut.ball_diameter == ball]
        name = f"ball {ball * 1e3:.1f} mm" if len(balls) > 1 else ""
        keeps = [cut.keep * 1e3 for cut in cuts]
        ladders.append(_ladder(name, keeps, [cut.row for cut in cuts]))
    figure = ladder_figure(
        f"{trim.design.title}: score by keep",
        ladders,
        "keep, mm",
        (trim.best.keep * 1e3, trim.best.row.score),
        trim.near_best.within_db,
        [(trim.near_best.low * 1e3, trim.near_best.high * 1e3)],
        _present_keep(trim, trim.best.ball_diameter),
        balls[0] * 1e3 if len(balls) == 1 else None,
    )
    return Picture(
        figure, "Every height that was tried; lower is better, shaded: nearly as good as the best."
    )


def _ladder(name: str, sizes_mm: list[float], rows: list[Row]) -> Ladder:
    scores = [row.score if row.solved else np.nan for row in rows]
    return Ladder(name, sizes_mm, scores, [row.reason for row in rows])


def _sweep_of_best_ball(trim: Trim) -> Picture:
    ball = trim.best.ball_diameter
    cuts: list[Cut] = sorted(
        (cut for cut in trim.cuts if cut.ball_diameter == ball), key=lambda cut: cut.keep
    )
    figure = sweep_map_figure(
        f"{trim.design.title}: keep swept, ball {ball * 1e3:.1f} mm,"
        f" best {trim.best.keep * 1e3:.1f} mm",
        [cut.keep * 1e3 for cut in cuts],
        "keep, mm",
        trim.best.row.coverage.centres,
        _levels([cut.row for cut in cuts], trim.best.row),
        _present_keep(trim, ball),
        best_mm=trim.best.keep * 1e3,
    )
    return Picture(figure, "What each height does to each pitch: as it is, and against one choice.")


def _present_keep(trim: Trim, ball_diameter: float) -> float | None:
    """Keep of the design as written, mm, if it is a cap of this ball."""
    present = trim.design.ball
    if present is None or abs(present.diameter - ball_diameter) > 1e-7:
        return None
    return present.kept * 1e3


def _shaving(trim: Trim) -> Picture:
    stops = [trim.steps[0].start, *(step.stop for step in trim.steps)]
    figure = shave_figure(
        f"{trim.design.title}: shaving from tall to short",
        trim.best.ball_diameter * 1e3,
        [cut.keep * 1e3 for cut in stops],
        trim.best.row.coverage.centres,
        [step.change_db for step in trim.steps],
    )
    return Picture(figure, "What a level meter should show after each step of the shaving.")


def _levels(rows: tuple[Row, ...] | list[Row], like: Row) -> np.ndarray:
    """(C, B) window levels, nan where a candidate was not solved."""
    nothing = np.full(like.coverage.centres.size, np.nan)
    return np.array([row.coverage.window_level_db if row.solved else nothing for row in rows])
