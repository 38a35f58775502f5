"""Where the sound goes: elevation by frequency as a map, and vertical polar cuts."""

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from dispersion.bands import band_label
from dispersion.coverage import Coverage
from studies.answer.charts.style import (
    FAINT,
    INK,
    QUIET,
    SERIES,
    WINDOW,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    level_limits,
    new_figure,
)

STEP_DB = 3.0
DIFFERENCES = np.array([-15.0, -10.0, -6.0, -3.0, -1.0, 1.0, 3.0, 6.0, 10.0, 15.0])
"""Steps of a normalised level, dB: what is within 1 dB of the window's stays pale."""
OCTAVES = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


@in_common_style
def coverage_map_figure(title: str, coverage: Coverage) -> Figure:
    """Draw level by elevation and third-octave band, absolute beside normalised.

    Parameters
    ----------
    title : str
    coverage : Coverage

    Returns
    -------
    Figure
        Left: dB re the driver's own on-axis curve. Right: dB re the window's level in the same
        band, which hides what the whole window loses in the treble.
    """
    figure = new_figure(5.6, title)
    left, right = figure.subplots(1, 2, sharey=True)
    high = STEP_DB * np.ceil(coverage.level_db.max() / STEP_DB)
    absolute = np.arange(high - 12 * STEP_DB, high + 0.1, STEP_DB)
    _elevation_map(figure, left, coverage, coverage.level_db, absolute, "viridis", 2)
    left.set_title("absolute: dB re the driver's own on-axis curve")
    left.set_ylabel("elevation, degrees above horizontal")
    _elevation_map(figure, right, coverage, coverage.level_re_window_db, DIFFERENCES, "PuOr_r")
    right.set_title("normalised: dB re the window's level in the same band")
    return figure


@in_common_style
def polar_figure(title: str, coverage: Coverage) -> Figure:
    """Draw vertical cuts, third octaves at octave spacing, absolute, on one scale.

    Parameters
    ----------
    title : str
    coverage : Coverage
        The same all round, so each cut is symmetrical.

    Returns
    -------
    Figure
    """
    numbers = [int(np.argmin(np.abs(np.log(coverage.centres / f)))) for f in OCTAVES]
    shown = [
        n
        for n, f in zip(numbers, OCTAVES, strict=True)
        if abs(np.log2(coverage.centres[n] / f)) < 1 / 6
    ]
    low, high = coverage.window
    subtitle = (
        "third octaves, dB re the driver's own on-axis curve, rings every 10 dB;"
        f" shaded: window, {low:g} to {high:g} deg"
    )
    figure = new_figure(6.6, title, subtitle, hspace=0.09)
    limits = level_limits(coverage.level_db[shown], 40.0, 40.0)
    panels = figure.subplots(2, 4, subplot_kw={"projection": "polar"}).ravel()
    for axes in panels[len(shown) :]:
        axes.set_axis_off()
    for axes, n in zip(panels, shown, strict=False):
        _polar_cut(axes, coverage, n, limits)
        if axes is not panels[0]:
            axes.set_yticklabels([])
    return figure


def _elevation_map(
    figure: Figure,
    axes: Axes,
    coverage: Coverage,
    level_db: np.ndarray,
    steps: np.ndarray,
    colour_map: str,
    ticked: int = 1,
) -> None:
    edges = edges_of_bands(coverage.centres)
    half = (coverage.elevations[1] - coverage.elevations[0]) / 2
    rows = np.append(coverage.elevations - half, coverage.elevations[-1] + half).clip(-90, 90)
    colours = colormaps[colour_map]
    norm = BoundaryNorm(steps, colours.N, extend="both")
    # Thousands of cells: kept as one picture inside the SVG.
    axes.pcolormesh(edges, rows, level_db.T, cmap=colours, norm=norm, rasterized=True)
    for edge in coverage.window:
        axes.axhline(edge, color="white", linewidth=2.2)
        axes.axhline(edge, color=INK, linewidth=1.2, linestyle=(0, (5, 2)))
    frequency_axis(axes, edges[0], edges[-1])
    axes.set_ylim(-90, 90)
    axes.set_yticks(np.arange(-90, 91, 30))
    bar = figure.colorbar(
        ScalarMappable(norm, colours),
        ax=axes,
        location="bottom",
        extend="both",
        aspect=35,
        ticks=steps[::ticked],
        shrink=0.95,
    )
    bar.set_label("dB; dashed: edges of the window")
    bar.outline.set_visible(False)


def _polar_cut(axes: PolarAxes, coverage: Coverage, band: int, limits: tuple[float, float]) -> None:
    low, high = limits
    right = np.radians(coverage.elevations)
    level = np.maximum(coverage.level_db[band], low)
    for window in (np.radians(coverage.window), np.pi - np.radians(coverage.window)):
        axes.fill_between(window, low, high, color=WINDOW, alpha=0.18, linewidth=0)
    angles = np.concatenate((right, np.pi - right[::-1]))
    axes.plot(angles, np.concatenate((level, level[::-1])), color=SERIES[0], linewidth=1.6)
    axes.set_rlim(low, high)
    axes.set_rticks(np.arange(low + 20, high + 0.1, 10))
    axes.set_rlabel_position(225)
    ticks = np.arange(-90, 91, 30)
    axes.set_thetagrids(
        np.append(ticks, (120, 150, 180, 210, 240)) % 360,
        [*(f"{tick}°" for tick in ticks), *[""] * 5],
    )
    axes.tick_params(labelsize=10, colors=QUIET, pad=1)
    axes.grid(color=FAINT)
    axes.set_title(band_label(coverage.centres[band]), loc="center")
