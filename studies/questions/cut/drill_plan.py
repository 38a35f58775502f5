"""Where to drill: top plate and baffle from above, at true size."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shapes.assembly import Posts
from shapes.carcass import Carcass
from shapes.footprints import Footprint
from shapes.lengths import in_both
from shapes.parts import FeltBand
from studies.answer.charts.drafting import Sheet, solid
from studies.answer.charts.paper.page import Leaf
from studies.answer.charts.paper.sizes import MM_PER_POINT, Box, Paper
from studies.answer.charts.style import INK
from studies.questions.cut.study import Cutting
from studies.questions.cut.tiling import Plan, plan_leaves

DASHED, DOTTED = (0, (6, 3)), (0, (1.5, 2))
FIRST_LABEL, LABEL_STEP = 12.0, 6.5
"""Labels of circles stand below the centre mark, mm of paper."""


@dataclass(frozen=True)
class Ring:
    """A circle about the axis: its name, radius (metres), and how its line is broken."""

    name: str
    radius: float
    dash: object = "-"

    @property
    def footprint(self) -> Footprint:
        """The circle as an outline."""
        return Footprint(2 * self.radius)

    @property
    def label(self) -> str:
        """Name and diameter."""
        return f"{self.name} {in_both(2 * self.radius)}"


@dataclass(frozen=True)
class WallLine:
    """Outline of the walls under or over a board: its name, and how its line is broken."""

    name: str
    footprint: Footprint
    dash: object

    @property
    def label(self) -> str:
        """Name and width."""
        flats = "" if self.footprint.is_round else " flats"
        return f"{self.name}{flats} {in_both(self.footprint.width)}"


@dataclass(frozen=True)
class Board:
    """A board seen from above: its outline (N, 2) in mm, what is marked on it, whether posts are.

    What is marked lies about the axis: circles, and the outlines of walls. A foot carries no posts.
    """

    name: str
    outline: np.ndarray
    rings: tuple[Ring | WallLine, ...]
    posts: bool = True

    @property
    def bounds(self) -> Box:
        """What board and walls cover, mm."""
        walls = [one.footprint.corners * 1e3 for one in self.rings if isinstance(one, WallLine)]
        points = np.vstack((self.outline, *walls))
        return Box(*points.min(axis=0), *points.max(axis=0))

    @property
    def size(self) -> float:
        """How far it reaches across, mm."""
        return max(self.bounds.width, self.bounds.height)


def drill_sheets(cutting: Cutting, paper: Paper) -> Iterator[Leaf]:
    """Return top plate, baffle and foot at true size."""
    for board in boards(cutting):
        draw = functools.partial(draw_board, cutting=cutting, board=board)
        centres = cutting.post_centres if board.posts else ()
        drilled = ((0.0, 0.0), *((x * 1e3, y * 1e3) for x, y in centres))
        plan = Plan(f"Drill plan: {board.name}", board.bounds, draw, drilled)
        yield from plan_leaves(plan, paper)


def boards(cutting: Cutting) -> Iterator[Board]:
    """Yield top plate, if there is one, baffle, and foot, if there is one."""
    assembly = cutting.assembly
    plate, posts = assembly.plate, assembly.posts
    on_circle = () if posts is None else (Ring("post circle", posts.circle_radius, DOTTED),)
    if plate is not None:
        rings = (*reflector_rings(cutting), *on_circle)
        if plate.edge_radius:
            rings = (*rings, Ring("flat of the underside", plate.flat_radius, DASHED))
        rings = (*rings, *_felt_rings(assembly.plate_felt))
        yield Board("top plate", plate.footprint.corners * 1e3, rings)
    driver, column = assembly.driver, assembly.column
    rings = (Ring("frame", driver.frame_radius, DASHED), *on_circle)
    if driver.cutout_radius is not None:
        rings = (Ring("opening", driver.cutout_radius), *rings)
    rings = (*rings, *_felt_rings(assembly.baffle_felt))
    carcass = cutting.carcass
    if not carcass.baffle_let_in and column.wall is not None:
        rings = (*rings, *_walls(carcass, "below"))
    yield Board("baffle", carcass.baffle.corners * 1e3, rings)
    if carcass.foot is not None:
        outline = carcass.foot.footprint.corners * 1e3
        yield Board("foot", outline, tuple(_walls(carcass, "above")), posts=False)


def _walls(carcass: Carcass, where: str) -> Iterator[WallLine]:
    """Where the walls stand on a board."""
    yield WallLine(f"outside of walls {where},", carcass.outside, DASHED)
    yield WallLine(f"inside of walls {where},", carcass.inside, DOTTED)


def reflector_rings(cutting: Cutting) -> Iterator[Ring]:
    """Yield what is seen of the reflector from above, the smallest first."""
    reflector, spigot = cutting.assembly.reflector, cutting.making.spigot
    if reflector is None:
        return
    if spigot is not None:
        yield Ring("spigot", spigot.diameter / 2)
    yield Ring("base", reflector.base_radius)
    if reflector.widest_radius > reflector.base_radius + 1e-4:
        yield Ring("widest", reflector.widest_radius, DASHED)


def _felt_rings(felt: FeltBand | None) -> Iterator[Ring]:
    """Both edges of a ring of felt."""
    if felt is not None:
        yield Ring("felt inside", felt.inner, DOTTED)
        yield Ring("felt outside", felt.outer, DOTTED)


def draw_board(sheet: Sheet, cutting: Cutting, board: Board, *, lettered: bool = True) -> None:
    """Draw a board from above; `lettered` with its circles' names, diameters and angles."""
    scale = sheet.pt / MM_PER_POINT
    solid(sheet.axes, board.outline, facecolor="none", linewidth=0.6)
    for ring in board.rings:
        if ring.footprint.is_round:
            sheet.circle((0.0, 0.0), ring.footprint.radius * 1e3, linestyle=ring.dash)
        else:
            look = {"facecolor": "none", "linewidth": 0.6, "linestyle": ring.dash}
            solid(sheet.axes, ring.footprint.corners * 1e3, **look)
    sheet.centre_mark(0.0, 0.0, 7 * scale)
    posts = cutting.assembly.posts
    if posts is not None and board.posts:
        _draw_posts(sheet, cutting, posts, lettered=lettered)
    if lettered:
        _letter_rings(sheet, board)


def _draw_posts(sheet: Sheet, cutting: Cutting, posts: Posts, *, lettered: bool) -> None:
    scale, radius = sheet.pt / MM_PER_POINT, posts.radius * 1e3
    centres = [(x * 1e3, y * 1e3) for x, y in cutting.post_centres]
    for number, (angle, (x, y)) in enumerate(zip(cutting.post_angles, centres, strict=True), 1):
        sheet.circle((x, y), radius)
        sheet.centre_mark(x, y, max(radius * 0.8, 2.0 * scale))
        inside = posts.circle_radius * 1e3 - radius - (9 if lettered else 4.5) * scale
        name = f"P{number}"
        if lettered:
            name += f"\n{math.degrees(angle):.4g}\u00b0"
        place = (inside * math.cos(angle), inside * math.sin(angle))
        sheet.text(*place, name, fontsize=8, ha="center", va="center")
    if posts.count > 1:
        _draw_chord(sheet, posts, centres[0], centres[1], lettered=lettered)


def _draw_chord(
    sheet: Sheet,
    posts: Posts,
    first: tuple[float, float],
    second: tuple[float, float],
    *,
    lettered: bool,
) -> None:
    start, stop = np.array(first), np.array(second)
    sheet.line(tuple(np.array([start, stop])[:, 0]), tuple(np.array([start, stop])[:, 1]))
    words = f"chord {in_both(posts.chord)}" if lettered else "chord"
    # With two posts the line runs through the centre mark, which must stay free.
    x, y = start + (stop - start) * (0.25 if posts.count == 2 else 0.5)
    turn = math.degrees(math.atan2(*(start - stop)[::-1]))
    look = {"rotation": turn, "rotation_mode": "anchor"}
    sheet.text(x, y, words, fontsize=8, ha="center", va="center", **look)


def _letter_rings(sheet: Sheet, board: Board) -> None:
    """Write what each outline is right of the centre line, with a line to its left side.

    Circles stand below the centre mark, walls above it.
    """
    for side, kind in ((-1, Ring), (1, WallLine)):
        for at, ring in enumerate(one for one in board.rings if isinstance(one, kind)):
            y = side * (FIRST_LABEL + at * LABEL_STEP)
            sheet.text(8, y, ring.label, fontsize=8, ha="left", va="center", bbox=None)
            x = ring.footprint.left_at(y / 1e3) * 1e3
            if not math.isnan(x):
                sheet.line((x, 7), (y, y), linewidth=0.5)
                sheet.line((x,), (y,), marker="o", markersize=3, color=INK)
