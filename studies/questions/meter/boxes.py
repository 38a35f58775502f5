"""Empty boxes for readings, large enough for a pencil, what is predicted beside each."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.patches import Rectangle

from dispersion.bands import band_label
from shapes.lengths import in_both
from studies.answer import cautions
from studies.answer.charts.style import FAINT, INK, QUIET, WINDOW, Look
from studies.answer.columns import fixed
from studies.answer.paper import lettering
from studies.answer.paper.lettering import BODY, SMALL, paragraph
from studies.answer.paper.page import Leaf, Page
from studies.answer.paper.paper import Layout
from studies.questions.meter.study import Meter
from studies.questions.meter.words import room_check, to_write_down

BOX_HEIGHT, ROW = 8.4, 8.9
"""Of a box and from one to the next, mm: for a pencil."""
NAME_WIDTH, PREDICTED_WIDTH = 15.0, 9.0
CUT_NAME_WIDTH, CUT_BOX_WIDTH = 62.0, 16.0
HEAD = 14.0
DRIFT_HZ = 1000.0


@dataclass(frozen=True)
class Cell:
    """One box: what is predicted (empty if nothing), whether it tells, whether it is asked for."""

    predicted: str
    telling: bool = False
    asked: bool = True


@dataclass(frozen=True)
class Grid:
    """Rows of boxes under columns with headings.

    Attributes
    ----------
    headings : tuple of str
        Of the columns; a line break is kept.
    names : tuple of str
        Of the rows.
    cells : tuple of tuple of Cell
        Row by row.
    name_width, box_width : float
        mm; a box width of 0 shares out all the room there is.
    words : str
        Below the boxes.
    beside : tuple of str
        Beside the square that tells the printer's scale.
    """

    headings: tuple[str, ...]
    names: tuple[str, ...]
    cells: tuple[tuple[Cell, ...], ...]
    name_width: float
    box_width: float
    words: str
    beside: tuple[str, ...]


def box_leaves(meter: Meter, layout: Layout) -> list[Leaf]:
    """Sheets with a box for every reading at every place."""
    comparable = meter.predicted.comparable
    selected = {meter.place_and_band(one) for one in meter.selected}
    bands = [int(band) for band in np.flatnonzero(comparable.any(axis=0))]
    signed = fixed(1)
    rows = [
        tuple(
            Cell(
                signed(meter.relative_db[place, band]) if place else "",
                (place, band) in selected,
                bool(comparable[place, band]),
            )
            for place in range(len(meter.stands))
        )
        for band in bands
    ]
    if not bands:
        return []
    drift = min(bands, key=lambda band: abs(np.log(meter.centres[band] / DRIFT_HZ)))
    again = tuple(Cell("") for _ in meter.stands)
    label = band_label(meter.centres[drift])
    grid = Grid(
        tuple(
            f"{number}\n" + stand.position.name.replace(" ", "\n", 1)
            for number, stand in enumerate(meter.stands, start=1)
        ),
        (*(band_label(meter.centres[band]) for band in bands), f"1 again,\n{label}"),
        (*rows, again),
        NAME_WIDTH,
        0.0,
        "In each box what the meter shows, dB. Beside it what is predicted for the design as"
        " written: that box less the box of place 1 in the same row. Thick red boxes tell most;"
        f" grey is not compared. Last row: after each place read {label} at place 1 again.",
        (f"Write down: {'; '.join(to_write_down(meter))}.", *room_check(meter)),
    )
    return _leaves("Readings", layout, grid)


def cut_leaves(meter: Meter, layout: Layout) -> list[Leaf]:
    """Sheets with a row of boxes for each cut; none where nothing is shaved."""
    shaving = meter.shaving
    if shaving is None or not shaving.shown:
        return []
    signed, last = fixed(1), len(shaving.stops) - 1
    names, rows = [], []
    for number, stop in enumerate(shaving.way):
        said = "" if number < last else " STOP" if number == last else " TOO FAR"
        gone = in_both(meter.question.ball - stop.size)
        names.append(f"keep {in_both(stop.size)}{said}\ncut off {gone}")
        rows.append(
            tuple(
                Cell(
                    signed(shaving.change_db[number, band]) if number else "",
                    number == last and band in shaving.bands,
                )
                for band in shaving.shown
            )
        )
    sure = ", ".join(
        f"{band_label(meter.centres[band])} {signed(shaving.uncertainty_db[band])}"
        for band in shaving.shown
    )
    grid = Grid(
        tuple(band_label(meter.centres[band]) for band in shaving.shown),
        tuple(names),
        tuple(rows),
        CUT_NAME_WIDTH,
        CUT_BOX_WIDTH,
        "In each box what the meter shows at place 1 after the cut, dB, with all knobs as they were"
        " at the first row. Beside it what is predicted: that box less the box in the first row."
        f" Uncertainty, dB: {sure}. Stop when the readings have come to the red boxes; beyond,"
        " too much is gone.",
        (cautions.SAFE_START, cautions.MEASURING[0]),
    )
    return _leaves("After each cut, at the reference", layout, grid)


def _leaves(title: str, layout: Layout, grid: Grid) -> list[Leaf]:
    """As many sheets as the rows need, shared out evenly."""
    window = layout.window
    words = paragraph(grid.words, window.width, SMALL)
    room = window.height - HEAD - lettering.total_height(words) - 3.0
    most = max(int(room / ROW), 1)
    pages = -(-len(grid.names) // most)
    each = -(-len(grid.names) // pages)
    parts = [slice(start, start + each) for start in range(0, len(grid.names), each)]
    return [
        Leaf(title, layout, functools.partial(_draw, grid, grid.names[part], grid.cells[part]))
        for part in parts
    ]


def _draw(grid: Grid, names: Sequence[str], cells: Sequence[Sequence[Cell]], page: Page) -> None:
    window = page.layout.window
    step = (window.width - grid.name_width) / len(grid.headings)
    if grid.box_width:
        step = min(step, grid.box_width + PREDICTED_WIDTH + 4.0)
    top = window.top - HEAD
    for column, words in enumerate(grid.headings):
        x = window.left + grid.name_width + (column + 1) * step - 0.5
        _letter(page)(x, top + 1.5, words, ha="right", va="bottom", weight="bold")
    for row, (name, line) in enumerate(zip(names, cells, strict=True)):
        y = top - (row + 1) * ROW
        page.axes.plot(
            (window.left, window.left + grid.name_width + step * len(line)),
            (y - 0.25, y - 0.25),
            color=FAINT,
            linewidth=0.5,
            zorder=1,
        )
        _letter(page)(window.left, y + BOX_HEIGHT / 2, name, va="center", weight="bold")
        for column, cell in enumerate(line):
            left = window.left + grid.name_width + column * step
            _draw_cell(page, cell, left, y, step)
    foot = top - len(names) * ROW - 3.0
    lettering.write(page.axes, paragraph(grid.words, window.width, SMALL), window.left, foot)
    beside = page.layout.notes
    lines = [
        line for text in grid.beside for line in paragraph(text, beside.width, SMALL, hang="-")
    ]
    lettering.write(page.axes, lines, beside.left, beside.top)


def _letter(page: Page) -> Callable[..., object]:
    return functools.partial(page.axes.text, fontsize=SMALL, color=INK, linespacing=1.1)


def _draw_cell(page: Page, cell: Cell, left: float, y: float, width: float) -> None:
    """Draw what is predicted and, right of it, the box."""
    x, box = left + PREDICTED_WIDTH, width - PREDICTED_WIDTH - 0.6
    look: Look = {"fill": False, "edgecolor": INK, "linewidth": 0.6, "zorder": 3}
    if not cell.asked:
        look = {"facecolor": FAINT, "edgecolor": "none", "zorder": 2}
    elif cell.telling:
        look |= {"edgecolor": WINDOW, "linewidth": 2.0, "zorder": 4}
    page.axes.add_patch(Rectangle((x, y), box, BOX_HEIGHT, **look))
    if cell.asked and cell.predicted:
        page.axes.text(
            x - 0.8,
            y + BOX_HEIGHT / 2,
            cell.predicted,
            ha="right",
            va="center",
            fontsize=BODY if cell.telling else SMALL,
            weight="bold" if cell.telling else "normal",
            color=INK if cell.telling else QUIET,
        )
