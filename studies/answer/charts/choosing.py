"""Coverage against steadiness, residue as colour: what no other beats, and what was chosen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.colors import Colormap, ListedColormap
from matplotlib.figure import Figure

from studies.answer.charts.style import FAINT, INK, QUIET, WINDOW, in_common_style, new_figure

if TYPE_CHECKING:
    from studies.solving.choosing import Choice

LEAST_SPAN_DB = 0.5
"""No axis is blown up further, so that noise stays small."""
SIDES = tuple(14.0 * np.exp(0.25j * np.pi * eighth) for eighth in range(8))
"""Where a number may stand beside its mark, in points."""


@in_common_style
def choosing_figure(title: str, choices: Sequence[Choice]) -> Figure:
    """Draw every solved candidate by what it offers; better is up and to the right.

    Parameters
    ----------
    title : str
    choices : sequence of Choice
        As `studies.solving.choosing.choices` gives them; at least one.

    Returns
    -------
    Figure
        Those that are best in one thing and the chosen one bear a number that is explained below.
    """
    stay = [choice for choice in choices if choice.unbeaten]
    beaten = [choice for choice in choices if not choice.unbeaten]
    subtitle = f"better is up, to the right, and pale; {len(stay)} of {len(choices)} are unbeaten"
    figure = new_figure(7.0, title, subtitle)
    axes = figure.add_subplot()
    _scatter(axes, beaten, s=22, color=FAINT, edgecolor=QUIET, linewidth=0.5, label="beaten")
    residues = [choice.residue_db for choice in stay]
    low, high = _spread(residues)
    shown = _scatter(
        axes,
        stay,
        s=90,
        c=residues,
        cmap=_pale_to_dark(),
        vmin=low,
        vmax=high,
        edgecolor=INK,
        linewidth=0.8,
        label="unbeaten",
    )
    axes.set_xlim(*_spread([choice.coverage_db for choice in choices])[::-1])
    axes.set_ylim(*_spread([choice.steadiness_db for choice in choices])[::-1])
    _number(axes, choices)
    axes.grid(True)
    axes.set_xlabel("coverage: level that differs across the window, rms, dB")
    axes.set_ylabel("steadiness: what the room hears otherwise, rms, dB")
    bar = figure.colorbar(shown, ax=axes, aspect=24, pad=0.02)
    bar.set_label("residue: left by a broad equaliser, dB")
    bar.outline.set_visible(False)
    figure.legend(*axes.get_legend_handles_labels(), loc="outside lower left", ncols=1)
    return figure


def _scatter(axes: Axes, choices: Sequence[Choice], **look: Any) -> PathCollection:
    coverages = [choice.coverage_db for choice in choices]
    return axes.scatter(coverages, [choice.steadiness_db for choice in choices], **look)


def _number(axes: Axes, choices: Sequence[Choice]) -> None:
    """Number the chosen one and the unbeaten ones that are best in one thing; each once."""
    taken = [_place(axes, choice) for choice in choices]
    for number, (choice, words) in enumerate(_outstanding(choices), start=1):
        place = (choice.coverage_db, choice.steadiness_db)
        aside = _free_side(_place(axes, choice), taken)
        taken.append(_place(axes, choice) + aside)
        colour = WINDOW if choice.chosen else INK
        if choice.chosen:
            axes.scatter(*place, s=260, facecolor="none", edgecolor=WINDOW, linewidth=2.0)
        axes.annotate(
            str(number),
            place,
            xytext=(aside.real, aside.imag),
            textcoords="offset points",
            ha="center",
            va="center",
            color=colour,
            fontweight="bold",
        )
        name = f"{number}  {choice.name}: {', '.join(words)}"
        axes.plot([], [], linestyle="none", label=name)


def _place(axes: Axes, choice: Choice) -> complex:
    """Return where a candidate is drawn, in points: near enough before the layout is settled."""
    x, y = axes.transData.transform((choice.coverage_db, choice.steadiness_db))
    return complex(x, y) * 72.0 / axes.figure.dpi


def _free_side(place: complex, taken: Sequence[complex]) -> complex:
    """Return the side, in points, that is farthest from all that is drawn and written already."""
    return max(SIDES, key=lambda side: min(abs(place + side - other) for other in taken))


def _outstanding(choices: Sequence[Choice]) -> list[tuple[Choice, list[str]]]:
    stay = [choice for choice in choices if choice.unbeaten]
    ends = (
        *((choice, "chosen by the score") for choice in choices if choice.chosen),
        (min(stay, key=lambda c: c.coverage_db), "best coverage"),
        (min(stay, key=lambda c: c.steadiness_db), "steadiest"),
        (min(stay, key=lambda c: c.residue_db), "least residue"),
    )
    found: dict[int, tuple[Choice, list[str]]] = {}
    for choice, words in ends:
        found.setdefault(id(choice), (choice, []))[1].append(words)
    return list(found.values())


def _spread(values: Sequence[float]) -> tuple[float, float]:
    """Limits that hold all values with a margin, `LEAST_SPAN_DB` apart at least."""
    low, high = min(values), max(values)
    half = max(0.58 * (high - low), LEAST_SPAN_DB / 2)
    return (low + high) / 2 - half, (low + high) / 2 + half


def _pale_to_dark() -> Colormap:
    return ListedColormap(colormaps["viridis_r"](np.linspace(0.0, 0.95, 256)))
