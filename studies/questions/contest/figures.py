"""Cone or dome or curve, on one scale."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from shapes.assembly import Assembly
from studies.answer.charts.curves import (
    Trace,
    curves_figure,
    draw_traces,
    frequency_range,
    level_axis,
)
from studies.answer.charts.style import (
    INK,
    LEVEL_LABEL,
    SERIES,
    frequency_axis,
    in_common_style,
    legend_below,
    level_limits,
    new_figure,
)
from studies.answer.picture import Picture, Pictures, coverage_picture, window_levels, window_trace
from studies.questions.contest.study import Contest
from studies.solving.candidates import Row

CHORD_ERROR = 1e-4
_PALE = "#e4e8ea"


def contest_pictures(contest: Contest) -> Pictures:
    """Draw every entry on one scale."""
    design, centres = contest.design, contest.winner.coverage.centres
    levels = window_levels(contest.rows, contest.winner)
    # In the order of the first picture, so that each keeps its colour.
    traces = [window_trace(row.name, row) for row in contest.rows if row.solved]
    pictures = {
        "contest": Picture(
            contest_figure(design.title, contest.rows, centres, levels),
            "Each shape at one scale, with the level that it gives in the window.",
        ),
        "curves": Picture(
            curves_figure(f"{design.title}: mean of the window", traces),
            "The same levels over each other, frequency by frequency.",
        ),
    }
    for place, row in enumerate(contest.ranking, start=1):
        pictures[f"coverage-{place}"] = coverage_picture(f"{design.title}: {row.name}", row)
    return pictures


@in_common_style
def contest_figure(
    title: str, rows: Sequence[Row], centres: ArrayLike, level_db: ArrayLike
) -> Figure:
    """Draw every entry's window level on one absolute scale, under its silhouette.

    Parameters
    ----------
    title : str
    rows : sequence of Row
        (N,) in the order of the entries, solved or not.
    centres : (B,) array
        Exact band centres, Hz.
    level_db : (N, B) array
        Window level of each row, dB; nan throughout where it was not solved.

    Returns
    -------
    Figure
    """
    figure = new_figure(8.0, title)
    strip, axes = figure.subplots(2, 1, height_ratios=(1.0, 2.2))
    _draw_silhouettes(strip, rows)
    levels = np.asarray(level_db, dtype=float)
    traces = [
        Trace(f"{row.name} ({_score(row)})", centres, level, by_band=True)
        for row, level in zip(rows, levels, strict=True)
    ]
    draw_traces(axes, traces)
    level_axis(axes, level_limits(levels.ravel()), f"window {LEVEL_LABEL}")
    frequency_axis(axes, *frequency_range(traces))
    legend_below(figure, axes, columns=2)
    return figure


def _draw_silhouettes(strip: Axes, rows: Sequence[Row]) -> None:
    """What hangs above each baffle, side by side at one scale, mm."""
    strip.set_axis_off()
    strip.set_aspect("equal")
    outlines = [_outlines(row.drawn) for row in rows]
    lines = [line for bodies in outlines for line in bodies]
    corners = np.vstack(lines or [np.array([100.0, 100.0])])
    wide, tall = corners.max(axis=0)
    foot, slot = -0.12 * tall - 12.0, max(2.3 * wide, 5.0 * tall / len(rows))
    for number, (row, bodies) in enumerate(zip(rows, outlines, strict=True)):
        middle, colour = number * slot, SERIES[number % len(SERIES)]
        for line, face in zip(bodies, (_PALE, colour), strict=False):
            half = np.maximum(line, (0.0, foot))
            whole = np.vstack((half, half[::-1] * (-1.0, 1.0))) + (middle, 0.0)
            strip.fill(*whole.T, facecolor=face, edgecolor=INK, linewidth=0.8, alpha=0.9)
        name = textwrap.shorten(row.name, 120 // len(rows), placeholder="...")
        below = f"{name}\n{_score(row)}"
        strip.text(middle, foot - 6.0, below, ha="center", va="top", fontsize=10)
    strip.set_xlim(-slot / 2, (len(rows) - 0.5) * slot)
    strip.set_ylim(foot - 6.0, 1.05 * tall)


def _outlines(assembly: Assembly | None) -> list[np.ndarray]:
    bodies = assembly.bodies if assembly is not None else ()
    return [body.sample(CHORD_ERROR) * 1e3 for body in bodies]


def _score(row: Row) -> str:
    return f"score {row.score:.2f} dB" if row.solved else "cannot be built"
