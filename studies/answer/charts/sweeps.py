"""One knob swept: score by candidate, window level by candidate and band."""

import functools
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from shapes.lengths import in_own
from studies.answer.charts.style import (
    DASHES,
    FAINT,
    INK,
    QUIET,
    SERIES,
    Look,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    length_axis,
    new_figure,
)

_NEAR_BEST, _ISLAND = "#cfe8dc", "#f7e3b5"
_LONE_POINTS = 8.0
_MARKS = ("o", "s", "^", "D", "v", "P", "X")
_CROSSES = ("x", "+", "1", "2")
_REASON_LENGTH, _REASON_WIDTH = 48, 34
_LEAST_SPAN_DB, _MOST_SPAN_DB = 2.0, 12.0
_LEVEL_WORDS = "dB re the driver's own on-axis curve"
_HOLLOW: Look = {"linestyle": "none", "markerfacecolor": "white"}
_CHANGES = np.array([-9.0, -6.0, -4.0, -2.0, -1.0, 1.0, 2.0, 4.0, 6.0, 9.0])
"""Steps of a change, dB: what is below 1 dB either way stays pale."""


@dataclass(frozen=True, eq=False)
class Ladder:
    """Scores of candidates that differ in one size.

    Attributes
    ----------
    name : str
        Such as "ball 180.0 mm"; empty if there is only one ladder.
    sizes_mm : (C,) array
    scores_db : (C,) array
        Lower is better; nan for a candidate that failed.
    reasons : sequence of str
        (C,) why a candidate failed, in few words; empty for one that did not.
    settled : sequence of bool
        (C,) whether a score has settled; the others are coarse.
    """

    name: str
    sizes_mm: ArrayLike
    scores_db: ArrayLike
    reasons: Sequence[str]
    settled: Sequence[bool]


@in_common_style
def ladder_figure(
    title: str,
    ladders: Sequence[Ladder],
    size_label: str,
    best: tuple[float, float],
    near_best_db: float,
    near_best_mm: Sequence[tuple[float, float]] = (),
    present_mm: float | None = None,
    ball_mm: float | None = None,
) -> Figure:
    """Draw scores against a size: best, near-best range, present choice, failures.

    Parameters
    ----------
    title : str
    ladders : sequence of Ladder
        One for each ball, say.
    size_label : str
        Such as "keep"; the unit of the design follows.
    best : (float, float)
        Size, mm, and score, dB, of the candidate that is chosen of all.
    near_best_db : float
        How far above the best a score counts as equally good.
    near_best_mm : sequence of (float, float)
        Ranges of sizes that are that good, mm: that round the best, then those apart from it.
    present_mm : float, optional
        What the design has now.
    ball_mm : float, optional
        If the sizes are the keep of this one ball: its cut off is shown along the top.

    Returns
    -------
    Figure
    """
    figure = new_figure(5.8, title)
    axes = figure.add_subplot()
    _score_axis(axes, ladders, best[1])
    _shade_near_best(axes, near_best_mm, near_best_db)
    _draw_ladders(axes, ladders, best)
    if present_mm is not None:
        label = f"present choice: {in_own(present_mm * 1e-3)}"
        axes.axvline(present_mm, color=INK, linestyle=DASHES[2], linewidth=1.4, label=label)
    _draw_failures(axes, ladders)
    length_axis(axes.xaxis, size_label)
    if ball_mm is not None:
        across = functools.partial(np.subtract, ball_mm)
        top = axes.secondary_xaxis("top", functions=(across, across))
        length_axis(top.xaxis, f"cut off of the ball of {in_own(ball_mm * 1e-3)}")
    axes.grid(axis="both")
    legend_below(figure, axes)
    return figure


@in_common_style
def sweep_map_figure(
    title: str,
    sizes_mm: ArrayLike,
    size_label: str,
    centres: ArrayLike,
    level_db: ArrayLike,
    present_mm: float | None = None,
    overlays: Mapping[str, ArrayLike] | None = None,
    best_mm: float | None = None,
) -> Figure:
    """Draw the window's level as colour, absolute beside normalised: swept size upwards.

    Parameters
    ----------
    title : str
    sizes_mm : (C,) array
        Ascending.
    size_label : str
        Such as "plate gap"; the unit of the design follows.
    centres : (B,) array
        Exact band centres, Hz.
    level_db : (C, B) array
        dB re the driver's own on-axis curve; nan rows for candidates that failed stay grey.
    present_mm : float, optional
        What the design has now.
    overlays : mapping from str to (C,) array, optional
        Named lines: the frequency, Hz, at each size. Outside the bands nothing is drawn.
    best_mm : float, optional
        The best size.

    Returns
    -------
    Figure
        Left: absolute. Right: what changes against the present choice, else against the best, else
        against the mean of all sizes; the candidate nearest to it is taken.
    """
    figure = new_figure(6.2, title)
    left, right = figure.subplots(1, 2, sharey=True)
    sizes, levels = np.asarray(sizes_mm, dtype=float), np.asarray(level_db, dtype=float)
    high = 3.0 * np.ceil(np.nanmax(levels) / 3.0) if np.isfinite(levels).any() else 0.0
    steps = np.arange(high - 30.0, high + 0.1, 2.0)
    _sweep_map(figure, left, (sizes, centres, levels), steps, "viridis", steps[::3])
    left.set_title(f"absolute: {_LEVEL_WORDS}")
    length_axis(left.yaxis, size_label)
    compared, name = _compared(sizes, levels, present_mm, best_mm)
    _sweep_map(figure, right, (sizes, centres, compared), _CHANGES, "PuOr_r", _CHANGES)
    right.set_title(f"normalised: dB re {name}")
    for axes in (left, right):
        _mark_sweep(axes, sizes, present_mm, overlays or {}, best_mm)
    if np.isnan(levels).any():
        left.scatter([], [], marker="s", s=90, color=FAINT, label="failed: no level")
    if present_mm is not None:
        place, coordinates = (1.02, present_mm), right.get_yaxis_transform()
        right.text(*place, "now", color=SERIES[1], transform=coordinates, va="center")
    legend_below(figure, left)
    return figure


def _compared(
    sizes: np.ndarray, levels: np.ndarray, present: float | None, best: float | None
) -> tuple[np.ndarray, str]:
    """Levels less those of the present choice, or else of the best, and what that is called."""
    solved = np.isfinite(levels).all(axis=1)
    for size, name in ((present, "the present choice"), (best, "the best")):
        if size is not None and solved.any():
            apart = np.where(solved, np.abs(sizes - size), np.inf)
            nearest = int(np.argmin(apart))
            exact = in_own(size * 1e-3) == in_own(sizes[nearest] * 1e-3)
            beside = "" if exact else "the size nearest to "
            return levels - levels[nearest], f"{beside}{name}, {in_own(sizes[nearest] * 1e-3)}"
    return levels - np.mean(levels[solved], axis=0), "the mean of all sizes"


def _sweep_map(
    figure: Figure,
    axes: Axes,
    cells: tuple[np.ndarray, ArrayLike, np.ndarray],
    steps: np.ndarray,
    colour_map: str,
    ticks: np.ndarray,
) -> None:
    sizes, centres, levels = cells
    edges, rows = edges_of_bands(centres), cell_edges(sizes)
    colours = colormaps[colour_map].with_extremes(bad=FAINT)
    norm = BoundaryNorm(steps, colours.N, extend="both")
    values = np.ma.masked_invalid(levels)
    mesh = axes.pcolormesh(edges, rows, values, cmap=colours, norm=norm, rasterized=True)
    frequency_axis(axes, edges[0], edges[-1])
    axes.set_ylim(rows[0], rows[-1])
    bar = figure.colorbar(
        mesh, ax=axes, location="bottom", extend="both", aspect=35, shrink=0.95, ticks=ticks
    )
    bar.set_label("dB")
    bar.outline.set_visible(False)


def _mark_sweep(
    axes: Axes,
    sizes: np.ndarray,
    present: float | None,
    overlays: Mapping[str, ArrayLike],
    best: float | None,
) -> None:
    """Draw named frequencies, the present choice and the best over a map."""
    for number, (name, frequencies) in enumerate(overlays.items()):
        look: Look = {"linestyle": DASHES[number % len(DASHES)], "label": name}
        axes.plot(frequencies, sizes, color="white", linewidth=3.4)
        axes.plot(frequencies, sizes, color=INK, linewidth=1.6, **look)
    marks = ((best, "best", INK, DASHES[1]), (present, "present choice", SERIES[1], "-"))
    for size, name, colour, dash in marks:
        if size is not None:
            look = {"color": colour, "linestyle": dash, "label": f"{name}: {in_own(size * 1e-3)}"}
            axes.axhline(size, color="white", linewidth=3.0)
            axes.axhline(size, linewidth=1.8, **look)


def _score_axis(axes: Axes, ladders: Sequence[Ladder], best_db: float) -> None:
    """Scores upwards, with room below the lowest for the failures; hopeless ones are cut off."""
    scores = np.concatenate([[best_db], *(ladder.scores_db for ladder in ladders)])
    lowest, worst = float(np.nanmin(scores)), float(np.nanmax(scores[np.isfinite(scores)]))
    span = min(max(1.1 * (worst - lowest), _LEAST_SPAN_DB), _MOST_SPAN_DB)
    axes.set_ylim(lowest - 0.22 * span, lowest + span)
    axes.set_ylabel("score, dB (lower is better)")


def _shade_near_best(
    axes: Axes, ranges_mm: Sequence[tuple[float, float]], within_db: float
) -> None:
    """Shade and name what is near-best, ranges apart from that round the best otherwise."""
    for number, (low, high) in enumerate(ranges_mm):
        ends = " to ".join(in_own(end * 1e-3) for end in dict.fromkeys((low, high)))
        what = "as good, apart from it" if number else f"within {within_db:g} dB of the lowest"
        colour = _ISLAND if number else _NEAR_BEST
        # A lone size has no width of its own: its edge shows it.
        edge = _LONE_POINTS if low == high else 0.0
        axes.axvspan(low, high, color=colour, linewidth=edge, zorder=0.5, label=f"{what}: {ends}")


def _draw_ladders(axes: Axes, ladders: Sequence[Ladder], best: tuple[float, float]) -> None:
    for number, ladder in enumerate(ladders):
        look: Look = {
            "color": SERIES[number % len(SERIES)],
            "linestyle": DASHES[number % len(DASHES)],
        }
        look |= {"marker": _MARKS[number % len(_MARKS)], "markersize": 4, "linewidth": 1.5}
        fine = np.asarray(ladder.settled, dtype=bool)
        coarse = np.where(fine, np.nan, np.asarray(ladder.scores_db, dtype=float))
        label, marked = ladder.name or "score", np.flatnonzero(fine).tolist()
        axes.plot(ladder.sizes_mm, ladder.scores_db, label=label, markevery=marked, **look)
        axes.plot(ladder.sizes_mm, coarse, **look | _HOLLOW)
    if any(_is_coarse(ladder) for ladder in ladders):
        axes.plot([], [], marker="o", color=QUIET, label="hollow: coarse, not settled", **_HOLLOW)
    label = f"chosen: {in_own(best[0] * 1e-3)}, score {best[1]:.2f} dB"
    ring: Look = {
        "marker": "o",
        "markersize": 12,
        "markerfacecolor": "none",
        "markeredgewidth": 1.6,
    }
    axes.plot(*best, linestyle="none", markeredgecolor=INK, label=label, **ring)


def _is_coarse(ladder: Ladder) -> bool:
    """Return whether some score has not settled."""
    scores = np.asarray(ladder.scores_db, dtype=float)
    return bool(np.any(np.isfinite(scores) & ~np.asarray(ladder.settled, dtype=bool)))


def _draw_failures(axes: Axes, ladders: Sequence[Ladder]) -> None:
    failed: dict[str, list[float]] = {}
    for ladder in ladders:
        for size, reason in zip(np.ravel(ladder.sizes_mm), ladder.reasons, strict=True):
            if reason:
                new = reason not in failed and len(failed) >= len(_CROSSES) - 1
                failed.setdefault("other reasons" if new else reason, []).append(float(size))
    for number, (reason, sizes) in enumerate(failed.items()):
        words = textwrap.shorten(reason, _REASON_LENGTH, placeholder="...")
        axes.plot(
            sizes,
            [0.03 + 0.035 * number] * len(sizes),
            linestyle="none",
            marker=_CROSSES[number],
            color=QUIET,
            markersize=8,
            markeredgewidth=1.6,
            transform=axes.get_xaxis_transform(),
            label=textwrap.fill(f"failed: {words}", _REASON_WIDTH),
        )


def cell_edges(sizes: np.ndarray) -> np.ndarray:
    """Return the (C + 1,) edges of cells that touch half-way between their (C,) middles.

    The outer cells are as wide outwards as inwards; a single cell is 1 wide.
    """
    if sizes.size < 2:
        return np.array([sizes[0] - 0.5, sizes[0] + 0.5])
    middles = (sizes[1:] + sizes[:-1]) / 2
    return np.concatenate(([2 * sizes[0] - middles[0]], middles, [2 * sizes[-1] - middles[-1]]))
