"""Levels round the column: by band, by azimuth."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from studies.answer.charts.curves import level_axis
from studies.answer.charts.style import (
    DASHES,
    INK,
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
    title: str,
    azimuths: ArrayLike,
    centres: ArrayLike,
    levels: Mapping[str, ArrayLike],
    subtitle: str = "",
    begin: str = "the first post",
) -> Figure:
    """Draw level by azimuth and third octave on maps, one below the other.

    Parameters
    ----------
    title : str
    azimuths : (A,) array
        Degrees.
    centres : (B,) array
        Exact band centres, Hz.
    levels : mapping of str to (B, A) array
        By what they are relative to, such as "dB re no posts"; those with a level of 0 among them
        are drawn about it.
    subtitle : str
    begin : str
        Where azimuth is 0.

    Returns
    -------
    Figure
    """
    figure = new_figure(1.2 + 4.4 * len(levels), title, subtitle)
    panels = figure.subplots(len(levels), 1, squeeze=False, sharex=True)[:, 0]
    edges, ends = edges_of_bands(centres), np.asarray(azimuths, dtype=float)
    step = float(np.mean(np.diff(ends)))
    sides = np.append(ends - 0.5 * step, ends[-1] + 0.5 * step)
    for axes, (name, given) in zip(panels, levels.items(), strict=True):
        shown = np.asarray(given, dtype=float)
        drawn = axes.pcolormesh(edges, sides, shown.T, rasterized=True, **_colours(shown))
        frequency_axis(axes, edges[0], edges[-1], label=axes is panels[-1])
        axes.set_ylabel(f"azimuth from {begin},\ndegrees")
        axes.set_yticks(range(0, 361, 60))
        figure.colorbar(drawn, ax=axes, label=name)
    return figure


def _colours(levels: np.ndarray) -> dict[str, Any]:
    """Two-sided about 0 where 0 lies within the levels, even else."""
    if levels.min() < 0.0 < levels.max():
        limit = max(1.0, float(np.ceil(np.abs(levels).max())))
        return {"cmap": "PuOr_r", "vmin": -limit, "vmax": limit}
    low, high = float(np.floor(levels.min())), float(np.ceil(levels.max()))
    return {"cmap": "cividis", "vmin": low, "vmax": high}


@in_common_style
def places_figure(
    title: str, azimuths: ArrayLike, off_db: ArrayLike, posts: ArrayLike, best: ArrayLike
) -> Figure:
    """Draw from above how far any band is off its mean in each direction, and where it is least.

    Parameters
    ----------
    title : str
    azimuths : (A,) array
        Degrees from the first post, right round.
    off_db : (A,) array
        Largest distance of any band from its mean, dB.
    posts, best : arrays
        Azimuths of the posts, and of the best places, degrees.

    Returns
    -------
    Figure
    """
    figure = new_figure(6.6, title)
    (axes,) = figure.subplots(1, 1, squeeze=False, subplot_kw={"projection": "polar"}).ravel()
    turn, off = np.radians(np.asarray(azimuths, dtype=float)), np.asarray(off_db, dtype=float)
    most = max(1.0, float(np.ceil(2.0 * off.max()) / 2.0))
    axes.set_theta_zero_location("E")
    closed = np.append(turn, turn[0] + 2.0 * np.pi)
    axes.fill_between(closed, 0.0, np.append(off, off[0]), color=SERIES[1], alpha=0.35, linewidth=0)
    axes.plot(closed, np.append(off, off[0]), color=SERIES[0], label="band farthest off its mean")
    stands = np.radians(np.asarray(posts, dtype=float))
    look: dict[str, Any] = {"linestyle": "none", "clip_on": False, "zorder": 5}
    axes.plot(
        stands, np.full(stands.shape, most), "o", color=INK, label="direction of a post", **look
    )
    sits = np.radians(np.asarray(best, dtype=float))
    axes.plot(sits, np.full(sits.shape, most), "^", color=SERIES[2], label="best to sit", **look)
    axes.set_ylim(0.0, most)
    step = next(s for s in (0.25, 0.5, 1.0, 2.0, 5.0, most) if most / s <= 5.0)
    rings = np.arange(step, most - 1e-9, step)
    paper = {"facecolor": "white", "alpha": 0.8, "linewidth": 0, "pad": 1.0}
    axes.set_yticks(rings, [f"{ring:g} dB" for ring in rings], bbox=paper)
    axes.set_rlabel_position(float(np.degrees(turn[off.argmin()])))  # the curve leaves room
    axes.set_xticks(np.radians(np.arange(0, 360, 30)))
    axes.set_xlabel("distance from the mean, dB, by azimuth from the first post, degrees")
    legend_below(figure, axes)
    return figure
