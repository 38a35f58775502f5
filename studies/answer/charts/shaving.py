"""What each step of shaving a ball changes, as a level meter shows it."""

from itertools import pairwise

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from shapes.lengths import in_own, own_unit
from studies.answer.charts.style import (
    INK,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    new_figure,
)
from studies.solving.target import METER_DB


@in_common_style
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
        written in their cells. Bands below the first of those are left out.
    """
    keeps, change = np.asarray(keeps_mm, dtype=float), np.asarray(change_db, dtype=float)
    steps = change.shape[0]
    edges = edges_of_bands(centres)
    lowest = edges[int(np.argmax((np.abs(change) >= METER_DB).any(axis=0)))]
    subtitle = (
        f"white, and below {lowest:.0f} Hz: changes by less than {METER_DB:g} dB, which a level"
        " meter does not show"
    )
    figure = new_figure(2.2 + 0.3 * max(steps, 5), title, subtitle)
    axes = figure.add_subplot()
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
    axes.set_ylabel(f"shaving step: keep (cut off), {own_unit()}")
    axes.tick_params(axis="y", length=0)
    frequency_axis(axes, lowest, edges[-1])
    bar = figure.colorbar(mesh, ax=axes, extend="both", aspect=24, pad=0.02, ticks=bounds)
    bar.ax.set_yticklabels([f"{bound:+g}" for bound in bounds])
    bar.set_label("change of level, dB; no sign: louder")
    bar.outline.set_visible(False)
    return figure


def _write_changes(axes: Axes, centres: np.ndarray, change: np.ndarray) -> None:
    for (step, band), value in np.ndenumerate(change):
        if abs(value) >= METER_DB:
            colour = "white" if abs(value) >= 3.0 else INK
            digits = 0 if abs(value) >= 9.95 else 1
            axes.text(
                float(centres[band]),
                step + 0.5,
                f"{value:.{digits}f}",
                color=colour,
                fontsize=10,
                ha="center",
                va="center",
            )


def _step_names(keeps: np.ndarray, ball: float) -> list[str]:
    unit = f" {own_unit()}"
    sizes = [(in_own(keep * 1e-3), in_own((ball - keep) * 1e-3)) for keep in keeps]
    names = [f"{keep.removesuffix(unit)} ({off.removesuffix(unit)})" for keep, off in sizes]
    return [f"{a} to {b}" for a, b in pairwise(names)]


def _meter_colours(count: int) -> ListedColormap:
    """Purple for quieter, orange for louder, white in the middle; count is odd."""
    shades = colormaps["PuOr_r"](np.linspace(0.06, 0.94, count))
    shades[count // 2] = 1.0
    return ListedColormap(shades)
