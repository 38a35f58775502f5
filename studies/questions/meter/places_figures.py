"""Figure of where the meter stands, from the side and from above."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from shapes.assembly import Assembly
from shapes.columns import post_angles
from shapes.lengths import in_own, own_unit
from studies.answer.charts.drafting import Sheet
from studies.answer.charts.style import FAINT, INK, QUIET, WIDTH_IN, WINDOW, Look, in_common_style
from studies.questions.meter.places import Stand

COLUMN_LOOK: Look = {"facecolor": "#efe2cc", "edgecolor": INK, "linewidth": 0.7, "zorder": 3}
HEIGHT_IN = 5.2
LABEL_PT = 13.0
"""Height of a line of labels, points."""
POST_LABEL = math.radians(20.0)
"""How far beside a post its name stands."""

Key = TypeVar("Key")
Shares = tuple[float, float, float, float]
"""Left, bottom, width and height in shares of the figure."""


@in_common_style
def places_figure(
    title: str,
    assembly: Assembly,
    stands: Sequence[Stand],
    size_in: tuple[float, float] = (WIDTH_IN, HEIGHT_IN),
) -> Figure:
    """Draw from the side and from above where the meter stands.

    Parameters
    ----------
    title : str
    assembly : Assembly
    stands : sequence of Stand
        Places of the meter, numbered from 1; the first is drawn in red.
    size_in : (float, float)
        Width and height, inches.
    """
    figure = Figure(figsize=size_in)
    figure.text(0.012, 0.985, title, fontsize=12, va="top")
    figure.text(
        0.03,
        0.91,
        f"from the side, {own_unit()}: out from the axis, up from the floor",
        fontsize=10.5,
        va="top",
    )
    figure.text(0.62, 0.91, "from above: where round the column", fontsize=10.5, va="top")
    _draw_side(figure, assembly, stands)
    _draw_above(figure, assembly, stands)
    return figure


def _bare_axes(figure: Figure, place: Shares) -> tuple[Axes, float, float]:
    """Add axes without a frame; return them with their width and height in points."""
    axes = figure.add_axes(place)
    axes.set_axis_off()
    width_in, height_in = figure.get_size_inches()
    return axes, place[2] * width_in * 72, place[3] * height_in * 72


def _side_sheet(figure: Figure, assembly: Assembly, stands: Sequence[Stand]) -> Sheet:
    """Fit the view from the side into its axes: all that is built, every place, its label."""
    axes, width_pt, height_pt = _bare_axes(figure, (0.02, 0.02, 0.56, 0.85))
    widest, low = assembly.column.face.outer_radius * 1e3, -20.0
    most_r = max(stand.position.r for stand in stands) * 1e3
    heights = (stand.position.height for stand in stands)
    top = max(assembly.column.height + assembly.plate_gap, *heights) * 1e3
    across, upright = width_pt - 13 * LABEL_PT, height_pt - 2.5 * LABEL_PT
    scale = max((most_r + widest) / across, (top - low) / upright)
    left = -widest - 2 * LABEL_PT * scale
    axes.set_xlim(left, left + width_pt * scale)
    axes.set_ylim(low - LABEL_PT * scale, low + (height_pt - LABEL_PT) * scale)
    return Sheet(axes, scale)


def _above_sheet(figure: Figure, assembly: Assembly) -> Sheet:
    """Fit the view from above into its axes: the column, labels right and left of it."""
    axes, width_pt, height_pt = _bare_axes(figure, (0.6, 0.02, 0.39, 0.85))
    reach = _reach_from_above(assembly)
    scale = 2 * reach / min(width_pt - 11 * LABEL_PT, height_pt - 2 * LABEL_PT)
    axes.set_xlim(-width_pt * scale / 2, width_pt * scale / 2)
    axes.set_ylim(-height_pt * scale / 2, height_pt * scale / 2)
    return Sheet(axes, scale)


def _draw_side(figure: Figure, assembly: Assembly, stands: Sequence[Stand]) -> None:
    """Draw the column on its floor, and each place with its number and height."""
    sheet = _side_sheet(figure, assembly, stands)
    axes = sheet.axes
    ring, base = assembly.height_of_ring * 1e3, assembly.column.height * 1e3
    for line in (assembly.lower_line, assembly.upper_line):
        if len(line):
            outline = line * 1e3 + (0.0, base)
            mirrored = outline[::-1] * (-1.0, 1.0)
            axes.add_patch(Polygon(np.vstack((outline, mirrored)), **COLUMN_LOOK))
    most_r = max(stand.position.r for stand in stands) * 1e3
    left, right = axes.get_xlim()
    sheet.line((left, right), (0.0, 0.0), color=INK, linewidth=1.4)
    sheet.line((0.0, most_r), (ring, ring), linewidth=0.6, linestyle=":")
    same_place = _numbers_by(stands, lambda stand: (stand.position.r, stand.position.height))
    places = sorted(same_place.items(), key=lambda item: item[0][1])
    levels = _spread([height * 1e3 for (_, height), _ in places], sheet)
    beyond = most_r + 12 * sheet.pt
    for ((r, height), numbers), level in zip(places, levels, strict=True):
        x, z = r * 1e3, height * 1e3
        sheet.line((0.0, x), (ring, z), linewidth=0.6)
        look: Look = {"color": WINDOW if 1 in numbers else INK, "zorder": 7}
        axes.plot((x,), (z,), marker="o", markersize=6.0 if 1 in numbers else 4.5, **look)
        out, up = (in_own(size, 0).removesuffix(f" {own_unit()}") for size in (r, height))
        words = f"{listed(numbers)}:  {out} out, {up} up"
        sheet.line((x, beyond), (z, level), linewidth=0.4, color=FAINT)
        sheet.text(beyond + 2 * sheet.pt, level, words, ha="left", va="center", fontsize=9)


def _spread(heights: Sequence[float], sheet: Sheet) -> list[float]:
    """Heights of labels: those of the places, ascending, moved apart until none overlaps."""
    step, levels = LABEL_PT * sheet.pt, list(heights)
    for at in range(1, len(levels)):
        levels[at] = max(levels[at], levels[at - 1] + step)
    most = sheet.axes.get_ylim()[1] - 1.25 * step  # clear of the heading
    for at in reversed(range(len(levels))):
        levels[at] = min(levels[at], most)
        most = levels[at] - step
    return levels


def _draw_above(figure: Figure, assembly: Assembly, stands: Sequence[Stand]) -> None:
    """Draw column and posts from above, and the azimuth of each place."""
    sheet = _above_sheet(figure, assembly)
    axes = sheet.axes
    face = assembly.column.face
    column = face.outer_radius * 1e3
    axes.add_patch(Polygon(face.corners * 1e3, **COLUMN_LOOK))
    posts = assembly.posts
    turn = 0.0
    if posts is not None:
        angles = post_angles(assembly.column, posts, assembly.plate)
        turn = angles[0]
        for number, angle in enumerate(angles, start=1):
            x, y = posts.circle_radius * 1e3 * np.array((math.cos(angle), math.sin(angle)))
            size = max(posts.radius * 1e3, 2.5 * sheet.pt)
            axes.add_patch(Circle((x, y), size, color=INK, zorder=5))
            out, beside = column + 9 * sheet.pt, angle - POST_LABEL
            place = (out * math.cos(beside), out * math.sin(beside))
            look: Look = {"ha": "center", "va": "center", "fontsize": 8, "bbox": None}
            sheet.text(*place, f"P{number}", **look)
    same_azimuth = _numbers_by(stands, lambda stand: stand.azimuth_deg)
    _draw_azimuths(sheet, _reach_from_above(assembly), turn, same_azimuth)


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
    return 1.3 * assembly.column.face.outer_radius * 1e3


def _numbers_by(stands: Sequence[Stand], key: Callable[[Stand], Key]) -> dict[Key, list[int]]:
    """Numbers, from 1, of the places that have the same key."""
    found: dict[Key, list[int]] = {}
    for number, stand in enumerate(stands, start=1):
        found.setdefault(key(stand), []).append(number)
    return found
