"""A curve of one's own beside the best cap and the best cone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from shapes.assembly import MOVING_PARTS, Assembly
from studies.answer.charts.curves import curves_figure
from studies.answer.charts.style import (
    DASHES,
    FAINT,
    INK,
    QUIET,
    SERIES,
    Look,
    in_common_style,
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
    figure = carve_figure(
        f"{carved.design.title}: a curve of one's own",
        [Shape(row.name, row.assembly) for row in carved.rows],
        carved.curve.trial.points_mm,
        [trial.stage for trial in carved.trials],
        [trial.score for trial in carved.trials],
    )
    return Picture(
        figure,
        "The carved curve over the driver, beside the best cap and the best cone within the same"
        " limits; below, every solve of the search.",
    )


@dataclass(frozen=True, eq=False)
class Shape:
    """One reflector as it hangs: what to call it, and its assembly."""

    name: str
    assembly: Assembly


@in_common_style
def carve_figure(
    title: str,
    shapes: Sequence[Shape],
    knots_mm: ArrayLike,
    stages: Sequence[str],
    scores_db: ArrayLike,
) -> Figure:
    """Draw the profiles in one half section, and every solve of the search.

    Parameters
    ----------
    title : str
    shapes : sequence of Shape
        The carved one first.
    knots_mm : (K, 2) array
        Of the carved one, [r, z] from its flat, mm.
    stages : sequence of str
        At which stage each solve was.
    scores_db : (N,) array
        Coarse scores in the order of the search, dB.

    Returns
    -------
    Figure
    """
    figure = new_figure(9.6, title)
    section, progress = figure.subplots(2, 1, height_ratios=(1.5, 1.0))
    _draw_section(section, shapes, np.asarray(knots_mm, dtype=float))
    _draw_search(progress, stages, np.asarray(scores_db, dtype=float))
    return figure


def _draw_section(axes: Axes, shapes: Sequence[Shape], knots: np.ndarray) -> None:
    """Right half of the section: what hangs, over the driver at rest."""
    built = shapes[0].assembly
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
    for number, shape in enumerate(shapes):
        profile = shape.assembly.hung_reflector.profile.sample(CHORD_ERROR) * 1e3
        look: Look = {"color": SERIES[number], "linestyle": DASHES[number], "label": shape.name}
        line = profile + (0.0, gap)
        axes.plot(*line.T, linewidth=2.6 if number == 0 else 1.8, **look)
    axes.plot(knots[:, 0], knots[:, 1] + gap, "o", color=SERIES[0], label="knots of the carved one")
    axes.set_aspect("equal")
    axes.set_xlim(0.0, across + 4.0)
    axes.set_xlabel("distance from the axis, mm")
    axes.set_ylabel("above the baffle, mm")
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2)


def _draw_search(axes: Axes, stages: Sequence[str], scores: np.ndarray) -> None:
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
        np.minimum(np.minimum.accumulate(scores), top),
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
