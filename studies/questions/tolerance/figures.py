"""What every millimetre costs, and what a batch of speakers does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from studies.answer.charts.curves import level_axis
from studies.answer.charts.style import (
    INK,
    LEVEL_LABEL,
    QUIET,
    SERIES,
    Look,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    level_limits,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.tolerance.askew import Askew
from studies.questions.tolerance.batch import Batch
from studies.questions.tolerance.study import Tolerance
from studies.questions.tolerance.words import BY_RAYS, askew_by, ends_in_words, plus_minus

ESTIMATE = "Off-centre and tilt: estimate by rays,\nnot by the wave solver; summed with nothing."
APART = "Off-centre and tilt: solved with an axis\nfor each part; summed with nothing."
_BAR = 0.36


def tolerance_pictures(found: Tolerance) -> Pictures:
    """Draw what every millimetre costs, and what a batch of speakers does."""
    return {"worries": _worries(found), "batch": _batch(found)}


def _worries(found: Tolerance) -> Picture:
    return Picture(
        worries_figure(found),
        "Which size to watch: the longest bars, on either side of its tolerance. What hangs"
        f" off-centre or tilted ({askew_by(found)}) stands apart.",
    )


def _batch(found: Tolerance) -> Picture:
    batch = found.batch
    title = f"{found.design.title}: {len(batch.known)} speakers, every size off, {found.ears}"
    return Picture(
        batch_figure(title, batch),
        "How much speakers built to these tolerances differ: nine in ten lie in the band.",
    )


@in_common_style
def worries_figure(found: Tolerance) -> Figure:
    """Draw how score and curve change at both ends of every tolerance, the most costly on top.

    Off-centre and tilt are drawn in a panel of their own, since they come from another method.
    """
    sizes = (*found.unknowns, *found.sizes)
    askew = found.askew
    height = 2.3 + 0.5 * len(sizes) + (1.2 + 0.4 * len(askew) if askew else 0.0)
    figure = new_figure(height, f"{found.design.title}: what each size costs")
    ratios = [len(sizes)] + ([len(askew)] if askew else [])
    panels = figure.subplots(len(ratios), 2, squeeze=False, sharey="row", height_ratios=ratios)
    names = [f"{size.dimension.name},\n{ends_in_words(size.dimension)}" for size in sizes]
    left, right = panels[0]
    _pairs(left, names, [(size.minus_db, size.plus_db) for size in sizes])
    left.set_title("score, less is better")
    left.set_xlabel("change of score, dB")
    _pairs(right, names, [size.curve_ends_db for size in sizes])
    right.set_title(f"{found.ears}:\nthe third octave that moves most")
    right.set_xlabel("change of level, dB")
    if askew:
        panels[1][0].axis("off")
        said = ESTIMATE if askew_by(found) == BY_RAYS else APART
        panels[1][0].text(0.0, 0.5, said, va="center", wrap=True, color=INK)
        _estimates(panels[1][1], askew)
    legend_below(figure, left)
    return figure


def _pairs(axes: Axes, names: Sequence[str], changes: Sequence[tuple[float, float]]) -> None:
    places = np.arange(len(names))
    low, high = np.asarray(changes, dtype=float).reshape(-1, 2).T
    look: Look = {"height": _BAR}
    axes.barh(places - _BAR / 2, low, color=SERIES[0], label="minus side of the tolerance", **look)
    axes.barh(places + _BAR / 2, high, color=SERIES[1], label="plus side of the tolerance", **look)
    both = np.append(places - _BAR / 2, places + _BAR / 2)
    for place, value in zip(both, np.append(low, high), strict=True):
        if np.isnan(value):
            axes.text(0.0, place, " cannot be built", va="center", color=QUIET, fontsize=8)
    axes.set_yticks(places, names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    largest = np.nanmax(np.abs(np.append(changes, 0.05)))
    axes.set_xlim(-1.15 * largest, 1.15 * largest)
    axes.axvline(0.0, color=QUIET, linewidth=0.8)
    axes.grid(axis="x")


def _estimates(axes: Axes, askew: Sequence[Askew]) -> None:
    values = [case.largest_db for case in askew]
    axes.barh(range(len(askew)), values, height=0.5, color=QUIET, hatch="//", edgecolor="white")
    for place, case in enumerate(askew):
        name = f"{case.name}, {plus_minus(case.tolerance, case.unit)}"
        axes.text(case.largest_db, place, f"  {name}: {case.largest_db:.2f} dB", va="center")
    axes.set_yticks([])
    axes.set_ylim(len(askew) - 0.4, -0.6)
    axes.set_xlim(0.0, 2.6 * max(*values, 0.05))
    axes.set_xlabel("either way, at a seat on the worst side, dB")
    axes.grid(axis="x")


@in_common_style
def batch_figure(title: str, batch: Batch) -> Figure:
    """Draw the band of levels at the seat that holds nine speakers in ten, and every score."""
    figure = new_figure(8.6, title)
    top, middle, bottom = figure.subplots(3, 1, height_ratios=(2.2, 1.2, 0.9))
    edges, written = edges_of_bands(batch.nominal.coverage.centres), batch.written_db
    low, _, high = batch.seat_band_db
    _shade(top, edges, (low, written, high))
    level_axis(top, level_limits(np.concatenate((low, written, high))), LEVEL_LABEL)
    low, _, high = batch.re_written_db
    _shade(middle, edges, (low, np.zeros_like(written), high))
    middle.set_title("the same, dB re as written, which hides the curve itself")
    middle.set_ylabel("dB re as written")
    middle.grid(axis="both")
    most = max(1.0, 1.1 * float(np.nanmax(np.abs((low, high)), initial=0.0)))
    middle.set_ylim(-most, most)
    for axes in (top, middle):
        frequency_axis(axes, edges[0], edges[-1], label=axes is middle)
    _scores(bottom, batch)
    figure.align_ylabels()
    legend_below(figure, top)
    return figure


def _shade(axes: Axes, edges: np.ndarray, levels: tuple[np.ndarray, ...]) -> None:
    low, written, high = levels
    look: Look = {"fill": True, "color": SERIES[1], "alpha": 0.45, "linewidth": 0}
    axes.stairs(high, edges, baseline=low, label="nine speakers in ten", **look)
    axes.stairs(written, edges, baseline=None, color=SERIES[0], linewidth=1.8, label="as written")


def _scores(axes: Axes, batch: Batch) -> None:
    """One mark for each speaker, with the line that it must not cross and how blurred that is."""
    scores, written, limit = batch.scores_db, batch.nominal.score, batch.limit_db
    doubt = batch.doubt_db
    passed = scores <= limit
    look: Look = {"marker": "|", "linestyle": "none", "markersize": 22, "markeredgewidth": 1.4}
    for which, colour in ((passed, SERIES[2]), (~passed, SERIES[1])):
        axes.plot(scores[which], np.zeros(which.sum()), color=colour, **look)
    axes.axvline(written, color=SERIES[0], linewidth=1.8)
    axes.axvline(limit, color=INK, linewidth=1.4, linestyle=(0, (6, 2)))
    axes.axvspan(limit - doubt, limit + doubt, color=QUIET, alpha=0.15, linewidth=0)
    axes.set_yticks([])
    axes.set_ylim(-1.0, 1.0)
    ends = np.append(scores, (written, limit - doubt, limit + doubt))
    margin = 0.08 * (ends.max() - ends.min()) + 0.01
    axes.set_xlim(ends.min() - margin, ends.max() + margin)
    axes.set_title(
        f"every speaker: as written {written:.2f} dB (line), passes up to {limit:.2f} dB (dashed;"
        " shaded: scores may be off)"
    )
    axes.set_xlabel("score, dB, less is better")
    axes.grid(axis="x")
