"""The floor under the column: what stands on it, what is refused, named, shared and silent."""

from collections.abc import Callable

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.checks import remarks_after
from dispersion.keys import solve_keys
from dispersion.problem import Problem
from dispersion.solvers import SOLVERS, solve_waves
from dispersion.sources import Way
from dispersion.waves import DEFAULT_SETTINGS, SharedBlocks, WaveSolution, axial_motion, solve
from shapes import Assembly, Column, Driver, DustCap, TopPlate, ball_cap
from shapes.meridian import Arc, Line, Meridian

BUILT = Assembly(
    column=Column(width=0.2, height=0.4),
    driver=Driver(
        effective_radius=0.052,
        frame_radius=0.065,
        cone_depth=0.022,
        centre=DustCap(0.017, 0.009),
        proud=0.003,
    ),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.03),
    plate=TopPlate(0.1, 0.015, 0.003),
)
FOOT = -BUILT.column.height
FREQUENCIES = np.array([400.0, 1500.0])


def problem(assembly: Assembly = BUILT, floor: bool = True, **others) -> Problem:
    return Problem(
        assembly=assembly,
        ways=(Way(name="driver"),),
        **{"frequencies": FREQUENCIES, **others},
        floor=floor,
    )


def solved(bodies: tuple[Meridian, ...] = BUILT.bodies, **options) -> WaveSolution:
    drive = axial_motion("driver", {"cone", "dust cap"}, Air())
    return solve(bodies, 1500.0, [drive], **{"floor": FOOT, **options})


def ball(z: float) -> Meridian:
    """Ball of 0.1 m radius, its middle at a height."""
    return Meridian((Arc((0.0, z - 0.1), (0.0, z + 0.1), (0.0, z), clockwise=False, part="ball"),))


def test_what_lies_on_the_floor_is_left_out() -> None:
    lower, upper = BUILT.bodies
    footless = Meridian(lower.pieces[1:])
    assert lower.pieces[0].part == "column bottom"
    assert np.array_equal(solved().pressure, solved((footless, upper)).pressure)
    assert "column bottom" not in solved().mesh.parts


def test_a_lifted_floor_is_a_lowered_body() -> None:
    raised = tuple(body.shifted(0.3) for body in BUILT.bodies)
    elevations = np.linspace(0.0, 90.0, 10)
    turn = np.exp(-2j * np.pi * 1500.0 / Air().speed * 0.3 * np.sin(np.radians(elevations)))
    expected = solved().far_field(elevations)[:, 0] * turn
    for there in (solved(raised, floor=FOOT + 0.3), solved(lifts=(0.3, 0.3), floor=FOOT + 0.3)):
        found = there.far_field(elevations)[:, 0]
        assert np.abs(found - expected).max() < 1e-9 * np.abs(expected).max()


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (ball(0.05), "50 mm below the floor"),
        (ball(0.1), "less than 30 degrees"),
        (Meridian((Line((0.1, 0.05), (0.1, 0.2), "side"), Line((0.1, 0.2), (0.0, 0.2), "lid"))),
         "on the axis .* or on the floor"),
        (Meridian((Line((0.1, 0.0), (0.1, 0.2), "side"), Line((0.1, 0.2), (0.05, 0.2), "lid"))),
         "end on the axis"),
        (Meridian((Line((0.0, 0.0), (0.1, 0.0), "foot"), Line((0.1, 0.0), (0.2, 0.05), "flank"),
                   Line((0.2, 0.05), (0.0, 0.2), "lid"))), "'flank' rises"),
        (Meridian((Line((0.1, 0.0), (0.1, 0.1), "foot"), Line((0.1, 0.1), (0.2, 0.0), "skirt"),
                   Line((0.2, 0.0), (0.0, 0.3), "lid"))), "beside its foot"),
        (Meridian((Line((0.0, 0.0), (0.1, 0.0), "foot"),)), "flat on the floor"),
    ],
)  # fmt: skip
def test_bodies_that_do_not_stand_are_refused(body: Meridian, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        solve([body], 500.0, [], floor=0.0)


def test_what_lies_on_the_floor_cannot_move() -> None:
    with pytest.raises(ValueError, match="column bottom"):
        solve(BUILT.bodies, 500.0, [axial_motion("foot", {"column bottom"}, Air())], floor=FOOT)


def test_no_sound_below_the_floor() -> None:
    points = np.array([[0.5, FOOT - 1e-3], [0.5, FOOT], [0.5, FOOT + 1e-3]])
    response = solve_waves(problem(points=points))
    elevations = response.problem.elevations
    assert np.all(response.far[:, elevations < 0.0] == 0.0)
    assert np.all(response.far[:, elevations >= 0.0] != 0.0)
    assert np.all(response.near[:, 0] == 0.0)
    # A rigid floor: no slope of the pressure across it, so the change is of second order.
    distance = np.hypot(*points.T)
    k = 2.0 * np.pi * FREQUENCIES[:, None] / Air().speed
    pressure = response.near * np.exp(1j * k * distance) / distance
    change = np.abs(pressure[:, 2] / pressure[:, 1] - 1.0)
    assert np.all(change < (k[:, 0] * 1e-3) ** 2)
    assert response.worst_power_error_db < 0.1


def test_far_away_the_points_say_what_the_far_field_says() -> None:
    elevations = np.array([0.0, 30.0, 60.0])
    away = 2000.0 * np.stack(
        (np.cos(np.radians(elevations)), np.sin(np.radians(elevations))), axis=1
    )
    response = solve_waves(problem(points=away))
    far = response.far[:, np.searchsorted(response.problem.elevations, elevations)]
    # Body and image reach 0.5 m from the floor: phases differ by k (0.5 m)^2 / 4 km, 0.002 at most.
    assert np.abs(20.0 * np.log10(np.abs(response.near / far))).max() < 0.02


def test_long_waves_are_twice_as_loud() -> None:
    lowest = np.array([2.0])
    free = solve_waves(problem(frequencies=lowest, floor=False)).far[0, 180:]
    floor = solve_waves(problem(frequencies=lowest)).far[0, 180:]
    # k times the column's height is 0.015.
    assert np.abs(20.0 * np.log10(np.abs(floor / free)) - 20.0 * np.log10(2.0)).max() < 0.01


@pytest.mark.uncompiled
def test_a_small_source_is_twice_as_loud() -> None:
    """A ball whose top moves, few elements: k times its height is 0.02."""
    top, middle = (0.06, 0.18), (0.0, 0.1)
    shell = Arc((0.0, 0.0), top, middle, clockwise=False, part="shell")
    cap = Arc(top, (0.0, 0.2), middle, clockwise=False, part="cap")
    drive, elevations = axial_motion("cap", {"cap"}, Air()), np.array([0.0, 30.0, 90.0])
    asked = ((Meridian((shell, cap)),), 5.0, [drive])
    free, floor = (
        solve(*asked, floor=height, lifts=(0.1,)).far_field(elevations) for height in (None, 0.0)
    )
    assert np.abs(np.abs(floor / free) - 2.0).max() < 0.01


def test_sharing_changes_no_bit() -> None:
    shared, gaps = SharedBlocks(), (0.05, 0.0712345)
    for gap in gaps:
        alone = solve_waves(problem(BUILT.with_gap(gap)))
        together = solve_waves(problem(BUILT.with_gap(gap)), shared=shared)
        assert np.array_equal(alone.far_by_way, together.far_by_way)
    # Column and reflector: on itself, far away; the plate's far side. With images: the column, the
    # reflector at each gap.
    assert shared.made == (6 + len(gaps)) * FREQUENCIES.size
    free = solve_waves(problem(floor=False), shared=shared)
    assert np.array_equal(free.far_by_way, solve_waves(problem(floor=False)).far_by_way)


def test_kept_solves_tell_floor_from_free_air() -> None:
    with_floor, without = (solve_keys(problem(floor=f), DEFAULT_SETTINGS) for f in (True, False))
    assert not set(with_floor) & set(without)
    assert with_floor == solve_keys(problem(), DEFAULT_SETTINGS)


@pytest.mark.parametrize("method", sorted(SOLVERS.keys() - {"waves"}))
def test_quick_methods_know_no_floor(method: str) -> None:
    solver: Callable = SOLVERS[method]
    with pytest.raises(ValueError, match=f"method {method} knows no floor"):
        solver(problem())


def test_the_result_says_what_it_stands_on() -> None:
    said, free = (" ".join(remarks_after(solve_waves(problem(floor=f)))) for f in (True, False))
    assert "stands on a rigid floor" in said and "free field" not in said
    assert "free field: no floor" in free
