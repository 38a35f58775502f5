"""The section through the axis with its dimensions: what is built, and where the ears are."""

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from shapes.assembly import FIXED_PARTS, MOVING_PARTS, Assembly, Column, Nearest
from shapes.gaps import lowest_at
from shapes.lengths import across_room, in_both, in_degrees, in_own
from shapes.meridian import Meridian, Piece
from studies.answer.charts.drafting import PAPER, SIZE_PT, Sheet
from studies.answer.charts.style import (
    INK,
    QUIET,
    WIDTH_IN,
    WINDOW,
    Look,
    in_common_style,
    title_lines,
)
from studies.design import Seat

WOOD, FOAM, PLATE, METAL, ROD = "#efe2cc", "#c9dbe6", "#dcc7a1", "#8a949b", "#b9a47f"
FELT = "#6b7a4b"
MOVING = "#0072b2"

# Points of paper kept free round the drawing, and what stands in them.
LEFT_PT, RIGHT_PT, TITLE_PT, LEGEND_PT = 124.0, 196.0, 46.0, 58.0
LANE_PT, STOREY_PT = 36.0, 22.0
LETTERING_PT = 104.0  # the longest length in mm and inches, written along its line
LEGEND_ROW_PT = 17.0
LEGEND_CHARACTER_PT, LEGEND_COLUMN_PT = 5.5, 42.0  # of the legend: a letter, a column beside it
LABEL_PT = 2.5 * SIZE_PT + 5
CHORD_ERROR = 5e-5


@dataclass(frozen=True, kw_only=True)
class _Extent:
    """What the drawing covers, mm: half width of the solids and of all, heights, scale."""

    solid: float
    half: float
    broken_at: float
    dimensions_from: float
    ball_label: float
    top: float
    pt: float
    storeys_below: int

    @property
    def bottom(self) -> float:
        """Below the dimension lines of column and baffle."""
        return self.broken_at - (32 + STOREY_PT * (self.storeys_below - 1)) * self.pt


@in_common_style
def section_figure(assembly: Assembly, title: str, seats: Sequence[Seat] = ()) -> Figure:
    """Draw the section through the axis: parts, gaps and dimensions in mm (inches), ears.

    Parameters
    ----------
    assembly : Assembly
        Free of clashes.
    title : str
    seats : sequence of Seat
        Each gives a line towards its ears, from the middle of the ring.

    Returns
    -------
    Figure
    """
    extent = _measure(assembly)
    figure = Figure()
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    sheet = Sheet(axes, extent.pt)
    _draw_lower(sheet, assembly, extent)
    _draw_upper(sheet, assembly)
    _dimension_diameters(sheet, assembly, extent)
    _dimension_heights(sheet, assembly, extent)
    _dimension_tip(sheet, assembly, extent)
    _draw_ears(sheet, assembly, seats, extent)
    handles, labels = axes.get_legend_handles_labels()
    columns = _legend_columns(labels)
    more_rows = max(math.ceil(len(labels) / columns) - 3, 0)
    height_pt = _fit_paper(figure, axes, extent, LEGEND_PT + more_rows * LEGEND_ROW_PT)
    heading = "\n".join((title_lines(title, 92), *_angles(assembly)))
    figure.text(12 / 720, 1 - 12 / height_pt, heading, fontsize=12, va="top")
    figure.legend(handles, labels, loc="lower left", ncols=columns)
    return figure


def _fit_paper(figure: Figure, axes: Axes, extent: _Extent, legend_pt: float) -> float:
    """Give the figure the height that drawing, title and legend take; return it in points."""
    height_pt = (extent.top - extent.bottom) / extent.pt + TITLE_PT + legend_pt
    figure.set_size_inches(WIDTH_IN, height_pt / 72)
    left = -extent.half - LEFT_PT * extent.pt
    axes.set_xlim(left, left + WIDTH_IN * 72 * extent.pt)
    low = extent.bottom - legend_pt * extent.pt
    axes.set_ylim(low, low + height_pt * extent.pt)
    return height_pt


def _legend_columns(labels: Sequence[str]) -> int:
    """Three where that fits beside one another, or else two; filled from the top."""
    rows = math.ceil(len(labels) / 3)
    columns = [labels[at : at + rows] for at in range(0, len(labels), rows)]
    widest = sum(max(map(len, column)) for column in columns)
    needed = widest * LEGEND_CHARACTER_PT + LEGEND_COLUMN_PT * len(columns)
    return 3 if needed < WIDTH_IN * 72 else 2


def _angles(assembly: Assembly) -> tuple[str, ...]:
    """Every angle of the reflector in one line, because one alone is easily taken for another."""
    facts = assembly.reflector.facts if assembly.reflector is not None else ()
    angles = [f"{fact.name} {in_degrees(fact.value)}" for fact in facts if fact.unit == "angle"]
    return ("reflector: " + ", ".join(angles),) if angles else ()


def _measure(assembly: Assembly) -> _Extent:
    gap, plate, reflector = assembly.plate_gap * 1e3, assembly.plate, assembly.reflector
    radii, plate_top = [_widest(assembly.column) * 1e3], assembly.driver.proud * 1e3
    if reflector is not None:
        radii.append(reflector.widest_radius * 1e3)
        plate_top = gap
    if plate is not None:
        radii.append(plate.radius * 1e3)
        plate_top = gap + plate.thickness * 1e3
    solid = half = max(radii)
    ball = reflector if reflector is not None and reflector.kind == "ball cap" else None
    if ball is not None:
        half = max(half, ball.fact("ball diameter") * 500)
    pt = 2 * half / (WIDTH_IN * 72 - LEFT_PT - RIGHT_PT)
    lowest = min(0.0, assembly.driver.neck_z) * 1e3
    broken_at = max(lowest - 62 * pt, -assembly.column.height * 1e3)
    storeys_from = ball_label = plate_top
    top = plate_top + 2 * STOREY_PT * pt
    if ball is not None:
        ball_label = max(gap + ball.fact("cut off") * 1e3, plate_top + 12 * pt)
        if ball_label < plate_top + 3 * STOREY_PT * pt:
            storeys_from = ball_label
        top = max(ball_label, storeys_from + 2 * STOREY_PT * pt, gap + LETTERING_PT * pt)
    return _Extent(
        solid=solid,
        half=half,
        broken_at=broken_at,
        dimensions_from=storeys_from,
        ball_label=ball_label,
        top=top + 16 * pt,
        pt=pt,
        storeys_below=1 if assembly.column.laid_on is None else 2,
    )


def _widest(column: Column) -> float:
    """How far the column reaches near the driver, as it is computed."""
    return max(column.radius, column.face.radius)


def _draw_lower(sheet: Sheet, assembly: Assembly, extent: _Extent) -> None:
    driver, tweeter = assembly.driver, assembly.tweeter
    body = assembly.lower.sample(CHORD_ERROR) * 1e3
    # A foot lies below where the column is broken off.
    hidden = body[:, 1] < extent.broken_at
    body[hidden, 0] = np.minimum(body[hidden, 0], assembly.column.radius * 1e3)
    body[:, 1] = np.maximum(body[:, 1], extent.broken_at)
    column = assembly.column
    note = "" if column.is_round else " (as round, equal area)"
    if not column.footprint.is_round:
        note = f" ({column.shape}, {in_own(column.width)} across flats, drawn as round)"
    _fill(sheet, body, WOOD, f"column and baffle{note}")
    still = "stands still: frame" if tweeter is None else "stand still: frame, pod"
    _block(sheet, driver.effective_radius, driver.frame_radius, 0.0, driver.proud, still)
    if (felt := assembly.baffle_felt) is not None:
        words = f"felt {in_own(felt.thickness)}"
        low = felt.proud - felt.thickness
        _block(sheet, felt.inner, felt.outer, low, felt.proud, words, colour=FELT)
    if tweeter is not None:
        _block(sheet, 0.0, tweeter.housing_radius, driver.neck_z, tweeter.face_height)
    moving = assembly.lower.of_parts(*MOVING_PARTS)
    names = ", ".join(dict.fromkeys(piece.part for piece in moving))
    _trace(sheet, moving, 0.0, f"moves: {names}", color=MOVING, linewidth=2.4)
    if driver.excursion > 0:
        travel = f"upper limit of travel, {in_own(driver.excursion)}"
        _trace(sheet, moving, driver.excursion, travel, color=MOVING, linestyle="--", linewidth=1)
    domes = assembly.lower.of_parts("dome")
    _trace(sheet, domes, 0.0, "moves: tweeter's dome", color="#d55e00", linewidth=2.4)
    fixed = assembly.lower.of_parts(*(part for part in FIXED_PARTS if part != "dome"))
    _trace(sheet, fixed, 0.0, "", color=INK, linewidth=1.2)
    if extent.broken_at > -assembly.column.height * 1e3:
        _break_line(sheet, assembly.column.radius * 1e3, extent.broken_at)
    sheet.line((0.0, 0.0), (extent.bottom, extent.top), linestyle=(0, (12, 3, 2, 3)), zorder=4)


def _draw_upper(sheet: Sheet, assembly: Assembly) -> None:
    gap, plate, reflector, posts = (
        assembly.plate_gap,
        assembly.plate,
        assembly.reflector,
        assembly.posts,
    )
    if reflector is not None:
        profile = reflector.profile.shifted(gap).sample(CHORD_ERROR) * 1e3
        _fill(sheet, profile, FOAM, f"reflector: {reflector.label}")
    if plate is not None:
        line = assembly.bare_plate.sample(CHORD_ERROR) * 1e3
        _fill(sheet, line, PLATE, "top plate")
    if (felt := assembly.plate_felt) is not None:
        words = "" if assembly.baffle_felt else f"felt {in_own(felt.thickness)}"
        low = gap - felt.proud
        _block(sheet, felt.inner, felt.outer, low, low + felt.thickness, words, colour=FELT)
    if posts is not None:
        many = f"{posts.count} posts" if posts.count > 1 else "1 post"
        label = f"{many} of {in_own(2 * posts.radius)}, cut to {in_own(assembly.post_length)}"
        for side in (-1, 1):
            corner = (side * posts.circle_radius - posts.radius, -posts.socket_baffle)
            _rectangle(sheet, corner, 2 * posts.radius, assembly.post_length, ROD, label, 3)
            label = ""


def _dimension_diameters(sheet: Sheet, assembly: Assembly, extent: _Extent) -> None:
    gap, storey = assembly.plate_gap * 1e3, STOREY_PT * sheet.pt
    column, plate, reflector = assembly.column, assembly.plate, assembly.reflector
    text = f"column {in_both(2 * column.radius)}, {in_own(column.height, 0)} high"
    if not column.footprint.is_round:
        text = text.replace("column", "column as round")
    radius, low = column.radius * 1e3, extent.broken_at - 18 * sheet.pt
    if column.laid_on is not None:
        baffle = column.laid_on
        words = f"baffle {in_both(baffle.footprint.width)}, {in_both(baffle.thickness)} thick"
        reach = -baffle.thickness * 1e3
        sheet.level(low - storey, baffle.footprint.radius * 1e3, words, reach, side=-1)
    sheet.level(low, radius, text, extent.broken_at, side=-1)
    if reflector is not None:
        half, z = reflector.base_radius * 1e3, extent.dimensions_from + storey
        sheet.level(z, half, f"base {in_both(2 * reflector.base_radius)}", gap)
    if plate is not None:
        text = f"top plate {in_both(2 * plate.radius)}, {in_both(plate.thickness)} thick"
        z = extent.dimensions_from + 2 * storey
        sheet.level(z, plate.radius * 1e3, text, gap)
    if reflector is not None and reflector.kind == "ball cap":
        ball = reflector.fact("ball diameter")
        centre = (0.0, gap + (reflector.fact("cut off") - ball / 2) * 1e3)
        look: Look = {"fill": False, "edgecolor": QUIET, "linewidth": 0.7, "linestyle": (0, (5, 3))}
        sheet.axes.add_patch(Circle(centre, ball * 500, zorder=2.5, **look))
        sheet.text(0.0, extent.ball_label, f"ball {in_both(ball)}", ha="center", va="center")


def _dimension_heights(sheet: Sheet, assembly: Assembly, extent: _Extent) -> None:
    if assembly.upper is None:
        return
    gap, baffle = assembly.plate_gap * 1e3, -(assembly.column.face.radius * 1e3)
    edge = -extent.solid
    lanes = [-extent.half - (10 + LANE_PT * lane) * sheet.pt for lane in range(3)]
    plate, reflector = assembly.plate, assembly.reflector
    under = edge if plate is None else -plate.radius * 1e3
    if reflector is not None:
        base, tip = -reflector.base_radius * 1e3, gap - reflector.height * 1e3
        is_ball = reflector.kind == "ball cap"
        reach = (0.0, base)
        sheet.upright(lanes[0], (tip, gap), "keep" if is_ball else "height", reach, "down")
        if is_ball and reflector.fact("cut off") > 0:
            top = gap + reflector.fact("cut off") * 1e3
            sheet.upright(lanes[1], (gap, top), "cut off", (under, 0.0), "up")
        sheet.upright(lanes[1], (0.0, assembly.rim_gap * 1e3), "rim gap", (baffle, base), "down")
    sheet.upright(lanes[2], (0.0, gap), "plate gap", (baffle, under), "down")


def _dimension_tip(sheet: Sheet, assembly: Assembly, extent: _Extent) -> None:
    rest, motion = assembly.nearest_at_rest, assembly.nearest_in_motion
    if not math.isfinite(rest.gap):
        return
    _tip(sheet, assembly, rest, "at rest", 1, extent)
    if assembly.driver.excursion > 0:
        _tip(sheet, assembly, motion, "in motion", -1, extent)


def _tip(
    sheet: Sheet, assembly: Assembly, nearest: Nearest, when: str, side: int, extent: _Extent
) -> None:
    """Dimension a tip clearance in place, its line run on down to where there is room."""
    x = side * max(nearest.radius * 1e3, 5 * sheet.pt)
    high = float(lowest_at(assembly.upper_line, np.array([nearest.radius]))[0]) * 1e3
    low = high - nearest.gap * 1e3
    foot = extent.broken_at + 50 * sheet.pt
    sheet.line((x, x), (foot, high), color=INK)
    for end in (low, high):
        sheet.line((x - 5 * sheet.pt, x + 5 * sheet.pt), (end, end), color=INK, linewidth=1.2)
    text = f"tip clearance\n{when}\n{in_both(nearest.gap)}"
    look: Look = {"ha": "left" if side > 0 else "right", "va": "top"}
    sheet.text(side * 5 * sheet.pt, foot, text, bbox=PAPER | {"facecolor": WOOD}, **look)


def _draw_ears(sheet: Sheet, assembly: Assembly, seats: Sequence[Seat], extent: _Extent) -> None:
    """Lines from the middle of the ring towards the ears, hidden where a solid is in the way."""
    if not seats:
        return
    middle = (assembly.height_of_ring - assembly.column.height) * 1e3
    margin = extent.half + 52 * sheet.pt
    rays = [(0.0, "level: 0 deg", QUIET)]
    rays += [(seat.elevation_deg, _seat_label(seat), WINDOW) for seat in seats]
    rays.sort(key=lambda ray: ray[0])
    ends = [_end_of_ray(angle, middle, extent) for angle, _, _ in rays]
    places = _spread([z for _, z in ends], sheet.pt)
    for (_, text, colour), (x, z), place in zip(rays, ends, places, strict=True):
        sheet.line((0.0, x), (middle, z), color=colour, linewidth=1.1, zorder=1)
        sheet.line((x, margin - 2 * sheet.pt), (z, place), color=colour, linewidth=0.6)
        sheet.text(margin, place, text, color=colour, va="center")


def _end_of_ray(angle: float, middle: float, extent: _Extent) -> tuple[float, float]:
    """Where a line at an elevation (degrees) leaves the drawing."""
    reach, rise = extent.half + 34 * extent.pt, math.tan(math.radians(angle))
    lowest, highest = extent.bottom + 8 * extent.pt, extent.top - 8 * extent.pt
    z = min(max(middle + reach * rise, lowest), highest)
    return (reach if rise == 0 else (z - middle) / rise), z


def _seat_label(seat: Seat) -> str:
    name = textwrap.shorten(seat.name, 26, placeholder="...")
    return f"{name}\n{seat.elevation_deg:+z.1f} deg, {across_room(seat.r)} away"


def _spread(heights: Sequence[float], pt: float) -> list[float]:
    """Move labels apart until none covers its neighbour, keeping their middle."""
    places: list[float] = []
    for z in heights:
        places.append(max(z, places[-1] + LABEL_PT * pt) if places else z)
    shift = float(np.mean(places)) - float(np.mean(heights))
    return [place - shift for place in places]


def _fill(sheet: Sheet, half: np.ndarray, colour: str, label: str) -> None:
    mirrored = half[::-1] * (-1.0, 1.0)
    outline = np.vstack((half, mirrored))
    sheet.axes.fill(
        *outline.T, facecolor=colour, edgecolor=INK, linewidth=0.9, label=label, zorder=2
    )


def _trace(sheet: Sheet, pieces: Sequence[Piece], lift: float, label: str, **look: Any) -> None:
    for piece in pieces:
        line = Meridian((piece,)).shifted(lift).sample(CHORD_ERROR) * 1e3
        for side in (1.0, -1.0):
            sheet.axes.plot(side * line[:, 0], line[:, 1], label=label, zorder=5, **look)
            label = ""


def _block(
    sheet: Sheet,
    inside: float,
    outside: float,
    low: float,
    high: float,
    label: str = "",
    *,
    colour: str = METAL,
) -> None:
    for start in (inside, -outside):
        _rectangle(sheet, (start, low), outside - inside, high - low, colour, label, 3)
        label = ""


def _rectangle(
    sheet: Sheet,
    corner: tuple[float, float],
    width: float,
    height: float,
    colour: str,
    label: str,
    zorder: float,
) -> None:
    place = (corner[0] * 1e3, corner[1] * 1e3)
    look: Look = {"facecolor": colour, "edgecolor": INK, "linewidth": 0.7, "zorder": zorder}
    sheet.axes.add_patch(Rectangle(place, width * 1e3, height * 1e3, label=label, **look))


def _break_line(sheet: Sheet, radius: float, z: float) -> None:
    """Cover the cut with a torn edge: the column goes on below."""
    x = np.linspace(-radius - 6 * sheet.pt, radius + 6 * sheet.pt, 41)
    tooth = 3 * sheet.pt * np.where(np.arange(x.size) % 2, 1.0, -1.0)
    sheet.axes.fill_between(x, z - 5 * sheet.pt, z + tooth, color="white", zorder=4)
    sheet.axes.plot(x, z + tooth, color=INK, linewidth=0.9, zorder=5)
