"""The card that goes to the saw: a ball and its cut, or the dimensions of another reflector."""

from __future__ import annotations

import functools
import math

import numpy as np

from shapes.lengths import in_both, in_degrees, in_own, other_unit, own_unit
from shapes.reflector import Reflector, WorkshopFact
from shapes.templates import full_section
from studies.answer.charts.drafting import (
    KEEP_LOOK,
    WASTE_LOOK,
    Sheet,
    scale_for,
    scale_words,
    solid,
)
from studies.answer.charts.paper import lettering
from studies.answer.charts.paper.page import Leaf, Page
from studies.answer.charts.paper.sizes import Box, Paper, SheetLayout
from studies.answer.charts.style import INK, WINDOW, Look
from studies.answer.columns import both_short, keep_ratio_in_words
from studies.questions.cut.ball_cut import BallCut
from studies.questions.cut.study import Cutting

FIGURES_WIDTH = 68.0
LANES, RIGHT = 28.0, 27.0
"""Room for the upright dimensions beside a drawing, mm of paper."""
CARD_HEIGHT = 108.0
CHORD_ERROR = 2e-5
RING_WALL = 4.0
BULGE = 1e-4
"""A profile that reaches further beyond its base than this (metres) is said to be wider."""


def trim_card(cutting: Cutting, paper: Paper) -> tuple[Leaf, ...]:
    """Return the card of the reflector; none where there is none."""
    layout = SheetLayout(paper)
    if cutting.ball is not None:
        draw = functools.partial(_draw_ball_card, cutting.ball)
        return (Leaf("Trim card", layout, draw),)
    reflector = cutting.assembly.reflector
    if reflector is None:
        return ()
    draw = functools.partial(_draw_dimension_card, reflector, cutting)
    return (Leaf("Dimension card", layout, draw),)


def _draw_ball_card(ball: BallCut, page: Page) -> None:
    window = page.layout.window
    beside = page.layout.notes
    ring_lines = lettering.dashed_list(_ring_notes(ball), beside.width)
    lettering.write(page.axes, ring_lines, beside.left, beside.top)
    lines = lettering.dashed_list(_saw_notes(ball), window.width)
    foot, middle = window.bottom + lettering.total_height(lines), window.top - CARD_HEIGHT
    lettering.write(page.axes, lines, window.left, foot)
    column = window.right - FIGURES_WIDTH
    _draw_ball(page, Box(window.left, middle, column - 4, window.top), ball, kept_down=True)
    sizes = lettering.named_values(_ball_figures(ball), FIGURES_WIDTH)
    lettering.write(page.axes, sizes, column, window.top)
    half = window.left + window.width * 0.45
    _draw_ball(page, Box(window.left, foot + 2, half, middle), ball, kept_down=False)
    _draw_kerf(page, Box(half + 6, foot + 2, window.right, middle), ball)


def _ball_figures(ball: BallCut) -> list[tuple[str, str]]:
    near, far = ball.blade
    down, up = (ball.above_ring(ball.keep, kept_down=side) for side in (True, False))
    return [
        ("ball diameter, as measured", in_both(ball.diameter)),
        ("KEEP: from the kept pole to the flat", in_both(ball.keep)),
        ("CUT OFF: from the flat to the other pole", in_both(ball.cut_off)),
        ("BASE DIAMETER: the check, across the flat", in_both(ball.base_diameter)),
        ("rim slope, above the flat", in_degrees(ball.rim_slope)),
        ("saw blade, from the kept pole", _range(near, far)),
        ("jig ring, inner diameter", in_both(ball.ring.inner_diameter)),
        ("flat above the ring's top, kept pole down", in_both(down)),
        ("flat above the ring's top, kept pole up", in_both(up)),
    ]


def _saw_notes(ball: BallCut) -> list[str]:
    ratio = keep_ratio_in_words(ball.base_per_keep)
    said = [
        "Mark from the kept pole, never from the other one: the ball may not have the size it is"
        f" sold by. Saw on the waste side, leaving {in_both(ball.sanding)} on the kept piece; then"
        f" sand down to the flat and measure the base diameter: {in_both(ball.base_diameter)}.",
        f"{ratio[0].upper()}{ratio[1:]}: sand a little, measure, sand again.",
    ]
    if ball.blade[1] >= ball.diameter:
        said.append("Saw and sanding take all of the waste: sand or plane it off, do not saw.")
    return said


def _ring_notes(ball: BallCut) -> list[str]:
    near, _ = ball.blade
    said = [
        "Jig ring: a ball of radius R in a ring of inner radius q lies R - sqrt(R x R - q x q)"
        f" below the ring's top. Here R {in_own(ball.diameter / 2)},"
        f" q {in_own(ball.ring.inner_diameter / 2)}: {in_both(ball.ring.sunk)}.",
        "Blade above the ring's top, with what is left for sanding: kept pole down, its lower face"
        f" {in_both(ball.above_ring(near, kept_down=True))}; kept pole up, its upper face"
        f" {in_both(ball.above_ring(near, kept_down=False))}.",
    ]
    if ball.spread:
        others = "; ".join(
            f"{in_both(other.diameter)}: cut off {in_both(other.cut_off)},"
            f" base {in_both(other.base_diameter)}"
            for other in ball.spread
        )
        said.append(f"The ball is not round. The same keep where it measures {others}.")
    return said


def _draw_ball(page: Page, box: Box, ball: BallCut, *, kept_down: bool) -> None:
    """Draw the ball in its jig ring with its cut; all dimensions only with the kept pole down."""
    left, head, foot = (LANES, 17.0, 20.0) if kept_down else (4.0, 13.0, 12.0)
    size = ball.diameter * 1e3
    scale = scale_for(size, size, box.width - left - RIGHT, box.height - head - foot)
    radius, ring_top = size / 2, -size / 2 + ball.ring.sunk * 1e3
    centre = ((RIGHT - left) / 2 * scale, (head - foot) / 2 * scale)
    sheet = page.drawing(box, centre, scale)
    cut = -radius + ball.keep * 1e3 if kept_down else radius - ball.keep * 1e3
    _fill_caps(sheet, radius, cut, kept_down=kept_down)
    ring_foot = _draw_ring(sheet, ball, ring_top, scale)
    _letter_pieces(sheet, radius, cut, kept_down=kept_down)
    _mark_pole(sheet, radius, min(ring_foot, -radius), kept_down=kept_down)
    _dimension_right(sheet, ball, radius, (ring_top, cut), kept_down=kept_down)
    if kept_down:
        _dimension_ball(sheet, ball, radius, cut)
    words = scale_words(scale) if kept_down else f"The other way up: {scale_words(scale)}"
    page.axes.text(box.left, box.top - 1, words, va="top", fontsize=8, weight="bold")


def _fill_caps(sheet: Sheet, radius: float, cut: float, *, kept_down: bool) -> None:
    """Fill the ball below and above the height of the cut."""
    rim = math.asin(cut / radius)
    below = np.linspace(-math.pi - rim, rim, 241)
    above = np.linspace(rim, math.pi - rim, 241)
    looks = (KEEP_LOOK, WASTE_LOOK) if kept_down else (WASTE_LOOK, KEEP_LOOK)
    for angles, look in zip((below, above), looks, strict=True):
        outline = radius * np.column_stack((np.cos(angles), np.sin(angles)))
        solid(sheet.axes, outline, **look)


def _draw_ring(sheet: Sheet, ball: BallCut, top: float, scale: float) -> float:
    """Draw both walls of the ring; return the height of its foot, mm."""
    inner, wall = ball.ring.inner_diameter * 500, RING_WALL * scale
    foot = top - max(8 * scale, ball.ring.sunk * 1e3 + 2 * scale)
    for side in (-1, 1):
        x0, x1 = side * inner, side * (inner + wall)
        outline = np.array([(x0, foot), (x1, foot), (x1, top), (x0, top)])
        solid(sheet.axes, outline, facecolor="white", hatch="////", zorder=1)
    return foot


def _letter_pieces(sheet: Sheet, radius: float, cut: float, *, kept_down: bool) -> None:
    """Write KEEP and WASTE into their pieces, or beside a piece that is too thin."""
    names = ("KEEP", "WASTE") if kept_down else ("WASTE", "KEEP")
    for low, high, name in zip((-radius, cut), (cut, radius), names, strict=True):
        size, look = (12.0 if high - low > 20 * sheet.pt else 8.0), {"ha": "center"}
        x = 0.0
        if high - low < 10 * sheet.pt:
            x, look = -radius * 0.55, {"ha": "right"}
        middle = (low + high) / 2
        sheet.text(x, middle, name, fontsize=size, fontweight="bold", va="center", **look)


def _mark_pole(sheet: Sheet, radius: float, foot: float, *, kept_down: bool) -> None:
    """Point an arrow at the kept pole, its words beyond the ring."""
    pole = -radius if kept_down else radius
    tail = foot - 5 * sheet.pt if kept_down else radius + 15 * sheet.pt
    look = {"arrowstyle": "-|>", "color": WINDOW, "linewidth": 1.4, "shrinkA": 0, "shrinkB": 0}
    sheet.axes.annotate("", xy=(0, pole), xytext=(0, tail), arrowprops=look, zorder=9)
    if kept_down:
        words = {"ha": "center", "va": "top"}
        sheet.text(0, tail - 3 * sheet.pt, "kept pole: mark from here", fontsize=8, **words)
    else:
        sheet.text(6 * sheet.pt, tail, "kept pole", fontsize=8, ha="left", va="top")


def _dimension_ball(sheet: Sheet, ball: BallCut, radius: float, cut: float) -> None:
    x, rim = -radius - 12 * sheet.pt, ball.base_diameter * 500
    spans = (("KEEP", -radius, cut, ball.keep), ("CUT OFF", cut, radius, ball.cut_off))
    for end, start in ((-radius, 0.0), (cut, -rim), (radius, 0.0)):
        sheet.line((start, x - 4 * sheet.pt), (end, end), linewidth=0.5)
    for name, low, high, size in spans:
        _upright(sheet, x, (low, high))
        text = f"{name}\n{_two_lines(size)}"
        sheet.text(x - 4 * sheet.pt, (low + high) / 2, text, ha="right", va="center", fontsize=8)
    words = f"base {in_both(ball.base_diameter)}"
    sheet.level(radius + 16 * sheet.pt, rim, words, cut)


def _dimension_right(
    sheet: Sheet, ball: BallCut, radius: float, z: tuple[float, float], *, kept_down: bool
) -> None:
    """Dimension the flat's height above the ring."""
    x, edge = radius + 8 * sheet.pt, ball.ring.inner_diameter * 500
    for end, start in zip(z, (edge, ball.base_diameter * 500), strict=True):
        sheet.line((start, x + 4 * sheet.pt), (end, end), linewidth=0.5)
    _upright(sheet, x, z)
    above = _two_lines(ball.above_ring(ball.keep, kept_down=kept_down))
    text = f"flat above\nring's top\n{above}"
    sheet.text(x + 4 * sheet.pt, sum(z) / 2, text, ha="left", va="center", fontsize=8)


def _upright(sheet: Sheet, x: float, z: tuple[float, float]) -> None:
    """Draw an upright dimension line, a stroke at either end."""
    stroke = 3 * sheet.pt
    sheet.line((x, x), z, color=INK)
    for end in z:
        look = {"color": INK, "linewidth": 1.2}
        sheet.line((x - stroke, x + stroke), (end - stroke, end + stroke), **look)


def _range(low: float, high: float) -> str:
    (low_own, low_other), (high_own, high_other) = (_apart(size) for size in (low, high))
    return f"{low_own} to {high_own} {own_unit()} ({low_other} to {high_other} {other_unit()})"


def _apart(length: float) -> tuple[str, str]:
    """A length in both systems, without units."""
    own, other = both_short(length * 1e3).removesuffix(")").split(" (")
    return own, other


def _two_lines(length: float) -> str:
    return in_both(length).replace(" (", "\n(")


def _draw_kerf(page: Page, box: Box, ball: BallCut) -> None:
    """Show, far enlarged, what lies between the kept piece and the waste."""
    dotted, plain = ({"facecolor": "white", "hatch": hatch} for hatch in ("....", ""))
    bands = (
        ("KEEP: its finished flat lies on the red line", 9.0, KEEP_LOOK, ""),
        ("left on for sanding", 6.5, dotted, in_both(ball.sanding)),
        ("kerf: the blade runs here", 6.5, plain, in_both(ball.kerf)),
        ("WASTE", 9.0, WASTE_LOOK, ""),
    )
    words = "At the cut, which side the saw takes: NOT TO SCALE"
    page.axes.text(box.left, box.top - 1, words, va="top", fontsize=8, weight="bold")
    sheet = page.drawing(Box(box.left, box.bottom, box.right, box.top - 5), (48.0, 15.5))
    y = 0.0
    for name, height, look, size in bands:
        outline = np.array([(8, y), (30, y), (30, y + height), (8, y + height)])
        solid(sheet.axes, outline, **look)
        words = f"{name}, {size}" if size else name
        sheet.text(33, y + height / 2, words, ha="left", va="center", fontsize=8)
        y += height
    sheet.line((5, 33), (9.0, 9.0), color=WINDOW, linewidth=1.6)


def _draw_dimension_card(reflector: Reflector, cutting: Cutting, page: Page) -> None:
    window = page.layout.window
    middle, column = window.top - CARD_HEIGHT, window.right - FIGURES_WIDTH
    box = Box(window.left, middle, column - 4, window.top)
    _draw_section(page, box, reflector)
    rows = [(fact.name, _value(fact)) for fact in _facts(reflector)]
    values = lettering.named_values(rows, FIGURES_WIDTH)
    bottom = lettering.write(page.axes, values, column, window.top)
    lines = lettering.dashed_list(_dimension_notes(cutting, reflector), window.width)
    lettering.write(page.axes, lines, window.left, min(bottom, middle) - 2)


def _facts(reflector: Reflector) -> tuple[WorkshopFact, ...]:
    """Return the reflector's facts, with the angles at rim and tip if they are not among them."""
    given = {fact.name for fact in reflector.facts}
    more: tuple[WorkshopFact, ...] = (
        WorkshopFact("tip slope", reflector.tip_slope, "angle"),
        WorkshopFact("rim slope", reflector.rim_slope, "angle"),
    )
    if reflector.widest_radius > reflector.base_radius + BULGE:
        more = (WorkshopFact("widest diameter", 2 * reflector.widest_radius, "length"), *more)
    return (*reflector.facts, *(fact for fact in more if fact.name not in given))


def _value(fact: WorkshopFact) -> str:
    return in_degrees(fact.value) if fact.unit == "angle" else in_both(fact.value)


def _draw_section(page: Page, box: Box, reflector: Reflector) -> None:
    outline = full_section(reflector).points(CHORD_ERROR) * 1e3
    half, height = reflector.widest_radius * 1e3, reflector.height * 1e3
    scale = scale_for(2 * half, height, box.width - LANES - 6, box.height - 24)
    sheet = page.drawing(box, (-LANES / 2 * scale, -height / 2 + 4 * scale), scale)
    solid(sheet.axes, outline, **KEEP_LOOK)
    base = reflector.base_radius * 1e3
    sheet.level(16 * sheet.pt, base, f"base {in_both(2 * reflector.base_radius)}", 0.0)
    sheet.upright(-half - 14 * sheet.pt, (-height, 0.0), "height", (0.0, -base), "down")
    style: Look = {"linestyle": (0, (12, 3, 2, 3)), "zorder": 4}
    sheet.line((0.0, 0.0), (-height - 6 * sheet.pt, 8 * sheet.pt), **style)
    look: Look = {"va": "top", "fontsize": 8, "weight": "bold"}
    page.axes.text(box.left, box.top - 1, scale_words(scale), **look)


def _dimension_notes(cutting: Cutting, reflector: Reflector) -> list[str]:
    said = [
        "All angles are given, because one alone is easily taken for another: slopes are above the"
        " flat, a half angle is between the axis and the side.",
        f"Check: the flat is {in_both(2 * reflector.base_radius)} across and the tip lies"
        f" {in_both(reflector.height)} from it. Hold the male and female templates against it.",
    ]
    spigot = cutting.making.spigot
    if spigot is not None:
        said.append(
            f"Hole in the middle of the flat: {in_both(spigot.diameter)} across,"
            f" {in_both(spigot.depth)} deep."
        )
    return said
