"""The example design against a general boundary element library in three dimensions.

Source: bempp-cl 0.4.2 (Betcke & Scroggs, J. Open Source Softw. 6, 2879 (2021) [from memory]),
linear pressure on flat triangles, plain direct equation (1/2 - D) p = -S q. Both frequencies lie
below the column's first interior resonance (1.3 kHz, as a cylinder), so that equation has one
solution.

On a rigid unit sphere at k = 2 the library itself is within 1 per cent on 512 flat triangles. The
triangles here are a good deal smaller against the wave, but flat over a narrow gap: 0.2 dB allowed.
Found: 0.01 dB at 500 Hz and 0.07 dB at 1 kHz; about a minute each on two cores, 1.8 GB.
"""

import numpy as np
import pytest
from bodies import AIR, built, level_error

from dispersion.waves import axial_motion, solve
from shapes.meridian import Meridian

ELEVATIONS = np.arange(-90.0, 91.0, 5.0)
AROUND = 36
LONGEST_ROW = 0.02  # metres along the meridian; rows in the gap are shorter, by its own corners
ALLOWED_DB = 0.2


def rows_of(body: Meridian) -> tuple[np.ndarray, list[str]]:
    """Points (r, z) along a meridian, corners kept, and the part of each step."""
    points, parts = [np.array([body.start])], []
    for piece in body.pieces:
        limit = min(LONGEST_ROW, 0.3 * piece.min_radius)
        count = max(1, int(np.ceil(piece.length / limit)))
        points.append(piece.point(np.linspace(0.0, 1.0, count + 1))[1:])
        parts += [piece.part] * count
    return np.concatenate(points), parts


def surface_of_revolution(body: Meridian) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Vertices (V, 3), triangles (T, 3) with normals into the air, and the part of each.

    Rings are polygons of the same area as the circles, so that a piston moves the same volume.
    """
    rows, part_of_step = rows_of(body)
    corner = 2.0 * np.pi / AROUND
    rows[:, 0] *= np.sqrt(corner / np.sin(corner))
    angle = corner * np.arange(AROUND)
    rings = rows[1:-1]
    ring_points = np.stack(
        (
            np.outer(rings[:, 0], np.cos(angle)),
            np.outer(rings[:, 0], np.sin(angle)),
            np.repeat(rings[:, 1:], AROUND, axis=1),
        ),
        axis=-1,
    ).reshape(-1, 3)
    vertices = np.vstack(([0.0, 0.0, rows[0, 1]], ring_points, [0.0, 0.0, rows[-1, 1]]))
    this, following = np.arange(AROUND), np.roll(np.arange(AROUND), -1)
    triangles, parts = [], []
    for step, part in enumerate(part_of_step):
        low, high = 1 + (step - 1) * AROUND, 1 + step * AROUND
        if step == 0:
            new = np.column_stack((np.zeros(AROUND, int), high + following, high + this))
        elif step == len(part_of_step) - 1:
            new = np.column_stack((low + this, low + following, np.full(AROUND, high)))
        else:
            first = np.column_stack((low + this, low + following, high + following))
            new = np.vstack((first, np.column_stack((low + this, high + following, high + this))))
        triangles.append(new)
        parts += [part] * len(new)
    return vertices, np.concatenate(triangles), parts


@pytest.fixture(scope="module")
def surface() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    vertices, triangles, parts = [], [], []
    for body in built().bodies:
        points, corners, labels = surface_of_revolution(body)
        triangles.append(corners + sum(map(len, vertices)))
        vertices.append(points)
        parts += labels
    return np.concatenate(vertices), np.concatenate(triangles), np.array(parts)


def test_the_triangles_enclose_the_solids(surface) -> None:
    """The signed volume is that of the solids: normals point into the air everywhere."""
    vertices, triangles, _ = surface
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    volume = np.sum(np.einsum("ti,ti->t", a, np.cross(b, c))) / 6.0
    assert volume == pytest.approx(sum(body.volume for body in built().bodies), rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("frequency", [500.0, 1000.0])
def test_far_field_in_three_dimensions(surface, frequency: float) -> None:
    api = pytest.importorskip("bempp_cl.api")
    from bempp_cl.api.operators import boundary, far_field

    api.DEFAULT_DEVICE_INTERFACE = "numba"
    vertices, triangles, parts = surface
    grid = api.Grid(vertices.T, triangles.T.astype("uint32"))
    k = 2.0 * np.pi * frequency / AIR.speed
    way = built().ways[0]
    linear, constant = api.function_space(grid, "P", 1), api.function_space(grid, "DP", 0)
    moves = np.isin(parts, way.parts)
    q = api.GridFunction(constant, coefficients=-AIR.density * grid.normals[:, 2] * moves)
    half = 0.5 * boundary.sparse.identity(linear, linear, linear)
    double = boundary.helmholtz.double_layer(linear, linear, linear, k)
    single = boundary.helmholtz.single_layer(constant, linear, linear, k)
    p = api.linalg.lu(half - double, -single * q)
    angle = np.radians(ELEVATIONS)
    towards = np.array([np.cos(angle), np.zeros_like(angle), np.sin(angle)])
    on_p = far_field.helmholtz.double_layer(linear, towards, k)
    on_q = far_field.helmholtz.single_layer(constant, towards, k)
    found = (on_p * p - on_q * q)[0]

    drive = axial_motion(way.name, way.parts, AIR)
    ours = solve(built().bodies, frequency, [drive], AIR).far_field(ELEVATIONS)[:, 0]
    assert level_error(ours, found) < ALLOWED_DB
    # One scale for both: 0.2 dB is also what a wrong constant would have to hide in.
    assert np.abs(ours - found).max() < (10.0 ** (ALLOWED_DB / 20.0) - 1.0) * np.abs(found).max()
