"""The half profile at true size, male and female."""

from __future__ import annotations

import functools
from collections.abc import Iterator

import numpy as np

from shapes.templates import Outline, female_template, male_template
from studies.answer.charts.drafting import KEEP_LOOK, WASTE_LOOK, Sheet, solid
from studies.answer.charts.paper.page import Leaf
from studies.answer.charts.paper.sizes import Box, Paper, SheetLayout
from studies.questions.cut.study import Cutting
from studies.questions.cut.tiling import BORDER, Plan, plan_leaves
from studies.questions.cut.words import about_templates

CHORD_ERROR = 1e-5
APART = 12.0
"""Between the male and the female template on one sheet, mm."""


def template_sheets(cutting: Cutting, paper: Paper) -> Iterator[Leaf]:
    """Return the template sheets, on as few as they fit; none without a reflector."""
    reflector = cutting.assembly.reflector
    if reflector is None:
        return
    male, female = male_template(reflector), female_template(reflector)
    both = _both_plan(male, female, about_templates(reflector))
    plans = [both] if _fits_one_sheet(both, paper) else [_one(male, "male"), _one(female, "female")]
    for plan in plans:
        yield from plan_leaves(plan, paper)


def _fits_one_sheet(plan: Plan, paper: Paper) -> bool:
    windows = (SheetLayout(paper, lying).window for lying in (False, True))
    box = plan.bounds.grown(BORDER)
    return any(box.width <= w.width and box.height <= w.height for w in windows)


def _both_plan(male: Outline, female: Outline, about: str) -> Plan:
    """Male above, female below; the zero of the drawing is the middle of the male's flat."""
    above, below = _bounds(male), _bounds(female)
    drop = above.bottom - APART - below.top
    bounds = Box(
        min(above.left, below.left),
        below.bottom + drop,
        max(above.right, below.right),
        above.top,
    )

    def draw(sheet: Sheet) -> None:
        _draw_outline(sheet, male, "male", 0.0)
        _draw_outline(sheet, female, "female", drop)

    return Plan("Half-profile templates, male and female", bounds, draw, about=about)


def _one(outline: Outline, name: str) -> Plan:
    draw = functools.partial(_draw_outline, outline=outline, name=name, shift=0.0)
    return Plan(f"Half-profile template, {name}", _bounds(outline), draw)


def _bounds(outline: Outline) -> Box:
    x0, y0, x1, y1 = (value * 1e3 for value in outline.bounds)
    return Box(x0, y0, x1, y1)


def _draw_outline(sheet: Sheet, outline: Outline, name: str, shift: float) -> None:
    """Draw a template with what it is; `shift` moves it up, mm."""
    points = outline.points(CHORD_ERROR) * 1e3 + np.array([0.0, shift])
    look = KEEP_LOOK if name == "male" else WASTE_LOOK | {"hatch": ""}
    solid(sheet.axes, points, **(look | {"linewidth": 0.5}))
    x, y = _room_for_words(points)
    # No scrap of paper behind the word: it must not hide the outline.
    sheet.text(x, y, name.upper(), fontweight="bold", ha="center", va="center", bbox=None)


def _room_for_words(points: np.ndarray) -> tuple[float, float]:
    """Middle of the widest level stretch through a closed outline, mm: where words fit best."""
    low, high = points[:, 1].min(), points[:, 1].max()
    best = (0.0, 0.0, 0.0)
    for y in np.linspace(low, high, 25)[1:-1]:
        start, stop = points, np.roll(points, -1, axis=0)
        passes = (start[:, 1] > y) != (stop[:, 1] > y)
        share = (y - start[passes, 1]) / (stop[passes, 1] - start[passes, 1])
        crossings = np.sort(start[passes, 0] + share * (stop[passes, 0] - start[passes, 0]))
        for left, right in crossings[: crossings.size // 2 * 2].reshape(-1, 2):
            room = min(right - left, 80.0) + min(y - low, high - y)
            if room > best[0]:
                best = (room, (left + right) / 2, y)
    return best[1], best[2]
