"""Rays through the section."""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from shapes.assembly import Assembly
from studies.answer.charts.style import (
    INK,
    QUIET,
    SERIES,
    in_common_style,
    legend_below,
    length_axis,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.rays.study import RayStudy

SHOWN_BELOW_MM = 60.0  # how much of the column the ray picture shows
MOST_BOUNCES_NAMED = 3


def rays_pictures(study: RayStudy) -> Pictures:
    """Draw rays through the section; nothing for a free form, which has none."""
    if not study.paths:
        return {}
    subtitle = f"rays mean something above about {study.meaningful_above_hz / 1e3:.2g} kHz"
    lines = [path.points for path in study.paths]
    figure = rays_figure(study.design.title, study.design.assembly(), lines, subtitle)
    caption = "Which way the sound leaves after one, two and more bounces, if it were light."
    return {"section": Picture(figure, caption)}


@in_common_style
def rays_figure(
    title: str, assembly: Assembly, paths: Sequence[np.ndarray], subtitle: str = ""
) -> Figure:
    """Draw rays in the plane through the axis, each leg in the colour of its bounces so far.

    Parameters
    ----------
    title : str
    assembly : Assembly
    paths : sequence of (N, 2) arrays
        Corners (r, z) of each ray in metres, start first; r may be negative beyond the axis.
    subtitle : str
        Such as the frequency above which the picture means anything.

    Returns
    -------
    Figure
    """
    figure = new_figure(6.4, title, subtitle)
    axes = figure.add_subplot()
    plate = assembly.plate
    reach = 1e3 * max(assembly.column.face.radius, plate.radius if plate is not None else 0.0)
    for line in (assembly.lower_line, assembly.upper_line):
        if len(line):
            whole = np.vstack((line, line[::-1] * (-1.0, 1.0))) * 1e3
            axes.fill(*whole.T, facecolor="#efe2cc", edgecolor=INK, linewidth=1.0, zorder=2)
    for corners in paths:
        for leg in range(len(corners) - 1):
            late = leg >= MOST_BOUNCES_NAMED
            axes.plot(
                *(corners[leg : leg + 2].T * 1e3),
                color=QUIET if late else SERIES[leg],
                linewidth=0.4 if late else 1.0,
                alpha=0.5 if late else 1.0,
                zorder=3 if late else 4,
                solid_capstyle="round",
            )
    for order, name in enumerate(("from the driver", "after one bounce", "after two")):
        axes.plot([], [], color=SERIES[order], label=name)
    axes.plot([], [], color=QUIET, linewidth=0.4, label="after three or more")
    axes.set_aspect("equal")
    axes.set_xlim(-2.2 * reach, 2.2 * reach)
    top = 1e3 * (assembly.plate_gap + (plate.thickness if plate is not None else 0.0))
    axes.set_ylim(-SHOWN_BELOW_MM, top + 0.4 * reach)
    length_axis(axes.xaxis, "distance from the axis")
    length_axis(axes.yaxis, "height above the baffle")
    legend_below(figure, axes, 4)
    return figure
