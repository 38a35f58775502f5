"""A drawing at true size over as many sheets as it takes: tiles, seams, registration crosses."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from shapes.lengths import in_own, own_unit
from studies.answer.charts.drafting import Sheet, solid
from studies.answer.charts.paper import lettering
from studies.answer.charts.paper.lettering import SMALL
from studies.answer.charts.paper.page import Leaf, Page
from studies.answer.charts.paper.sizes import Box, Paper, ShedError, SheetLayout
from studies.answer.charts.style import FAINT, INK, QUIET, Look

OVERLAP = 10.0
"""Neighbouring sheets show this strip both, mm."""
MOST = 5
"""Sheets side by side and one above the other: more of them are not glued together truly."""
BORDER = 1.5
CROSS = 4.0
FROM_CORNER = 18.0
"""How far from a tile's corner the crosses stand on a seam, mm."""
CLEAR, SIDESTEP = 25.0, 5.0
"""How far they keep from points to be drilled, and by what steps they give way, mm."""
GRIDS = {"mm": 1.0, "in": 25.4 / 8}
"""Crosses stand on whole millimetres, or eighths of an inch."""


@dataclass(frozen=True)
class Plan:
    """A drawing at true size.

    Attributes
    ----------
    title : str
    bounds : Box
        What it covers, mm.
    draw : callable
        Draws all of it; a sheet shows what lies in its window.
    taken : tuple of (float, float)
        Points to be drilled, mm: registration crosses keep away from them.
    about : str
        Written below the drawing where it takes one sheet only.
    """

    title: str
    bounds: Box
    draw: Callable[[Sheet], None]
    taken: tuple[tuple[float, float], ...] = ()
    about: str = ""


@dataclass(frozen=True)
class Tile:
    """One sheet of a tiled drawing: its name (row letter, column number) and what it shows, mm."""

    name: str
    row: int
    column: int
    window: Box


@dataclass(frozen=True)
class Tiling:
    """How a drawing is shared out over sheets of one layout.

    Attributes
    ----------
    layout : SheetLayout
    rows, columns : int
    left, top : float
        Where the first tile begins, mm of the drawing.
    taken : tuple of (float, float)
        Where no cross may stand, mm.
    """

    layout: SheetLayout
    rows: int
    columns: int
    left: float
    top: float
    taken: tuple[tuple[float, float], ...]

    @property
    def count(self) -> int:
        """Number of sheets."""
        return self.rows * self.columns

    @property
    def tiles(self) -> tuple[Tile, ...]:
        """All sheets, row by row from the top."""
        return tuple(
            Tile(f"{chr(ord('A') + row)}{column + 1}", row, column, self._window(row, column))
            for row in range(self.rows)
            for column in range(self.columns)
        )

    @property
    def upright_seams(self) -> tuple[float, ...]:
        """Where neighbours left and right meet, mm, on the grid in their common strip."""
        step = self.layout.window.width - OVERLAP
        return tuple(on_grid(self.left + OVERLAP / 2 + step * at) for at in range(1, self.columns))

    @property
    def level_seams(self) -> tuple[float, ...]:
        """Where neighbours above and below meet, mm, on the grid."""
        step = self.layout.window.height - OVERLAP
        return tuple(on_grid(self.top - OVERLAP / 2 - step * at) for at in range(1, self.rows))

    @property
    def crosses(self) -> tuple[tuple[float, float], ...]:
        """Registration crosses on the grid of the drawing, mm: two on each side of two sheets."""
        found: list[tuple[float, float]] = []
        for x in self.upright_seams:
            for row in range(self.rows):
                window = self._window(row, 0)
                ends = ((window.bottom + FROM_CORNER, 1), (window.top - FROM_CORNER, -1))
                found += [self._clear((x, on_grid(y)), (0, way)) for y, way in ends]
        for y in self.level_seams:
            for column in range(self.columns):
                window = self._window(0, column)
                ends = ((window.left + FROM_CORNER, 1), (window.right - FROM_CORNER, -1))
                found += [self._clear((on_grid(x), y), (way, 0)) for x, way in ends]
        return tuple(found)

    def _clear(self, cross: tuple[float, float], way: tuple[int, int]) -> tuple[float, float]:
        """Move a cross along its seam, inwards, until it is clear of points to be drilled."""
        x, y = map(float, cross)
        for _ in range(int(4 * CLEAR / SIDESTEP)):
            if all(math.dist((x, y), point) >= CLEAR for point in self.taken):
                break
            x, y = x + way[0] * on_grid(SIDESTEP), y + way[1] * on_grid(SIDESTEP)
        return x, y

    def _window(self, row: int, column: int) -> Box:
        window = self.layout.window
        left = self.left + column * (window.width - OVERLAP)
        top = self.top - row * (window.height - OVERLAP)
        return Box(left, top - window.height, left + window.width, top)


def on_grid(at: float) -> float:
    """Return the nearest place on the grid of crosses, mm."""
    grid = GRIDS[own_unit()]
    return round(at / grid) * grid


def tiling(plan: Plan, paper: Paper) -> Tiling:
    """Share a drawing out over the fewest sheets, upright where it makes no difference.

    Raises
    ------
    ShedError
        If it takes more than `MOST` sheets by `MOST`.
    """
    choices = [_shared(plan, SheetLayout(paper, lying)) for lying in (False, True)]
    fitting = [tiles for tiles in choices if max(tiles.rows, tiles.columns) <= MOST]
    if not fitting:
        best = min(choices, key=lambda tiles: tiles.count)
        raise ShedError(
            f"{plan.title} at true size needs {best.columns} x {best.rows} = {best.count} sheets of"
            f" {paper.name}, and more than {MOST} x {MOST} cannot be joined truly: take larger"
            " paper (--paper a3, tabloid or a2), or --paper none and the DXF"
        )
    return min(fitting, key=lambda tiles: tiles.count)


def _shared(plan: Plan, layout: SheetLayout) -> Tiling:
    bounds, window = plan.bounds.grown(BORDER), layout.window
    columns, rows = _needed(bounds.width, window.width), _needed(bounds.height, window.height)
    x, y = bounds.centre
    width = columns * (window.width - OVERLAP) + OVERLAP
    height = rows * (window.height - OVERLAP) + OVERLAP
    return Tiling(layout, rows, columns, x - width / 2, y + height / 2, plan.taken)


def _needed(size: float, window: float) -> int:
    return max(1, math.ceil((size - OVERLAP) / (window - OVERLAP) - 1e-9))


def plan_leaves(plan: Plan, paper: Paper) -> Iterator[Leaf]:
    """Return the sheets of one drawing at true size."""
    tiles = tiling(plan, paper)
    for tile in tiles.tiles:
        many = tiles.count > 1
        title = f"{plan.title}, part {tile.name}, true size" if many else f"{plan.title}, true size"
        yield Leaf(title, tiles.layout, functools.partial(_draw_tile, plan, tiles, tile))


def _draw_tile(plan: Plan, tiles: Tiling, tile: Tile, page: Page) -> None:
    window = page.layout.window
    sheet = page.drawing(window, tile.window.centre)
    plan.draw(sheet)
    if tiles.count == 1:
        beside = page.layout.notes
        lines = lettering.paragraph(plan.about, beside.width)
        lettering.write(page.axes, lines, beside.left, beside.top)
        return
    solid(page.axes, window.corners, facecolor="none", edgecolor=FAINT)
    _draw_seams(sheet, tiles, tile)
    _letter_tile(sheet, tiles, tile)
    _draw_key(page, tiles, tile)


def _letter_tile(sheet: Sheet, tiles: Tiling, tile: Tile) -> None:
    """Write the sheet's name into its outer corner, away from the middle of the drawing."""
    box, across, down = tile.window, OVERLAP + 4, FROM_CORNER + 8
    at_right, at_foot = 2 * tile.column >= tiles.columns, 2 * tile.row >= tiles.rows
    look: Look = {"ha": "right" if at_right else "left", "va": "bottom" if at_foot else "top"}
    x = box.right - across if at_right else box.left + across
    y = box.bottom + down if at_foot else box.top - down
    sheet.text(x, y, tile.name, fontsize=16, color=QUIET, bbox=None, **look)


def _draw_seams(sheet: Sheet, tiles: Tiling, tile: Tile) -> None:
    box, look = tile.window, {"linestyle": (0, (6, 4)), "linewidth": 0.6, "color": QUIET}
    for x in tiles.upright_seams:
        sheet.line((x, x), (box.bottom, box.top), **look)
    for y in tiles.level_seams:
        sheet.line((box.left, box.right), (y, y), **look)
    for x, y in tiles.crosses:
        if box.holds(x, y):
            sheet.line((x - CROSS, x + CROSS), (y, y), color=INK, linewidth=0.9)
            sheet.line((x, x), (y - CROSS, y + CROSS), color=INK, linewidth=0.9)
            _letter_cross(sheet, box, x, y)


def _letter_cross(sheet: Sheet, box: Box, x: float, y: float) -> None:
    """Write where a cross stands on the sides that lie further inside the sheet."""
    inside = 1.0 if x < box.centre[0] else -1.0
    above = 1.0 if y < box.centre[1] else -1.0
    sheet.text(
        x + inside * (CROSS + 2),
        y + above * CROSS,
        ", ".join(in_own(at * 1e-3, 0).removesuffix(f" {own_unit()}") for at in (x, y)),
        fontsize=SMALL,
        ha="left" if inside > 0 else "right",
        va="center",
    )


def _draw_key(page: Page, tiles: Tiling, tile: Tile) -> None:
    """Draw which sheet lies where, this one shaded, and write how they are joined."""
    notes = page.layout.notes
    joining = (
        f"Lay cross on cross: neighbours share a strip {in_own(OVERLAP * 1e-3, 0)} wide. Cut one of"
        f" them on the dashed line. Beside each cross: {own_unit()} right of and above the"
        " drawing's own zero."
    )
    size = min(32.0 / tiles.columns, 32.0 / tiles.rows, 12.0)
    left, top = notes.left, notes.top
    for other in tiles.tiles:
        x, y = left + other.column * size, top - (other.row + 1) * size
        own = other == tile
        box = Box(x, y, x + size, y + size)
        solid(page.axes, box.corners, facecolor=INK if own else "white")
        page.axes.text(
            *box.centre,
            other.name,
            ha="center",
            va="center",
            fontsize=SMALL,
            color="white" if own else INK,
        )
    if page.layout.lying:
        lines = lettering.paragraph(joining, notes.width, SMALL)
        lettering.write(page.axes, lines, left, top - tiles.rows * size - 3)
    else:
        x = left + tiles.columns * size + 4
        lines = lettering.paragraph(joining, notes.right - x, SMALL)
        lettering.write(page.axes, lines, x, top)
