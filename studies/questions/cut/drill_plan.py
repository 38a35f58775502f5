"""Where to drill: top plate and baffle from above, at true size, and their numbers."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shapes.assembly import Assembly, Column, Posts
from shapes.clearances import list_clearances
from shapes.lengths import in_both, in_mm
from studies.answer.charts.drafting import Sheet
from studies.answer.charts.style import INK
from studies.answer.paper import lettering
from studies.answer.paper.lettering import Line, heading, table
from studies.answer.paper.page import Leaf, Page
from studies.answer.paper.paper import MM_PER_POINT, Box, Layout, Paper
from studies.questions.cut.marks import centre_mark, circle, notes, scale_for, scale_words, solid
from studies.questions.cut.study import SIDES, Cutting
from studies.questions.cut.tiling import Plan, plan_leaves

TITLE = "Drill plan"
DASHED, DOTTED = (0, (6, 3)), (0, (1.5, 2))
FIRST_LABEL, LABEL_STEP = 12.0, 6.5
"""Labels of circles stand below the centre mark, mm of paper."""
OVERVIEW_HEIGHT = 78.0


@dataclass(frozen=True)
class Ring:
    """A circle about the axis: its name, radius (metres), and how its line is broken."""

    name: str
    radius: float
    dash: object = "-"

    @property
    def label(self) -> str:
        """Name and diameter."""
        return f"{self.name} {in_both(2 * self.radius)}"


@dataclass(frozen=True)
class Board:
    """A board seen from above: its outline (N, 2) in mm, circles about the axis."""

    name: str
    outline: np.ndarray
    rings: tuple[Ring, ...]


def drill_sheets(cutting: Cutting, paper: Paper) -> Iterator[Leaf]:
    """Return the numbers first, then top plate and baffle at true size."""
    boards = tuple(_boards(cutting))
    yield Leaf(
        f"{TITLE}: numbers",
        Layout(paper),
        functools.partial(_draw_overview, cutting, boards),
    )
    for board in boards:
        low, high = board.outline.min(axis=0), board.outline.max(axis=0)
        draw = functools.partial(_draw_board, cutting=cutting, board=board, lettered=True)
        drilled = ((0.0, 0.0), *((x * 1e3, y * 1e3) for x, y in post_centres(cutting)))
        plan = Plan(f"{TITLE}: {board.name}", Box(*low, *high), draw, drilled)
        yield from plan_leaves(plan, paper)


def post_centres(cutting: Cutting) -> list[tuple[float, float]]:
    """Middles of the posts, metres: right and up on the sheet."""
    posts = cutting.assembly.posts
    if posts is None:
        return []
    radius = posts.circle_radius
    return [(radius * math.cos(a), radius * math.sin(a)) for a in cutting.post_angles]


def _boards(cutting: Cutting) -> Iterator[Board]:
    assembly = cutting.assembly
    plate, posts = assembly.plate, assembly.posts
    on_circle = () if posts is None else (Ring("post circle", posts.circle_radius, DOTTED),)
    if plate is not None:
        rings = (*_reflector_rings(cutting), *on_circle)
        if plate.edge_radius:
            rings = (*rings, Ring("flat of the underside", plate.flat_radius, DASHED))
        yield Board("top plate", _round(plate.radius), rings)
    driver, column = assembly.driver, assembly.column
    rings = (Ring("frame", driver.frame_radius, DASHED), *on_circle)
    if driver.cutout_radius is not None:
        rings = (Ring("opening", driver.cutout_radius), *rings)
    yield Board("baffle", _column_outline(column), rings)


def _reflector_rings(cutting: Cutting) -> Iterator[Ring]:
    reflector, spigot = cutting.assembly.reflector, cutting.making.spigot
    if reflector is None:
        return
    if spigot is not None:
        yield Ring("spigot", spigot.diameter / 2)
    yield Ring("base", reflector.base_radius)
    if reflector.widest_radius > reflector.base_radius + 1e-4:
        yield Ring("widest", reflector.widest_radius, DASHED)


def _round(radius: float) -> np.ndarray:
    angles = np.linspace(0, 2 * math.pi, 721)[:-1]
    return radius * 1e3 * np.column_stack((np.cos(angles), np.sin(angles)))


def _column_outline(column: Column) -> np.ndarray:
    """Outline of the baffle; the first post points to a flat of a column with sides."""
    sides = SIDES.get(column.shape)
    if sides is None:
        return _round(column.width / 2)
    angles = math.pi / sides * (2 * np.arange(sides) + 1)
    corner = column.width * 500 / math.cos(math.pi / sides)
    return corner * np.column_stack((np.cos(angles), np.sin(angles)))


def _draw_board(sheet: Sheet, cutting: Cutting, board: Board, lettered: bool) -> None:
    scale = sheet.pt / MM_PER_POINT
    solid(sheet.axes, board.outline, facecolor="none", linewidth=0.6)
    for ring in board.rings:
        circle(sheet, (0.0, 0.0), ring.radius * 1e3, linestyle=ring.dash)
    centre_mark(sheet, 0.0, 0.0, 7 * scale)
    posts = cutting.assembly.posts
    if posts is not None:
        _draw_posts(sheet, cutting, posts, lettered)
    if lettered:
        _letter_rings(sheet, board)


def _draw_posts(sheet: Sheet, cutting: Cutting, posts: Posts, lettered: bool) -> None:
    scale, radius = sheet.pt / MM_PER_POINT, posts.radius * 1e3
    centres = [(x * 1e3, y * 1e3) for x, y in post_centres(cutting)]
    for number, (x, y) in enumerate(centres, start=1):
        circle(sheet, (x, y), radius)
        centre_mark(sheet, x, y, max(radius * 0.8, 2.0 * scale))
        angle = cutting.post_angles[number - 1]
        inside = posts.circle_radius * 1e3 - radius - (9 if lettered else 4.5) * scale
        name = f"P{number}"
        if lettered:
            name += f"\n{math.degrees(angle):.4g}\u00b0"
        place = (inside * math.cos(angle), inside * math.sin(angle))
        sheet.text(*place, name, fontsize=8, ha="center", va="center")
    if posts.count > 1:
        _draw_chord(sheet, posts, centres[0], centres[1], lettered)


def _draw_chord(
    sheet: Sheet,
    posts: Posts,
    first: tuple[float, float],
    second: tuple[float, float],
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
    """Write what each circle is right of the centre line, with a line to its left side."""
    for at, ring in enumerate(board.rings):
        y = -(FIRST_LABEL + at * LABEL_STEP)
        sheet.text(8, y, ring.label, fontsize=8, ha="left", va="center", bbox=None)
        radius = ring.radius * 1e3
        if radius > -y:
            x = -math.sqrt(radius**2 - y**2)
            sheet.line((x, 7), (y, y), linewidth=0.5)
            sheet.line((x,), (y,), marker="o", markersize=3, color=INK)


def _draw_overview(cutting: Cutting, boards: tuple[Board, ...], page: Page) -> None:
    window = page.layout.window
    width = window.width / len(boards)
    size = max(float(np.ptp(board.outline, axis=0).max()) for board in boards)
    scale = scale_for(size, size, window.width / 2 - 6, OVERVIEW_HEIGHT - 8)
    foot = window.top - OVERVIEW_HEIGHT
    for at, board in enumerate(boards):
        left = window.left + at * width
        box = Box(left, foot, left + width, window.top - 6)
        sheet = page.drawing(box, (0.0, 0.0), scale)
        _draw_board(sheet, cutting, board, lettered=False)
        words = f"{board.name}, seen from above: {scale_words(scale)}"
        page.axes.text(left + width / 2, window.top, words, ha="center", va="top", fontsize=8)
    lettering.write(page.axes, _lines(cutting, window.width), window.left, foot)


def _lines(cutting: Cutting, width: float) -> list[Line]:
    assembly = cutting.assembly
    return [
        *table(("", "dimension"), _dimensions(cutting), width, left=(0, 1)),
        *heading("Does it clash?", width),
        *table(("", "room", ""), _rooms(assembly), width, left=(0, 1, 2)),
        Line(2.0),
        *notes(tuple(_notes(cutting)), width),
    ]


def _dimensions(cutting: Cutting) -> Iterator[tuple[str, str]]:
    assembly = cutting.assembly
    posts, driver = assembly.posts, assembly.driver
    if posts is not None:
        angles = ", ".join(f"{math.degrees(a):.4g}" for a in cutting.post_angles)
        yield "post circle, diameter", in_both(2 * posts.circle_radius)
        yield "posts at, degrees", angles
        if posts.count > 1:
            law = f"circle x sin(180/{posts.count})"
            yield f"chord between neighbours ({law})", in_both(posts.chord)
        yield "drill", in_both(2 * posts.radius)
        yield "socket in the plate, from below", _depth(posts.socket_plate)
        yield "socket in the baffle", _depth(posts.socket_baffle)
    yield "driver's frame", in_both(2 * driver.frame_radius)
    if driver.cutout_radius is not None:
        yield "driver's opening", in_both(2 * driver.cutout_radius)
    for ring in _reflector_rings(cutting):
        yield f"reflector's {ring.name}", in_both(2 * ring.radius)
    if cutting.making.spigot is not None:
        yield "spigot, depth in the reflector", in_both(cutting.making.spigot.depth)


def _depth(socket: float) -> str:
    return f"{in_both(socket)} deep" if socket else "none given: fix the posts by screws"


def _rooms(assembly: Assembly) -> Iterator[tuple[str, str, str]]:
    """Distances on plate and baffle; the gaps have a sheet of their own."""
    wanted = ("frame to", "posts to")
    for row in list_clearances(assembly):
        if row.name.startswith(wanted):
            yield row.name, in_both(row.value_m), row.note


def _notes(cutting: Cutting) -> Iterator[str]:
    assembly = cutting.assembly
    driver, posts = assembly.driver, assembly.posts
    inside = "the cone" if driver.cutout_radius is None else "the opening"
    flange = driver.frame_radius - (driver.cutout_radius or driver.effective_radius)
    bolts = (
        "Driver's bolt circle: not known here; measure it on the driver. Bolts belong on the flange"
        f" between {inside} and the frame's edge, {in_both(flange)} wide"
    )
    if posts is not None:
        free = posts.inner_radius - driver.frame_radius
        bolts += (
            f"; between the frame and the posts a ring of {in_both(free)} is free. Turn the driver"
            " so that no bolt, washer or screwdriver meets a post"
        )
    yield f"{bolts}."
    if posts is not None:
        yield (
            "Plate and baffle have the same post circle and each plan is its own mirror image:"
            " drill both with one plan, or both boards clamped together for the centre marks."
        )
        if posts.socket_baffle >= cutting.making.column_wall:
            yield (
                f"THROUGH THE BAFFLE: its sockets are {in_both(posts.socket_baffle)} deep, the"
                f" baffle is {in_both(cutting.making.column_wall)} thick. Glue a block under it at"
                " each post."
            )
    if driver.cutout_radius is None:
        yield "Driver's opening: not given in the design; measure the driver's basket."
    if assembly.reflector is not None and assembly.plate is not None:
        yield _fixing(cutting)


def _fixing(cutting: Cutting) -> str:
    spigot = cutting.making.spigot
    if spigot is None:
        return (
            "Reflector: the design gives no spigot; screw it through the plate's centre mark, and"
            " never hang a heavy one on glue alone."
        )
    return (
        f"Reflector: its spigot hole is {in_both(spigot.diameter)} across and"
        f" {in_mm(spigot.depth)} deep, in the middle; drill the plate's centre to match."
    )
