"""Posts, exactly and by estimate, against a boundary element library in three dimensions.

Source: bempp-cl 0.4.2 (Betcke & Scroggs, J. Open Source Softw. 6, 2879 (2021) [from memory]),
linear pressure on flat triangles, plain direct equation (1/2 - D) p = -S q. Plates and posts are
one closed solid whose thinnest way through is 8 mm: no interior resonance below about 20 kHz, so
that equation has one solution. Without posts the project's own wave solver is the reference, which
agrees with the library (test_bempp.py).

Allowed, fixed before the first run: the ripple, lowest to highest azimuth, within a factor of two
of the library's, or 1.5 dB. What is found is printed and written into the docstring of
`dispersion.paths.posts`. At elevation 0 with bare plates the estimate leaves least out; with a cap
in the middle it leaves out what that sends back; at 11 kHz two modes travel.
"""

import functools

import numpy as np
import pytest
from bodies import AIR
from scipy.spatial import Delaunay

from dispersion.allround import Rod, orders_up_to, solve_ring, stand
from dispersion.paths.posts import post_centres, relative_power, window_elevations
from dispersion.ripple import AZIMUTHS_DEG
from dispersion.waves import axial_motion, solve
from shapes.assembly import Assembly, Column, Driver, Posts, TopPlate
from shapes.clashes import find_clashes
from shapes.reflectors import ball_cap

PLATES = Assembly(
    column=Column(width=0.12, height=0.010),
    driver=Driver(effective_radius=0.020, frame_radius=0.020),
    plate_gap=0.020,
    reflector=None,
    plate=TopPlate(radius=0.060, thickness=0.008),
    posts=Posts(count=3, radius=0.003, circle_radius=0.042),
)
CAPPED = PLATES.with_reflector(ball_cap(ball_diameter=0.070, keep=0.014))
SPACING = 0.0055
AROUND_RIM, AROUND_CAP, AROUND_DRIVER, AROUND_POST = 72, 36, 24, 12
POST_ROWS = 8
FACTOR, ALLOWED_DB = 2.0, 1.5
FINER = 1.25
"""How many times finer the library's triangles are, where they are tried finer."""
ALL_ROUND_DEG = (0.0, 10.0, 20.0)


def polygon(centre: complex, radius: float, count: int) -> np.ndarray:
    """Corners x + iy of a regular polygon of the circle's area."""
    corner = 2.0 * np.pi / count
    return centre + radius * np.sqrt(corner / np.sin(corner)) * np.exp(
        1j * corner * np.arange(count)
    )


def face(model: Assembly, holes: np.ndarray, finer: float) -> tuple[np.ndarray, np.ndarray]:
    """Points and counter-clockwise triangles of a plate's face; posts stand in its holes."""
    posts, plate = model.posts, model.plate
    rim, cap, driver, post = counts(finer)
    spacing = SPACING / finer
    fixed = [polygon(0.0, plate.radius, rim)]
    if model.reflector is not None:
        fixed += [polygon(0.0, model.reflector.base_radius, cap)]
    fixed += [polygon(0.0, model.driver.effective_radius, driver)]
    for hole in holes:
        fixed += [polygon(hole, s * posts.radius, post) for s in (1.0, 1.45, 2.1)]
    fixed = np.concatenate(fixed)
    most = int(np.ceil(15 * finer))
    steps = spacing * np.arange(-most, most + 1)
    free = (steps[None, :] + 1j * steps[:, None]).ravel()
    apart = np.abs(free[:, None] - fixed).min(axis=1) > 0.6 * spacing
    inside = np.abs(free) < plate.radius - 0.6 * spacing
    outside = np.all(np.abs(free[:, None] - holes) > 2.1 * posts.radius, axis=1)
    points = np.concatenate((fixed, free[apart & inside & outside]))
    corners = Delaunay(np.column_stack((points.real, points.imag))).simplices
    a, b, c = points[corners].T
    clockwise = ((b - a).conjugate() * (c - a)).imag < 0.0
    corners[clockwise] = corners[clockwise][:, ::-1]
    middle = points[corners].mean(axis=1)
    kept = np.all(np.abs(middle[:, None] - holes) > posts.radius, axis=1)
    return points, corners[kept]


def wall(ring: np.ndarray, heights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points and triangles of an upright wall, normals away from the middle of its ring."""
    count = len(ring)
    points = np.array([(p.real, p.imag, z) for z in heights for p in ring])
    this, following = np.arange(count), np.roll(np.arange(count), -1)
    triangles = []
    for row in range(len(heights) - 1):
        low, high = row * count, (row + 1) * count
        triangles.append(np.column_stack((low + this, low + following, high + following)))
        triangles.append(np.column_stack((low + this, high + following, high + this)))
    return points, np.concatenate(triangles)


def hanging(model: Assembly, points: np.ndarray) -> np.ndarray:
    """How far the underside hangs below the plate at these points, metres."""
    if model.reflector is None:
        return np.zeros(len(points))
    height, base = model.reflector.height, model.reflector.base_radius
    ball = (base**2 + height**2) / (2.0 * height)
    return np.maximum(np.sqrt(np.maximum(ball**2 - np.abs(points) ** 2, 0.0)) - ball + height, 0.0)


def counts(finer: float) -> tuple[int, ...]:
    """Points round rim, cap, driver and each post."""
    usual = (AROUND_RIM, AROUND_CAP, AROUND_DRIVER, AROUND_POST)
    return tuple(round(count * finer) for count in usual)


def solid(model: Assembly, finer: float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (V, 3), triangles (T, 3) with normals into the air, and which of them move."""
    posts, gap, column, plate = model.posts, model.plate_gap, model.column, model.plate
    holes = post_centres(posts)
    rim = polygon(0.0, plate.radius, counts(finer)[0])
    pieces = []
    levels = (
        (-column.height, False, holes[:0]),
        (0.0, True, holes),
        (gap, False, holes),
        (gap + plate.thickness, True, holes[:0]),
    )
    for z, faces_up, openings in levels:
        points, corners = face(model, openings, finer)
        heights = z - hanging(model, points) if z == gap else np.full(len(points), z)
        flat = np.column_stack((points.real, points.imag, heights))
        pieces.append((flat, corners if faces_up else corners[:, ::-1]))
    for low, high in ((-column.height, 0.0), (gap, gap + plate.thickness)):
        pieces.append(wall(rim, np.linspace(low, high, 3)))
    for hole in holes:
        ring = polygon(hole, posts.radius, counts(finer)[3])
        pieces.append(wall(ring, np.linspace(0.0, gap, round(POST_ROWS * finer) + 1)))
    starts = np.cumsum([0] + [len(points) for points, _ in pieces])
    every = np.concatenate([points for points, _ in pieces])
    corners = np.concatenate([t + s for (_, t), s in zip(pieces, starts, strict=False)])
    _, first, same = np.unique(np.round(every, 8), axis=0, return_index=True, return_inverse=True)
    vertices, triangles = every[first], same.ravel()[corners]
    middle = vertices[triangles].mean(axis=1)
    on_baffle = np.all(np.abs(vertices[triangles][..., 2]) < 1e-9, axis=1)
    moves = on_baffle & (np.hypot(middle[:, 0], middle[:, 1]) < model.driver.effective_radius)
    return vertices, triangles, moves


@pytest.mark.parametrize("model", [PLATES, CAPPED], ids=["plates", "cap"])
def test_the_triangles_close_and_enclose_the_solid(model: Assembly) -> None:
    """Each edge is walked once each way; the volume is that of plates, cap and posts."""
    assert not find_clashes(model)
    vertices, triangles, moves = solid(model)
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    assert len(np.unique(edges, axis=0)) == len(edges)
    assert np.array_equal(np.unique(edges, axis=0), np.unique(edges[:, ::-1], axis=0))
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    volume = np.sum(np.einsum("ti,ti->t", a, np.cross(b, c))) / 6.0
    rods = model.posts.count * np.pi * model.posts.radius**2 * model.plate_gap
    assert volume == pytest.approx(sum(body.volume for body in model.bodies) + rods, rel=0.005)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    assert area[moves].sum() == pytest.approx(model.driver_area, rel=1e-6)


@functools.cache
def library_field(
    model: Assembly, frequency: float, elevations: tuple[float, ...], finer: float
) -> tuple[np.ndarray, int]:
    """Far field (E, A) of the driven disc by the library, and its number of vertices; kept."""
    api = pytest.importorskip("bempp_cl.api")
    from bempp_cl.api.operators import boundary, far_field

    api.DEFAULT_DEVICE_INTERFACE = "numba"
    vertices, triangles, moves = solid(model, finer)
    grid = api.Grid(vertices.T, triangles.T.astype("uint32"), moves.astype("uint32"))
    k = 2.0 * np.pi * frequency / AIR.speed
    linear = api.function_space(grid, "P", 1)
    driven = api.function_space(grid, "DP", 0, segments=[1])
    q = api.GridFunction(driven, coefficients=np.full(driven.global_dof_count, -AIR.density))
    half = 0.5 * boundary.sparse.identity(linear, linear, linear)
    double = boundary.helmholtz.double_layer(linear, linear, linear, k)
    single = boundary.helmholtz.single_layer(driven, linear, linear, k)
    p = api.linalg.lu(half - double, -single * q)
    up, around = np.meshgrid(np.radians(elevations), np.radians(AZIMUTHS_DEG), indexing="ij")
    towards = np.array([np.cos(up) * np.cos(around), np.cos(up) * np.sin(around), np.sin(up)])
    towards = towards.reshape(3, -1)
    on_p = far_field.helmholtz.double_layer(linear, towards, k)
    on_q = far_field.helmholtz.single_layer(driven, towards, k)
    return (on_p * p - on_q * q)[0].reshape(up.shape), len(vertices)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("model", "frequency", "window"),
    [
        (PLATES, 5000.0, (0.0, 0.0)),
        (PLATES, 8000.0, (0.0, 0.0)),
        (CAPPED, 8000.0, (0.0, 0.0)),
        (CAPPED, 11000.0, (0.0, 20.0)),
    ],
    ids=["plates-5k", "plates-8k", "cap-8k", "cap-11k"],
)
def test_ripple_in_three_dimensions(
    model: Assembly, frequency: float, window: tuple[float, float]
) -> None:
    elevations = window_elevations(window)
    asked = ALL_ROUND_DEG if window == (0.0, 0.0) else tuple(elevations)
    every, vertices = library_field(model, frequency, asked, 1.0)
    found = every[: len(elevations)]
    drive = axial_motion("driver", model.ways[0].parts, AIR)
    bare = solve(model.bodies, frequency, [drive], AIR).far_field(elevations)[:, 0]
    library = 10.0 * np.log10(np.sum(np.abs(found) ** 2, axis=0) / np.sum(np.abs(bare) ** 2))
    estimate = 10.0 * np.log10(relative_power(model, AIR, np.array([frequency]), window)[0])
    print(f"\n{frequency:.0f} Hz, {vertices} vertices, level over that without posts, dB:")
    for name, level in (("library", library), ("estimate", estimate)):
        print(
            f"{name:9} min {level.min():6.2f}  mean {level.mean():6.2f}  max {level.max():6.2f}  "
            f"ripple {np.ptp(level):5.2f}  at 0, 30, 60 deg {np.round(level[[0, 30, 60]], 2)}"
        )
    worst = np.abs(estimate - estimate.mean() - library + library.mean()).max()
    print(f"largest difference about the means {worst:.2f} dB")
    ripple, ours = np.ptp(library), np.ptp(estimate)
    assert abs(ours - ripple) < ALLOWED_DB or 1.0 / FACTOR < ours / ripple < FACTOR


def exact_field(model: Assembly, frequency: float, elevations: np.ndarray) -> np.ndarray:
    """Far field (E, A) of the driven disc by the project's own exact way."""
    drive = axial_motion("driver", model.ways[0].parts, AIR)
    k, posts = 2.0 * np.pi * frequency / AIR.speed, model.posts
    orders = range(0, orders_up_to(k, model.plate.radius) + 1, posts.count)
    answer = solve_ring(model, frequency, [drive], orders, elevations, AIR)
    field = stand(answer, [Rod(posts.radius, posts.circle_radius)], posts.count)
    return field.at_azimuths(np.radians(AZIMUTHS_DEG))[0]


@pytest.mark.parametrize(
    "finer",
    [pytest.param(1.0, marks=pytest.mark.slow), pytest.param(FINER, marks=pytest.mark.long)],
    ids=["as-above", "finer"],
)
@pytest.mark.parametrize(
    ("model", "frequency", "share"),
    [(PLATES, 5000.0, 0.01), (CAPPED, 8000.0, 0.02)],
    ids=["plates-5k", "cap-8k"],
)
def test_exact_posts_in_three_dimensions(
    model: Assembly, frequency: float, share: float, finer: float
) -> None:
    """Level and phase all round, but for one factor that all directions share.

    Found: 0.4 and 0.8 per cent of the largest pressure, and 0.4 and 1.0 with triangles 1.25 times
    finer: no nearer, so the rest is not shown to be the library's. Exact fields say 0.05 per cent
    (`studies.questions.proof.cases.posts`). Allowed: 0.1 and 0.2 dB.
    """
    exact = exact_field(model, frequency, np.array(ALL_ROUND_DEG))
    found, vertices = library_field(model, frequency, ALL_ROUND_DEG, finer)
    common = np.vdot(found, exact) / np.vdot(found, found)
    away = np.abs(common * found - exact).max() / np.abs(exact).max()
    print(f"\n{frequency:.0f} Hz, {vertices} vertices: {away:.1e} off, factor {abs(common):.4f}")
    assert away < share
