"""Where the sound of one design goes."""

from __future__ import annotations

from dispersion.ripple import Ripple
from studies.answer.charts.around import AroundTrace, azimuth_figure, round_band_figure
from studies.answer.charts.coverage import polar_figure
from studies.answer.charts.curves import Trace, curves_figure, index_figure, shares_figure
from studies.answer.columns import posts_name
from studies.answer.picture import Picture, Pictures, coverage_picture, section_pictures
from studies.questions.spread.study import Spread
from studies.solving.alignment import Alignment
from studies.solving.leaning import RoundLevels


def spread_pictures(spread: Spread) -> Pictures:
    """Draw where the sound of one design goes."""
    design, row = spread.design, spread.row
    pictures = {
        "coverage": coverage_picture(design.title, row),
        "curves": Picture(
            curves_figure(f"{design.title}: at the seats and off the ceiling", _at_ears(spread)),
            "What reaches the ears seated and standing, what goes to the ceiling first and straight"
            " up.",
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
    if spread.alignment is not None:
        pictures["ways"] = _ways(spread, spread.alignment)
    if spread.where_it_goes:
        pictures["power"] = _where_it_goes(spread)
    if spread.ripple is not None:
        pictures["round"] = _round(spread, spread.ripple)
    if spread.askew is not None:
        pictures["askew"] = _askew(spread, spread.askew)
    return pictures


def _askew(spread: Spread, found: RoundLevels) -> Picture:
    azimuths, levels = found.right_round
    figure = azimuth_figure(
        f"{spread.design.title}: as it hangs askew",
        azimuths,
        found.centres,
        {"window level, dB re 0 dB": levels, "dB about the mean of the band": found.about_mean_db},
        begin="the side that it hangs to",
    )
    return Picture(
        figure,
        "Where round the column it is louder and softer as it hangs: first as it is, then without"
        " what all directions share; posts are left out.",
    )


def _at_ears(spread: Spread) -> list[Trace]:
    frequencies = spread.row.response.problem.frequencies
    seats = zip(spread.design.seats, spread.row.seat_curves_db.T, strict=True)
    traces = [Trace(seat.name, frequencies, levels) for seat, levels in seats]
    if spread.ceiling_deg is not None:
        name = f"off the ceiling, {spread.ceiling_deg:.0f} deg"
        levels = spread.curve_towards_db(spread.ceiling_deg)
        traces.append(Trace(name, frequencies, levels))
    return [*traces, Trace("straight up", frequencies, spread.straight_up_curve_db)]


def _ways(spread: Spread, found: Alignment) -> Picture:
    sets = {
        "as written": found.written,
        "best delay and polarity": found.best,
        "best with the other polarity": found.other,
    }
    figure = curves_figure(
        f"{spread.design.title}: how the ways add",
        [Trace(name, found.frequencies, timing.curve_db) for name, timing in sets.items()],
        "power of the sum in the window,\ndB re both ways in step",
        20.0,
    )
    return Picture(
        figure,
        "How far the sum of the ways falls short of what it would be if both arrived in step in"
        " every direction of the window; 0 dB is the best there is.",
    )


def _where_it_goes(spread: Spread) -> Picture:
    figure = shares_figure(
        f"{spread.design.title}: where the power goes",
        spread.row.coverage.centres,
        {one.name: 100.0 * one.shares for one in spread.where_it_goes},
    )
    return Picture(
        figure,
        "How much of the driver's power arrives far away, and how much the walls of the parts that"
        " take most keep for themselves.",
    )


def _round(spread: Spread, ripple: Ripple) -> Picture:
    how = "solved" if ripple.exact else "estimated"
    figure = round_band_figure(
        f"{spread.design.title}: round the column, posts {how}",
        spread.row.coverage.window_level_db,
        ripple.mean_db,
        AroundTrace(posts_name(ripple.posts), ripple.centres, ripple.minimum_db, ripple.maximum_db),
    )
    return Picture(
        figure,
        "A walk round the column: the shaded band is how far the posts make the level swing"
        + ("." if ripple.exact else ", by estimate."),
    )
