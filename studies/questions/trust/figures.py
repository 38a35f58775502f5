"""How far each quick method is from the wave solver."""

import numpy as np
from matplotlib.figure import Figure

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
    caption = "How far each quick method is off, pitch by pitch."
    return {"trust": Picture(trust_figure(trust), caption)}


@in_common_style
def trust_figure(trust: Trust) -> Figure:
    """Draw the rms difference of each method from the wave solver by third octave."""
    title = f"{trust.design.title}: window level, {len(trust.cases)} designs"
    figure = new_figure(4.8, title)
    axes = figure.add_subplot()
    edges = edges_of_bands(trust.centres)
    rms_db = {method: trust.rms_db(method) for method in trust.methods}
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
    axes.axhspan(0.0, WITHIN_DB, color=QUIET, alpha=0.15, linewidth=0, label="believed")
    most = max(float(np.max(values)) for values in rms_db.values())
    level_axis(axes, (0.0, max(12.0, min(most * 1.05, 30.0))), "rms difference to waves, dB")
    frequency_axis(axes, edges[0], edges[-1])
    legend_below(figure, axes)
    return figure
