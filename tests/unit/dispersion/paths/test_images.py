"""Image sources: which path is seen from where, what it is called, and what they add up to."""

from dataclasses import replace

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.checks import remarks_after
from dispersion.paths.images import solve_images
from dispersion.paths.mirrors import (
    DEFAULT_BOUNCES,
    ImageError,
    Mirrors,
    image_sources,
    paths_to,
    paths_towards,
    piston_pattern,
)
from dispersion.problem import Problem
from dispersion.sources import LettingGo, Way
from shapes.assembly import Assembly, Column, Driver, TopPlate, Tweeter
from shapes.reflectors import ball_cap, flared

AIR = Air()
GAP, BAFFLE, PLATE = 0.1, 0.15, 0.2
DISCS = Mirrors(GAP, BAFFLE, PLATE)
ELEVATIONS = np.linspace(-90.0, 90.0, 361)


def histories(paths, index: int) -> list[str]:
    return [
        image.history
        for image, seen in zip(paths.images, paths.seen[:, index], strict=True)
        if seen
    ]


def problem(plate: TopPlate | None = None, way: Way | None = None, points=()) -> Problem:
    assembly = Assembly(
        column=Column(width=0.3, height=1.0),
        driver=Driver(effective_radius=0.08, frame_radius=0.1),
        plate_gap=GAP,
        reflector=None,
        plate=plate,
    )
    points = np.array(points, dtype=float).reshape(-1, 2)
    frequencies = np.array([200.0, 2000.0, 6000.0])
    return Problem(
        assembly=assembly,
        ways=(way or Way(name="driver"),),
        frequencies=frequencies,
        air=AIR,
        points=points,
    )


def test_heights_and_histories_of_the_first_images():
    found = {(i.history, i.first): i.z for i in image_sources(DISCS, 0.03, 3)}
    # Unfolded by hand: plate at 0.1, baffle at 0, source at 0.03.
    assert found == pytest.approx(
        {
            ("direct", 1): 0.03,
            ("direct", -1): 0.03,
            ("plate", 1): 0.17,
            ("baffle", -1): -0.03,
            ("plate, baffle", 1): -0.17,
            ("baffle, plate", -1): 0.23,
            ("plate, baffle, plate", 1): 0.37,
            ("baffle, plate, baffle", -1): -0.23,
        }
    )


def test_a_source_in_the_baffle_is_doubled_above_and_gone_below():
    paths = paths_towards(Mirrors(GAP, BAFFLE), [-30.0, -0.5, 0.0, 0.5, 30.0, 90.0])
    below, above = paths.seen[:, :2], paths.seen[:, 2:]
    assert not below.any()
    assert np.all(above.sum(axis=0) == 2)
    assert histories(paths, 4) == ["direct", "baffle"]
    assert np.allclose(paths.pressure(np.array([3.0, 300.0]))[:, 2:], 1.0)


def test_the_plate_mirrors_only_what_meets_its_disc():
    # From the baffle's plane a ray meets the plate where tan(elevation) >= gap / radius.
    limit = np.degrees(np.arctan(GAP / PLATE))
    paths = paths_towards(DISCS, [limit - 0.01, -(limit + 0.01), -(limit - 0.01), limit + 0.01])
    assert histories(paths, 0) == ["direct", "baffle"]
    assert histories(paths, 1) == ["plate", "baffle, plate"]
    assert histories(paths, 2) == []
    assert histories(paths, 3) == []


def test_steeper_rays_come_back_to_the_baffle_and_up_again():
    # 2 gap / tan <= baffle, and 3 gap / tan > plate: up between the two limits.
    low, high = 2 * GAP / BAFFLE, 3 * GAP / PLATE
    between = np.degrees(np.arctan([0.99 * low, 1.01 * low, 0.99 * high, 1.01 * high]))
    paths = paths_towards(DISCS, between)
    assert [histories(paths, i) for i in (0, 3)] == [[], []]
    for index in (1, 2):
        assert histories(paths, index) == ["plate, baffle", "baffle, plate, baffle"]


def test_every_ray_gets_away_once_but_those_caught_near_the_axis():
    paths = paths_towards(Mirrors(GAP, BAFFLE, PLATE), ELEVATIONS, 0.04)
    count = paths.seen.sum(axis=0)
    both = (count + count[::-1])[ELEVATIONS > 0.0]
    # The last ray out meets the plate at bounce 100 or so: tan = 100 gap / radius.
    caught = np.degrees(np.arctan(DEFAULT_BOUNCES * GAP / BAFFLE))
    assert np.all(both[ELEVATIONS[ELEVATIONS > 0.0] < caught - 0.5] == 2)
    assert both[-1] == 0


def test_a_raised_source_interferes_with_its_image():
    k, height = 60.0, 0.05
    elevation = np.array([20.0, 50.0])
    pressure = paths_towards(Mirrors(1.0, np.inf), elevation, height).pressure([k])[0]
    assert np.allclose(pressure, np.cos(k * height * np.sin(np.radians(elevation))))


def test_a_raised_source_shines_past_the_baffles_edge():
    # The edge is seen from the source at atan(height / radius) below the horizon.
    limit = np.degrees(np.arctan(0.05 / BAFFLE))
    paths = paths_towards(Mirrors(GAP, BAFFLE), [-(limit - 0.01), -(limit + 0.01)], 0.05)
    assert histories(paths, 0) == ["direct"]
    assert histories(paths, 1) == []
    up = paths_towards(Mirrors(GAP, BAFFLE), [limit - 0.01, limit + 0.01], 0.05)
    assert histories(up, 0) == ["direct"]
    assert histories(up, 1) == ["direct", "baffle"]


def test_levels_delays_and_angles_at_a_point():
    paths = paths_to(Mirrors(GAP, BAFFLE, PLATE), [[0.3, 0.02]], 0.04)
    index = next(i for i, image in enumerate(paths.images) if image.history == "plate")
    # Plate at 0.1: the image stands at 0.16, 0.14 above the point.
    length, distance = np.hypot(0.3, 0.14), np.hypot(0.3, 0.02)
    assert paths.seen[index, 0]
    assert paths.level_db[index, 0] == pytest.approx(20 * np.log10(0.5 * distance / length))
    assert paths.delay(343.0)[index, 0] == pytest.approx((length - distance) / 343.0)
    assert paths.sine[index, 0] == pytest.approx(0.3 / length)


def test_shadows_at_points():
    discs = Mirrors(GAP, BAFFLE, PLATE)
    behind_plate, under_baffle, above_rim = [0.1, 0.3], [0.1, -0.2], [0.5, 0.2]
    paths = paths_to(discs, [behind_plate, under_baffle, above_rim], 0.05)
    assert histories(paths, 0) == []
    assert histories(paths, 1) == []
    # Its line from the source passes the plate's level at r = 0.5 / 3 < 0.2: shadow as well; the
    # one from the baffle's image does at 0.5 * 0.15 / 0.25 = 0.3 and is free.
    assert histories(paths, 2) == ["baffle"]
    assert np.all(np.isneginf(paths.level_db[:, 0]))


def test_a_far_point_hears_what_its_direction_does():
    elevation = np.array([-55.0, -40.0, 0.0, 10.0, 54.0])
    angle, far, k = np.radians(elevation), 1e6, [20.0, 150.0]
    point = far * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    for height in (0.0, 0.06):
        towards = paths_towards(DISCS, elevation, height).pressure(k, 0.08)
        there = paths_to(DISCS, point, height).pressure(k, 0.08)
        # Paths differ from parallel ones by gap squared over distance, times k.
        assert np.allclose(there, towards, atol=1e-5)


def test_without_a_plate_a_design_is_the_piston_on_a_baffle_with_an_edge():
    """At short waves the pattern of a flat piston in an endless baffle, less the edge's ripple."""
    response = solve_images(problem())
    e = response.problem.elevations
    k = 2.0 * np.pi * response.problem.frequencies / AIR.speed
    up = e >= 30.0
    pattern = piston_pattern(0.08 * k[:, None] * np.cos(np.radians(e[up])))
    apart = np.abs(np.abs(response.far_by_way[0][:, up]) - np.abs(pattern)).max(axis=1)
    assert apart[2] < 0.07 < apart[0]
    assert np.all(np.abs(response.far_by_way[0][:, e == -60.0]) > 1e-4)


def with_cap(keep: float = 0.03, **changed) -> Problem:
    bare = problem(TopPlate(0.15, 0.012), **changed)
    return replace(bare, assembly=bare.assembly.with_reflector(ball_cap(0.18, keep)))


def test_the_reflector_is_seen_and_no_direction_is_empty():
    low, high = solve_images(with_cap(0.03)), solve_images(with_cap(0.06))
    apart = 20.0 * np.log10(np.abs(low.far) / np.abs(high.far))
    assert np.abs(apart[2]).max() > 3.0
    # A hard edge would leave nothing at all beyond it.
    levels = 20.0 * np.log10(np.abs(low.far))
    assert levels.min() > -60.0
    assert np.abs(np.diff(levels[0])).max() < 1.0


def test_response_is_complete_and_the_same_for_any_number_of_workers():
    done: list[int] = []
    asked = with_cap(points=[[2.0, 0.1]])
    response = solve_images(asked, workers=1, progress=done.append)
    assert response.method == "images"
    assert response.far.shape == (3, ELEVATIONS.size)
    assert response.near.shape == (3, 1)
    assert response.power_error_db.shape == (1, 3)
    assert done == [1, 1, 1]
    assert np.array_equal(response.far, solve_images(asked, workers=2).far)


def test_a_far_point_is_heard_as_its_direction():
    angle, distance = np.radians(10.0), 1e4
    place = [[distance * np.cos(angle), distance * np.sin(angle)]]
    response = solve_images(with_cap(points=place))
    there = response.far[:, np.flatnonzero(ELEVATIONS == 10.0)]
    # Paths differ from parallel ones by 0.2 m squared over the distance, times k.
    assert response.near == pytest.approx(there, abs=1e-3)


def test_a_cone_that_lets_go_is_a_smaller_piston():
    way = Way(name="driver", lets_go=LettingGo(1000.0, 0.02))
    shrunk = solve_images(problem(way=way)).far_by_way[0]
    whole = solve_images(problem()).far_by_way[0]
    assert np.array_equal(shrunk[0], whole[0])
    at = int(np.flatnonzero(ELEVATIONS == 30.0)[0])
    assert np.abs(shrunk[2, at]) > 2.0 * np.abs(whole[2, at])


def test_a_tweeter_stands_where_it_is_built():
    """A dome 20 mm above the baffle and its image: cos(k h sin(elevation)), and an edge."""
    assembly = Assembly(
        column=Column(width=0.3, height=1.0),
        driver=Driver(effective_radius=0.08, frame_radius=0.1, cone_depth=0.03),
        plate_gap=GAP,
        reflector=None,
        plate=None,
        tweeter=Tweeter(0.0125, 0.005, 0.02, 0.02),
    )
    ways = (Way(name="driver"), Way(name="tweeter"))
    response = solve_images(
        Problem(assembly=assembly, ways=ways, frequencies=np.array([4000.0]), air=AIR)
    )
    k = 2.0 * np.pi * 4000.0 / AIR.speed
    at = ELEVATIONS > 40.0
    sine = np.sin(np.radians(ELEVATIONS[at]))
    piston = piston_pattern(k * 0.0125 * np.sqrt(1.0 - sine**2))
    found = np.abs(response.far_by_way[1, 0, at])
    assert found == pytest.approx(np.abs(piston * np.cos(k * 0.02 * sine)), abs=0.15)


def test_a_hollow_reflector_is_said_to_have_a_focus():
    hollow, round_one = problem(TopPlate(0.2, 0.012)), with_cap()
    hollow = replace(hollow, assembly=hollow.assembly.with_reflector(flared(0.075, 0.04)))
    told, plain = (" ".join(remarks_after(solve_images(one))) for one in (hollow, round_one))
    assert "pass a focus" in told and "believe reasons" in told
    assert "pass a focus" not in plain and "believe it up to" in plain


def test_a_reflector_that_reaches_down_to_the_driver_is_refused():
    with pytest.raises(ImageError, match="use the wave solver, or a larger gap"):
        solve_images(with_cap(0.11))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Mirrors(0.0, 0.1), "gap"),
        (lambda: Mirrors(0.1, -0.1), "radius"),
        (lambda: image_sources(DISCS, 0.1), "below 100 mm"),
        (lambda: image_sources(DISCS, -0.01), "between baffle and plate"),
        (lambda: image_sources(DISCS, 0.0, -1), "0 or more"),
        (lambda: paths_to(DISCS, [[0.0, 0.04]], 0.04), "move it away"),
    ],
)
def test_complaints_name_the_remedy(call, words):
    with pytest.raises(ImageError, match=words):
        call()
