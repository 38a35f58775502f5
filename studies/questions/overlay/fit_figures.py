"""Figures of a fit: sizes with their intervals, and residuals by band and position."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from studies.answer.charts.style import (
    FAINT,
    INK,
    QUIET,
    SERIES,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.overlay.fitting import Fitted, SizeEstimate

REACH = 3.4
"""Ends of the axis of sizes, prior widths."""
_BAR = 0.36


def fitting_pictures(fitted: Fitted) -> Pictures:
    """Draw every figure of a fit."""
    return {"fit": _sizes(fitted), "fit-left": _left(fitted)}


def _sizes(fitted: Fitted) -> Picture:
    title = f"{fitted.design.title}: sizes fitted to the readings"
    return Picture(
        fitted_sizes_figure(title, fitted.estimates),
        "A short bar far from the line is a size that the readings know, and that is not as"
        " written; a bar as long as the grey one is a size of which they know nothing.",
    )


def _left(fitted: Fitted) -> Picture:
    figure = residuals_figure(
        f"{fitted.design.title}: what is left of the readings",
        fitted.measured.centres,
        fitted.residuals.rms_by_band_db,
        [at.name for at in fitted.measured.positions],
        fitted.residuals.rms_by_position_db,
        fitted.held_out_by_position_db,
    )
    return Picture(
        figure,
        "Where the fit leaves less than the design as written. An orange diamond beyond the blue"
        " one is a position that the fit to the rest foretells worse than what is written.",
    )


@in_common_style
def fitted_sizes_figure(title: str, sizes: Sequence[SizeEstimate]) -> Figure:
    """Draw every size found with its 95 % interval over that of its prior, in prior widths.

    Parameters
    ----------
    title : str
    sizes : sequence of SizeEstimate
        The first on top.
    """
    figure = new_figure(2.0 + 0.62 * len(sizes), title)
    axes = figure.subplots()
    places = np.arange(len(sizes))
    axes.barh(places, 4.0, left=-2.0, height=0.62, color=FAINT, label="as written, 95 %")
    for place, one in enumerate(sizes):
        axes.text(
            REACH,
            place,
            f"  {one.parameter.in_words(one.value)}",
            va="center",
            color=INK,
            fontsize=9,
            clip_on=False,
        )
    low, value, high = np.array(
        [list(map(one.parameter.widths_of, (one.low, one.value, one.high))) for one in sizes]
    ).T
    axes.errorbar(
        value, places, xerr=(value - low, high - value), fmt="o", color=SERIES[1], markersize=7,
        elinewidth=3.0, label="fitted, 95 % interval",
    )  # fmt: skip
    axes.axvline(0.0, color=SERIES[0], linewidth=1.8, label="as written")
    axes.set_yticks(places, [one.parameter.name for one in sizes])
    axes.set_ylim(len(sizes) - 0.4, -0.6)
    axes.set_xlim(-REACH, REACH)
    axes.set_xlabel("off what is written, in standard deviations of what is usual")
    axes.grid(axis="x")
    legend_below(figure, axes)
    return figure


@in_common_style
def residuals_figure(
    title: str,
    centres: ArrayLike,
    bands_db: np.ndarray,
    names: Sequence[str],
    positions_db: np.ndarray,
    held_out_db: np.ndarray,
) -> Figure:
    """Draw the rms of the residuals by band and by position, as written and as fitted.

    Parameters
    ----------
    title : str
    centres : (B,) array
        Hz.
    bands_db : (2, B) array
        As written and as fitted, dB; nan where nothing counts.
    names : sequence of str
        Of the positions, the first on top.
    positions_db : (2, P) array
    held_out_db : (2, P) array
        Of positions left out, predicted as written and by a fit to the others; nan if not left
        out.
    """
    figure = new_figure(4.6 + 0.34 * len(names), title)
    ratios = (3.0, 1.0 + 0.34 * len(names))
    top, bottom = figure.subplots(2, 1, height_ratios=ratios)
    edges = edges_of_bands(centres)
    for levels, colour, name in zip(bands_db, SERIES, ("as written", "fitted"), strict=False):
        top.stairs(levels, edges, baseline=None, color=colour, linewidth=1.8, label=name)
    top.set_ylim(bottom=0.0)
    top.set_ylabel("rms, dB")
    top.set_title("by third octave, over the positions")
    top.grid(axis="both")
    frequency_axis(top, edges[0], edges[-1])
    _by_position(bottom, names, positions_db, held_out_db)
    legend_below(figure, bottom, 2)
    return figure


def _by_position(
    axes: Axes, names: Sequence[str], levels: np.ndarray, held_out: np.ndarray
) -> None:
    places = np.arange(len(names))
    written, fitted = np.nan_to_num(levels)
    axes.barh(places - _BAR / 2, written, height=_BAR, color=SERIES[0], label="as written")
    axes.barh(places + _BAR / 2, fitted, height=_BAR, color=SERIES[1], label="fitted")
    whose = ("left out: foretold as written", "left out: foretold by the fit to the rest")
    for far, shift, colour, name in zip(held_out, (-1, 1), SERIES, whose, strict=False):
        axes.plot(
            far, places + shift * _BAR / 2, "D", color="white", markeredgecolor=colour,
            markeredgewidth=1.8, markersize=6, linestyle="none", label=name,
        )  # fmt: skip
    axes.set_yticks(places, names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    most = max(0.1, written.max(), fitted.max(), np.nan_to_num(held_out).max())
    axes.set_xlim(0.0, 1.1 * most)
    axes.tick_params(axis="y", length=0, colors=QUIET, labelcolor=INK)
    axes.set_xlabel("rms over the bands, dB")
    axes.set_title("by position")
    axes.grid(axis="x")
