"""Blocks of wood to set the gaps by, at true size."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shapes.lengths import INCH, in_both, in_mm, in_own, own_unit
from studies.answer.charts.drafting import KEEP_LOOK, solid
from studies.answer.charts.paper import lettering
from studies.answer.charts.paper.lettering import BODY
from studies.answer.charts.paper.page import Leaf, Page
from studies.answer.charts.paper.sizes import Box, Paper, SheetLayout
from studies.answer.charts.style import INK
from studies.questions.cut.study import Cutting

SHARE = 0.2
"""Of the plate gap's tolerance: what a block may be off."""
SAME = 5e-5
"""Gaps closer than this are set by one block, metres."""
WIDTH = 34.0
LABEL_HEIGHT = 15.0


@dataclass(frozen=True)
class Gauge:
    """A block: what it sets, its height (metres), how it is used, what it may be off (metres)."""

    name: str
    height: float
    use: str
    within: float


def gauges(cutting: Cutting) -> tuple[Gauge, ...]:
    """List the blocks that set this design's gaps; none where nothing hangs."""
    return tuple(_gauges(cutting))


def _gauges(cutting: Cutting) -> Iterator[Gauge]:
    assembly = cutting.assembly
    if assembly.upper is None:
        return
    within = SHARE * cutting.design.tables.tolerance.plate_gap
    one = abs(assembly.plate_gap - assembly.rim_gap) < SAME
    name = "plate gap and rim gap" if one and assembly.reflector is not None else "plate gap"
    carried = "the plate's underside" if assembly.plate is not None else "the reflector's flat"
    count = assembly.posts.count if assembly.posts is not None else 3
    yield Gauge(
        name,
        assembly.plate_gap,
        f"stands on the baffle and carries {carried} while the fixing sets; make {max(count, 3)}"
        " of them and space them evenly",
        within,
    )
    if not one:
        yield Gauge(
            "rim gap",
            assembly.rim_gap,
            "passes all round between the baffle and the reflector's base edge: it finds a tilted"
            " reflector",
            within,
        )
    rest = assembly.nearest_at_rest
    if math.isfinite(rest.gap):
        yield Gauge(
            "tip clearance",
            rest.gap,
            f"passes between the lowest point over the {rest.part} and the {rest.part} at rest,"
            f" {in_own(rest.radius)} from the axis; never press on the driver. In motion"
            f" {in_both(assembly.nearest_in_motion.gap)} is left",
            within,
        )


def gauge_sheet(cutting: Cutting, paper: Paper) -> tuple[Leaf, ...]:
    """Return the sheet with the blocks, side by side; none where nothing hangs."""
    blocks = gauges(cutting)
    if not blocks:
        return ()
    return (Leaf("Gap gauges", SheetLayout(paper), functools.partial(_draw, blocks)),)


def _draw(blocks: tuple[Gauge, ...], page: Page) -> None:
    window = page.layout.window
    texts = [f"{block.name}: {block.use}." for block in blocks]
    texts.append(
        f"Each block within {in_own(blocks[0].within)} of its height: cut it long and plane it"
        " down, or build it up from card. Heights are from the baffle's face, not from the driver's"
        " frame."
    )
    lines = lettering.dashed_list(texts, window.width)
    foot = lettering.total_height(lines) + 4
    lettering.write(page.axes, lines, window.left, window.bottom + foot - 2)
    base = window.bottom + foot
    room = window.top - base - LABEL_HEIGHT
    step = window.width / len(blocks)
    for at, block in enumerate(blocks):
        _draw_block(page, block, window.left + (at + 0.5) * step, base, room)


def _draw_block(page: Page, block: Gauge, middle: float, base: float, room: float) -> None:
    """Draw a block on its line; one that is too high for the sheet is broken."""
    height = block.height * 1e3
    true = height <= room
    shown = height if true else room
    left, right, top = middle - WIDTH / 2, middle + WIDTH / 2, base + shown
    outline = np.array([(left, base), (right, base), (right, top), (left, top)])
    solid(page.axes, outline, **KEEP_LOOK, linewidth=0.5)
    if not true:
        _draw_break(page, Box(left, base, right, top))
    _draw_label(page, block, middle, top, true)


def _by_caliper(low: float, high: float) -> str:
    """Write a range as a caliper shows it: "59.8 to 60.2 mm", "2.869 to 2.881 in"."""
    if own_unit() == "in":
        return f"{low / INCH:.3f} to {high / INCH:.3f} in"
    return f"{in_mm(low).removesuffix(' mm')} to {in_mm(high)}"


def _draw_label(page: Page, block: Gauge, middle: float, top: float, true: bool) -> None:
    ends = (block.height - block.within, block.height + block.within)
    words = (block.name, in_both(block.height), _by_caliper(*ends))
    for line, text in enumerate(reversed(words)):
        y = top + 1.5 + line * lettering.height_of(BODY)
        weight = "bold" if line else "normal"
        page.axes.text(middle, y, text, ha="center", fontsize=BODY, weight=weight, color=INK)
    scale = "TRUE SIZE" if true else "NOT TO SCALE"
    page.axes.text(
        middle, top - 2, scale, ha="center", va="top", fontsize=8, weight="bold", color=INK
    )


def _draw_break(page: Page, box: Box) -> None:
    """Cover the middle with a torn strip: the block goes on."""
    x = np.linspace(box.left - 2, box.right + 2, 25)
    tooth = np.where(np.arange(x.size) % 2, 1.0, -1.0)
    y = box.centre[1]
    page.axes.fill_between(x, y - 3 + tooth, y + 3 + tooth, color="white", zorder=4)
    for edge in (y - 3, y + 3):
        page.axes.plot(x, edge + tooth, color=INK, linewidth=0.7, zorder=5)
