"""The half profile at true size, male and female, and its table of coordinates."""

from __future__ import annotations

import functools
from collections.abc import Iterator

import numpy as np

from shapes.lengths import in_both, in_inches, in_mm
from shapes.templates import Outline, female_template, male_template
from studies.answer.charts.drafting import Sheet
from studies.answer.paper import lettering
from studies.answer.paper.lettering import SMALL, Line
from studies.answer.paper.page import Leaf, Page
from studies.answer.paper.paper import Box, Layout, Paper
from studies.questions.cut.marks import KEEP_LOOK, WASTE_LOOK, solid
from studies.questions.cut.study import Cutting
from studies.questions.cut.tiling import BORDER, Plan, plan_leaves

CHORD_ERROR = 1e-5
APART = 12.0
"""Between the male and the female template on one sheet, mm."""
HEADINGS = ("radius, mm", "radius, in", "depth, mm", "depth, in")
TABLE_WIDTH, BLOCK_GAP = 80.0, 6.0
TABLE_NOTE = (
    "Radius from the axis, depth from the flat, both to the finished surface; inches to the nearest"
    " 1/32. Millimetres are exact to the digit shown."
)


def template_sheets(cutting: Cutting, paper: Paper) -> Iterator[Leaf]:
    """Return the template sheets, on as few as they fit; none without a reflector."""
    reflector = cutting.assembly.reflector
    if reflector is None:
        return
    male, female = male_template(reflector), female_template(reflector)
    both, lines = _both_plan(male, female), _table(cutting, 0, len(cutting.coordinates))
    layout = Layout(paper)
    room = layout.window.width - TABLE_WIDTH - BLOCK_GAP
    size = both.bounds.grown(BORDER)
    tallest = max(size.height, lettering.total_height(lines))
    if size.width <= room and tallest <= layout.window.height:
        draw = functools.partial(_draw_all, both, lines, _about(cutting))
        yield Leaf("Half-profile templates, true size, and coordinates", layout, draw)
        return
    plans = [both] if _fits_one_sheet(both, paper) else [_one(male, "male"), _one(female, "female")]
    for plan in plans:
        yield from plan_leaves(plan, paper)
    yield from _coordinate_sheets(cutting, paper)


def _draw_all(plan: Plan, lines: list[Line], about: str, page: Page) -> None:
    """Draw both templates at the left of the window, the table at its right."""
    window, beside = page.layout.window, page.layout.notes
    column = window.right - TABLE_WIDTH
    box = Box(window.left, window.bottom, column - BLOCK_GAP, window.top)
    plan.draw(page.drawing(box, plan.bounds.centre))
    lettering.write(page.axes, lines, column, window.top)
    lettering.write(page.axes, lettering.paragraph(about, beside.width), beside.left, beside.top)


def _fits_one_sheet(plan: Plan, paper: Paper) -> bool:
    windows = (Layout(paper, lying).window for lying in (False, True))
    box = plan.bounds.grown(BORDER)
    return any(box.width <= w.width and box.height <= w.height for w in windows)


def _both_plan(male: Outline, female: Outline) -> Plan:
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

    return Plan("Half-profile templates, male and female", bounds, draw)


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


def _coordinate_sheets(cutting: Cutting, paper: Paper) -> Iterator[Leaf]:
    """Set the table in as many columns side by side as the sheet is wide."""
    layout = Layout(paper)
    window = layout.window
    head = lettering.paragraph(_about(cutting), window.width)
    room = window.height - lettering.total_height(head) - 3.0
    columns = int((window.width + BLOCK_GAP) // (TABLE_WIDTH + BLOCK_GAP))
    blocks = list(_blocks(cutting, room))
    for first in range(0, len(blocks), columns):
        draw = functools.partial(_draw_blocks, head, blocks[first : first + columns])
        yield Leaf("Coordinates of the profile", layout, draw)


def _about(cutting: Cutting) -> str:
    reflector = cutting.assembly.hung_reflector
    return (
        f"Reflector: {reflector.label}. MALE is the reflector itself, axis at the left, flat on"
        f" top, {in_both(reflector.base_radius)} along the flat (half of the base) and"
        f" {in_both(reflector.height)} deep. FEMALE is a board to lay against the work."
        f" {TABLE_NOTE}"
    )


def _blocks(cutting: Cutting, height: float) -> Iterator[list[Line]]:
    """Tables of at most so many mm, each with its headings."""
    head, *_ = _table(cutting, 0, 0)
    most = int((height - head.height) // lettering.height_of(SMALL))
    for first in range(0, len(cutting.coordinates), most):
        yield _table(cutting, first, first + most)


def _table(cutting: Cutting, first: int, last: int) -> list[Line]:
    rows = [
        (
            in_mm(point.radius, 2).removesuffix(" mm"),
            in_inches(point.radius).removesuffix(" in"),
            in_mm(point.depth, 2).removesuffix(" mm"),
            in_inches(point.depth).removesuffix(" in"),
        )
        for point in cutting.coordinates[first:last]
    ]
    return lettering.table(HEADINGS, rows, TABLE_WIDTH, left=(), size=SMALL)


def _draw_blocks(head: list[Line], blocks: list[list[Line]], page: Page) -> None:
    window = page.layout.window
    top = lettering.write(page.axes, head, window.left, window.top) - 3.0
    for at, block in enumerate(blocks):
        lettering.write(page.axes, block, window.left + at * (TABLE_WIDTH + BLOCK_GAP), top)
