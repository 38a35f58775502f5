"""Figures of the measuring plan: places, readings that separate candidates, levels, cuts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from shapes.lengths import in_own
from studies.answer.charts.shaving import shave_figure
from studies.answer.charts.style import (
    FAINT,
    INK,
    SERIES,
    WINDOW,
    Look,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.meter.places_figures import places_figure
from studies.questions.meter.shaving import Shaving
from studies.questions.meter.study import Meter

GREY = "#e7e9ea"
MOST_SIGMAS = 4.0
"""Range of the colours, standard deviations."""
WRITTEN_FROM = 0.5
"""Differences are written from this share of their standard deviation on."""


def meter_pictures(meter: Meter) -> Pictures:
    """Draw every figure of the measuring plan."""
    pictures = {"places": _places(meter)}
    if not meter.nothing_hangs:
        pictures["telling"] = _separation(meter)
    if meter.separating_places:
        pictures["readings"] = _readings(meter)
    shaving = meter.shaving
    if shaving is not None and shaving.shows_on_a_meter:
        pictures["shaving"] = _shaving(meter, shaving)
    return pictures


def _places(meter: Meter) -> Picture:
    title = f"{meter.design.title}: where the meter stands"
    return Picture(
        places_figure(title, meter.assembly, meter.stands),
        "The places by their numbers, the reference in red: from the side, and round the column.",
    )


def _separation(meter: Meter) -> Picture:
    first, *_, last = meter.question.contenders
    figure = separation_figure(
        f"{meter.design.title}: what tells {meter.question.kind} {in_own(last.size)} from"
        f" {in_own(first.size)}",
        [f"{n}  {stand.position.name}" for n, stand in enumerate(meter.stands, start=1)],
        meter.centres,
        meter.range_db,
        meter.range_over_uncertainty,
        [meter.place_and_band(reading) for reading in meter.selected],
    )
    return Picture(
        figure, "Where the outermost candidates differ by more than a reading may be off: dark."
    )


def _readings(meter: Meter) -> Picture:
    drawn = list(meter.separating_places)
    candidates = (
        {}
        if meter.nothing_hangs
        else {
            f"{meter.question.kind} {in_own(contender.size)}": levels[drawn]
            for contender, levels in zip(
                meter.question.contenders, meter.contenders_relative_db, strict=True
            )
        }
    )
    figure = readings_figure(
        f"{meter.design.title}: what the meter should read",
        [
            f"{meter.stands[n].position.name}, {meter.stands[n].elevation_deg:+z.0f} degrees"
            for n in drawn
        ],
        meter.centres,
        meter.relative_db[drawn],
        meter.relative_range_db[:, drawn],
        meter.predicted.comparable[drawn],
        candidates,
    )
    return Picture(figure, "The design as written and the candidates, place by place.")


def _shaving(meter: Meter, shaving: Shaving) -> Picture:
    figure = shave_figure(
        f"{meter.design.title}: at the reference, after each cut",
        meter.question.ball * 1e3,
        [stop.size * 1e3 for stop in shaving.stops],
        meter.centres,
        shaving.steps_db,
    )
    return Picture(
        figure,
        "What each cut should change at the reference, from the one before: what nine of ten"
        " drivers and builds show.",
    )


@in_common_style
def separation_figure(
    title: str,
    names: Sequence[str],
    centres: np.ndarray,
    difference_db: np.ndarray,
    share: np.ndarray,
    selected: Sequence[tuple[int, int]],
) -> Figure:
    """Draw how much two candidates differ in each band at each place, over the uncertainty.

    Parameters
    ----------
    title : str
    names : sequence of str
        Of the places.
    centres : (B,) array
    difference_db : (P, B) array
        One candidate less the other, dB.
    share : (P, B) array
        Its size in standard deviations of a reading; nan where it is not compared.
    selected : sequence of (int, int)
        Place and band of the readings to take, in their order.
    """
    shown = np.flatnonzero(np.isfinite(share).any(axis=0))
    edges = edges_of_bands(centres)
    subtitle = (
        "colour: difference over its uncertainty; numbers: difference, dB, where it is half of that"
        " or more; grey: not compared; ringed: the telling readings, in their order"
    )
    figure = new_figure(2.6 + 0.42 * len(names), title, subtitle)
    axes = figure.add_subplot()
    mesh = _shares(axes, edges, share)
    for (place, band), value in np.ndenumerate(difference_db):
        if share[place, band] >= WRITTEN_FROM:
            colour = "white" if share[place, band] > 0.6 * MOST_SIGMAS else INK
            look: Look = {"fontsize": 9, "ha": "center", "va": "center", "color": colour}
            axes.text(float(centres[band]), place + 0.5, f"{value:.1f}", **look)
    for order, (place, band) in enumerate(selected, start=1):
        _ring(axes, edges[band : band + 2], place, order)
    axes.set_yticks(np.arange(len(names)) + 0.5, names)
    axes.set_ylim(len(names), 0)
    axes.tick_params(axis="y", length=0)
    frequency_axis(axes, edges[shown[0]] if shown.size else edges[0], edges[-1])
    bar = figure.colorbar(mesh, ax=axes, extend="max", aspect=24, pad=0.02)
    bar.set_label("difference / uncertainty")
    bar.outline.set_visible(False)
    return figure


def _shares(axes: Axes, edges: np.ndarray, share: np.ndarray) -> ScalarMappable:
    """Colour each place and band by its difference over its uncertainty; nan is grey."""
    colours = colormaps["YlGnBu"].with_extremes(bad=GREY)
    return axes.pcolormesh(
        edges,
        np.arange(len(share) + 1),
        np.ma.masked_invalid(share),
        cmap=colours,
        vmin=0.0,
        vmax=MOST_SIGMAS,
        edgecolor="white",
        linewidth=0.6,
    )


def _ring(axes: Axes, edges: np.ndarray, place: int, order: int) -> None:
    low, high = edges
    look: Look = {"fill": False, "edgecolor": WINDOW, "linewidth": 2.2, "zorder": 6}
    axes.add_patch(Rectangle((low, place + 0.03), high - low, 0.94, **look))
    axes.annotate(
        str(order),
        (low, place + 0.03),
        xytext=(3, -3),
        textcoords="offset points",
        ha="left",
        va="top",
        fontsize=7,
        color=WINDOW,
        fontweight="bold",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        zorder=5,
    )


@in_common_style
def readings_figure(
    title: str,
    names: Sequence[str],
    centres: np.ndarray,
    written_db: np.ndarray,
    range_db: np.ndarray,
    comparable: np.ndarray,
    candidates: Mapping[str, np.ndarray],
) -> Figure:
    """Draw what the meter should read at each place, less the reference.

    Parameters
    ----------
    title : str
    names : sequence of str
        Of the places that are drawn, in rows of two.
    centres : (B,) array
    written_db : (P, B) array
        Level of the design as written less that at the reference, dB.
    range_db : (2, P, B) array
        Ends of what nine of ten drivers and builds read, dB.
    comparable : (P, B) bool array
    candidates : mapping of str to (P, B) array
        Level of each candidate less its level at the reference, dB, by name.
    """
    rows = math.ceil(len(names) / 2)
    figure = new_figure(1.6 + 2.4 * rows, title, "level less that at the reference, same band, dB")
    grid = figure.subplots(rows, 2, sharex=True, sharey=True, squeeze=False)
    edges = edges_of_bands(centres)
    for place, (axes, name) in enumerate(zip(grid.flat, names, strict=False)):
        axes.fill_between(
            centres, *range_db[:, place], color=FAINT, linewidth=0, label="nine of ten drivers"
        )
        axes.plot(centres, written_db[place], color=INK, linewidth=1.6, label="as written")
        for colour, (candidate, levels) in zip(SERIES, candidates.items(), strict=False):
            axes.plot(centres, levels[place], color=colour, label=candidate)
        for band in np.flatnonzero(~comparable[place]):
            axes.axvspan(edges[band], edges[band + 1], color=GREY, linewidth=0, zorder=0)
        axes.set_title(name)
        axes.grid(True)
        frequency_axis(axes, edges[0], edges[-1], label=place >= len(names) - 2)
    for axes in list(grid.flat)[len(names) :]:
        axes.set_visible(False)
    handles, labels = grid[0, 0].get_legend_handles_labels()
    labels = [*labels, "grey: not compared"]
    handles = [*handles, Rectangle((0, 0), 1, 1, color=GREY)]
    figure.legend(handles, labels, loc="outside lower left", ncols=3)
    return figure
