"""Simple diffraction as it is called: paths, their sum, the rim, complaints."""

from dataclasses import replace

import numpy as np
import pytest

from dispersion.paths.bounces import EdgeSettings
from dispersion.paths.edges import PathShare, explain, sentence, solve_edges
from dispersion.paths.kirchhoff import cut_rings, piston_plane_pressure, visible
from dispersion.paths.rims import EdgesError, edge_wave, far_rim, near_rim, wedge_field
from dispersion.problem import Problem
from dispersion.sources import LettingGo, Way
from shapes.assembly import Assembly, Column, Driver, DustCap, TopPlate, Tweeter
from shapes.meridian import Arc, Line, Meridian
from shapes.reflectors import ball_cap

BOX_EDGE = 1.5 * np.pi
ELEVATIONS = np.linspace(-90.0, 90.0, 61)
FREQUENCIES = np.array([300.0, 1000.0, 2900.0, 8000.0])
FLAT = Assembly(
    column=Column(width=0.2, height=0.9),
    driver=Driver(effective_radius=0.05, frame_radius=0.06),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.04),
    plate=TopPlate(0.1, 0.012),
)


def problem_of(assembly: Assembly, *ways: Way, points: np.ndarray | None = None) -> Problem:
    points = np.array([[2.0, 0.3], [0.5, -0.2]]) if points is None else points
    ways = ways or (Way(name="driver"),)
    return Problem(
        assembly=assembly, ways=ways, frequencies=FREQUENCIES, elevations=ELEVATIONS, points=points
    )


@pytest.fixture(scope="module")
def problem() -> Problem:
    return problem_of(FLAT)


def test_answer_has_the_shape_of_a_response(problem: Problem) -> None:
    done: list[int] = []
    response = solve_edges(problem, progress=done.append)
    assert response.method == "edges"
    assert response.far_by_way.shape == (1, 4, 61)
    assert response.near_by_way.shape == (1, 4, 2)
    assert response.power_error_db.shape == (1, 4)
    assert response.unknowns.shape == (4,)
    assert response.settings["rounds"] == 3
    assert done == [1, 1, 1, 1]


def test_number_of_workers_changes_nothing(problem: Problem) -> None:
    one, two = (solve_edges(problem, workers=workers) for workers in (1, 2))
    assert np.array_equal(one.far_by_way, two.far_by_way)
    assert np.array_equal(one.near_by_way, two.near_by_way)


def test_near_field_becomes_the_far_field(problem: Problem) -> None:
    eps, distance = np.radians(ELEVATIONS[::6]), 5e4
    points = distance * np.column_stack([np.cos(eps), np.sin(eps)])
    here = replace(problem, frequencies=FREQUENCIES[:2], points=points)
    response = solve_edges(here)
    # The axis of the elevations is inside the rounding of k times the distance.
    far = response.far[:, ::6]
    assert np.abs(response.near - far).max() < 1e-3 * np.abs(far).max()


def test_more_rings_change_little(problem: Problem) -> None:
    coarse = solve_edges(problem).far
    fine = solve_edges(problem, EdgeSettings(rings_per_wavelength=24.0)).far
    assert np.abs(coarse - fine).max(axis=1) == pytest.approx(0.0, abs=0.03 * np.abs(fine).max())


def test_endless_baffle_in_the_limit() -> None:
    # A wide baffle, a short sound: straight above it the piston alone, Rayleigh's 2 J1(x)/x.
    wide = Assembly(
        column=Column(width=1.6, height=0.9),
        driver=Driver(effective_radius=0.05, frame_radius=0.06),
        plate_gap=0.06,
        reflector=None,
        plate=None,
    )
    here = replace(problem_of(wide), frequencies=np.array([8000.0]))
    from scipy.special import j1

    high = (ELEVATIONS >= 40.0) & (ELEVATIONS < 89.0)
    x = 2 * np.pi * 8000.0 / here.air.speed * 0.05 * np.cos(np.radians(ELEVATIONS[high]))
    rim = solve_edges(here).far[0, high]
    assert np.abs(rim - 2.0 * j1(x) / x).max() < 0.02


def test_without_reflector_and_plate_only_the_rim_answers() -> None:
    shares = explain(problem_of(FLAT.without_upper()), 1000.0, 10.0)
    assert [share.name for share in shares] == ["driver straight out", "baffle rim"]
    bare = EdgeSettings(baffle_rim=False)
    (alone,) = explain(problem_of(FLAT.without_upper()), 1000.0, 10.0, bare)
    assert alone.phase_deg == pytest.approx(0.0, abs=1e-9)
    assert not alone.opposite


@pytest.mark.uncompiled
def test_paths_add_up_to_the_answer(problem: Problem) -> None:
    elevation = ELEVATIONS[33]
    response = solve_edges(problem)
    for i, frequency in enumerate(FREQUENCIES):
        shares = explain(problem, frequency, elevation)
        total = response.far[i, 33]
        # Phases are relative to the sum.
        found = sum(s.amplitude * np.exp(1j * np.radians(s.phase_deg)) for s in shares)
        # Rings are not the same where the top frequency is another.
        assert found == pytest.approx(abs(total), abs=0.01)


def test_paths_of_all_bounces_are_named(problem: Problem) -> None:
    names = [share.name for share in explain(problem, 2900.0, 12.0, EdgeSettings(rounds=2))]
    assert names == [
        "driver straight out",
        "baffle rim",
        "off the reflector",
        "off the plate",
        "reflector then baffle",
        "plate then baffle",
        "off the reflector, time 2",
        "off the plate, time 2",
        "reflector then baffle, time 2",
        "plate then baffle, time 2",
    ]
    assert [s.name for s in explain(problem, 2900.0, 12.0, EdgeSettings(rounds=0))] == names[:2]


def test_delay_is_the_detour_of_the_bounce() -> None:
    # A plate alone, far up, and the sound straight down from it: twice the gap later than what
    # goes straight up. At 60 degrees the image in the plate is 2 g sin(60 deg) behind.
    gap = 0.4
    plate = Assembly(
        column=Column(width=2.0, height=0.9),
        driver=Driver(effective_radius=0.02, frame_radius=0.03),
        plate_gap=gap,
        reflector=None,
        plate=TopPlate(1.0, 0.01),
    )
    here = problem_of(plate)
    shares = {s.name: s for s in explain(here, 6000.0, 60.0)}
    detour = 2.0 * gap * np.sin(np.radians(60.0))
    found = shares["plate then baffle"].delay_s * here.air.speed
    # The rims blur it by less than a wavelength.
    assert found == pytest.approx(detour, abs=here.air.speed / 6000.0)


def test_deep_driver_sounds_later(problem: Problem) -> None:
    deep = replace(FLAT, driver=replace(FLAT.driver, recess=0.01)).without_upper()
    flat, late = (solve_edges(problem_of(a)).far for a in (FLAT.without_upper(), deep))
    k = 2.0 * np.pi * FREQUENCIES / problem.air.speed
    assert late == pytest.approx(flat * np.exp(0.01j * k)[:, None], abs=1e-6)


def test_ways_are_told_apart() -> None:
    coaxial = replace(FLAT, plate_gap=0.08, tweeter=Tweeter(0.01, 0.004, 0.002, 0.016))
    response = solve_edges(
        problem_of(coaxial, Way(name="driver"), Way(name="tweeter", level_db=-3.0))
    )
    assert response.far_by_way.shape == (2, 4, 61)
    # The small one is the less directed: at 8 kHz more of it reaches the horizon, bounces aside.
    bare = solve_edges(
        problem_of(coaxial.without_upper(), Way(name="driver"), Way(name="tweeter", level_db=-3.0))
    )
    driver, tweeter = np.abs(bare.far_by_way[:, -1, 33])
    assert tweeter > 2.0 * driver


def test_cone_that_lets_go_spreads_more() -> None:
    bare = FLAT.without_upper()
    whole = solve_edges(problem_of(bare)).far[-1]
    loose = solve_edges(problem_of(bare, Way(name="driver", lets_go=LettingGo(2000.0, 0.015)))).far[
        -1
    ]
    assert np.abs(loose[33]) > np.abs(whole[33])
    # Both are relative to the volume that moves: the same straight up, but for the rim.
    assert abs(loose[-1]) == pytest.approx(abs(whole[-1]), rel=0.2)


def test_cone_and_dust_cap_are_no_trouble() -> None:
    driver = Driver(
        effective_radius=0.05,
        frame_radius=0.06,
        cone_depth=0.02,
        centre=DustCap(0.017, 0.008),
        proud=0.003,
    )
    response = solve_edges(problem_of(replace(FLAT, driver=driver)))
    assert np.all(np.isfinite(response.far))
    assert not np.any(np.isnan(response.power_error_db))


def test_reflector_below_the_baffle_is_refused() -> None:
    deep = replace(
        FLAT,
        driver=Driver(effective_radius=0.05, frame_radius=0.06, cone_depth=0.03),
        plate_gap=0.035,
    )
    with pytest.raises(EdgesError, match=r"5\.0 mm below it: use the wave solver"):
        solve_edges(problem_of(deep))


@pytest.mark.parametrize(
    ("settings", "message"),
    [({"rounds": -1}, "rounds -1"), ({"rings_per_wavelength": 1.0}, "give 2 or more")],
)
def test_settings_that_compute_nothing_are_refused(
    settings: dict[str, float], message: str
) -> None:
    with pytest.raises(EdgesError, match=message):
        EdgeSettings(**settings)


@pytest.mark.parametrize(
    ("k", "receiver", "wedge"),
    [
        (1.0, (1.0, 5.0, 0.0), BOX_EDGE),
        (1.0, (0.0, 1.0, 0.0), BOX_EDGE),
        (0.0, (1.0, 1.0, 0.0), BOX_EDGE),
        (1.0, (1.0, 1.0, 0.0), 7.0),
    ],
)
def test_edge_refuses_places_in_the_solid(
    k: float, receiver: tuple[float, float, float], wedge: float
) -> None:
    with pytest.raises(EdgesError):
        edge_wave(k, (1.0, 1.0, 0.0), receiver, wedge)


def test_edge_refuses_corners_with_more_images() -> None:
    with pytest.raises(EdgesError, match="60 deg"):
        wedge_field(1.0, (1.0, 0.3, 0.0), (1.0, 0.4, 0.0), np.pi / 3.0)


def test_rim_seen_from_far_is_the_rim_seen_from_very_far() -> None:
    elevations, distance, k = np.array([-40.0, 5.0, 50.0]), 1e4, 30.0
    eps = np.radians(elevations)
    points = distance * np.column_stack([np.cos(eps), np.sin(eps)])
    near = near_rim(0.1, BOX_EDGE, 0.05, points, k).at(k) * distance
    far = far_rim(0.1, BOX_EDGE, 0.05, elevations, k).at(k)
    assert np.abs(near * np.exp(-1j * k * distance) - far).max() < 1e-4 * np.abs(far).max()


def test_rim_is_a_bent_straight_edge() -> None:
    # In the shadow below the baffle only the near side answers. A straight edge has the path
    # sqrt(b^2 + s^2) to it, a rim b - b cos(eps) (1 - s^2 / 2 b^2): the ratio of the widths of
    # what is in step is sqrt(1 / cos(eps)).
    b, k, elevation = 1.0, 400.0, -35.0
    eps, distance = np.radians(elevation), 1e5
    rim = far_rim(b, BOX_EDGE, 0.0, np.array([elevation]), k).at(k)[0]
    receiver = (distance, np.pi - eps, 0.0)
    straight = edge_wave(k, (b, 0.0, 0.0), receiver, BOX_EDGE) * distance
    # The middle of the rim is the origin, not the edge.
    straight *= np.exp(-1j * k * (distance + b * np.cos(eps)))
    # Next order: 1/(k b), some multiple of 0.25 per cent.
    assert rim * np.sqrt(np.cos(eps)) == pytest.approx(straight, rel=0.02)


def test_rim_has_no_step_where_light_ends() -> None:
    bare = FLAT.without_upper()
    below, on, above = (
        solve_edges(
            replace(
                problem_of(bare),
                elevations=np.linspace(-90.0, 90.0, 3),
                points=np.array([[10.0, 10.0 * np.tan(np.radians(e))]]),
            )
        ).near[:, 0]
        for e in (-0.2, 0.0, 0.2)
    )
    assert np.abs(below - above).max() < 0.03
    assert np.abs(0.5 * (below + above) - on).max() < 0.01


def test_shadow_of_a_ball() -> None:
    ball = Meridian((Arc((0.0, 0.1), (0.0, 0.3), (0.0, 0.2), clockwise=False, part="ball"),))
    rings = cut_rings(ball.pieces, 0.005)
    floor = cut_rings([Line((0.3, 0.0), (0.0, 0.0), "floor")], 0.02)
    lit = visible(rings, floor, ball.sample(1e-5), 1e-5)
    # A convex body is seen exactly where its normal looks.
    dr, dz = floor.r - rings.r[:, None], floor.z - rings.z[:, None]
    facing = rings.normal_r[:, None] * dr + rings.normal_z[:, None] * dz
    clear = np.abs(facing) > 1e-3
    assert np.array_equal(lit[clear], facing[clear] > 0.0)


def test_what_stands_behind_a_collar_is_dark() -> None:
    collar = Meridian(
        (
            Line((0.0, 0.1), (0.1, 0.1), "top"),
            Line((0.1, 0.1), (0.1, 0.02), "collar"),
            Line((0.1, 0.02), (0.11, 0.02), "collar"),
        )
    )
    rings = cut_rings(collar.of_parts("top"), 0.01)
    floor = cut_rings([Line((0.3, 0.0), (0.0, 0.0), "floor")], 0.01)
    lit = visible(rings, floor, collar.sample(1e-5), 1e-5)
    middle = np.argmin(np.abs(rings.r - 0.05))
    # From (0.05, 0.1) the collar's lower edge at (0.1, 0.02) hides all beyond r = 0.1125.
    assert np.all(lit[middle, floor.r < 0.112])
    assert not np.any(lit[middle, floor.r > 0.113])


def test_weighted_piston_is_the_sum_of_its_rings() -> None:
    radii = np.array([0.0, 0.02, 0.05, 0.09])
    whole = piston_plane_pressure(40.0, radii, 0.05, lambda r: 1.0 + 2.0 * r)
    ones = piston_plane_pressure(40.0, radii, 0.05, np.ones_like)
    sloped = piston_plane_pressure(40.0, radii, 0.05, lambda r: r)
    assert whole == pytest.approx(ones + 2.0 * sloped, rel=1e-12)


def test_sentence_names_the_strongest_against() -> None:
    shares = (
        PathShare(
            name="driver straight out", amplitude=0.5, delay_s=0.0, phase_deg=10.0, opposite=False
        ),
        PathShare(
            name="off the reflector", amplitude=0.1, delay_s=1e-4, phase_deg=150.0, opposite=True
        ),
        PathShare(
            name="reflector then baffle",
            amplitude=0.25,
            delay_s=1.7e-4,
            phase_deg=-170.0,
            opposite=True,
        ),
    )
    assert sentence(shares, 2900.0) == (
        "2.9 kHz: 'reflector then baffle' arrives 0.17 ms late, 6.0 dB below "
        "'driver straight out' and opposite in phase"
    )
    assert sentence(shares[:1]) == (
        "'driver straight out' leads, and nothing strong works against it"
    )
    assert sentence(shares[:1], 250.0).startswith("250 Hz: ")
