"""The true surfaces of an assembly as rays meet them: one row each, with bounds around groups.

What the wave solver makes round is taken as it is built here: posts, flat sides of a column, a
reflector hung off centre or tilted, a free-form one. Choices where the assembly leaves them open:

- the first post stands at azimuth 0, the others follow evenly;
- a column with sides has the middle of a flat at azimuth 0, or a corner where only those have
  room for the posts (`shapes.columns.post_angles`);
- the edges of what has sides are sharp (`edge_radius` is not used); a top plate with sides is
  taken as round, of equal area;
- `Mounting` moves reflector and plate; the posts stay upright where they are.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from dispersion.paths import tracing
from dispersion.paths.freeform import FreeForm, free_form_rows
from dispersion.paths.rows import SurfaceRow, boxed, halved
from shapes.assembly import Assembly
from shapes.columns import post_angles
from shapes.conics import Conic
from shapes.footprints import Footprint
from shapes.meridian import Arc, Curve, Line, Meridian, Piece
from shapes.pieces import TOLERANCE, angle

GROUPS = ("reflector", "plate", "baffle", "driver", "post", "column")
"""Names of the surface groups, in the order of their numbers from 1."""

_GROUP_OF = {
    "reflector": "reflector",
    "reflector base": "reflector",
    "plate underside": "plate",
    "plate felt": "plate",
    "plate edge": "plate",
    "plate top": "plate",
    "baffle": "baffle",
    "baffle felt": "baffle",
    "baffle edge": "baffle",
    "baffle underside": "baffle",
    "column top": "column",
    "foot": "column",
    "column side": "column",
    "column bottom": "column",
}
_FACE_PARTS = ("baffle edge", "baffle", "baffle felt")
_COLUMN_PARTS = (
    "column bottom", "foot", "column side", "column top", "baffle underside", *_FACE_PARTS
)  # fmt: skip

CELL_TURN = math.radians(12.0)
"""A cell of a curve turns by no more than this."""


@dataclass(frozen=True)
class Mounting:
    """How reflector and plate hang, if not on the axis.

    Parameters
    ----------
    dx, dy : float
        Shift, metres; x points to the first post.
    tilt : float
        Radians, about the point of the (shifted) axis on the underside of the plate.
    azimuth : float
        Radians; the rim on this side goes down.
    """

    dx: float = 0.0
    dy: float = 0.0
    tilt: float = 0.0
    azimuth: float = 0.0


CENTRED = Mounting()


@dataclass(frozen=True, eq=False, kw_only=True)
class Scene:
    """Rows of surfaces as `dispersion.paths.tracing.trace` takes them.

    Attributes
    ----------
    kind, skip, moves, group : (S,) whole-number arrays
        What a row is, the row after all inside it, whether it belongs to the upper body, the
        number of its surface group (0 for a box).
    bounds : (S, 6) array
        r and z limits, or those of x, y and z for a free form, metres.
    data : (S, 13) array
        Sizes by kind.
    pose : (13,) array
        Rotation (row by row) and shift of the upper body, and whether there is any.
    """

    kind: np.ndarray = field(repr=False)
    skip: np.ndarray = field(repr=False)
    moves: np.ndarray = field(repr=False)
    group: np.ndarray = field(repr=False)
    bounds: np.ndarray = field(repr=False)
    data: np.ndarray = field(repr=False)
    pose: np.ndarray = field(repr=False)

    @property
    def rows(
        self,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """The arrays in the order in which they are traced."""
        return (
            self.kind, self.skip, self.moves, self.group, self.bounds, self.data, self.pose
        )  # fmt: skip


def build_scene(
    assembly: Assembly,
    mounting: Mounting = CENTRED,
    free_form: FreeForm | None = None,
    *,
    posts: bool = True,
) -> Scene:
    """Lay out the surfaces of an assembly for rays.

    Parameters
    ----------
    assembly : Assembly
        One that has no clashes.
    mounting : Mounting
        Shift and tilt of reflector and plate.
    free_form : FreeForm, optional
        Takes the place of the assembly's reflector.
    posts : bool
        False leaves them out.

    Raises
    ------
    FreeFormError
        If the free form is higher than the plate gap.
    """
    lower = list(_lower_rows(assembly))
    if posts and assembly.posts is not None:
        lower += _post_rows(assembly)
    upper: list[SurfaceRow] = []
    hung = assembly if free_form is None else assembly.with_reflector(None)
    if hung.upper is not None:
        upper += meridian_rows(hung.upper, moves=True)
    if free_form is not None:
        upper += free_form_rows(free_form, assembly.plate_gap, GROUPS.index("reflector") + 1)
    return scene_of([*lower, *upper], _pose(mounting, assembly.plate_gap))


def scene_of(rows: Sequence[SurfaceRow], pose: np.ndarray | None = None) -> Scene:
    """Pack rows (boxes before what they hold) into arrays."""
    if pose is None:
        pose = _pose(CENTRED, 0.0)
    bounds, data = np.zeros((len(rows), 6)), np.zeros((len(rows), 13))
    for i, row in enumerate(rows):
        bounds[i, : len(row.bounds)] = row.bounds
        data[i, : len(row.data)] = row.data
    return Scene(
        kind=np.array([row.kind for row in rows], dtype=np.int64),
        skip=np.array([i + 1 + row.holds for i, row in enumerate(rows)], dtype=np.int64),
        moves=np.array([row.moves for row in rows], dtype=np.int64),
        group=np.array([row.group for row in rows], dtype=np.int64),
        bounds=bounds,
        data=data,
        pose=pose,
    )


def meridian_rows(meridian: Meridian, *, moves: bool = False) -> list[SurfaceRow]:
    """Rows of a body of revolution, walked with the air on the right."""
    return _rows_of(meridian.pieces, moves=moves)


def _rows_of(pieces: Sequence[Piece], *, moves: bool) -> list[SurfaceRow]:
    numbers = (GROUPS.index(_GROUP_OF.get(piece.part, "driver")) + 1 for piece in pieces)
    return numbered_rows(zip(pieces, numbers, strict=True), moves=moves)


def numbered_rows(pieces: Iterable[tuple[Piece, int]], *, moves: bool = False) -> list[SurfaceRow]:
    """Rows of pieces, each with the number by which a ray's history tells it from the others."""
    rows = []
    for piece, number in pieces:
        cells = list(_cells(piece, number, moves=moves))
        rows += halved(cells) if len(cells) > 2 else cells
    return boxed(rows) if len(rows) > 3 else rows


def _cells(piece: Piece, group: int, *, moves: bool) -> Iterator[SurfaceRow]:
    if isinstance(piece, Line):
        yield _line_row(piece, group, moves=moves)
    elif isinstance(piece, Arc) and abs(piece.centre[0]) <= TOLERANCE:
        yield _ball_row(piece, group, moves=moves)
    else:
        for low, high in _cuts(piece):
            points = piece.point(np.linspace(low, high, 33))
            yield _curve_row(*_curve_data(piece, low, high), points, group, moves=moves)


def _line_row(line: Line, group: int, *, moves: bool) -> SurfaceRow:
    (r0, z0), (r1, z1) = line.start, line.end
    limits = (min(r0, r1), max(r0, r1), min(z0, z1), max(z0, z1))
    tr, tz = (r1 - r0) / line.length, (z1 - z0) / line.length
    if abs(z1 - z0) <= TOLERANCE:
        sizes = (z0, limits[0], limits[1], -math.copysign(1.0, tr))
        return SurfaceRow(
            kind=tracing.PLANE, group=group, moves=moves, bounds=_widened(limits), data=sizes
        )
    return SurfaceRow(
        kind=tracing.CONE,
        group=group,
        moves=moves,
        bounds=_widened(limits),
        data=(r0, z0, tr, tz, line.length),
    )


def _ball_row(arc: Arc, group: int, *, moves: bool) -> SurfaceRow:
    points = arc.point(np.linspace(0.0, 1.0, 3))
    low, high = sorted((arc.start[1], arc.end[1]))
    centre = arc.centre[1]
    widest = arc.radius if low <= centre <= high else float(points[:, 0].max())
    limits = (float(points[:, 0].min()), widest, low, high)
    # Walked upwards the air is outside the ball, downwards inside.
    sign = 1.0 if arc.end[1] > arc.start[1] else -1.0
    return SurfaceRow(
        kind=tracing.BALL,
        group=group,
        moves=moves,
        bounds=_widened(limits),
        data=(centre, arc.radius, sign, low, high),
    )


def _curve_row(
    kind: int, curve: Sequence[float], points: np.ndarray, group: int, *, moves: bool
) -> SurfaceRow:
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    (tr, tz), (r0, z0) = chord / length, points[0]
    # The cell bulges beyond its 33 points by far less than this.
    spare = 0.01 * length
    (r_low, z_low), (r_high, z_high) = points.min(axis=0) - spare, points.max(axis=0) + spare
    limits = (max(r_low, 0.0), r_high, z_low, z_high)
    return SurfaceRow(
        kind=kind, group=group, moves=moves, bounds=limits, data=(r0, z0, tr, tz, length, *curve)
    )


def _cuts(piece: Piece) -> Iterator[tuple[float, float]]:
    """Parameters between which a piece is smooth and turns little."""
    for low, high in zip(piece.breaks, piece.breaks[1:], strict=False):
        slopes = piece.derivative(np.linspace(low, high, 65))
        turns = np.abs(np.diff(np.unwrap(np.arctan2(slopes[:, 1], slopes[:, 0]))))
        count = 1 if not turns.sum() else math.ceil(64 * turns.max() / CELL_TURN)
        stops = np.linspace(low, high, count + 1)
        yield from pairwise(stops)


def _curve_data(piece: Piece, low: float, high: float) -> tuple[int, tuple[float, ...]]:
    if isinstance(piece, Arc):
        first = angle(piece.centre, piece.start) + low * piece.sweep
        return tracing.ARC, (*piece.centre, piece.radius, first, (high - low) * piece.sweep)
    if isinstance(piece, Conic):
        turn = angle(piece.focus, piece.end) - angle(piece.focus, piece.start)
        sweep = math.remainder(turn, 2 * math.pi)
        first = angle(piece.focus, piece.start) + low * sweep
        sizes = (*piece.focus, piece.semi_latus, first, (high - low) * sweep)
        return tracing.CONIC, (*sizes, *piece.eccentricity)
    if isinstance(piece, Curve):
        return tracing.SPLINE, _cubic(piece, low, high)
    raise TypeError(f"rays know no piece of the kind {type(piece).__name__}")


def _cubic(piece: Curve, low: float, high: float) -> tuple[float, ...]:
    """Coefficients of the cubic between two parameters, by Hermite's form: exact for a cubic."""
    (p0, p1), (m0, m1) = piece.point([low, high]), piece.derivative([low, high]) * (high - low)
    rise = p1 - p0
    coefficients = np.array([p0, m0, 3 * rise - 2 * m0 - m1, m0 + m1 - 2 * rise])
    return tuple(coefficients.T.ravel())


def _lower_rows(assembly: Assembly) -> list[SurfaceRow]:
    if assembly.column.is_round:
        return meridian_rows(assembly.lower)
    pieces = [p for p in assembly.lower.pieces if p.part not in _COLUMN_PARTS]
    return [*_column_rows(assembly), *_rows_of(pieces, moves=False)]


def _column_rows(assembly: Assembly) -> list[SurfaceRow]:
    """Foot, walls and baffle, each a closed body: what lies inside another no ray ever meets."""
    column, frame = assembly.column, assembly.driver.frame_radius
    posts, foot, baffle = assembly.posts, column.foot, column.laid_on
    turned = 0.0 if posts is None else -post_angles(column, posts, assembly.plate)[0]
    floor, top = -column.height, 0.0 if baffle is None else -baffle.thickness
    rows = []
    if foot is not None:
        rows += _prism_rows(foot.footprint, (floor, floor + foot.thickness), 0.0, turned, "column")
        floor += foot.thickness
    if baffle is None:
        return boxed([*rows, *_prism_rows(column.footprint, (floor, top), frame, turned, "baffle")])
    rows += _prism_rows(column.footprint, (floor, top), 0.0, turned, "column")
    if baffle.footprint.is_round:
        out = baffle.footprint.radius
        under = Line((0.0, top), (out, top), "baffle underside")
        rows += _rows_of([under, *assembly.lower.of_parts(*_FACE_PARTS)], moves=False)
    else:
        rows += _prism_rows(baffle.footprint, (top, 0.0), frame, turned, "baffle")
    return boxed(rows)


def _prism_rows(
    footprint: Footprint, heights: tuple[float, float], hole: float, turned: float, face: str
) -> list[SurfaceRow]:
    """Walls, upper and lower end of an upright body; `face` is the group of its upper end."""
    low, high = heights
    if footprint.is_round:
        radius = footprint.radius
        line = ((0.0, low), (radius, low), (radius, high), (hole, high))
        pieces = [Line(a, b, "column side") for a, b in pairwise(line)]
        return _rows_of(pieces, moves=False)
    apothem, outside, half = footprint.inner_radius, footprint.outer_radius, footprint.face / 2
    side, top = GROUPS.index("column") + 1, GROUPS.index(face) + 1
    rows = []
    for n in range(footprint.sides):
        turn = turned + 2 * math.pi * n / footprint.sides
        sizes = (math.cos(turn), math.sin(turn), apothem, half, low, high)
        limits = _widened((apothem, outside, low, high))
        rows.append(
            SurfaceRow(kind=tracing.SIDE, group=side, moves=False, bounds=limits, data=sizes)
        )
    for z, up, group, opening in ((high, 1.0, top, hole), (low, -1.0, side, 0.0)):
        ends = (z, up, footprint.sides, apothem, turned, opening)
        limits = _widened((opening, outside, z, z))
        rows.append(
            SurfaceRow(kind=tracing.POLYGON, group=group, moves=False, bounds=limits, data=ends)
        )
    return rows


def _post_rows(assembly: Assembly) -> list[SurfaceRow]:
    posts, top = assembly.posts, assembly.plate_gap
    assert posts is not None
    rows = []
    for n in range(posts.count):
        turn = 2 * math.pi * n / posts.count
        x, y = posts.circle_radius * math.cos(turn), posts.circle_radius * math.sin(turn)
        limits = _widened((max(posts.inner_radius, 0.0), posts.outer_radius, 0.0, top))
        sizes = (x, y, posts.radius, 0.0, top)
        rows.append(
            SurfaceRow(
                kind=tracing.POST,
                group=GROUPS.index("post") + 1,
                moves=False,
                bounds=limits,
                data=sizes,
            )
        )
    return boxed(rows)


def _pose(mounting: Mounting, pivot: float) -> np.ndarray:
    """Rotation, shift and whether there is any; the rim on the side `azimuth` goes down."""
    tilt, turn = mounting.tilt, mounting.azimuth
    x, y = -math.sin(turn), math.cos(turn)
    cross = np.array([[0.0, 0.0, y], [0.0, 0.0, -x], [-y, x, 0.0]])
    rotation = np.eye(3) + math.sin(tilt) * cross + (1 - math.cos(tilt)) * cross @ cross
    up = np.array([0.0, 0.0, pivot])
    shift = up + np.array([mounting.dx, mounting.dy, 0.0]) - rotation @ up
    return np.array([*rotation.ravel(), *shift, float(mounting != CENTRED)])


def _widened(limits: tuple[float, float, float, float]) -> tuple[float, ...]:
    spare = 1e-9
    r_low, r_high, z_low, z_high = limits
    return (max(r_low - spare, 0.0), r_high + spare, z_low - spare, z_high + spare)
