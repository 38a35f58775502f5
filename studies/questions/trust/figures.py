"""How far each quick method is from the wave solver."""

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from studies.answer.charts.curves import level_axis
from studies.answer.charts.style import (
    DASHES,
    QUIET,
    SERIES,
    edges_of_bands,
    frequency_axis,
    in_common_style,
    legend_below,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.trust.study import WITHIN_DB, Trust


def trust_pictures(trust: Trust) -> Pictures:
    """Draw how far each method is from the wave solver."""
    rms = {method: trust.rms_db(method) for method in trust.methods}
    title = f"{trust.design.title}: window level, {len(trust.cases)} designs"
    figure = trust_figure(title, trust.centres, rms, WITHIN_DB)
    return {"trust": Picture(figure, "How far each quick method is off, pitch by pitch.")}


@in_common_style
def trust_figure(
    title: str, centres: ArrayLike, rms_db: Mapping[str, ArrayLike], within_db: float
) -> Figure:
    """Draw how far each method is from the wave solver, by third octave.

    Parameters
    ----------
    title : str
    centres : (B,) array
        Exact band centres, Hz.
    rms_db : mapping of str to (B,) array
        rms difference of each method, dB.
    within_db : float
        Up to here a method is believed.

    Returns
    -------
    Figure
    """
    figure = new_figure(4.8, title)
    axes: Axes = figure.add_subplot()
    edges = edges_of_bands(centres)
    for row, (name, values) in enumerate(rms_db.items()):
        axes.stairs(
            values,
            edges,
            baseline=None,
            color=SERIES[row % len(SERIES)],
            linestyle=DASHES[row % len(DASHES)],
            linewidth=1.6,
            label=name,
        )
    axes.axhspan(0.0, within_db, color=QUIET, alpha=0.15, linewidth=0, label="believed")
    most = max(float(np.max(values)) for values in rms_db.values())
    level_axis(axes, (0.0, max(12.0, min(most * 1.05, 30.0))), "rms difference to waves, dB")
    frequency_axis(axes, edges[0], edges[-1])
    legend_below(figure, axes)
    return figure
