"""Mirror points of whole designs: pistons, edges, what a reflector changes, what is refused."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import j1

from dispersion.air import Air
from dispersion.checks import remarks_after
from dispersion.paths.images import ImageError, solve_images
from dispersion.problem import Problem
from dispersion.sources import LettingGo, Way
from shapes.assembly import Assembly, Column, Driver, TopPlate, Tweeter
from shapes.reflectors import ball_cap, flared

AIR = Air()
GAP = 0.1
ELEVATIONS = np.linspace(-90.0, 90.0, 361)


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


def piston_pattern(x: np.ndarray) -> np.ndarray:
    """2 J1(x) / x, x = ka cos(elevation): a flat piston in a wide baffle.

    Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), Eq. 13.102.
    """
    return np.where(np.abs(x) < 1e-6, 1.0, 2.0 * j1(x) / np.maximum(x, 1e-6))


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
