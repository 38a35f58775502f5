"""Outlines at true size for the bench, and as DXF and SVG for machines (metres; files in mm).

x runs outwards from the reflector's axis, y up; the flat lies on y = 0 and the tip hangs below it.
"""

from __future__ import annotations

import functools
import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np

from shapes.meridian import Meridian
from shapes.pieces import Arc, Array, Line, Piece, Point
from shapes.reflector import Reflector

if TYPE_CHECKING:
    from trimesh.path import Path2D
    from trimesh.path.entities import Entity

CURVE_ERROR = 1e-5
"""Splines and conics become straight pieces this close to the true curve, metres."""
MARGIN = 0.02
STEP = 0.005
APART = 0.02
"""Between outlines in one file, metres."""
MM = 1e3
LINE_MM = 0.2
_HANDLE = re.compile(r"(\n5\n)\d{9,}(?=\n)")


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
    """Return outlines side by side as DXF in millimetres; arcs stay true arcs.

    The same outlines give the same bytes: handles, which trimesh takes from memory addresses, are
    numbered, and the unit is written into the header. `mark`, one line of plain ASCII that says
    where they come from, stands as a comment at the top.
    """
    drawn = _path(outlines).export(file_type="dxf")
    numbers = itertools.count(0xF000)
    numbered = _HANDLE.sub(lambda found: f"{found[1]}{next(numbers):X}", drawn)
    drawing = numbered.replace("HEADER\n", "HEADER\n9\n$INSUNITS\n70\n4\n", 1)
    return (f"999\n{mark}\n{drawing}" if mark else drawing).encode("ascii")


def svg_bytes(outlines: Sequence[Outline], mark: str = "") -> bytes:
    """Return outlines side by side as SVG that prints at true size.

    `mark`, plain ASCII that says where they come from, stands in its description.
    """
    path = _path(outlines)
    (x0, y0), (x1, y1) = path.bounds
    strokes = re.findall(r'<path d="([^"]*)"', path.export(file_type="svg", layers=path.layers))
    border = LINE_MM
    box = (x0 - border, -y1 - border, x1 - x0 + 2 * border, y1 - y0 + 2 * border)
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


def _path(outlines: Sequence[Outline]) -> Path2D:
    from trimesh.path import Path2D

    entities: list[Entity] = []
    vertices: list[Array] = []
    x = 0.0
    for outline in outlines:
        left, _, right, _ = outline.bounds
        placed = outline.moved(x - left)
        for piece in placed.pieces:
            entities.append(_entity(piece, len(vertices), outline.name))
            vertices += _corners(piece)
        x += right - left + APART
    path = Path2D(entities=entities, vertices=np.array(vertices) * MM, process=False)
    path.units = "millimeters"
    return path


def _corners(piece: Piece) -> list[Array]:
    if isinstance(piece, Arc):
        return list(piece.point(np.array([0.0, 0.5, 1.0])))
    return list(_sampled(piece, CURVE_ERROR))


def _entity(piece: Piece, first: int, layer: str) -> Entity:
    from trimesh.path import entities

    kind = entities.Arc if isinstance(piece, Arc) else entities.Line
    places = range(first, first + len(_corners(piece)))
    return kind(list(places), layer=layer)


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
        yield Arc(start, end, centre, piece.clockwise, piece.part)
    else:
        points = across(_sampled(piece, CURVE_ERROR)[::-1])
        for start, end in pairwise(points):
            yield Line(_point(start), _point(end), piece.part)


def _moved(piece: Piece, dx: float) -> Iterator[Piece]:
    if isinstance(piece, Arc):
        start, end, centre = ((x + dx, y) for x, y in (piece.start, piece.end, piece.centre))
        yield Arc(start, end, centre, piece.clockwise, piece.part)
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
