"""The paths to the main seat, drawn from the side and from above; two columns from above."""

from __future__ import annotations

from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from dispersion.room import DIRECT, SURFACES
from shapes.lengths import across_room
from studies.answer.charts.style import (
    DASHES,
    FAINT,
    INK,
    QUIET,
    SERIES,
    Look,
    in_common_style,
    new_figure,
    room_axis,
)
from studies.questions.seat.pair import TwoColumns
from studies.questions.seat.study import SeatStudy

ARRIVALS_MS = (-4.0, -2.0, -1.0, -0.5, 0.5, 1.0, 2.0, 4.0)
PAPER: Look = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8}
LOUDER_DB = 12.0
"""The darkest colour of a plan of two columns."""


@in_common_style
def plan_figure(study: SeatStudy) -> Figure:
    """Draw the paths to the main seat from the side, and from above if the room has walls."""
    room = study.seating.room
    walls = None if room.length is None or room.width is None else (room.length, room.width)
    walled = walls is not None
    shown = study.listeners if walled else study.listeners[:1]
    named = (f"{n} {shorten(one.name, 30, placeholder='...')}" for n, one in enumerate(shown, 1))
    title = f"{study.design.title}: first bounces"
    figure = new_figure(6.0 if walled else 5.0, title, f"to {'; '.join(named)}")
    panels = figure.subplots(1, 1 + walled, squeeze=False)[0]
    _from_the_side(panels[0], study)
    if walls is not None:
        _from_above(panels[1], study, walls)
    surfaces = [arrival.path.surface for arrival in study.main.arrivals]
    handles = [Line2D([], [], label=name, **_look(name)) for name in surfaces]
    figure.legend(handles=handles, loc="outside lower left", ncols=len(handles))
    return figure


def _look(surface: str) -> Look:
    number = (DIRECT, *SURFACES).index(surface)
    return {"color": SERIES[number], "linestyle": DASHES[number % 4], "linewidth": 1.6}


def _from_the_side(axes: Axes, study: SeatStudy) -> None:
    """Draw what lies in the upright plane through column and seat: floor and ceiling."""
    column, main, height = study.assembly.column, study.main, study.seating.room.height
    half, tall = column.radius, column.height
    away, ears = main.direct.spot_m, main.sitter.place.height
    for arrival in main.arrivals:
        surface = arrival.path.surface
        if surface not in (DIRECT, *SURFACES[:2]):
            continue
        at, up = arrival.spot_m, arrival.path.spot[2]
        axes.plot((0.0, at, away), (study.seating.speaker.height, up, ears), **_look(surface))
        if surface != DIRECT:
            below = surface == "floor"
            axes.annotate(
                across_room(at),
                (at, up),
                xytext=(0, -5 if below else 5),
                textcoords="offset points",
                ha="center",
                va="top" if below else "bottom",
                color=_look(surface)["color"],
            )
    axes.fill([-half, half, half, -half], [0, 0, tall, tall], color="#efe2cc", ec=INK, lw=1.0)
    axes.plot(away, ears, "o", color=INK, markersize=6)
    for level in (0.0, height):
        axes.axhline(level, color=INK, linewidth=2.0)
    axes.set_xlim(-0.4, away + 0.4)
    axes.set_ylim(-0.1 * height, 1.1 * height)
    axes.set_aspect("equal")
    axes.set_title("from the side, to the main seat")
    room_axis(axes.xaxis, "distance from the column's axis")
    room_axis(axes.yaxis, "height")


def _from_above(axes: Axes, study: SeatStudy, sides: tuple[float, float]) -> None:
    length, width = sides
    speaker, half = study.seating.speaker.position, study.assembly.column.face.radius
    axes.plot([0, length, length, 0, 0], [0, 0, width, width, 0], color=INK, linewidth=2.0)
    ears = study.main.sitter.place.position
    for path in (arrival.path for arrival in study.main.arrivals):
        if path.surface not in SURFACES[:2]:
            corners = np.array([speaker[:2], path.spot[:2], ears[:2]])
            axes.plot(*corners.T, **_look(path.surface))
    angle = np.linspace(0.0, 2.0 * np.pi, 60)
    axes.fill(speaker[0] + half * np.cos(angle), speaker[1] + half * np.sin(angle),
              facecolor="#efe2cc", edgecolor=INK, zorder=4)  # fmt: skip
    for number, listener in enumerate(study.listeners, start=1):
        place = listener.sitter.place.position
        axes.plot(*place[:2], "o", color=INK if number == 1 else QUIET, markersize=6, zorder=5)
        look: Look = {"textcoords": "offset points", "color": INK, "zorder": 6}
        axes.annotate(f"{number}", (place[0], place[1]), xytext=(5, 4), **look)
    axes.set_aspect("equal")
    axes.set_title("from above")
    room_axis(axes.xaxis, "along the length")
    room_axis(axes.yaxis, "along the width")
    axes.grid(color=FAINT)


@in_common_style
def pair_figure(study: SeatStudy, found: TwoColumns) -> Figure:
    """Draw two columns from above: lines of equal difference in time over that in level."""
    title = f"{study.design.title}: two columns {across_room(found.apart)} apart"
    figure = new_figure(5.2, title)
    axes = figure.add_subplot()
    scale: Look = {"cmap": "PuOr_r", "vmin": -LOUDER_DB, "vmax": LOUDER_DB, "shading": "gouraud"}
    image = axes.pcolormesh(found.x, found.y, found.level_db, rasterized=True, **scale)
    look: Look = {"colors": INK, "linewidths": 1.0, "linestyles": "solid"}
    lines = axes.contour(found.x, found.y, 1e3 * found.arrival_s, ARRIVALS_MS, **look)
    axes.clabel(lines, fmt="%g ms", fontsize=9)
    for side in (-0.5, 0.5):
        axes.plot(side * found.apart, 0.0, "s", color=INK, markersize=9)
    axes.plot(0.0, found.distance, "o", color=INK, markersize=7)
    axes.annotate(study.main.name, (0.0, found.distance), xytext=(6, 6),
                  textcoords="offset points", color=INK, bbox=PAPER)  # fmt: skip
    axes.set_aspect("equal")
    axes.set_ylim(-0.04 * found.y[-1], found.y[-1])
    room_axis(axes.xaxis, "along the line through both columns")
    room_axis(axes.yaxis, "away from it")
    bar = figure.colorbar(image, ax=axes, extend="both", shrink=0.9)
    bar.set_label("left column less right one, dB")
    bar.outline.set_visible(False)
    return figure
