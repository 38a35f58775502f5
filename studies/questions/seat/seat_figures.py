"""What reaches a seat: the paths drawn, energy over time, bounces and ears by third octave."""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import ArrayLike

from dispersion.room import DIRECT, SURFACES
from studies.answer.charts.curves import Trace, draw_traces, level_axis
from studies.answer.charts.style import (
    DASHES,
    FAINT,
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

DEEPEST_DB = -40.0
BEFORE_MS, LEAST_MS, BEHIND_LAST = 1.5, 12.0, 1.25
"""How much time is shown: ahead of the direct sound, at least, and beyond the last bounce."""
TIERS = 3
"""Heights at which names of bounces stand, so that neighbours in time do not overlap."""


@dataclass(frozen=True, eq=False)
class Heard:
    """One seat over time.

    Attributes
    ----------
    name : str
    milliseconds, energy_db : (N,) arrays
        After the direct sound's peak; envelope re that peak, dB.
    bounces : sequence of (str, float, float)
        Surface, delay in ms, level re direct sound in dB.
    """

    name: str
    milliseconds: np.ndarray
    energy_db: np.ndarray
    bounces: Sequence[tuple[str, float, float]]


@in_common_style
def energy_time_figure(title: str, seats: Sequence[Heard]) -> Figure:
    """Draw the envelope of the impulse response at each seat, with the bounces named.

    Parameters
    ----------
    title : str
    seats : sequence of Heard
    """
    figure = new_figure(1.2 + 2.5 * len(seats), title)
    panels = figure.subplots(len(seats), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
    last = max(delay for seat in seats for _, delay, _ in seat.bounces)
    end = max(LEAST_MS, BEHIND_LAST * last)
    for axes, seat in zip(panels, seats, strict=True):
        _over_time(axes, seat, end)
        axes.set_title(shorten(seat.name, 60, placeholder="..."))
        axes.set_xlim(-BEFORE_MS, end)
        axes.set_ylim(DEEPEST_DB, 17.0)
        axes.set_yticks(np.arange(DEEPEST_DB, 1.0, 10.0))
        axes.grid(axis="both")
        axes.set_ylabel("envelope, dB re\ndirect sound's peak")
    panels[-1].set_xlabel("time after the direct sound, ms")
    return figure


def _over_time(axes: Axes, seat: Heard, end: float) -> None:
    shown = (seat.milliseconds >= -BEFORE_MS) & (seat.milliseconds <= end)
    time, level = seat.milliseconds[shown], np.maximum(seat.energy_db[shown], DEEPEST_DB)
    axes.fill_between(time, DEEPEST_DB, level, color=SERIES[0], alpha=0.2, linewidth=0)
    axes.plot(time, level, color=SERIES[0], linewidth=0.9)
    paper = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    for number, (name, delay, level_db) in enumerate([("direct", 0.0, 0.0), *seat.bounces]):
        height = 2.0 + 4.5 * (TIERS - 1 - number % TIERS)
        axes.plot([delay, delay], [DEEPEST_DB, height], color=WINDOW, linewidth=0.8, zorder=3)
        axes.plot(delay, level_db, "o", color=WINDOW, markersize=4.5, zorder=4)
        axes.annotate(
            name,
            (delay, height),
            xytext=(4, 0),
            textcoords="offset points",
            fontsize=9,
            va="center",
            bbox=paper,
            zorder=5,
        )


@in_common_style
def bounces_figure(
    title: str,
    centres: ArrayLike,
    bounces: Sequence[tuple[str, np.ndarray]],
    together_db: np.ndarray,
) -> Figure:
    """Draw every bounce and all early ones together, re the direct sound, by third octave.

    Parameters
    ----------
    title : str
    centres : (B,) array
        Hz.
    bounces : sequence of (str, (B,) array)
        Surface, level re direct sound in dB.
    together_db : (B,) array
        Energies of the early ones added, re direct sound, dB.
    """
    figure = new_figure(5.6, title)
    axes = figure.add_subplot()
    edges = edges_of_bands(centres)
    axes.stairs(
        together_db, edges, baseline=None, color=INK, linewidth=2.6, label="early bounces together"
    )
    for number, (name, levels) in enumerate(bounces):
        look: Look = {
            "color": SERIES[number % (len(SERIES) - 1)],
            "linestyle": DASHES[number % len(DASHES)],
        }
        axes.stairs(levels, edges, baseline=None, linewidth=1.6, label=name, **look)
    every = np.concatenate([together_db, *(levels for _, levels in bounces)])
    level_axis(axes, level_limits(every, 20.0), "level, dB re the direct sound at the seat")
    axes.axhline(0.0, color=QUIET, linewidth=1.2, zorder=1)
    frequency_axis(axes, edges[0], edges[-1])
    legend_below(figure, axes, 4)
    return figure


@in_common_style
def ears_figure(
    title: str,
    direct: Sequence[Trace],
    behind: Trace,
    wall_mm: float,
    quarter_wave_hz: float,
    level_label: str,
) -> Figure:
    """Draw the direct sound sitting and standing, and what a wall behind the column does to it.

    Parameters
    ----------
    title : str
    direct : sequence of Trace
    behind : Trace
        Change of the direct sound's level by the wall, dB.
    wall_mm : float
        From the column's axis to the wall.
    quarter_wave_hz : float
        At which that distance is a quarter of a wave.
    level_label : str
        Of the upper panel.
    """
    figure = new_figure(8.2, title)
    top, bottom = figure.subplots(2, 1, sharex=True)
    draw_traces(top, direct)
    levels = np.concatenate([np.ravel(trace.level_db) for trace in direct])
    level_axis(top, level_limits(levels, 20.0), level_label)
    top.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.2)
    bottom.plot(behind.frequencies, behind.level_db, color=SERIES[1], linewidth=1.2)
    bottom.set_title(f"a wall {wall_mm:.0f} mm behind the column's axis, against the free room")
    level_axis(bottom, level_limits(behind.level_db, 20.0, 30.0), "change of the direct\nsound, dB")
    bottom.axhline(0.0, color=QUIET, linewidth=1.2, zorder=1)
    low, high = float(np.min(behind.frequencies)), float(np.max(behind.frequencies))
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


@dataclass(frozen=True, eq=False)
class PlanPath:
    """A path from the speaker over a spot on a surface to the ears, (3,) positions in metres."""

    name: str
    spot: np.ndarray
    ears: np.ndarray


@in_common_style
def plan_figure(
    title: str,
    speaker: np.ndarray,
    column: tuple[float, float],
    sides: tuple[float | None, float | None, float],
    paths: Sequence[PlanPath],
    seats: Sequence[tuple[str, np.ndarray]],
) -> Figure:
    """Draw the paths to the main seat from the side, and from above if the room has walls.

    Parameters
    ----------
    title : str
    speaker : (3,) array
        The middle of the ring, m.
    column : (float, float)
        Half its width and its height, m.
    sides : (float or None, float or None, float)
        Length, width and height of the room, m.
    paths : sequence of PlanPath
        To the main seat, the direct one first.
    seats : sequence of (str, (3,) array)
        Every seat, the main one first.
    """
    length, width, height = sides
    walls = None if length is None or width is None else (length, width)
    walled = walls is not None
    shown = seats if walled else seats[:1]
    named = (f"{n} {shorten(name, 30, placeholder='...')}" for n, (name, _) in enumerate(shown, 1))
    figure = new_figure(6.0 if walled else 5.0, title, f"to {'; '.join(named)}")
    panels = figure.subplots(1, 1 + walled, squeeze=False)[0]
    _from_the_side(panels[0], speaker, column, height, paths)
    if walls is not None:
        _from_above(panels[1], speaker, column[0], walls, paths, seats)
    lines = {path.name: _look(path.name) for path in paths}
    handles = [Line2D([], [], label=name, **look) for name, look in lines.items()]
    figure.legend(handles=handles, loc="outside lower left", ncols=len(handles))
    return figure


def _look(surface: str) -> Look:
    number = (DIRECT, *SURFACES).index(surface)
    return {"color": SERIES[number], "linestyle": DASHES[number % 4], "linewidth": 1.6}


def _from_the_side(
    axes: Axes,
    speaker: np.ndarray,
    column: tuple[float, float],
    height: float,
    paths: Sequence[PlanPath],
) -> None:
    """Floor and ceiling lie in the plane through column and seat."""
    half, tall = column
    away = float(np.hypot(*(paths[0].ears - speaker)[:2]))
    for path in paths:
        if path.name not in (DIRECT, *SURFACES[:2]):
            continue
        at = float(np.hypot(*(path.spot - speaker)[:2]))
        corners = np.array([(0.0, speaker[2]), (at, path.spot[2]), (away, path.ears[2])])
        axes.plot(*corners.T, **_look(path.name))
        if path.name != DIRECT:
            below = path.name == "floor"
            axes.annotate(
                f"{at:.2f} m",
                (at, path.spot[2]),
                xytext=(0, -5 if below else 5),
                textcoords="offset points",
                ha="center",
                va="top" if below else "bottom",
                color=_look(path.name)["color"],
            )
    axes.fill([-half, half, half, -half], [0, 0, tall, tall], color="#efe2cc", ec=INK, lw=1.0)
    axes.plot(away, paths[0].ears[2], "o", color=INK, markersize=6)
    for level in (0.0, height):
        axes.axhline(level, color=INK, linewidth=2.0)
    axes.set_xlim(-0.4, away + 0.4)
    axes.set_ylim(-0.1 * height, 1.1 * height)
    axes.set_aspect("equal")
    axes.set_title("from the side, to the main seat")
    axes.set_xlabel("distance from the column's axis, m")
    axes.set_ylabel("height, m")


def _from_above(
    axes: Axes,
    speaker: np.ndarray,
    half: float,
    sides: tuple[float, float],
    paths: Sequence[PlanPath],
    seats: Sequence[tuple[str, np.ndarray]],
) -> None:
    length, width = sides
    axes.plot([0, length, length, 0, 0], [0, 0, width, width, 0], color=INK, linewidth=2.0)
    for path in paths:
        if path.name not in SURFACES[:2]:
            corners = np.array([speaker[:2], path.spot[:2], path.ears[:2]])
            axes.plot(*corners.T, **_look(path.name))
    angle = np.linspace(0.0, 2.0 * np.pi, 60)
    axes.fill(speaker[0] + half * np.cos(angle), speaker[1] + half * np.sin(angle),
              facecolor="#efe2cc", edgecolor=INK, zorder=4)  # fmt: skip
    for number, (_, place) in enumerate(seats, start=1):
        axes.plot(*place[:2], "o", color=INK if number == 1 else QUIET, markersize=6, zorder=5)
        look: Look = {"textcoords": "offset points", "color": INK, "zorder": 6}
        axes.annotate(f"{number}", (place[0], place[1]), xytext=(5, 4), **look)
    axes.set_aspect("equal")
    axes.set_title("from above")
    axes.set_xlabel("along the length, m")
    axes.set_ylabel("along the width, m")
    axes.grid(color=FAINT)


@in_common_style
def floor_figure(title: str, traces: Sequence[Trace], level_label: str) -> Figure:
    """Draw the seat in front of a column on a rigid floor, exact and by direct sound and image.

    Parameters
    ----------
    title : str
    traces : sequence of Trace
        Exact first, then the image.
    level_label : str
    """
    figure = new_figure(7.4, title)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(2.2, 1.0))
    draw_traces(top, traces)
    levels = np.concatenate([np.ravel(trace.level_db) for trace in traces])
    level_axis(top, level_limits(levels, 20.0), level_label)
    top.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.2)
    edges = edges_of_bands(traces[0].frequencies)
    off = np.asarray(traces[1].level_db) - np.asarray(traces[0].level_db)
    bottom.stairs(off, edges, baseline=0.0, fill=True, color=SERIES[1], alpha=0.5)
    reach = max(1.0, float(np.ceil(np.max(np.abs(off)))))
    bottom.set_ylim(-reach, reach)
    bottom.set_ylabel("image less\nexact, dB")
    bottom.grid(axis="both")
    bottom.axhline(0.0, color=QUIET, linewidth=1.2)
    for axes in (top, bottom):
        frequency_axis(axes, edges[0], edges[-1], label=axes is bottom)
    figure.align_ylabels()
    return figure
