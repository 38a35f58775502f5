"""Where the meter stands: from the side and from above, on the screen and on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from shapes.assembly import Assembly
from shapes.parts import post_angles
from studies.answer.charts.drafting import Sheet
from studies.answer.charts.style import FAINT, INK, QUIET, WIDTH_IN, WINDOW, Look, in_common_style

COLUMN_LOOK: Look = {"facecolor": "#efe2cc", "edgecolor": INK, "linewidth": 0.7, "zorder": 3}
HEIGHT_IN = 5.2
LABEL_PT = 13.0
POST_LABEL = math.radians(20.0)
"""How far beside a post its name stands."""


@dataclass(frozen=True)
class Mark:
    """A place of the meter: its number in the plan, distance, height (m), azimuth (degrees)."""

    number: int
    r: float
    height: float
    azimuth_deg: float


@in_common_style
def places_figure(
    title: str,
    assembly: Assembly,
    marks: Sequence[Mark],
    size_in: tuple[float, float] = (WIDTH_IN, HEIGHT_IN),
) -> Figure:
    """Draw from the side and from above where the meter stands.

    Parameters
    ----------
    title : str
    assembly : Assembly
    marks : sequence of Mark
    size_in : (float, float)
        Width and height, inches.
    """
    width_in, height_in = size_in
    figure = Figure(figsize=size_in)
    figure.text(0.012, 0.985, title, fontsize=12, va="top")
    figure.text(
        0.03, 0.91, "from the side: mm from the axis, mm above the floor", fontsize=10.5, va="top"
    )
    figure.text(0.62, 0.91, "from above: where round the column", fontsize=10.5, va="top")
    for side, place in ((True, (0.02, 0.02, 0.56, 0.85)), (False, (0.6, 0.02, 0.39, 0.85))):
        axes = figure.add_axes(place)
        room = (place[2] * width_in * 72, place[3] * height_in * 72)
        sheet = sheet_for(axes, assembly, marks, room, side)
        (draw_side if side else draw_above)(sheet, assembly, marks)
    return figure


def sheet_for(
    axes: Axes,
    assembly: Assembly,
    marks: Sequence[Mark],
    room_pt: tuple[float, float],
    side: bool,
) -> Sheet:
    """Fit one of the two drawings into axes of so many points."""
    axes.set_axis_off()
    width_pt, height_pt = room_pt
    widest = assembly.column.radius * 1e3
    most_r = max(mark.r for mark in marks) * 1e3
    if side:
        low = -20.0
        top = max(assembly.column.height + assembly.plate_gap, *(m.height for m in marks)) * 1e3
        span = (most_r + widest, top - low)
        room = (width_pt - 13 * LABEL_PT, height_pt - 2.5 * LABEL_PT)
        scale = max(span[0] / room[0], span[1] / room[1])
        left = -widest - 2 * LABEL_PT * scale
        axes.set_xlim(left, left + width_pt * scale)
        axes.set_ylim(low - LABEL_PT * scale, low + (height_pt - LABEL_PT) * scale)
        return Sheet(axes, scale)
    reach = _reach_from_above(assembly)
    scale = 2 * reach / min(width_pt - 11 * LABEL_PT, height_pt - 2 * LABEL_PT)
    axes.set_xlim(-width_pt * scale / 2, width_pt * scale / 2)
    axes.set_ylim(-height_pt * scale / 2, height_pt * scale / 2)
    return Sheet(axes, scale)


def draw_side(sheet: Sheet, assembly: Assembly, marks: Sequence[Mark]) -> None:
    """Draw the column on its floor, and each place with its number and height."""
    ring, base = assembly.height_of_ring * 1e3, assembly.column.height * 1e3
    for line in (assembly.lower_line, assembly.upper_line):
        if len(line):
            outline = line * 1e3 + (0.0, base)
            mirrored = outline[::-1] * (-1.0, 1.0)
            sheet.axes.add_patch(Polygon(np.vstack((outline, mirrored)), **COLUMN_LOOK))
    left, right = sheet.axes.get_xlim()
    sheet.line((left, right), (0.0, 0.0), color=INK, linewidth=1.4)
    sheet.line((0.0, max(m.r for m in marks) * 1e3), (ring, ring), linewidth=0.6, linestyle=":")
    places = sorted(_same_place(marks).items(), key=lambda item: item[0][1])
    levels = _spread([height * 1e3 for (_, height), _ in places], sheet)
    beyond = max(m.r for m in marks) * 1e3 + 12 * sheet.pt
    for ((r, height), numbers), level in zip(places, levels, strict=True):
        x, z = r * 1e3, height * 1e3
        sheet.line((0.0, x), (ring, z), linewidth=0.6)
        _dot(sheet, x, z, 1 in numbers)
        words = f"{listed(numbers)}:  {x:.0f} out, {z:.0f} up"
        sheet.line((x, beyond), (z, level), linewidth=0.4, color=FAINT)
        sheet.text(beyond + 2 * sheet.pt, level, words, ha="left", va="center", fontsize=9)


def _spread(heights: Sequence[float], sheet: Sheet) -> list[float]:
    """Heights of labels: those of the places, ascending, moved apart until none overlaps."""
    step, levels = LABEL_PT * sheet.pt, list(heights)
    for at in range(1, len(levels)):
        levels[at] = max(levels[at], levels[at - 1] + step)
    most = sheet.axes.get_ylim()[1] - 0.5 * step
    for at in reversed(range(len(levels))):
        levels[at] = min(levels[at], most)
        most = levels[at] - step
    return levels


def draw_above(sheet: Sheet, assembly: Assembly, marks: Sequence[Mark]) -> None:
    """Draw column and posts from above, and the azimuth of each place."""
    column = assembly.column.radius * 1e3
    sheet.axes.add_patch(Circle((0.0, 0.0), column, **COLUMN_LOOK))
    posts = assembly.posts
    turn = 0.0
    if posts is not None:
        angles = post_angles(assembly.column, posts)
        turn = angles[0]
        for number, angle in enumerate(angles, start=1):
            x, y = posts.circle_radius * 1e3 * np.array((math.cos(angle), math.sin(angle)))
            size = max(posts.radius * 1e3, 2.5 * sheet.pt)
            sheet.axes.add_patch(Circle((x, y), size, color=INK, zorder=5))
            out, beside = column + 9 * sheet.pt, angle - POST_LABEL
            place = (out * math.cos(beside), out * math.sin(beside))
            look: Look = {"ha": "center", "va": "center", "fontsize": 8, "bbox": None}
            sheet.text(*place, f"P{number}", **look)
    _draw_azimuths(sheet, _reach_from_above(assembly), turn, _same_azimuth(marks))


def _draw_azimuths(sheet: Sheet, reach: float, turn: float, found: dict[float, list[int]]) -> None:
    """Draw a line towards each azimuth, labels to the right and left of all."""
    sides: dict[float, list[tuple[float, float, list[int]]]] = {}
    for azimuth, numbers in found.items():
        angle = turn + math.radians(azimuth)
        side = -1.0 if math.cos(angle) < -1e-9 else 1.0
        sides.setdefault(side, []).append((reach * math.sin(angle), azimuth, numbers))
    for side, labels in sides.items():
        labels.sort()
        levels = _spread([height for height, _, _ in labels], sheet)
        for (height, azimuth, numbers), level in zip(labels, levels, strict=True):
            first, x = 1 in numbers, reach * math.cos(turn + math.radians(azimuth))
            look: Look = {"color": WINDOW if first else QUIET, "linewidth": 1.4 if first else 0.8}
            sheet.line((0.0, x), (0.0, height), **look)
            beyond = side * (reach + 6 * sheet.pt)
            sheet.line((x, beyond), (height, level), linewidth=0.4, color=FAINT)
            words, place = (
                f"{azimuth:.0f}\u00b0: {listed(numbers)}",
                "left" if side > 0 else "right",
            )
            sheet.text(beyond, level, words, ha=place, va="center", fontsize=9)


def listed(numbers: Sequence[int]) -> str:
    """Write numbers, runs of them short: "1 to 5, 8"."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    return ", ".join(parts)


def _reach_from_above(assembly: Assembly) -> float:
    return 1.3 * assembly.column.radius * 1e3


def _dot(sheet: Sheet, x: float, z: float, first: bool) -> None:
    look: Look = {"color": WINDOW if first else INK, "zorder": 7}
    sheet.axes.plot((x,), (z,), marker="o", markersize=6.0 if first else 4.5, **look)


def _same_place(marks: Sequence[Mark]) -> dict[tuple[float, float], list[int]]:
    found: dict[tuple[float, float], list[int]] = {}
    for mark in marks:
        found.setdefault((mark.r, mark.height), []).append(mark.number)
    return found


def _same_azimuth(marks: Sequence[Mark]) -> dict[float, list[int]]:
    found: dict[float, list[int]] = {}
    for mark in marks:
        found.setdefault(mark.azimuth_deg, []).append(mark.number)
    return found
