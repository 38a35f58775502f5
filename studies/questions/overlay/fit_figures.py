"""What a fit found: sizes with their intervals, and what it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
from studies.questions.overlay.fitting import Estimate, Fitted

REACH = 3.4
_BAR = 0.36


def fitting_pictures(fitted: Fitted) -> Pictures:
    """Draw what a fit found."""
    return {"fit": _sizes(fitted), "fit-left": _left(fitted)}


def _sizes(fitted: Fitted) -> Picture:
    figure = fitted_sizes_figure(
        f"{fitted.design.title}: sizes fitted to the readings",
        [_sized(o) for o in fitted.estimates],
    )
    return Picture(
        figure,
        "A short bar far from the line is a size that the readings know, and that is not as"
        " written; a bar as long as the grey one is a size of which they know nothing.",
    )


def _sized(one: Estimate) -> Sized:
    size = one.parameter
    ends = (size.widths_of(value) for value in (one.value, one.low, one.high))
    return Sized(size.name, size.in_words(one.value), *ends)


def _left(fitted: Fitted) -> Picture:
    held = fitted.held_out
    nothing = np.full(fitted.known.shape, np.nan)
    figure = left_by_fit_figure(
        f"{fitted.design.title}: what is left of the readings",
        fitted.measured.centres,
        [_rms(left, 0) for left in fitted.left_db],
        [at.name for at in fitted.measured.positions],
        [_rms(left, 1) for left in fitted.left_db],
        [_rms(left, 1) for left in ((nothing,) * 2 if held is None else held.errors_db)],
    )
    return Picture(
        figure,
        "Where the fit leaves less than the design as written. An orange diamond beyond the blue"
        " one is a position that the fit to the rest foretells worse than what is written.",
    )


def _rms(left: np.ndarray, over: int) -> np.ndarray:
    counts = np.isfinite(left).sum(axis=over)
    square = np.nansum(left**2, axis=over)
    return np.sqrt(np.divide(square, counts, out=np.full(counts.shape, np.nan), where=counts > 0))


@dataclass(frozen=True)
class Sized:
    """One size in prior widths from what is written, with its words.

    Attributes
    ----------
    name, words : str
        What it is, and what was found.
    value, low, high : float
        Found, with its 95 % interval.
    """

    name: str
    words: str
    value: float
    low: float
    high: float


@in_common_style
def fitted_sizes_figure(title: str, sizes: Sequence[Sized]) -> Figure:
    """Draw every size found with its interval, over what was known before.

    Parameters
    ----------
    title : str
    sizes : sequence of Sized
        The first on top.
    """
    figure = new_figure(2.0 + 0.62 * len(sizes), title)
    axes = figure.subplots()
    places = np.arange(len(sizes))
    axes.barh(places, 4.0, left=-2.0, height=0.62, color=FAINT, label="as written, 95 %")
    for place, one in enumerate(sizes):
        axes.text(REACH, place, f"  {one.words}", va="center", color=INK, fontsize=9, clip_on=False)
    low, value, high = np.array([(one.low, one.value, one.high) for one in sizes]).T
    axes.errorbar(
        value, places, xerr=(value - low, high - value), fmt="o", color=SERIES[1], markersize=7,
        elinewidth=3.0, label="fitted, 95 % interval",
    )  # fmt: skip
    axes.axvline(0.0, color=SERIES[0], linewidth=1.8, label="as written")
    axes.set_yticks(places, [one.name for one in sizes])
    axes.set_ylim(len(sizes) - 0.4, -0.6)
    axes.set_xlim(-REACH, REACH)
    axes.set_xlabel("off what is written, in standard deviations of what is usual")
    axes.grid(axis="x")
    legend_below(figure, axes)
    return figure


@in_common_style
def left_by_fit_figure(
    title: str,
    centres: ArrayLike,
    bands_db: Sequence[ArrayLike],
    names: Sequence[str],
    positions_db: Sequence[ArrayLike],
    held_out_db: Sequence[ArrayLike],
) -> Figure:
    """Draw what is left of the readings, by band and by position.

    Parameters
    ----------
    title : str
    centres : (B,) array
        Hz.
    bands_db : two (B,) arrays
        As written and fitted, rms, dB; nan where nothing counts.
    names : sequence of str
        Of the positions, the first on top.
    positions_db : two (P,) arrays
    held_out_db : two (P,) arrays
        With the position left out, foretold as written and by the fit to the rest; nan if it was
        not left out.
    """
    figure = new_figure(4.6 + 0.34 * len(names), title)
    ratios = (3.0, 1.0 + 0.34 * len(names))
    top, bottom = figure.subplots(2, 1, height_ratios=ratios)
    edges = edges_of_bands(centres)
    for levels, colour, name in zip(bands_db, SERIES, ("as written", "fitted"), strict=False):
        shown = np.asarray(levels, dtype=float)
        top.stairs(shown, edges, baseline=None, color=colour, linewidth=1.8, label=name)
    top.set_ylim(bottom=0.0)
    top.set_ylabel("rms, dB")
    top.set_title("by third octave, over the positions")
    top.grid(axis="both")
    frequency_axis(top, edges[0], edges[-1])
    _by_position(bottom, names, positions_db, np.array(held_out_db, dtype=float))
    legend_below(figure, bottom, 2)
    return figure


def _by_position(
    axes: Axes, names: Sequence[str], levels: Sequence[ArrayLike], held_out: np.ndarray
) -> None:
    places = np.arange(len(names))
    written, fitted = (np.nan_to_num(np.asarray(some, dtype=float)) for some in levels)
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
