"""Rays: true surfaces, exact accounts, what is not round, and what is refused."""

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
import trimesh

from dispersion.air import Air
from dispersion.elevations import sound_power
from dispersion.paths.freeform import FreeFormError, free_form, read_free_form
from dispersion.paths.launching import launch_places
from dispersion.paths.rays import (
    RayError,
    count_rays,
    follow,
    meaningful_above_hz,
    meridian_paths,
    solve_rays,
    trace_rays,
    weigh,
)
from dispersion.paths.scene import Mounting, build_scene, meridian_rows, scene_of
from dispersion.problem import Problem
from dispersion.sources import LettingGo, Way
from shapes.assembly import Assembly, Column, Driver, DustCap, Posts, TopPlate, Tweeter, Whizzer
from shapes.columns import Baffle
from shapes.conics import Conic
from shapes.footprints import Footprint
from shapes.meridian import Arc, Curve, Line, Meridian
from shapes.reflectors import ball_cap, cone

FREQUENCIES = np.array([500.0, 2000.0, 8000.0])
RAYS = 2**13
DRIVER = Driver(
    effective_radius=0.052,
    frame_radius=0.065,
    cone_depth=0.022,
    centre=DustCap(0.017, 0.009),
    proud=0.003,
)


def ring() -> Meridian:
    """A torus, the air outside."""
    return Meridian(
        (
            Arc((0.1, -0.02), (0.1, 0.02), (0.1, 0.0), clockwise=False, part="reflector"),
            Arc((0.1, 0.02), (0.1, -0.02), (0.1, 0.0), clockwise=False, part="reflector"),
        )
    )


def bell() -> Meridian:
    """A smooth solid that is hollow in places."""
    knots = [(0.0, -0.06), (0.02, -0.05), (0.03, -0.03), (0.07, -0.01), (0.09, 0.01), (0.08, 0.03)]
    return Meridian(
        (Curve(tuple(knots), "reflector"), Line((0.08, 0.03), (0.0, 0.03), "reflector base"))
    )


def egg() -> Meridian:
    """A prolate spheroid."""
    focal = math.sqrt(0.1**2 - 0.06**2)
    ends = (((0.0, -0.1), (0.06, 0.0)), ((0.06, 0.0), (0.0, 0.1)))
    halves = (Conic(a, b, (0.0, focal), (0.0, -focal / 0.1), "reflector") for a, b in ends)
    return Meridian(tuple(halves))


SOLIDS = {
    "ring": (ring(), (0.1, 0.0)),
    "bell": (bell(), (0.03, 0.01)),
    "egg": (egg(), (0.02, 0.03)),
}
"""Each with a circle (r, z) that lies inside."""


def build(**changes) -> Assembly:
    parts = {
        "column": Column(width=0.2, height=0.9, edge_radius=0.003),
        "driver": DRIVER,
        "plate_gap": 0.06,
        "reflector": ball_cap(0.18, 0.044),
        "plate": TopPlate(0.1, 0.015, 0.003),
        "posts": Posts(3, 0.003, 0.089),
    }
    return Assembly(**(parts | changes))


def pose(assembly: Assembly, **changes) -> Problem:
    ways = tuple(Way(name=way.name) for way in assembly.ways)
    return Problem(assembly=assembly, ways=ways, frequencies=FREQUENCIES, **changes)


@lru_cache(maxsize=1)
def example_trace():
    return trace_rays(pose(build()), rays=RAYS)


def aimed(meridian: Meridian, inside: tuple[float, float], count: int = 4000):
    """Rays from a sphere around a solid at points inside it."""
    rng = np.random.default_rng(5)
    away = rng.normal(size=(count, 3))
    origins = 0.4 * away / np.linalg.norm(away, axis=1)[:, None]
    turn = rng.uniform(0.0, 2 * math.pi, count)
    targets = np.column_stack(
        (inside[0] * np.cos(turn), inside[0] * np.sin(turn), np.full(count, inside[1]))
    )
    directions = targets - origins
    return origins, directions / np.linalg.norm(directions, axis=1)[:, None]


def nearest_on(meridian: Meridian, point: np.ndarray):
    """Distance of a point (r, z) to the meridian, and the normal there."""
    best = (math.inf, np.zeros(2))
    for piece in meridian.pieces:
        t = np.linspace(0.0, 1.0, 2001)
        guess = t[np.argmin(np.hypot(*(piece.point(t) - point).T))]
        for _ in range(20):
            off, along = piece.point(guess) - point, piece.derivative(guess)
            guess = float(np.clip(guess - off @ along / (along @ along), 0.0, 1.0))
        along = piece.derivative(guess)
        normal = np.array([along[1], -along[0]]) / np.hypot(*along)
        best = min(
            best, (float(np.hypot(*(piece.point(guess) - point))), normal), key=lambda x: x[0]
        )
    return best


@pytest.mark.uncompiled
@pytest.mark.parametrize("name", SOLIDS)
def test_hits_lie_on_the_true_surface_with_its_normal(name: str) -> None:
    meridian, inside = SOLIDS[name]
    origins, directions = aimed(meridian, inside, 200)
    out, code, places = follow(
        scene_of(meridian_rows(meridian)), origins, directions, 1, keep_places=True
    )
    assert np.all(code[:, 0] == 1)
    for hit, before, after in zip(places[:, 1], directions, out[:, :3], strict=True):
        r = math.hypot(hit[0], hit[1])
        distance, (n_r, n_z) = nearest_on(meridian, np.array([r, hit[2]]))
        assert distance < 1e-10
        normal = np.array([n_r * hit[0] / r, n_r * hit[1] / r, n_z])
        assert before @ normal < 0.0
        assert np.abs(before - 2 * (before @ normal) * normal - after).max() < 1e-8


@pytest.mark.uncompiled
@pytest.mark.parametrize("name", SOLIDS)
def test_no_ray_passes_through_a_solid(name: str) -> None:
    meridian, inside = SOLIDS[name]
    origins, directions = aimed(meridian, inside)
    _, _, places = follow(scene_of(meridian_rows(meridian)), origins, directions, keep_places=True)
    first = np.linalg.norm(places[:, 1] - origins, axis=1)
    # The target inside lies beyond the first hit.
    r, z = inside
    to_ring = np.sum(directions * -origins, axis=1)
    assert np.all(np.isfinite(first))
    assert np.all(first < to_ring + math.hypot(r, z))


def test_a_fine_polyline_is_met_by_as_many_rays() -> None:
    """Rays past the ring and through its hole: cones within 0.1 um of it count the same."""
    line = ring().sample(1e-7)
    facets = Meridian(tuple(Line(tuple(a), tuple(b), "reflector") for a, b in pairwise(line)))
    rng = np.random.default_rng(2)
    origins = np.column_stack((rng.uniform(-0.13, 0.13, (8000, 2)), np.full(8000, -0.2)))
    tilted = np.column_stack((rng.normal(0.0, 0.3, (8000, 2)), np.ones(8000)))
    directions = tilted / np.linalg.norm(tilted, axis=1)[:, None]
    _, true, _ = follow(scene_of(meridian_rows(ring())), origins, directions, 1)
    _, faceted, _ = follow(scene_of(meridian_rows(facets)), origins, directions, 1)
    assert 0.2 < true[:, 0].mean() < 0.9
    # Rays that graze within the polyline's error: one in a hundred thousand.
    assert np.count_nonzero(true[:, 0] != faceted[:, 0]) <= 1


@pytest.mark.uncompiled
def test_every_ray_is_accounted_for() -> None:
    result = count_rays(pose(build()), rays=RAYS)
    assert np.abs(result.by_elevation.sum(axis=1) + result.trapped - 1).max() < 1e-12
    assert np.abs(result.by_azimuth.sum(axis=1) + result.trapped - 1).max() < 1e-12
    assert np.abs(result.by_history.sum(axis=1) - 1).max() < 1e-12
    assert result.rays == RAYS
    words = [history.words for history in result.histories]
    assert {"straight out", "reflector", "reflector, baffle"} <= set(words)
    assert np.all(result.history_error[0, :3] > 0.0)
    assert 0.0 < result.trapped.max() < 0.05


@pytest.mark.parametrize("weight", ["piston", "cosine"])
def test_power_that_leaves_is_power_launched_less_trapped(weight: str) -> None:
    problem = pose(build())
    response = solve_rays(problem, rays=RAYS, weight=weight)
    result = count_rays(problem, rays=RAYS, weight=weight)
    left = sound_power(np.abs(response.far_by_way[0]) ** 2, problem.elevations)
    assert left == pytest.approx(result.power * (1 - result.trapped), rel=1e-12)
    assert response.power_error_db[0] == pytest.approx(10 * np.log10(1 - result.trapped), abs=1e-10)


def test_weights_over_the_half_space() -> None:
    """2 pi for a small piston; pi for a cosine; the printed directivity index at ka = 2."""
    small = weigh(example_trace(), np.array([1.0]), np.array([1e-3]), 343.0)
    assert small.power[0] == pytest.approx(2 * math.pi, rel=1e-6)
    cosine = weigh(example_trace(), np.array([1.0]), np.array([0.05]), 343.0, "cosine")
    assert cosine.power[0] == pytest.approx(math.pi, rel=1e-12)
    # Beranek & Mellow (2012), Eq. 13.102: DI 5.8795 dB at ka = 2.
    at_two = weigh(example_trace(), np.array([343.0 / math.pi]), np.array([1.0]), 343.0)
    index = 10 * math.log10(4 * math.pi / at_two.power[0])
    assert index == pytest.approx(5.8795, abs=5e-5)
    with pytest.raises(RayError, match="piston or cosine"):
        weigh(example_trace(), np.array([1.0]), np.array([0.05]), 343.0, "lambert")


def test_without_bounces_allowed_all_that_hits_is_trapped() -> None:
    result = count_rays(pose(build()), rays=RAYS, most_bounces=0)
    straight = [h.words for h in result.histories].index("straight out")
    assert result.by_history[:, straight] + result.trapped == pytest.approx(np.ones(3), abs=1e-12)
    assert result.hits == 0


def test_any_number_of_workers_and_the_same_seed_give_the_same() -> None:
    problem = pose(build())
    one = solve_rays(problem, rays=3 * RAYS + 5, workers=1)
    assert np.array_equal(one.far, solve_rays(problem, rays=3 * RAYS + 5, workers=3).far)
    assert not np.array_equal(one.far, solve_rays(problem, rays=3 * RAYS + 5, seed=1).far)


def test_error_shrinks_with_more_rays() -> None:
    few, many = (count_rays(pose(build()), rays=rays) for rays in (2**11, 2**16))
    assert many.elevation_error.mean() < few.elevation_error.mean() / 5
    told = [
        solve_rays(pose(build()), rays=rays).settings["standard error dB"]
        for rays in (2**11, 2**16)
    ]
    assert 0.0 < told[1] < told[0] / 5
    # Independent samples agree within what they say of themselves.
    off = np.abs(few.by_elevation - many.by_elevation)
    assert np.mean(off <= 3 * np.hypot(few.elevation_error, many.elevation_error) + 1e-15) > 0.9


@pytest.mark.parametrize("rays", [0, -5])
def test_no_rays_are_refused(rays: int) -> None:
    with pytest.raises(RayError, match="at least 1"):
        solve_rays(pose(build()), rays=rays)
    with pytest.raises(RayError, match="at least 1"):
        meridian_paths(build(), count=rays)
    assert issubclass(RayError, ValueError)


def test_one_ray_is_a_result() -> None:
    result = count_rays(pose(build()), rays=1)
    assert np.nansum(result.by_history, axis=1) == pytest.approx(np.ones(3))
    assert np.all(np.isnan(result.history_error))


def test_a_posed_but_centred_upper_body_changes_nothing() -> None:
    """The transformed path, with nothing to transform."""
    problem = pose(build())
    plain = trace_rays(problem, rays=RAYS)
    scene = build_scene(problem.assembly, Mounting(azimuth=1.0))
    turned = trace_rays(problem, rays=RAYS, scene=scene)
    assert scene.pose[12] == 1.0
    assert np.array_equal(plain.bounces, turned.bounces)
    assert plain.elevation_deg == pytest.approx(turned.elevation_deg, abs=1e-6)


@pytest.mark.uncompiled
def test_a_tilted_plate_turns_a_ray_by_twice_its_tilt() -> None:
    """The rim on the side of the azimuth goes down, so the mirror looks to the other side."""
    tilt, side = math.radians(3.0), math.radians(40.0)
    assembly = build(reflector=None, posts=None)
    scene = build_scene(assembly, Mounting(tilt=tilt, azimuth=side))
    out, _code, places = follow(
        scene, np.array([[0.0, 0.0, 0.03]]), np.array([[0.0, 0.0, 1.0]]), 1, keep_places=True
    )
    expected = [
        -math.sin(2 * tilt) * math.cos(side),
        -math.sin(2 * tilt) * math.sin(side),
        -math.cos(2 * tilt),
    ]
    assert out[0, :3] == pytest.approx(expected, abs=1e-12)
    assert places[0, 1] == pytest.approx([0.0, 0.0, 0.06], abs=1e-12)


def test_an_off_centre_reflector_is_where_it_was_moved() -> None:
    scene = build_scene(build(posts=None), Mounting(dx=0.01, dy=-0.004))
    out, _, places = follow(
        scene, np.array([[0.01, -0.004, 0.01]]), np.array([[0.0, 0.0, 1.0]]), 1, keep_places=True
    )
    assert places[0, 1, 2] == pytest.approx(0.06 - 0.044, abs=1e-12)
    assert out[0, :3] == pytest.approx([0.0, 0.0, -1.0], abs=1e-12)


def test_a_shift_shows_in_the_azimuths() -> None:
    problem = pose(build(posts=None))
    shifted = count_rays(problem, rays=2**15, mounting=Mounting(dx=0.02))
    centred = count_rays(problem, rays=2**15)
    uneven = [result.by_azimuth.std(axis=1) for result in (shifted, centred)]
    assert np.all(uneven[0] > 3 * uneven[1])


def test_posts_stand_from_azimuth_nought() -> None:
    scene = build_scene(build(reflector=None))
    turn = np.radians([0.0, 120.0, 240.0, 60.0, 5.0])
    directions = np.column_stack((np.cos(turn), np.sin(turn), np.zeros(5)))
    _, code, places = follow(
        scene, np.tile([0.0, 0.0, 0.03], (5, 1)), directions, 1, keep_places=True
    )
    assert code[:, 0].tolist() == [1, 1, 1, 0, 0]
    assert np.hypot(places[0, 1, 0], places[0, 1, 1]) == pytest.approx(0.089 - 0.003, abs=1e-12)


@pytest.mark.parametrize("corners", [4, 6])
def test_flat_sides_are_flat(corners: int) -> None:
    """The middle of a side faces azimuth 0; posts without room there turn a corner to it."""
    column = Column(width=0.2, height=0.9, sides=corners)
    middle = 2 * math.pi / corners
    turn = np.array([0.0, 0.2, middle, middle / 2])
    inwards = -np.column_stack((np.cos(turn), np.sin(turn), np.zeros(4)))
    origins = -0.5 * inwards + np.array([0.0, 0.0, -0.3])
    out, _, places = follow(
        build_scene(build(column=column, posts=None)), origins, inwards, 1, keep_places=True
    )
    assert out[0, :3] == pytest.approx(-inwards[0], abs=1e-12)
    assert places[1, 1, 0] == pytest.approx(0.1, abs=1e-12)
    assert out[1, :2] == pytest.approx([math.cos(0.2), -math.sin(0.2)], abs=1e-12)
    assert np.hypot(*places[3, 1, :2]) == pytest.approx(0.1 / math.cos(math.pi / corners), abs=1e-9)
    posts = Posts(corners, 0.003, 0.099)
    _, _, places = follow(
        build_scene(build(column=column, posts=posts)), origins, inwards, 1, keep_places=True
    )
    assert places[0, 1, 0] == pytest.approx(0.1 / math.cos(math.pi / corners), abs=1e-9)


@pytest.mark.uncompiled
def test_a_square_baffle_ends_at_its_sides() -> None:
    scene = build_scene(
        build(column=Column(width=0.2, height=0.9, sides=4), posts=None, reflector=None, plate=None)
    )
    origins = np.array([[0.099, 0.099, 0.1], [0.101, 0.0, 0.1], [0.0, -0.099, 0.1]])
    _, code, _ = follow(scene, origins, np.tile([0.0, 0.0, -1.0], (3, 1)), 1)
    assert code[:, 0].tolist() == [1, 0, 1]
    result = count_rays(pose(build(column=Column(width=0.2, height=0.9, sides=4))), rays=RAYS)
    assert np.abs(result.by_history.sum(axis=1) - 1).max() < 1e-12


@pytest.mark.uncompiled
def test_a_round_baffle_over_a_hexagon_is_met_as_it_is() -> None:
    """From above the overhang, from below its underside, from the side the flat below it."""
    column = Column(width=0.2, height=0.9, sides=6, baffle=Baffle(Footprint(0.23), 0.02))
    scene = build_scene(build(column=column, posts=None, reflector=None, plate=None))
    origins = np.array([[0.11, 0, 0.1], [0.11, 0, -0.1], [0.5, 0, -0.01], [0.5, 0, -0.03]])
    # Not quite along the axes: without compilation a division by nothing is a warning.
    directions = np.array([[0, 0, -1.0], [0, 0, 1.0], [-1.0, 0, 0], [-1.0, 0, 0]]) + 1e-12
    _, _, places = follow(scene, origins, directions, 1, keep_places=True)
    met = places[:, 1, [0, 2]]
    wanted = [[0.11, 0.0], [0.11, -0.02], [0.115, -0.01], [0.1, -0.03]]
    assert met == pytest.approx(np.array(wanted), abs=1e-9)


@pytest.mark.parametrize(
    "changes",
    [
        {"driver": Driver(effective_radius=0.052, frame_radius=0.065, recess=0.004)},
        {
            "driver": Driver(
                effective_radius=0.052,
                frame_radius=0.065,
                cone_depth=0.02,
                centre=Whizzer(0.02, 0.03, 0.012, DustCap(0.01, 0.004)),
            )
        },
        {
            "driver": Driver(
                effective_radius=0.052, frame_radius=0.065, cone_depth=0.022, proud=0.003
            ),
            "tweeter": Tweeter(0.01, 0.004, 0.002, 0.016),
        },
    ],
    ids=["recessed", "whizzer", "coaxial"],
)
def test_rays_start_in_the_air(changes: dict) -> None:
    assembly = build(reflector=cone(0.08, height=0.02), **changes)
    for way in assembly.ways:
        r, z = launch_places(assembly, way, np.linspace(0.0, 1.0, 4001))
        assert r.max() == pytest.approx(way.effective_radius, rel=1e-6)
        assert not inside_of(assembly.lower_line, r, z).any()
        # The least radius of the launch is that of the way's own parts.
        inner = assembly.lower.of_parts(*way.parts)[-1].end[0]
        assert r.min() == pytest.approx(inner, abs=1e-6)


def inside_of(outline: np.ndarray, r: np.ndarray, z: np.ndarray) -> np.ndarray:
    """True for points inside a closed outline (N, 2): an odd number of crossings outwards."""
    ends = np.vstack((outline, outline[:1]))
    (r0, z0), (r1, z1) = ends[:-1].T, ends[1:].T
    crosses = (z0 > z[:, None]) != (z1 > z[:, None])
    at = r0 + (z[:, None] - z0) / np.where(crosses, z1 - z0, 1.0) * (r1 - r0)
    return np.count_nonzero(crosses & (at > r[:, None]), axis=1) % 2 == 1


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"reflector": cone(0.08, height=0.03, tip_radius=0.01)},
        {"plate_gap": 0.09, "reflector": ball_cap(0.12, 0.07)},
    ],
    ids=["cap", "rounded cone", "more than half a ball"],
)
def test_no_stretch_of_a_ray_lies_inside_a_solid(changes: dict) -> None:
    assembly = build(**changes)
    rng = np.random.default_rng(8)
    r, z = launch_places(assembly, assembly.ways[0], rng.uniform(size=1500))
    directions = rng.normal(size=(1500, 3))
    directions[:, 2] = np.abs(directions[:, 2])
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    origins = np.column_stack((r, np.zeros(r.size), z))
    _, code, places = follow(build_scene(assembly), origins, directions, keep_places=True)
    rays = np.arange(r.size)
    last = places[rays, code[:, 0]]
    places[rays, code[:, 0] + 1] = last + 0.3 * places[rays, code[:, 0] + 1]
    places = places[code[:, 1] == 0]
    between = places[:, :-1] + rng.uniform(0.05, 0.95, (len(places), 33, 1)) * np.diff(
        places, axis=1
    )
    points = between[np.isfinite(between[..., 0])]
    assert len(points) > 3000
    radius = np.hypot(points[:, 0], points[:, 1])
    assert not inside_of(assembly.lower.sample(1e-6), radius, points[:, 2]).any()
    assert not inside_of(assembly.upper.sample(1e-6), radius, points[:, 2]).any()


def test_azimuths_can_be_counted_within_a_window() -> None:
    radii = np.full(3, 0.052)
    whole = weigh(example_trace(), FREQUENCIES, radii, 343.0)
    upper = weigh(example_trace(), FREQUENCIES, radii, 343.0, window_deg=(0.0, 90.0))
    above = whole.by_elevation[:, whole.elevation_edges[:-1] >= 0.0].sum(axis=1)
    assert upper.by_azimuth.sum(axis=1) == pytest.approx(above, abs=1e-12)


def test_letting_go_widens_the_launch() -> None:
    way = Way(name="driver", lets_go=LettingGo(2000.0, 0.017))
    whole = solve_rays(pose(build()), rays=RAYS)
    part = solve_rays(Problem(assembly=build(), ways=(way,), frequencies=FREQUENCIES), rays=RAYS)
    assert np.array_equal(whole.far[:2], part.far[:2])
    assert np.sum(np.abs(part.far[2]) ** 2) > np.sum(np.abs(whole.far[2]) ** 2)


def test_points_have_the_level_of_their_elevation() -> None:
    done = []
    problem = pose(build(), points=np.array([[2.0, 0.0], [1.0, 1.0]]))
    response = solve_rays(problem, rays=RAYS, progress=done.append)
    assert done == [1] * len(FREQUENCIES)
    assert response.near_by_way.shape == (1, 3, 2)
    assert response.near[:, 0] == pytest.approx(response.far[:, 180])
    assert response.near[:, 1] == pytest.approx(response.far[:, 270])
    assert np.all(response.far.imag == 0.0)
    assert response.method == "rays"


@pytest.mark.uncompiled
def test_picture_follows_the_meridian() -> None:
    paths = meridian_paths(build(), count=31)
    assert len(paths) == 31
    for path in paths:
        assert path.points.shape[1] == 2
        if not path.history.trapped:
            assert len(path.points) == path.bounces + 2
    first = [path for path in paths if path.history.words == "reflector"]
    assert first
    for path in first:
        r, z = path.points[1]
        # On the ball of radius 0.09 whose flat is under the plate.
        assert math.hypot(r, z - (0.06 - 0.044 + 0.09)) == pytest.approx(0.09, abs=1e-12)


def test_a_picture_means_something_above_a_frequency() -> None:
    """Common practice, no source: wavelength up to the base radius and twice the rim gap."""
    assembly = build()
    lowest = meaningful_above_hz(assembly)
    speed = lowest * min(assembly.reflector.base_radius, 2 * assembly.rim_gap)
    assert speed == pytest.approx(Air().speed, rel=1e-12)
    assert meaningful_above_hz(build(reflector=ball_cap(0.09, 0.022))) > lowest
    assert math.isinf(meaningful_above_hz(assembly.without_upper()))


def stl_cone(sections: int = 96) -> trimesh.Trimesh:
    """Cone of radius 80 mm, 30 mm high, tip down, its base at z = 0; millimetres."""
    mesh = trimesh.creation.cone(radius=80.0, height=30.0, sections=sections)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(math.pi, [1, 0, 0]))
    return mesh


def test_a_cone_of_triangles_does_what_a_cone_does(tmp_path) -> None:
    file = tmp_path / "cone.stl"
    stl_cone(256).export(file)
    problem = pose(build(reflector=cone(0.08, height=0.03)))
    true = count_rays(problem, rays=2**14)
    facets = count_rays(problem, rays=2**14, free_form=read_free_form(file))
    words = [[history.words for history in result.histories] for result in (true, facets)]
    for told in ("straight out", "reflector", "reflector, baffle"):
        a, b = true.by_history[:, words[0].index(told)], facets.by_history[:, words[1].index(told)]
        # Facets of 1.4 degrees move an edge by less than a thousandth of the radius.
        assert a == pytest.approx(b, abs=0.003)
    assert np.abs(facets.by_history.sum(axis=1) - 1).max() < 1e-12


def test_bad_free_forms_are_refused(tmp_path) -> None:
    opened = stl_cone()
    opened.update_faces(np.arange(len(opened.faces)) > 3)
    with pytest.raises(FreeFormError, match="open"):
        free_form(opened)
    turned = stl_cone()
    turned.invert()
    with pytest.raises(FreeFormError, match="inside out"):
        free_form(turned)
    with pytest.raises(FreeFormError, match="unit"):
        free_form(stl_cone(), unit="m")
    with pytest.raises(FreeFormError, match="z = 0"):
        free_form(trimesh.creation.cone(radius=80.0, height=30.0))
    with pytest.raises(FreeFormError, match="plate gap"):
        build_scene(build(plate_gap=0.029), free_form=free_form(stl_cone()))
    with pytest.raises(FreeFormError, match="cannot be read"):
        read_free_form(tmp_path / "nothing.stl")
