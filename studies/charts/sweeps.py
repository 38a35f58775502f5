"""One knob swept: score by candidate, window level by candidate and band, steps of shaving."""

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from studies.charts.style import (
    DASHES,
    FAINT,
    INK,
    LEVEL_LABEL,
    QUIET,
    SERIES,
    edges_of_bands,
    frequency_axis,
    in_house_style,
    legend_below,
    new_figure,
)
from studies.target import METER_DB

_NEAR_BEST = "#cfe8dc"
_MARKS = ("o", "s", "^", "D", "v", "P", "X")
_CROSSES = ("x", "+", "1", "2")
_REASON_LENGTH = 48
_LEAST_SPAN_DB, _MOST_SPAN_DB = 3.0, 12.0


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
    """

    name: str
    sizes_mm: ArrayLike
    scores_db: ArrayLike
    reasons: Sequence[str]


@in_house_style
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
        With unit, such as "keep, mm".
    best : (float, float)
        Size, mm, and score, dB, of the best candidate of all.
    near_best_db : float
        How far above the best a score counts as equally good.
    near_best_mm : sequence of (float, float)
        Ranges of sizes that are that good, mm.
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
    for number, (low, high) in enumerate(near_best_mm):
        label = "" if number else f"within {near_best_db:g} dB of the best"
        axes.axvspan(low, high, color=_NEAR_BEST, zorder=0.5, label=label)
    _draw_ladders(axes, ladders, best)
    if present_mm is not None:
        label = f"present choice: {present_mm:.1f} mm"
        axes.axvline(present_mm, color=INK, linestyle=DASHES[2], linewidth=1.4, label=label)
    _draw_failures(axes, ladders)
    axes.set_xlabel(size_label)
    if ball_mm is not None:
        top = axes.secondary_xaxis("top", functions=(lambda x: ball_mm - x, lambda x: ball_mm - x))
        top.set_xlabel(f"cut off, mm, of the ball of {ball_mm:.1f} mm")
    axes.grid(axis="both")
    legend_below(figure, axes)
    return figure


@in_house_style
def sweep_map_figure(
    title: str,
    sizes_mm: ArrayLike,
    size_label: str,
    centres: ArrayLike,
    level_db: ArrayLike,
    present_mm: float | None = None,
    overlays: Mapping[str, ArrayLike] | None = None,
) -> Figure:
    """Draw the window's level as colour: third-octave band across, swept size upwards.

    Parameters
    ----------
    title : str
    sizes_mm : (C,) array
        Ascending.
    size_label : str
        With unit, such as "plate gap, mm".
    centres : (B,) array
        Exact band centres, Hz.
    level_db : (C, B) array
        dB re the driver's own on-axis curve; nan rows for candidates that failed stay grey.
    present_mm : float, optional
        What the design has now.
    overlays : mapping from str to (C,) array, optional
        Named lines: the frequency, Hz, at each size. Outside the bands nothing is drawn.

    Returns
    -------
    Figure
    """
    figure = new_figure(6.0, title)
    axes = figure.add_subplot()
    sizes, levels = np.asarray(sizes_mm, dtype=float), np.asarray(level_db, dtype=float)
    edges, rows = edges_of_bands(centres), _cell_edges(sizes)
    high = 3.0 * np.ceil(np.nanmax(levels) / 3.0) if np.isfinite(levels).any() else 0.0
    colours = colormaps["viridis"].with_extremes(bad=FAINT)
    norm = BoundaryNorm(np.arange(high - 30.0, high + 0.1, 2.0), colours.N, extend="min")
    mesh = axes.pcolormesh(
        edges, rows, np.ma.masked_invalid(levels), cmap=colours, norm=norm, rasterized=True
    )
    if np.isnan(levels).any():
        axes.scatter([], [], marker="s", s=90, color=FAINT, label="failed: no level")
    for number, (name, frequencies) in enumerate((overlays or {}).items()):
        look = {"linestyle": DASHES[number % len(DASHES)], "label": name}
        axes.plot(frequencies, sizes, color="white", linewidth=3.4)
        axes.plot(frequencies, sizes, color=INK, linewidth=1.6, **look)
    if present_mm is not None:
        label = f"present choice: {present_mm:.1f} mm"
        axes.axhline(present_mm, color="white", linewidth=3.0)
        axes.axhline(present_mm, color=SERIES[1], linewidth=1.8, label=label)
    frequency_axis(axes, edges[0], edges[-1])
    axes.set_ylim(rows[0], rows[-1])
    axes.set_ylabel(size_label)
    bar = figure.colorbar(mesh, ax=axes, extend="min", aspect=32, pad=0.02)
    bar.set_label(f"window {LEVEL_LABEL}")
    bar.set_ticks(np.arange(high - 30.0, high + 0.1, 6.0))
    bar.outline.set_visible(False)
    legend_below(figure, axes)
    return figure


@in_house_style
def shave_figure(
    title: str,
    ball_mm: float,
    keeps_mm: ArrayLike,
    centres: ArrayLike,
    change_db: ArrayLike,
) -> Figure:
    """Draw what each step of shaving changes in each third-octave band of the window.

    Parameters
    ----------
    title : str
    ball_mm : float
        Diameter of the ball, mm.
    keeps_mm : (S + 1,) array
        From tall to short, in the order of the work.
    centres : (B,) array
        Exact band centres, Hz.
    change_db : (S, B) array
        Level after the step less level before it, dB.

    Returns
    -------
    Figure
        Changes that a level meter does not show (below `METER_DB`) stay white; the others are
        written in their cells.
    """
    keeps, change = np.asarray(keeps_mm, dtype=float), np.asarray(change_db, dtype=float)
    steps = change.shape[0]
    subtitle = f"white: changes by less than {METER_DB:g} dB, which a level meter does not show"
    figure = new_figure(2.2 + 0.3 * max(steps, 5), title, subtitle)
    axes = figure.add_subplot()
    edges = edges_of_bands(centres)
    bounds = np.array([-6.0, -3.0, -2.0, -1.0, -METER_DB, METER_DB, 1.0, 2.0, 3.0, 6.0])
    colours = _meter_colours(bounds.size + 1)
    norm = BoundaryNorm(bounds, colours.N, extend="both")
    mesh = axes.pcolormesh(
        edges,
        np.arange(steps + 1),
        change,
        cmap=colours,
        norm=norm,
        edgecolor="white",
        linewidth=0.6,
    )
    _write_changes(axes, np.asarray(centres, dtype=float), change)
    axes.set_yticks(np.arange(steps) + 0.5, _step_names(keeps, ball_mm))
    axes.set_ylim(steps, 0)
    axes.set_ylabel("shaving step: keep (cut off), mm")
    axes.tick_params(axis="y", length=0)
    frequency_axis(axes, edges[0], edges[-1])
    bar = figure.colorbar(mesh, ax=axes, extend="both", aspect=24, pad=0.02, ticks=bounds)
    bar.ax.set_yticklabels([f"{bound:+g}" for bound in bounds])
    bar.set_label("change of level, dB")
    bar.outline.set_visible(False)
    return figure


def _score_axis(axes: Axes, ladders: Sequence[Ladder], best_db: float) -> None:
    """Scores upwards, with room below the best for the failures; hopeless scores are cut off."""
    scores = np.concatenate([np.asarray(ladder.scores_db, dtype=float) for ladder in ladders])
    worst = float(np.nanmax(scores)) if np.isfinite(scores).any() else best_db
    span = min(max(1.1 * (worst - best_db), _LEAST_SPAN_DB), _MOST_SPAN_DB)
    axes.set_ylim(best_db - 0.22 * span, best_db + span)
    axes.set_ylabel("score, dB (lower is better)")


def _draw_ladders(axes: Axes, ladders: Sequence[Ladder], best: tuple[float, float]) -> None:
    for number, ladder in enumerate(ladders):
        look = {"color": SERIES[number % len(SERIES)], "linestyle": DASHES[number % len(DASHES)]}
        look |= {"marker": _MARKS[number % len(_MARKS)], "markersize": 4, "linewidth": 1.5}
        axes.plot(ladder.sizes_mm, ladder.scores_db, label=ladder.name or "score", **look)
    label = f"best: {best[0]:.1f} mm, score {best[1]:.2f} dB"
    ring = {"marker": "o", "markersize": 12, "markerfacecolor": "none", "markeredgewidth": 1.6}
    axes.plot(*best, linestyle="none", markeredgecolor=INK, label=label, **ring)


def _draw_failures(axes: Axes, ladders: Sequence[Ladder]) -> None:
    failed: dict[str, list[float]] = {}
    for ladder in ladders:
        for size, reason in zip(ladder.sizes_mm, ladder.reasons, strict=True):
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
            label=f"failed: {words}",
        )


def _write_changes(axes: Axes, centres: np.ndarray, change: np.ndarray) -> None:
    for (step, band), value in np.ndenumerate(change):
        if abs(value) >= METER_DB:
            colour = "white" if abs(value) >= 3.0 else INK
            digits = 0 if abs(value) >= 9.95 else 1
            axes.text(
                centres[band],
                step + 0.5,
                f"{value:+.{digits}f}",
                color=colour,
                fontsize=7.5,
                ha="center",
                va="center",
            )


def _step_names(keeps: np.ndarray, ball: float) -> list[str]:
    names = [f"{keep:.1f} ({ball - keep:.1f})" for keep in keeps]
    return [f"{a} to {b}" for a, b in zip(names, names[1:], strict=False)]


def _meter_colours(count: int) -> ListedColormap:
    """Purple for quieter, orange for louder, white in the middle; count is odd."""
    shades = colormaps["PuOr_r"](np.linspace(0.06, 0.94, count))
    shades[count // 2] = 1.0
    return ListedColormap(shades)


def _cell_edges(sizes: np.ndarray) -> np.ndarray:
    """Edges half-way between neighbours; a single size gets a millimetre."""
    if sizes.size < 2:
        return np.array([sizes[0] - 0.5, sizes[0] + 0.5])
    middles = (sizes[1:] + sizes[:-1]) / 2
    return np.concatenate(([2 * sizes[0] - middles[0]], middles, [2 * sizes[-1] - middles[-1]]))
