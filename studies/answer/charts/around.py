"""Levels round the column: by band, by azimuth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from studies.answer.charts.curves import level_axis
from studies.answer.charts.style import (
    DASHES,
    QUIET,
    SERIES,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    level_limits,
    new_figure,
)


@dataclass(frozen=True, eq=False)
class AroundTrace:
    """Lowest and highest level round the column with one choice of posts.

    Attributes
    ----------
    name : str
        Count and diameter of the posts.
    centres : (B,) array
        Exact band centres, Hz.
    minimum_db, maximum_db : (B,) array
        dB re the same design without posts.
    """

    name: str
    centres: ArrayLike
    minimum_db: ArrayLike
    maximum_db: ArrayLike


@in_common_style
def around_figure(title: str, traces: Sequence[AroundTrace], subtitle: str = "") -> Figure:
    """Draw how far the level swings round the column, by third octave, for each choice of posts.

    Parameters
    ----------
    title : str
    traces : sequence of AroundTrace
    subtitle : str

    Returns
    -------
    Figure
    """
    figure = new_figure(5.4, title, subtitle)
    axes = figure.add_subplot()
    for row, trace in enumerate(traces):
        edges = edges_of_bands(trace.centres)
        colour, dash = SERIES[row % len(SERIES)], DASHES[row % len(DASHES)]
        for name, values in ((trace.name, trace.maximum_db), (None, trace.minimum_db)):
            axes.stairs(
                values,
                edges,
                baseline=None,
                color=colour,
                linestyle=dash,
                linewidth=1.6,
                label=name,
            )
    axes.axhspan(-1.0, 1.0, color=QUIET, alpha=0.12, linewidth=0, label="within 1 dB")
    swing = max(float(np.max(np.abs(np.array([t.minimum_db, t.maximum_db])))) for t in traces)
    limit = max(3, int(np.ceil(swing + 0.2)))
    axes.set_ylim(-limit, limit)
    axes.set_yticks(range(-limit, limit + 1, 1 if limit <= 8 else 2))
    axes.set_ylabel("highest and lowest level round the column,\ndB re no posts")
    axes.grid(axis="both")
    frequency_axis(axes, edges[0], edges[-1])
    legend_below(figure, axes)
    return figure


@in_common_style
def round_band_figure(
    title: str, window_db: ArrayLike, mean_db: ArrayLike, trace: AroundTrace
) -> Figure:
    """Draw lowest, mean and highest level round the column, absolute above normalised.

    Parameters
    ----------
    title : str
    window_db : (B,) array
        Window level without posts, dB re the driver's own on-axis curve.
    mean_db : (B,) array
        Mean over the azimuths, dB re no posts.
    trace : AroundTrace
        The posts by name, with the least and the most in each band, dB re no posts.

    Returns
    -------
    Figure
    """
    figure = new_figure(6.8, title)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(1.5, 1.0))
    without = np.asarray(window_db, dtype=float)
    sides = [np.asarray(x, dtype=float) for x in (trace.minimum_db, mean_db, trace.maximum_db)]
    _draw_band(top, trace, [without + side for side in sides])
    _draw_band(bottom, trace, sides)
    limits = level_limits(np.concatenate([without + side for side in sides]))
    level_axis(top, limits, "window level, dB re the\ndriver's own on-axis curve")
    top.set_title("absolute")
    bottom.set_title("normalised: dB re no posts, which hides what all directions share")
    limit = max(3, int(np.ceil(np.max(np.abs(sides)) + 0.2)))
    bottom.set_ylim(-limit, limit)
    bottom.set_ylabel("dB re no posts")
    bottom.grid(axis="both")
    edges = edges_of_bands(trace.centres)
    for axes in (top, bottom):
        frequency_axis(axes, edges[0], edges[-1], label=axes is bottom)
    figure.align_ylabels()
    legend_below(figure, top)
    return figure


def _draw_band(axes: Axes, trace: AroundTrace, sides: Sequence[np.ndarray]) -> None:
    """Shade from lowest to highest, with the mean as a line."""
    low, mean, high = sides
    edges = edges_of_bands(trace.centres)
    label = f"lowest to highest direction, {trace.name}"
    axes.stairs(high, edges, baseline=low, fill=True, color=SERIES[1], alpha=0.45, label=label)
    axes.stairs(mean, edges, baseline=None, color=SERIES[0], linewidth=1.8, label="mean all round")


@in_common_style
def azimuth_figure(
    title: str, azimuths: ArrayLike, centres: ArrayLike, level_db: ArrayLike, subtitle: str = ""
) -> Figure:
    """Draw level by azimuth and third octave, dB re no posts, on a map.

    Parameters
    ----------
    title : str
    azimuths : (A,) array
        Degrees from the first post.
    centres : (B,) array
        Exact band centres, Hz.
    level_db : (B, A) array
        dB re no posts.
    subtitle : str

    Returns
    -------
    Figure
    """
    figure = new_figure(5.6, title, subtitle)
    axes = figure.add_subplot()
    levels = np.asarray(level_db, dtype=float)
    limit = max(1.0, float(np.ceil(np.abs(levels).max())))
    step = float(np.mean(np.diff(azimuths)))
    sides = np.append(np.asarray(azimuths) - 0.5 * step, np.asarray(azimuths)[-1] + 0.5 * step)
    drawn = axes.pcolormesh(
        edges_of_bands(centres), sides, levels.T, cmap="PuOr_r", vmin=-limit, vmax=limit
    )
    frequency_axis(axes, *edges_of_bands(centres)[[0, -1]])
    axes.set_ylabel("azimuth from the first post, degrees")
    figure.colorbar(drawn, ax=axes, label="dB re no posts")
    return figure
