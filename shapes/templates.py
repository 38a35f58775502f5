"""Outlines at true size for the bench, and as DXF and SVG for machines (metres; files in mm).

x runs outwards from the reflector's axis, y up; the flat lies on y = 0 and the tip hangs below it.
"""

from __future__ import annotations

import functools
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

import numpy as np

from shapes.meridian import Meridian
from shapes.pieces import Arc, Array, Line, Piece, Point
from shapes.reflector import Reflector

CURVE_ERROR = 1e-5
"""Splines and conics become straight pieces this close to the true curve, metres."""
MARGIN = 0.02
STEP = 0.005
APART = 0.02
"""Between outlines in one file, metres."""
MM = 1e3
LINE_MM = 0.2


@dataclass(frozen=True)
class Outline:
    """A closed outline.

    Attributes
    ----------
    name : str
    pieces : tuple of Piece
        Each starts where the last ended; the last ends where the first starts.
    """

    name: str
    pieces: tuple[Piece, ...]

    def points(self, chord_error: float = CURVE_ERROR) -> Array:
        """Corners of a polyline this close to the outline, (N, 2), first and last the same."""
        runs = [_sampled(piece, chord_error) for piece in self.pieces]
        return np.vstack((runs[0][:1], *(run[1:] for run in runs)))

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y, metres."""
        points = self.points()
        return (*points.min(axis=0).tolist(), *points.max(axis=0).tolist())

    def moved(self, dx: float) -> Outline:
        """Return the outline moved sideways."""
        pieces = (part for piece in self.pieces for part in _moved(piece, dx))
        return Outline(self.name, tuple(pieces))


@dataclass(frozen=True)
class Coordinate:
    """One point of the profile: radius from the axis, depth below the flat, metres."""

    radius: float
    depth: float


def full_section(reflector: Reflector) -> Outline:
    """Both halves of the section; its flat is the base diameter long."""
    right = reflector.profile.pieces
    rim, base = reflector.base_radius, (reflector.base_radius, 0.0)
    left = (part for piece in reversed(right) for part in _mirrored(piece))
    flat = Line(base, (-rim, 0.0), "flat")
    return Outline("section", (*right, flat, *left))


def male_template(reflector: Reflector) -> Outline:
    """The half profile itself: axis, curve, flat."""
    profile = reflector.profile
    axis = Line((0.0, 0.0), profile.start, "axis")
    return Outline("male", (axis, *profile.pieces, Line(profile.end, (0.0, 0.0), "flat")))


def female_template(reflector: Reflector, margin: float = MARGIN) -> Outline:
    """A board with the half profile cut out, to lie against the work.

    Its upper edge goes on at the height of the flat, so that on a level bench it checks the flat
    as well.
    """
    profile = reflector.profile
    across, foot = reflector.widest_radius + margin, -reflector.height - margin
    corners: tuple[Point, ...] = (
        profile.end,
        (across, 0.0),
        (across, foot),
        (0.0, foot),
        profile.start,
    )
    edges = (Line(start, end, "board") for start, end in pairwise(corners))
    return Outline("female", (*profile.pieces, *edges))


def coordinates(reflector: Reflector, step: float = STEP) -> tuple[Coordinate, ...]:
    """Points of the profile from the tip to the rim, at every `step` of radius.

    Where a profile doubles back, a radius is met more than once: the points come in the order in
    which the profile passes them.
    """
    line = reflector.profile.sample(1e-6)
    places = [line[0], *_crossings(line, step), line[-1]]
    kept = [places[0]]
    for place in places[1:]:
        if np.hypot(*(place - kept[-1])) > 1e-6:
            kept.append(place)
    return tuple(Coordinate(float(r), float(-z) + 0.0) for r, z in kept)


def dxf_bytes(outlines: Sequence[Outline], mark: str = "") -> bytes:
    """Return outlines side by side as DXF (R2000) in millimetres.

    Arcs are ARC entities, everything else polylines; each lies on the layer of its outline's name.
    `mark`, one line of plain ASCII that says where they come from, stands as a comment at the top.
    The same outlines give the same bytes.
    """
    from ezdxf import options

    stamped = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no time stamps, no random names
    try:
        text = _dxf_text(_side_by_side(outlines))
    finally:
        options.write_fixed_meta_data_for_testing = stamped
    return (f"999\n{mark}\n{text}" if mark else text).encode("ascii")


def _dxf_text(outlines: Sequence[Outline]) -> str:
    import ezdxf

    drawing = ezdxf.new("R2000", units=ezdxf.units.MM)
    model = drawing.modelspace()
    for outline in outlines:
        drawing.layers.add(outline.name)
        layer = {"layer": outline.name}
        for piece in outline.pieces:
            if isinstance(piece, Arc):
                centre, radius = np.multiply(piece.centre, MM), piece.radius * MM
                model.add_arc(centre, radius, *_anticlockwise_degrees(piece), dxfattribs=layer)
            else:
                points = _sampled(piece, CURVE_ERROR) * MM
                model.add_lwpolyline(points, format="xy", dxfattribs=layer)
    x0, y0, x1, y1 = _bounds_mm(outlines)
    model.reset_extents((x0, y0, 0.0), (x1, y1, 0.0))
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue()


def svg_bytes(outlines: Sequence[Outline], mark: str = "") -> bytes:
    """Return outlines side by side as SVG that prints at true size.

    `mark`, plain ASCII that says where they come from, stands in its description.
    """
    placed = _side_by_side(outlines)
    x0, y0, x1, y1 = _bounds_mm(placed)
    border = LINE_MM
    box = (x0 - border, -y1 - border, x1 - x0 + 2 * border, y1 - y0 + 2 * border)
    strokes = (_stroke(piece) for outline in placed for piece in outline.pieces)
    lines = (
        '<?xml version="1.0" encoding="utf-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{box[2]:.4f}mm" height="{box[3]:.4f}mm"'
        f' viewBox="{" ".join(f"{side:.4f}" for side in box)}">',
        *([f"<desc>{escape(mark)}</desc>"] if mark else []),
        f'<g transform="scale(1,-1)" fill="none" stroke="#000" stroke-width="{LINE_MM}">',
        *(f'<path d="{stroke}"/>' for stroke in strokes),
        "</g>",
        "</svg>",
        "",
    )
    return "\n".join(lines).encode("ascii")


def _side_by_side(outlines: Sequence[Outline]) -> list[Outline]:
    """Outlines from left to right from x = 0, `APART` from each other."""
    placed, x = [], 0.0
    for outline in outlines:
        left, _, right, _ = outline.bounds
        placed.append(outline.moved(x - left))
        x += right - left + APART
    return placed


def _bounds_mm(outlines: Sequence[Outline]) -> tuple[float, float, float, float]:
    """Least x and y, largest x and y of all outlines, mm."""
    lows, highs = np.split(np.array([outline.bounds for outline in outlines]) * MM, 2, axis=1)
    return (*lows.min(axis=0).tolist(), *highs.max(axis=0).tolist())


def _anticlockwise_degrees(arc: Arc) -> tuple[float, float]:
    """Directions of an arc's ends from its centre, in the order in which DXF runs: leftwards."""
    rays = (np.subtract(end, arc.centre) for end in (arc.start, arc.end))
    start, end = (math.degrees(math.atan2(y, x)) for x, y in rays)
    return (end, start) if arc.clockwise else (start, end)


def _stroke(piece: Piece) -> str:
    """Path data of a piece for SVG, mm."""
    if not isinstance(piece, Arc):
        points = _sampled(piece, CURVE_ERROR) * MM
        return "M" + "L".join(f"{x:.13f},{y:.13f}" for x, y in points)
    from trimesh.path.arc import arc_center

    (x0, y0), _, (x1, y1) = points = piece.point(np.array([0.0, 0.5, 1.0])) * MM
    radius = arc_center(points, return_normal=False, return_angle=False).radius
    large, leftwards = int(piece.length > math.pi * piece.radius), int(not piece.clockwise)
    return f"M{x0:.13f} {y0:.13f}A{radius},{radius} 0 {large},{leftwards} {x1:.13f},{y1:.13f}"


def _sampled(piece: Piece, chord_error: float) -> Array:
    if isinstance(piece, Line):
        return np.array([piece.start, piece.end])
    if isinstance(piece, Arc):
        step = 2.0 * math.acos(max(1.0 - chord_error / piece.radius, 0.0))
        count = max(2, math.ceil(abs(piece.length / piece.radius) / step) + 1)
        return piece.point(np.linspace(0.0, 1.0, count))
    return Meridian((piece,)).sample(chord_error)


def _mirrored(piece: Piece) -> Iterator[Piece]:
    """The piece on the other side of the axis, walked backwards."""
    across = functools.partial(np.multiply, (-1.0, 1.0))
    if isinstance(piece, Arc):
        start, end, centre = (_point(across(p)) for p in (piece.end, piece.start, piece.centre))
        yield Arc(start, end, centre, clockwise=piece.clockwise, part=piece.part)
    else:
        points = across(_sampled(piece, CURVE_ERROR)[::-1])
        for start, end in pairwise(points):
            yield Line(_point(start), _point(end), piece.part)


def _moved(piece: Piece, dx: float) -> Iterator[Piece]:
    if isinstance(piece, Arc):
        start, end, centre = ((x + dx, y) for x, y in (piece.start, piece.end, piece.centre))
        yield Arc(start, end, centre, clockwise=piece.clockwise, part=piece.part)
    else:
        for start, end in pairwise(_sampled(piece, CURVE_ERROR) + (dx, 0.0)):
            yield Line(_point(start), _point(end), piece.part)


def _point(place: Array) -> Point:
    x, y = place
    return float(x) + 0.0, float(y) + 0.0


def _crossings(line: Array, step: float) -> Iterator[Array]:
    """Where a polyline crosses the radii that are multiples of `step`, in its own order."""
    for start, end in pairwise(line):
        low, high = sorted((start[0], end[0]))
        radii = step * np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
        if high - low < 1e-12:
            continue
        for radius in radii if end[0] > start[0] else radii[::-1]:
            yield start + (end - start) * (radius - start[0]) / (end[0] - start[0])
