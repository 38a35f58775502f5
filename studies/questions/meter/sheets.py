"""The measuring plan on paper: one page to work from, boxes to fill in, one row for each cut."""

from __future__ import annotations

import functools
from collections.abc import Sequence

from dispersion.bands import band_label
from shapes.lengths import in_both
from studies.answer.columns import fixed
from studies.answer.paper import lettering
from studies.answer.paper.lettering import SMALL, Line, heading, paragraph, table
from studies.answer.paper.page import Leaf, Page
from studies.answer.paper.paper import MM_PER_POINT, Box, Layout, Paper
from studies.answer.table import joined
from studies.questions.meter.boxes import box_leaves, cut_leaves
from studies.questions.meter.places_figures import Mark, draw_above, draw_side, sheet_for
from studies.questions.meter.study import Meter
from studies.questions.meter.words import (
    cautions_of,
    chances,
    far_enough,
    how_low,
    order_of_work,
    place_name,
)

LEAST_DRAWING, MOST_DRAWING = 44.0, 84.0
"""Height of the drawings, mm of paper."""
SIDE_SHARE = 0.58


def meter_sheets(meter: Meter, paper: Paper) -> list[Leaf]:
    """Return all sheets of a measuring plan for one size of paper."""
    layout = Layout(paper)
    width = layout.window.width
    first, rest = _poured(_plan_lines(meter, width), layout.window.height)
    draw = functools.partial(_draw_plan, meter, first)
    more = [
        Leaf("Measuring plan, continued", layout, functools.partial(_write, part)) for part in rest
    ]
    return [
        Leaf("Measuring plan", layout, draw),
        *more,
        *box_leaves(meter, layout),
        *cut_leaves(meter, layout),
    ]


def _poured(lines: list[Line], height: float) -> tuple[list[Line], list[list[Line]]]:
    """Lines of the first page, below the drawings, and of the pages after it."""
    first, *others = lettering.poured(lines, height - LEAST_DRAWING)
    left = [line for part in others for line in part]
    return first, list(lettering.poured(left, height))


def _plan_lines(meter: Meter, width: float) -> list[Line]:
    return [
        *_places(meter, width),
        *_telling(meter, width),
        *heading("In this order", width),
        *_small_notes(order_of_work(meter), width),
        *heading("Take care", width),
        *_small_notes(cautions_of(meter), width),
    ]


def _small_notes(texts: Sequence[str], width: float) -> list[Line]:
    return [line for text in texts for line in paragraph(text, width, SMALL, hang="-")]


def _places(meter: Meter, width: float) -> list[Line]:
    rows = [
        (
            f"{number}",
            place_name(stand),
            in_both(stand.position.r),
            in_both(stand.position.height),
            f"{stand.position.azimuth_deg:.0f}\u00b0",
            f"{stand.first_bounce.delay * 1e3:.1f} ms, {stand.first_bounce.surface}",
        )
        for number, stand in enumerate(meter.stands, start=1)
    ]
    head = ("", "place", "from the axis", "above the floor", "turn", "first bounce")
    return table(head, rows, width, left=(0, 1, 5), size=SMALL)


def _telling(meter: Meter, width: float) -> list[Line]:
    if not meter.selected:
        return []
    sizes = [in_both(contender.size) for contender in meter.question.contenders]
    relative, rows, signed = meter.contenders_relative_db, [], fixed(1)
    for reading in meter.selected:
        place, band = meter.place_and_band(reading)
        rows.append(
            (
                f"{band_label(meter.centres[band])} at {place + 1},"
                f" {meter.stands[place].position.name}",
                *(signed(value) for value in relative[:, place, band]),
                signed(meter.uncertainty_db[place, band]),
            )
        )
    head = ("place less reference, dB", *sizes, "+/-")
    return [
        *heading(f"The few readings that tell which {meter.question.kind}", width),
        *table(head, rows, width, size=SMALL),
        *paragraph(
            f"Chance of taking one for the other then: {joined(chances(meter))}.", width, SMALL
        ),
    ]


def _draw_plan(meter: Meter, lines: list[Line], page: Page) -> None:
    window = page.layout.window
    foot = lettering.total_height(lines)
    height = min(window.height - foot - 2.0, MOST_DRAWING)
    bottom = window.top - height
    middle = window.left + SIDE_SHARE * window.width
    marks = [
        Mark(number, s.position.r, s.position.height, s.azimuth_deg)
        for number, s in enumerate(meter.stands, start=1)
    ]
    _draw(page, Box(window.left, bottom, middle, window.top), meter, marks, side=True)
    _draw(page, Box(middle + 2, bottom, window.right, window.top), meter, marks, side=False)
    lettering.write(page.axes, lines, window.left, bottom - 2.0)
    beside = page.layout.notes
    limits = _small_notes((*how_low(meter), *far_enough(meter)), beside.width)
    lettering.write(page.axes, limits, beside.left, beside.top)


def _draw(page: Page, box: Box, meter: Meter, marks: list[Mark], *, side: bool) -> None:
    sheet = page.drawing(Box(box.left, box.bottom, box.right, box.top - 5.0), (0.0, 0.0))
    room = (box.width / MM_PER_POINT, (box.height - 5.0) / MM_PER_POINT)
    fitted = sheet_for(sheet.axes, meter.assembly, marks, room, side)
    (draw_side if side else draw_above)(fitted, meter.assembly, marks)
    words = (
        "From the side, NOT TO SCALE: mm from the axis, mm above the floor"
        if side
        else "From above, NOT TO SCALE: turn"
    )
    page.axes.text(box.left, box.top, words, va="top", fontsize=SMALL, weight="bold")


def _write(lines: list[Line], page: Page) -> None:
    window = page.layout.window
    lettering.write(page.axes, lines, window.left, window.top)
