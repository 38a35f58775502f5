"""What reaches the seats, in pictures: energy over time, paths, bounces, ears, the floor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shapes.lengths import in_own
from studies.answer.charts.curves import Trace, curves_figure, draw_traces, level_axis
from studies.answer.charts.style import (
    DASHES,
    INK,
    QUIET,
    SERIES,
    WINDOW,
    Look,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    level_limits,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.seat.delays import SeatDelays
from studies.questions.seat.listener import FloorCheck, Listener
from studies.questions.seat.loudness import Loudness
from studies.questions.seat.plan_figures import pair_figure, plan_figure
from studies.questions.seat.study import SeatStudy
from studies.questions.seat.words import posture

LEVEL = "dB re the driver's own\non-axis curve at 1 m"
MOST_PANELS = 4
DEEPEST_DB = -40.0
BEFORE_MS, LEAST_MS, BEHIND_LAST = 1.5, 12.0, 1.25
"""How much time is shown: ahead of the direct sound, at least, and beyond the last bounce."""
LOUDEST_SPAN_DB = 60.0
TIERS = 3
"""Heights at which names of bounces stand, so that neighbours in time do not overlap."""


def seat_pictures(study: SeatStudy) -> Pictures:
    """Draw what reaches the seats, energy over time first."""
    pictures = {
        "energy-time": _energy_time(study),
        "step": Picture(
            time_figure(study),
            "Above: what a step of the driver's acceleration makes at the main seat; it falls back"
            " since nothing is solved below the band. Below: how much later each pitch comes than"
            " straight from the baffle, and from where on that is heard.",
        ),
        "paths": Picture(
            plan_figure(study),
            "Where the first bounces to the main seat meet floor, ceiling and walls.",
        ),
        "bounces": Picture(
            bounces_figure(study),
            "What each surface sends to the main seat, against the direct sound there: the more"
            " even these lines, the less the room colours.",
        ),
        "ears": Picture(
            ears_figure(study),
            "Above: the direct sound sitting and standing at the same place. Below: what a wall"
            " close behind the column adds and takes, wave by wave.",
        ),
    }
    if study.pair is not None:
        pictures["pair"] = Picture(
            pair_figure(study, study.pair),
            "Seen from above: where the sound of both columns arrives so far apart in time, and in"
            " colours how much louder the nearer one is.",
        )
    if study.loudness is not None:
        pictures["loudest"] = _loudest(study, study.loudness)
    if study.main.floor is not None:
        pictures["floor"] = Picture(
            floor_figure(study, study.main.floor),
            "How much the simple bounce leaves out when the column stands on a hard floor.",
        )
    return pictures


def _loudest(study: SeatStudy, found: Loudness) -> Picture:
    levels = {
        f"most at {study.main.name}": found.most_db[0],
        "most in a wall, at 1 m": found.alone_db,
    }
    if found.one_watt_db is not None:
        levels[f"1 W at {study.main.name}"] = found.one_watt_db[0]
    figure = curves_figure(
        f"{study.design.title}: loudest sine by travel",
        [Trace(name, found.centres, level, by_band=True) for name, level in levels.items()],
        "direct sound, dB re 20 uPa",
        LOUDEST_SPAN_DB,
    )
    return Picture(
        figure,
        f"The level at which the cone has used up {in_own(found.excursion)} either way: above that"
        " it bottoms, whatever the amplifier. Above, power and heat decide, which nobody has told.",
    )


def _energy_time(study: SeatStudy) -> Picture:
    shown = study.listeners[:MOST_PANELS]
    left_out = len(study.listeners) - len(shown)
    caption = (
        "How the sound comes in: the envelope of each impulse response. A line at every bounce's"
        " delay, a dot at its mean level along the band."
    )
    if left_out:
        caption += f" The first {len(shown)} seats; {left_out} more are in the files."
    return Picture(energy_time_figure(f"{study.design.title}: energy over time", shown), caption)


@in_common_style
def energy_time_figure(title: str, listeners: Sequence[Listener]) -> Figure:
    """Draw the envelope of the impulse response at each seat, with the bounces named."""
    figure = new_figure(1.2 + 2.5 * len(listeners), title)
    panels = figure.subplots(len(listeners), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
    last = max(bounce.path.delay_ms for one in listeners for bounce in one.bounces)
    end = max(LEAST_MS, BEHIND_LAST * last)
    for number, (axes, listener) in enumerate(zip(panels, listeners, strict=True), start=1):
        _over_time(axes, listener, end)
        axes.set_title(shorten(f"{number} {listener.name}", 60, placeholder="..."))
        axes.set_xlim(-BEFORE_MS, end)
        axes.set_ylim(DEEPEST_DB, 17.0)
        axes.set_yticks(np.arange(DEEPEST_DB, 1.0, 10.0))
        axes.grid(axis="both")
        axes.set_ylabel("envelope, dB re\ndirect sound's peak")
    panels[-1].set_xlabel("time after the direct sound, ms")
    return figure


def _over_time(axes: Axes, listener: Listener, end: float) -> None:
    time, level = listener.impulse.milliseconds, listener.impulse.energy_time_db
    shown = (time >= -BEFORE_MS) & (time <= end)
    time, level = time[shown], np.maximum(level[shown], DEEPEST_DB)
    axes.fill_between(time, DEEPEST_DB, level, color=SERIES[0], alpha=0.2, linewidth=0)
    axes.plot(time, level, color=SERIES[0], linewidth=0.9)
    paper = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    for number, arrival in enumerate(listener.arrivals):
        delay = arrival.path.delay_ms
        height = 2.0 + 4.5 * (TIERS - 1 - number % TIERS)
        axes.plot([delay, delay], [DEEPEST_DB, height], color=WINDOW, linewidth=0.8, zorder=3)
        axes.plot(
            delay, listener.mean_re_direct_db(arrival), "o", color=WINDOW, markersize=4.5, zorder=4
        )
        axes.annotate(
            arrival.path.surface,
            (delay, height),
            xytext=(4, 0),
            textcoords="offset points",
            fontsize=9,
            va="center",
            bbox=paper,
            zorder=5,
        )


@in_common_style
def time_figure(study: SeatStudy) -> Figure:
    """Draw step response and group delay at the main seat."""
    figure = new_figure(8.2, f"{study.design.title}: in time, at {study.main.name}", hspace=0.1)
    top, bottom = figure.subplots(2, 1)
    _steps(top, study.main)
    _group_delay(bottom, study.main.delays)
    for axes in (top, bottom):
        axes.grid(axis="both")
    figure.align_ylabels()
    return figure


def _steps(axes: Axes, listener: Listener) -> None:
    time, (direct, whole) = listener.impulse.milliseconds, listener.impulse.steps
    shown = (time >= -BEFORE_MS) & (time <= LEAST_MS)
    axes.plot(time[shown], whole[shown], color=QUIET, linewidth=1.0, label="with first bounces")
    axes.plot(time[shown], direct[shown], color=SERIES[0], linewidth=1.6, label="direct sound")
    axes.set_xlim(-BEFORE_MS, LEAST_MS)
    axes.set_xlabel("time after the direct sound, ms")
    axes.set_ylabel("step response, 1 = largest\nof the direct sound")
    axes.legend(loc="upper right", ncols=2)


def _group_delay(axes: Axes, found: SeatDelays) -> None:
    edges = edges_of_bands(found.centres)
    flat: Look = {"baseline": None, "linewidth": 1.8}
    axes.plot(found.frequencies, 1e3 * found.curve_s, color=QUIET, linewidth=0.6)
    axes.stairs(1e3 * found.whole_s, edges, color=SERIES[0], label="direct sound", **flat)
    look: Look = {"color": SERIES[1], "linestyle": DASHES[1]}
    axes.stairs(1e3 * found.driver_s, edges, label="driver alone", **look, **flat)
    look = {"color": WINDOW, "linestyle": DASHES[2], "linewidth": 1.4}
    for limit, name in zip(found.limits_s, ("just audible", None), strict=True):
        axes.plot(found.centres, 1e3 * limit, label=name, **look)
    low, high = found.span_s
    axes.set_ylim(1e3 * low, 1e3 * high)
    axes.set_ylabel("group delay, ms")
    frequency_axis(axes, edges[0], edges[-1])
    axes.legend(loc="upper right", ncols=3)


@in_common_style
def bounces_figure(study: SeatStudy) -> Figure:
    """Draw every bounce at the main seat and all early ones together, re the direct sound."""
    main, together_db = study.main, study.main.early_to_direct_db
    figure = new_figure(5.6, f"{study.design.title}: bounces at {main.name}")
    axes = figure.add_subplot()
    edges = edges_of_bands(study.centres)
    axes.stairs(
        together_db, edges, baseline=None, color=INK, linewidth=2.6, label="early bounces together"
    )
    bounces = {one.path.surface: main.re_direct_db(one) for one in main.bounces}
    for number, (name, levels) in enumerate(bounces.items()):
        look: Look = {
            "color": SERIES[number % (len(SERIES) - 1)],
            "linestyle": DASHES[number % len(DASHES)],
        }
        axes.stairs(levels, edges, baseline=None, linewidth=1.6, label=name, **look)
    every = np.concatenate([together_db, *bounces.values()])
    level_axis(axes, level_limits(every, 20.0), "level, dB re the direct sound at the seat")
    axes.axhline(0.0, color=QUIET, linewidth=1.2, zorder=1)
    frequency_axis(axes, edges[0], edges[-1])
    legend_below(figure, axes, 4)
    return figure


@in_common_style
def ears_figure(study: SeatStudy) -> Figure:
    """Draw the direct sound sitting and standing, and what a wall behind the column does to it."""
    main, (here, there) = study.main, posture(study.main)
    figure = new_figure(8.2, f"{study.design.title}: direct sound at {main.name}")
    top, bottom = figure.subplots(2, 1, sharex=True)
    heights = main.sitter.seat.ear_height, main.sitter.other_ears
    seat, other = (
        f"{name}, ears {in_own(ears, 0)}" for name, ears in zip((here, there), heights, strict=True)
    )
    _draw_levels(top, study, {seat: main.direct.level_db, other: main.other_direct_db})
    bottom.plot(study.frequencies, main.behind_curve_db, color=SERIES[1], linewidth=1.2)
    wall = in_own(study.seating.near_wall, 0)
    bottom.set_title(f"a wall {wall} behind the column's axis, against the free room")
    level_axis(
        bottom, level_limits(main.behind_curve_db, 20.0, 30.0), "change of the direct\nsound, dB"
    )
    bottom.axhline(0.0, color=QUIET, linewidth=1.2, zorder=1)
    low, high, quarter_wave_hz = *study.frequencies[[0, -1]], study.quarter_wave_hz
    if low < quarter_wave_hz < high:
        bottom.axvline(quarter_wave_hz, color=QUIET, linewidth=1.0, linestyle=DASHES[1])
        bottom.annotate(
            f" quarter wave, {quarter_wave_hz:.0f} Hz",
            (quarter_wave_hz, 0.04),
            xycoords=("data", "axes fraction"),
            color=QUIET,
        )
    for axes in (top, bottom):
        frequency_axis(axes, low, high, label=axes is bottom)
    figure.align_ylabels()
    return figure


@in_common_style
def floor_figure(study: SeatStudy, floor: FloorCheck) -> Figure:
    """Draw the main seat and the column on a rigid floor: exact, and by direct sound and image."""
    figure = new_figure(7.4, f"{study.design.title}: on the floor, at {study.main.name}")
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(2.2, 1.0))
    ways = {
        "column on a rigid floor, exact": floor.exact_db,
        "direct sound and image": floor.images_db,
    }
    _draw_levels(top, study, ways)
    edges = edges_of_bands(study.centres)
    bottom.stairs(floor.off_db, edges, baseline=0.0, fill=True, color=SERIES[1], alpha=0.5)
    reach = max(1.0, float(np.ceil(np.max(np.abs(floor.off_db)))))
    bottom.set_ylim(-reach, reach)
    bottom.set_ylabel("image less\nexact, dB")
    bottom.grid(axis="both")
    bottom.axhline(0.0, color=QUIET, linewidth=1.2)
    for axes in (top, bottom):
        frequency_axis(axes, edges[0], edges[-1], label=axes is bottom)
    figure.align_ylabels()
    return figure


def _draw_levels(axes: Axes, study: SeatStudy, levels_db: Mapping[str, np.ndarray]) -> None:
    """Band levels (B,) by name, with a legend above."""
    draw_traces(
        axes,
        [Trace(name, study.centres, levels, by_band=True) for name, levels in levels_db.items()],
    )
    level_axis(axes, level_limits(np.concatenate([*levels_db.values()]), 20.0), LEVEL)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.2)
