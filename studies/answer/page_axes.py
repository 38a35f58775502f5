"""Axes and colours of charts on a page that moves, the same as on printed ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dispersion.bands import band_label
from studies.answer.charts.coverage import STEP_DB
from studies.answer.charts.style import edges_of_bands, short_frequency
from studies.answer.outlines import rounded

MAP_SPAN_DB, NORMALISED_SPAN_DB = 36.0, 15.0
Data = dict[str, Any]


def frequency_axis_data(centres: np.ndarray) -> Data:
    """Edges and names of third octaves, and ticks at 1, 2, 5, in Hz."""
    edges = edges_of_bands(centres)
    ticks = [m * 10.0**n for n in range(1, 5) for m in (1, 2, 5)]
    shown = [tick for tick in ticks if edges[0] <= tick <= edges[-1]]
    return {
        "edges": rounded(edges),
        "bands": [band_label(centre) for centre in centres],
        "ticks": shown,
        "names": [short_frequency(tick) for tick in shown],
    }


def absolute_colours(high: float) -> Data:
    """Steps of colour for levels up to `high`, dB."""
    from plotly.colors import sample_colorscale

    steps = round(MAP_SPAN_DB / STEP_DB)
    return {
        "low": high - MAP_SPAN_DB,
        "high": high,
        "colours": in_steps(sample_colorscale("Viridis", steps)),
    }


def normalised_colours() -> Data:
    """Steps of colour for levels above and below the window's, dB."""
    from plotly.colors import diverging, sample_colorscale

    around = round(2 * NORMALISED_SPAN_DB / STEP_DB)
    return {
        "low": -NORMALISED_SPAN_DB,
        "high": NORMALISED_SPAN_DB,
        "colours": in_steps(sample_colorscale(diverging.PuOr_r, around)),
    }


def in_steps(colours: Sequence[str]) -> list[tuple[float, str]]:
    """Colour scale of flat steps: a level can then be read off like a contour."""
    count = len(colours)
    return [
        (round(edge / count, 6), colour) for n, colour in enumerate(colours) for edge in (n, n + 1)
    ]
