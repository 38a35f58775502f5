"""A curve of one's own beside the best cap and the best cone."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shapes.assembly import MOVING_PARTS
from studies.answer.charts.curves import curves_figure
from studies.answer.charts.style import (
    DASHES,
    FAINT,
    INK,
    QUIET,
    SERIES,
    Look,
    in_common_style,
    length_axis,
    new_figure,
)
from studies.answer.picture import (
    Picture,
    Pictures,
    coverage_picture,
    section_picture,
    window_trace,
)
from studies.questions.carve.study import Carved

CHORD_ERROR = 1e-5
WORST_SHOWN_DB = 3.0
"""Scores farther than this above the best are drawn at the edge."""


def carve_pictures(carved: Carved) -> Pictures:
    """Draw the carved curve beside the best cap and the best cone, and how it was found."""
    title, curve = carved.design.title, carved.curve.row
    return {
        "profiles": _profiles(carved),
        "curves": Picture(
            curves_figure(
                f"{title}: mean of the window",
                [window_trace(found.name, found.row) for found in carved.compared],
            ),
            "The carved curve against the best cap and the best cone.",
        ),
        "section": section_picture(curve.assembly, f"{title}: carved", carved.design),
        "coverage": coverage_picture(f"{title}: carved", curve),
    }


def _profiles(carved: Carved) -> Picture:
    return Picture(
        carve_figure(carved),
        "The carved curve over the driver and under its plate, beside the best cap and the best"
        " cone within the same limits, each as high as it hangs; below, every solve of the search.",
    )


@in_common_style
def carve_figure(carved: Carved) -> Figure:
    """Draw the profiles that are compared in one half section, and every solve of the search."""
    figure = new_figure(9.6, f"{carved.design.title}: a curve of one's own")
    section, progress = figure.subplots(2, 1, height_ratios=(1.5, 1.0))
    _draw_section(section, carved)
    _draw_search(progress, carved)
    return figure


def _draw_section(axes: Axes, carved: Carved) -> None:
    """Right half of the section: what hangs, over the driver at rest."""
    built, knots = carved.curve.row.assembly, np.array(carved.curve.trial.points_mm)
    gap, plate = built.plate_gap * 1e3, built.plate
    lower = built.lower.sample(CHORD_ERROR) * 1e3
    foot = lower[:, 1].clip(min=min(built.driver.neck_z * 1e3, 0.0) - 8.0)
    axes.fill(lower[:, 0], foot, facecolor=FAINT, edgecolor=QUIET, linewidth=0.8)
    for piece in built.lower.of_parts(*MOVING_PARTS):
        axes.plot(*piece.point(np.linspace(0.0, 1.0, 33)).T * 1e3, color=INK, linewidth=2.0)
    across = lower[:, 0].max()
    if plate is not None:
        across = max(across, plate.radius * 1e3)
        axes.fill_between((0.0, plate.radius * 1e3), gap, gap + plate.thickness * 1e3, color=FAINT)
    for number, row in enumerate(carved.rows):
        profile = row.assembly.hung_reflector.profile.sample(CHORD_ERROR) * 1e3
        look: Look = {"color": SERIES[number], "linestyle": DASHES[number], "label": row.name}
        line = profile + (0.0, row.assembly.plate_gap * 1e3)
        axes.plot(*line.T, linewidth=2.6 if number == 0 else 1.8, **look)
    axes.plot(knots[:, 0], knots[:, 1] + gap, "o", color=SERIES[0], label="knots of the carved one")
    axes.set_aspect("equal")
    axes.set_xlim(0.0, across + 4.0)
    length_axis(axes.xaxis, "distance from the axis")
    length_axis(axes.yaxis, "above the baffle")
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2)


def _draw_search(axes: Axes, carved: Carved) -> None:
    scores, stages = carved.scores_db, [trial.stage for trial in carved.trials]
    best = scores.min()
    top = best + WORST_SHOWN_DB
    solves = np.arange(1, scores.size + 1)
    for number, stage in enumerate(dict.fromkeys(stages)):
        own = np.array([name == stage for name in stages])
        axes.plot(
            solves[own],
            np.minimum(scores[own], top),
            linestyle="none",
            marker="os^D"[number % 4],
            markersize=5,
            color=SERIES[(number + 1) % len(SERIES)],
            label=stage,
        )
    axes.step(
        solves,
        np.minimum(carved.best_so_far_db, top),
        where="post",
        color=INK,
        label="best so far",
    )
    axes.set_ylim(best - 0.1 * WORST_SHOWN_DB, top + 0.05 * WORST_SHOWN_DB)
    axes.set_xlim(0.0, scores.size + 1.0)
    axes.grid(True, axis="y")
    axes.set_xlabel("solve")
    axes.set_ylabel(f"score, dB (up to {WORST_SHOWN_DB:g} dB\nabove the best)")
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=5)
