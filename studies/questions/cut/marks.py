"""What several sheets share: scales, solids with their shading, lists of figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon

from studies.answer.charts.drafting import Sheet
from studies.answer.charts.style import INK, Look
from studies.answer.paper.lettering import (
    BODY,
    LARGE,
    SMALL,
    Cell,
    Line,
    height_of,
    paragraph,
    wrapped,
)

KEEP_LOOK = {"facecolor": "#e3eef5", "hatch": ""}
WASTE_LOOK = {"facecolor": "#b9b2a8", "hatch": "xxx"}
"""Kept is light and plain, waste dark and crossed: they differ on a black and white printer."""
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)


def scale_for(width: float, height: float, room_width: float, room_height: float) -> float:
    """Smallest reduction at which a drawing (mm) fits into its room on paper (mm); 1 if it can."""
    wanted = max(width / room_width, height / room_height)
    return next((scale for scale in SCALES if scale >= wanted - 1e-9), wanted)


def scale_words(scale: float) -> str:
    """Words that stand beside a drawing of this scale."""
    return "TRUE SIZE" if scale == 1.0 else f"NOT TO SCALE (about 1 : {scale:.3g})"


def solid(axes: Axes, outline: np.ndarray, **look: Any) -> None:
    """Fill a closed outline (N, 2), mm."""
    given: Look = {"edgecolor": INK, "linewidth": 0.8, "zorder": 2}
    axes.add_patch(Polygon(outline, closed=True, **(given | look)))


def circle(sheet: Sheet, centre: tuple[float, float], radius: float, **look: Any) -> None:
    """Draw a circle, mm; radius of the line's middle."""
    given: Look = {"fill": False, "edgecolor": INK, "linewidth": 0.6, "zorder": 3}
    sheet.axes.add_patch(Circle(centre, radius, **(given | look)))


def centre_mark(sheet: Sheet, x: float, y: float, size: float) -> None:
    """Cross for the point of a drill, `size` mm to each side."""
    sheet.line((x - size, x + size), (y, y), color=INK, linewidth=0.4)
    sheet.line((x, x), (y - size, y + size), color=INK, linewidth=0.4)


def figures(rows: Iterable[tuple[str, str]], width: float) -> list[Line]:
    """Lines of named values, the value large below its name."""
    lines: list[Line] = []
    for name, value in rows:
        lines += [Line(height_of(SMALL), (Cell(0.0, name, SMALL, quiet=True),), kept=True)]
        for text in wrapped(value, width, LARGE, bold=True):
            lines.append(Line(height_of(LARGE), (Cell(0.0, text, LARGE, bold=True),)))
        lines.append(Line(1.4))
    return lines


def notes(texts: Sequence[str], width: float) -> list[Line]:
    """Lines of several paragraphs on one page, each with a dash before it."""
    lines: list[Line] = []
    for text in texts:
        lines += [*paragraph(text, width, BODY, hang="-"), Line(0.8)]
    return [*(replace(line, kept=True) for line in lines[:-1]), *lines[-1:]]
