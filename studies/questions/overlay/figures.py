"""Figures of an overlay: every position, residuals by band, sizes off."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import shorten

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from shapes.lengths import INCH, own_unit
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
    level_limits,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.design.moves import Unit
from studies.questions.overlay.fit_figures import fitting_pictures
from studies.questions.overlay.study import Overlay
from studies.questions.overlay.words import removed_in_words

MOST_PANELS = 12
STEPS = np.array([-8.0, -6.0, -4.0, -2.0, -1.0, 1.0, 2.0, 4.0, 6.0, 8.0])
"""dB; what is within 1 dB stays pale."""
NOT_COMPARED = "#eceff1"
COLUMNS = 3
NINE_OF_TEN = "nine of ten drivers and builds"
MOST_NUMBERED = 16
"""Positions up to which every cell of the map carries its number."""


def overlay_pictures(found: Overlay) -> Pictures:
    """Draw every figure of an overlay, those of its fit first."""
    pictures = {"positions": _laid_over(found), "differences": _differences(found)}
    if found.tried:
        pictures["sizes"] = _sizes(found)
    return pictures if found.fitted is None else fitting_pictures(found.fitted) | pictures


def _laid_over(found: Overlay) -> Picture:
    removed, shown = removed_in_words(found), list(range(len(found.positions)))
    caption = f"Measured, {removed}, over predicted: how well the shapes agree at each position."
    if len(shown) > MOST_PANELS:
        rms = np.nan_to_num(found.comparison.rms_by_position_db)
        shown = sorted(np.argsort(-rms, kind="stable")[:MOST_PANELS].tolist())
        caption += f" The {MOST_PANELS} positions that differ most; the map has them all."
    title = f"{found.design.title}: measured over predicted, {removed}"
    return Picture(laid_over_figure(title, found, shown), caption)


def _differences(found: Overlay) -> Picture:
    held = found.comparison
    figure = differences_figure(
        f"{found.design.title}: measured less predicted, {removed_in_words(found)}",
        found.measured.centres,
        [at.name for at in found.positions],
        held.difference_db,
        held.driver_db if held.driver_removed else None,
    )
    return Picture(
        figure,
        "Where measurement and model part: a row that is coloured throughout is a position, a"
        " column a band, to look into.",
    )


def _sizes(found: Overlay) -> Picture:
    return Picture(
        sizes_off_figure(f"{found.design.title}: what one size off would leave", found),
        "A line that dips far below the point as written names a size to measure again; solved at"
        " four frequencies in each third octave.",
    )


@in_common_style
def laid_over_figure(title: str, found: Overlay, shown: Sequence[int]) -> Figure:
    """Draw measured over predicted, a panel for each position, on one scale.

    Parameters
    ----------
    title : str
    found : Overlay
    shown : sequence of int
        Positions that are drawn, by number.
    """
    columns = min(COLUMNS, len(shown))
    rows = -(-len(shown) // columns)
    figure = new_figure(
        1.5 + 2.6 * rows, title, "third octaves, dB re the driver's own on-axis curve at each"
        " position's distance; grey: not compared"
    )  # fmt: skip
    panels = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    edges = edges_of_bands(found.measured.centres)
    measured = found.at_distance(found.aligned_db)
    predicted = found.at_distance(found.predicted.level_db)
    ranges = found.at_distance(found.range_db)
    limits = level_limits(np.concatenate((measured[shown], predicted[shown])).ravel(), 20.0)
    for axes in panels.flat[len(shown) :]:
        axes.set_axis_off()
    for number, (axes, at) in enumerate(zip(panels.flat, shown, strict=False)):
        compared = found.comparison.compared[at]
        _position(axes, edges, measured[at], predicted[at], ranges[:, at], compared)
        rms = found.comparison.rms_by_position_db[at]
        agreement = "not compared" if np.isnan(rms) else f"{rms:.1f} dB rms"
        name = shorten(found.positions[at].name, 28, placeholder="...")
        axes.set_title(f"{name}: {agreement}")
        lowest = number + columns >= len(shown)
        frequency_axis(axes, edges[0], edges[-1], label=lowest)
        axes.tick_params(labelbottom=lowest)
        axes.set_ylim(*limits)
        axes.grid(axis="both")
    for axes in panels[:, 0]:
        axes.set_ylabel("level, dB")
    legend_below(figure, panels[0, 0])
    return figure


def _position(
    axes: Axes,
    edges: np.ndarray,
    measured: np.ndarray,
    predicted: np.ndarray,
    ends: np.ndarray,
    compared: np.ndarray,
) -> None:
    for band in np.flatnonzero(~compared):
        axes.axvspan(edges[band], edges[band + 1], color=NOT_COMPARED, linewidth=0)
    look: Look = {"baseline": None, "linewidth": 1.8}
    left_out, counted = np.where(compared, np.nan, measured), np.where(compared, measured, np.nan)
    low, high = ends
    if not np.array_equal(low, high):
        shade: Look = {"fill": True, "color": SERIES[0], "alpha": 0.18, "linewidth": 0}
        axes.stairs(high, edges, baseline=low, label=NINE_OF_TEN, **shade)
    axes.stairs(predicted, edges, color=SERIES[0], label="predicted", **look)
    axes.stairs(left_out, edges, color=QUIET, label="measured, not compared", **look)
    axes.stairs(counted, edges, color=SERIES[1], label="measured", **look)


@in_common_style
def differences_figure(
    title: str,
    centres: ArrayLike,
    names: Sequence[str],
    difference_db: ArrayLike,
    driver_db: ArrayLike | None,
) -> Figure:
    """Draw the residuals by band and position, and the curve that was removed from all.

    Parameters
    ----------
    title : str
    centres : (B,) array
        Hz.
    names : sequence of str
        Of the positions, the first on top.
    difference_db : (P, B) array
        Measured less predicted; nan where not compared.
    driver_db : (B,) array or None
        Removed from all positions alike; None if it was not.
    """
    map_height = 0.9 + 0.32 * min(len(names), 40)
    removed = driver_db is not None
    figure = new_figure(map_height + 1.7 + 1.9 * removed, title)
    panels = figure.subplots(1 + removed, 1, squeeze=False, sharex=True,
                             height_ratios=[map_height, 1.6][: 1 + removed])[:, 0]  # fmt: skip
    edges = edges_of_bands(centres)
    _map(figure, panels[0], np.asarray(centres), names, np.asarray(difference_db, dtype=float))
    frequency_axis(panels[0], edges[0], edges[-1], label=not removed)
    if removed:
        panels[0].tick_params(labelbottom=False)
        driver = np.asarray(driver_db, dtype=float)
        panels[1].stairs(driver, edges, baseline=None, color=SERIES[2], linewidth=1.8)
        panels[1].axhline(0.0, color=QUIET, linewidth=0.8)
        most = max(3.0, 1.15 * float(np.nanmax(np.abs(driver), initial=0.0)))
        panels[1].set_ylim(-most, most)
        panels[1].set_ylabel("dB")
        panels[1].set_title("removed from all positions alike: the driver's own curve")
        panels[1].grid(axis="both")
        frequency_axis(panels[1], edges[0], edges[-1])
    return figure


def _map(
    figure: Figure, axes: Axes, centres: np.ndarray, names: Sequence[str], difference: np.ndarray
) -> None:
    colours = colormaps["PuOr_r"].with_extremes(bad=NOT_COMPARED)
    norm = BoundaryNorm(STEPS, colours.N, extend="both")
    rows = np.arange(len(names) + 1) - 0.5
    axes.pcolormesh(edges_of_bands(centres), rows, np.ma.masked_invalid(difference), cmap=colours,
                    norm=norm, edgecolor="white", linewidth=0.6)  # fmt: skip
    if len(names) <= MOST_NUMBERED:
        for (row, band), value in np.ndenumerate(difference):
            if np.isfinite(value):
                ink = "white" if abs(value) > STEPS[-3] else INK
                axes.text(float(centres[band]), row, f"{round(value, 1) + 0.0:.1f}", ha="center",
                          va="center", fontsize=8, color=ink)  # fmt: skip
    axes.set_ylim(len(names) - 0.5, -0.5)
    step = -(-len(names) // 40)
    short = [shorten(name, 36, placeholder="...") for name in names[::step]]
    axes.set_yticks(range(0, len(names), step), short)
    axes.tick_params(axis="y", length=0)
    bar = figure.colorbar(ScalarMappable(norm, colours), ax=axes, extend="both", ticks=STEPS,
                          aspect=18, pad=0.01)  # fmt: skip
    bar.set_label("dB; grey: not compared")
    bar.outline.set_visible(False)


def _per_mark(unit: Unit) -> float:
    """SI value of one on the axis: an inch for lengths of an inch design."""
    return INCH if unit.symbol == "mm" and own_unit() == "in" else unit.per_symbol


@in_common_style
def sizes_off_figure(title: str, found: Overlay) -> Figure:
    """Draw what is left, weighed, over how far each size is moved, as tried one at a time.

    Parameters
    ----------
    title : str
    found : Overlay
    """
    figure = new_figure(4.8, title)
    axes = figure.subplots()
    sizes = {one.dimension.name: one.dimension.unit for one in found.tried}
    angles = any(unit.symbol != "mm" for unit in sizes.values())
    for number, (name, unit) in enumerate(sizes.items()):
        tried = [one for one in found.tried if one.dimension.name == name]
        mark = _per_mark(unit) if angles else unit.per_symbol
        left = {one.change / mark: one.weighed_db for one in tried}
        left[0.0] = found.tried_as_written.weighed_db
        x = sorted(left)
        label = name if unit.symbol == "mm" else f"{name} ({unit.symbol})"
        axes.plot(x, [left[change] for change in x], marker="o", markersize=5, linewidth=1.6,
                  label=label, color=SERIES[number % len(SERIES)],
                  linestyle=DASHES[number % len(DASHES)])  # fmt: skip
    axes.plot(0.0, found.tried_as_written.weighed_db, marker="o", markersize=9, color=INK,
              linestyle="none", label="as written")  # fmt: skip
    axes.axhspan(0.0, found.comparison.expected_weighed_db, color=FAINT, alpha=0.45, linewidth=0,
                 label="expected of model and meter")  # fmt: skip
    axes.set_ylim(bottom=0.0)
    if angles:
        axes.set_xlabel(f"size off by, {own_unit()}, angles in degrees")
    else:
        length_axis(axes.xaxis, "size off by")
    axes.set_ylabel("what is left, weighed, rms, dB")
    axes.grid(axis="both")
    legend_below(figure, axes, 4)
    return figure
