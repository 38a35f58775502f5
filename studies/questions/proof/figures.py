"""How far off the program is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter
from numpy.typing import ArrayLike

from studies.answer.charts.style import (
    INK,
    QUIET,
    SERIES,
    WINDOW,
    frequency_axis,
    in_common_style,
    legend_below,
    new_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.proof.cases.check import LEVEL_TOLERANCE_DB
from studies.questions.proof.cases.meshes import FULL_ORDER, MeshLadder
from studies.questions.proof.study import DEFAULT_ELEMENTS, Proof

LEAST_DB, MOST_DB = 1e-5, 1.0
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
ERROR_LABEL = "difference to the reference, dB"


def proof_pictures(proof: Proof) -> Pictures:
    """Draw the error against frequency and against elements per wavelength."""
    drawn = {}
    if errors := proof.errors_by_frequency:
        figure = error_by_frequency_figure(
            "Wave solver: largest difference to what is known, at each frequency",
            errors,
            LEVEL_TOLERANCE_DB,
        )
        drawn["frequency"] = Picture(
            figure,
            "How far off the wave solver is, pitch by pitch. Solids without a size of their own"
            " stand where a radius of 100 mm would put them; printed digits are in the difference"
            " (echoes: half of 0.01 dB); 0.00001 dB means that or less.",
        )
    figure = error_by_mesh_figure(
        "Wave solver: error of the far field on finer and finer meshes",
        proof.ladders,
        proof.expected_fall,
        LEVEL_TOLERANCE_DB,
    )
    drawn["mesh"] = Picture(
        figure,
        "How fast the error falls as elements shrink: largest error anywhere, re the maximum.",
    )
    return drawn


@in_common_style
def error_by_frequency_figure(
    title: str, errors: Mapping[str, tuple[ArrayLike, ArrayLike]], limit_db: float
) -> Figure:
    """Draw the largest difference at each frequency, by family of checks.

    Parameters
    ----------
    title : str
    errors : mapping of str to (frequencies, differences)
        Hz and dB of each family.
    limit_db : float
        What is promised.

    Returns
    -------
    Figure
    """
    figure = new_figure(6.2, title)
    axes: Axes = figure.add_subplot()
    for row, (name, (frequencies, off)) in enumerate(errors.items()):
        axes.plot(
            frequencies,
            np.maximum(off, LEAST_DB),
            linestyle="",
            marker=MARKERS[row % len(MARKERS)],
            markersize=5,
            markerfacecolor="none" if row % 2 else SERIES[row % len(SERIES)],
            color=SERIES[row % len(SERIES)],
            clip_on=False,
            label=name,
        )
    _limit(axes, limit_db)
    everywhere = np.concatenate([np.asarray(f, float) for f, _ in errors.values()])
    frequency_axis(axes, 0.8 * everywhere.min(), 1.25 * everywhere.max())
    _error_axis(axes, max(float(np.max(off)) for _, off in errors.values()))
    legend_below(figure, axes, 4)
    return figure


@in_common_style
def error_by_mesh_figure(
    title: str,
    ladders: Sequence[MeshLadder],
    expected_fall: tuple[np.ndarray, np.ndarray],
    limit_db: float,
) -> Figure:
    """Draw the error against the elements per wavelength.

    Parameters
    ----------
    title : str
    ladders : sequence of MeshLadder
    expected_fall : (elements per wavelength, errors in dB)
        A guide: how the error falls that goes as theory promises.
    limit_db : float
        What is promised.

    Returns
    -------
    Figure
    """
    figure = new_figure(5.8, title)
    axes: Axes = figure.add_subplot()
    for row, ladder in enumerate(ladders):
        axes.plot(
            ladder.per_wavelength,
            ladder.error_db,
            marker=MARKERS[row % len(MARKERS)],
            markersize=5,
            linewidth=1.4,
            color=SERIES[row % len(SERIES)],
            label=ladder.name,
        )
    along, guide = expected_fall
    axes.plot(
        along, guide, color=QUIET, linestyle=(0, (2, 2)), label=f"falls with power {FULL_ORDER:g}"
    )
    _limit(axes, limit_db)
    axes.axvline(DEFAULT_ELEMENTS, color=INK, linewidth=0.9)
    axes.annotate(
        " default mesh",
        (DEFAULT_ELEMENTS, 1.0),
        xycoords=("data", "axes fraction"),
        verticalalignment="top",
        color=INK,
    )
    axes.set_xscale("log")
    axes.set_xlim(0.9 * along[0], 1.1 * along[1])
    axes.xaxis.set_major_locator(FixedLocator([0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("elements per wavelength")
    _error_axis(axes, float(guide.max()))
    legend_below(figure, axes, 3)
    return figure


def _limit(axes: Axes, limit_db: float) -> None:
    axes.axhline(limit_db, color=WINDOW, linewidth=1.2, label=f"promised: {limit_db:g} dB")


def _error_axis(axes: Axes, most: float) -> None:
    axes.set_yscale("log")
    axes.set_ylim(LEAST_DB, max(MOST_DB, 1.5 * most))
    axes.yaxis.set_major_formatter(FuncFormatter(_plainly))
    axes.set_ylabel(ERROR_LABEL)
    axes.grid(axis="both")


def _plainly(value: float, _: int | None = None) -> str:
    """Write a decade without an exponent: "0.00001", "1"."""
    return f"{value:.5f}".rstrip("0").rstrip(".")
