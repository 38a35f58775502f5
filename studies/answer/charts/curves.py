"""Curves against frequency: levels, directivity index, sound power, upward leak, shares."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter
from numpy.typing import ArrayLike

from dispersion.coverage import Coverage
from studies.answer.charts.style import (
    DASHES,
    FAINT,
    LEVEL_LABEL,
    SERIES,
    Look,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    level_limits,
    new_figure,
)

LEAST_SHARE_PERCENT = 0.01


@dataclass(frozen=True, eq=False)
class Trace:
    """A named curve.

    Attributes
    ----------
    name : str
        As in the legend.
    frequencies : (F,) array
        Hz; exact band centres if `by_band`.
    level_db : (F,) array
        dB; nan where there is nothing to show.
    by_band : bool
        Third-octave band levels, drawn as steps.
    """

    name: str
    frequencies: ArrayLike
    level_db: ArrayLike
    by_band: bool = False


@in_common_style
def curves_figure(
    title: str,
    traces: Sequence[Trace],
    level_label: str = LEVEL_LABEL,
    least_span_db: float = 30.0,
    subtitle: str = "",
) -> Figure:
    """Draw levels against frequency, all on the same absolute scale.

    Parameters
    ----------
    title : str
    traces : sequence of Trace
        Drawn in order; the first ones stand out most.
    level_label : str
        What the levels are relative to, with unit.
    least_span_db : float
        Least range of the level axis, so that small differences look small.
    subtitle : str
        A second line, such as the settings.

    Returns
    -------
    Figure
    """
    figure = new_figure(5.6, title, subtitle)
    axes = figure.add_subplot()
    draw_traces(axes, traces)
    limits = level_limits(np.concatenate([np.ravel(t.level_db) for t in traces]), least_span_db)
    level_axis(axes, limits, level_label)
    frequency_axis(axes, *frequency_range(traces))
    legend_below(figure, axes)
    return figure


@in_common_style
def index_figure(title: str, coverage: Coverage) -> Figure:
    """Draw directivity index, sound power and upward leak by third-octave band.

    Parameters
    ----------
    title : str
    coverage : Coverage

    Returns
    -------
    Figure
    """
    figure = new_figure(8.2, title)
    top, middle, bottom = figure.subplots(3, 1, sharex=True)
    edges = edges_of_bands(coverage.centres)
    _draw_index(top, coverage, edges)
    _steps(middle, coverage.sound_power_db, edges, color=SERIES[2])
    middle.set_title("sound power, as the level it would give if it left evenly all round")
    limits = level_limits(coverage.sound_power_db)
    level_axis(middle, limits, "dB re the driver's\nown on-axis curve")
    _draw_leak(bottom, coverage, edges)
    for axes in (top, middle, bottom):
        frequency_axis(axes, edges[0], edges[-1], label=axes is bottom)
    figure.align_ylabels()
    return figure


@in_common_style
def shares_figure(title: str, centres: np.ndarray, shares: Mapping[str, np.ndarray]) -> Figure:
    """Draw shares of the power by third-octave band on a logarithmic scale.

    Parameters
    ----------
    title : str
    centres : (B,) array
        Hz.
    shares : mapping of str to (B,) array
        Per cent; as many are drawn as there are colours, the first ones.

    Returns
    -------
    Figure
    """
    figure = new_figure(5.4, title)
    axes = figure.subplots()
    edges = edges_of_bands(centres)
    drawn = list(shares.items())[: len(SERIES)]
    for number, (name, values) in enumerate(drawn):
        dash = DASHES[number % len(DASHES)]
        _steps(axes, values, edges, color=SERIES[number], linestyle=dash, label=name)
    axes.set_yscale("log")
    axes.set_ylim(LEAST_SHARE_PERCENT, 130.0)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{share:g}"))
    axes.set_ylabel("share of the power, per cent")
    axes.grid(axis="both")
    frequency_axis(axes, edges[0], edges[-1])
    legend_below(figure, axes, 4)
    return figure


def _draw_index(axes: Axes, coverage: Coverage, edges: np.ndarray) -> None:
    low, high = coverage.window
    ring, window = "re the horizontal ring", f"re the window, {low:g} to {high:g} deg"
    _steps(axes, coverage.di_ring_db, edges, color=SERIES[0], label=ring)
    look: Look = {"color": SERIES[1], "linestyle": DASHES[1]}
    _steps(axes, coverage.di_window_db, edges, label=window, **look)
    both = np.concatenate((coverage.di_ring_db, coverage.di_window_db))
    level_axis(axes, level_limits(both, 15.0, 30.0), "directivity index, dB")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)


def _draw_leak(axes: Axes, coverage: Coverage, edges: np.ndarray) -> None:
    leak = 100.0 * coverage.upward_leak
    axes.stairs(leak, edges, color=SERIES[1], fill=True, alpha=0.35)
    _steps(axes, leak, edges, color=SERIES[1])
    axes.set_title(f"upward leak: share of the sound power above {coverage.window[1]:g} deg")
    axes.set_ylabel("upward leak, per cent")
    axes.set_ylim(0.0, 100.0)
    axes.grid(axis="both")


def _steps(axes: Axes, values: np.ndarray, edges: np.ndarray, **look: Any) -> None:
    axes.stairs(values, edges, baseline=None, **({"linewidth": 1.8} | look))


def draw_traces(axes: Axes, traces: Sequence[Trace]) -> None:
    """Draw every trace in its own colour and dash."""
    for count, trace in enumerate(traces):
        look: Look = {
            "color": SERIES[count % len(SERIES)],
            "linestyle": DASHES[count % len(DASHES)],
        }
        width = 1.4 if count else 1.8
        levels = np.asarray(trace.level_db, dtype=float)
        if trace.by_band:
            edges = edges_of_bands(trace.frequencies)
            _steps(axes, levels, edges, label=trace.name, **(look | {"linewidth": width + 0.4}))
        else:
            axes.plot(trace.frequencies, levels, label=trace.name, linewidth=width, **look)


def frequency_range(traces: Sequence[Trace]) -> tuple[float, float]:
    """Lowest and highest frequency of all traces, whole bands included, Hz."""
    ends = [
        edges_of_bands(t.frequencies) if t.by_band else np.asarray(t.frequencies) for t in traces
    ]
    return min(float(e[0]) for e in ends), max(float(e[-1]) for e in ends)


def level_axis(axes: Axes, limits: tuple[float, float], label: str) -> None:
    """Make y a dB axis ruled every 5 dB."""
    axes.set_ylim(*limits)
    low, high = limits
    axes.set_yticks(np.arange(low, high + 0.1, 5.0))
    axes.set_ylabel(label)
    axes.grid(axis="both")
    if low < 0.0 < high:
        axes.axhline(0.0, color=FAINT, linewidth=1.6, zorder=0.9)
