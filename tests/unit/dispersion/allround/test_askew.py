"""Two bodies with an axis each: hung straight, mirrored, and that more changes nothing.

Exact fields: `studies.questions.proof.cases.askew`.
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.allround import (
    AllRoundError,
    AskewPair,
    Displacement,
    Solving,
    half_circle,
    solve_askew,
    solve_leaning,
)
from dispersion.allround.by_frequency import mended
from dispersion.allround.coupling import coupling
from dispersion.fields import Fields
from dispersion.problem import Problem
from dispersion.sources import Way
from dispersion.stopping import StopFlag, StoppedError, stopped_by
from dispersion.walls import RIGID_WALLS, ConstantAdmittance, Walls
from dispersion.waves import DEFAULT_SETTINGS, axial_motion, solve
from shapes.assembly import Assembly, Column, Driver, TopPlate
from shapes.reflectors import ball_cap

AIR = Air()
SMALL = Assembly(
    column=Column(width=0.12, height=0.030),
    driver=Driver(effective_radius=0.020, frame_radius=0.020),
    plate_gap=0.020,
    reflector=ball_cap(ball_diameter=0.070, keep=0.014),
    plate=TopPlate(radius=0.060, thickness=0.008),
)
HERTZ = 6000.0
ELEVATIONS, AZIMUTHS = np.array([-40.0, 0.0, 30.0, 75.0]), np.array([0.0, 60.0, 180.0])
HANGS = Displacement(shift=0.003, tilt=np.radians(2.0))


class Shelf(dict[bytes, Fields]):
    """A store in memory."""

    __hash__ = object.__hash__

    def fetch(self, key: bytes) -> Fields | None:
        return self.get(key)

    def keep(self, key: bytes, fields: Fields) -> None:
        self[key] = fields


def drives() -> list:
    return [axial_motion(way.name, way.parts, AIR) for way in SMALL.ways]


LOSSY = Walls(absorbers=(("reflector", ConstantAdmittance(0.05 + 0.02j)),))


@cache
def pair(
    displaced: Displacement = HANGS, more_orders: int = 4, walls: Walls = RIGID_WALLS
) -> AskewPair:
    return solve_askew(SMALL, HERTZ, drives(), displaced, AIR, more_orders=more_orders, walls=walls)


def test_hung_straight_it_is_the_round_solver() -> None:
    exact = solve(SMALL.bodies, HERTZ, drives(), AIR).far_field(ELEVATIONS)[:, 0]
    found = pair(Displacement()).far(ELEVATIONS, AZIMUTHS)[0]
    assert np.abs(found - exact[:, None]).max() < 1e-3 * np.abs(exact).max()


def test_with_walls_that_take_something_it_is_the_round_solver_too() -> None:
    """Boundary layers, and a reflector that takes some; power is kept, hung askew too."""
    exact = solve(SMALL.bodies, HERTZ, drives(), AIR, walls=LOSSY)
    found = pair(Displacement(), walls=LOSSY)
    far, near = exact.far_field(ELEVATIONS)[:, 0], np.array([[0.15, 0.05]])
    off = found.far(ELEVATIONS, AZIMUTHS)[0] - far[:, None]
    assert np.abs(off).max() < 1e-3 * np.abs(far).max()
    hard = pair(Displacement()).far(ELEVATIONS, AZIMUTHS)[0]
    assert np.abs(hard - far[:, None]).max() > 0.05 * np.abs(far).max()
    there = exact.pressure_at(near)[0]
    assert found.near(near, AZIMUTHS)[0, 0] == pytest.approx(np.repeat(there, 3), rel=1e-3)
    for one in (found, pair(walls=LOSSY)):
        assert np.abs(one.power_error_db).max() < 0.005


def test_power_is_kept_and_the_lean_is_heard() -> None:
    assert np.abs(pair().power_error_db).max() < 0.005
    straight, leaning = (one.far(ELEVATIONS, AZIMUTHS)[0] for one in (pair(Displacement()), pair()))
    assert np.abs(leaning - straight).max() > 0.1 * np.abs(straight).max()


def test_displaced_to_the_other_side_is_seen_from_the_other_side() -> None:
    other = pair(Displacement(shift=-HANGS.shift, tilt=-HANGS.tilt)).far(ELEVATIONS, AZIMUTHS)[0]
    here = pair().far(ELEVATIONS, 180.0 - AZIMUTHS)[0]
    assert np.abs(other - here).max() < 1e-4 * np.abs(here).max()


def test_half_as_far_changes_half_as_much() -> None:
    """First order in the shift, but for the mean of both sides, which is of second order."""

    def harmonic(shift: float) -> np.ndarray:
        far = pair(Displacement(shift=shift)).far(ELEVATIONS, np.array([0.0, 180.0]))[0]
        return far[:, 0] - far[:, 1]

    whole, half = harmonic(0.4e-3), harmonic(0.2e-3)
    assert np.abs(whole - 2.0 * half).max() < 0.01 * np.abs(whole).max()


def test_more_orders_change_nothing_and_fewer_would_show() -> None:
    usual = pair().far(ELEVATIONS, AZIMUTHS)[0]
    more, fewer = (pair(more_orders=n).far(ELEVATIONS, AZIMUTHS)[0] for n in (7, 0))
    assert np.abs(more - usual).max() < 2e-4 * np.abs(usual).max()
    assert np.abs(fewer - usual).max() > 2e-4 * np.abs(usual).max()


def test_at_points_it_is_the_round_solver_and_far_out_the_far_field() -> None:
    """Far out the next term is of k a^2 / 2 r = 0.007."""
    points = np.array([[0.15, 0.05], [0.3, -0.1]])
    exact = solve(SMALL.bodies, HERTZ, drives(), AIR).pressure_at(points)[:, 0]
    straight = pair(Displacement()).near(points, AZIMUTHS)[0]
    assert np.abs(straight - exact[:, None]).max() < 1e-3 * np.abs(exact).max()
    up, far_out = np.radians(ELEVATIONS), 30.0
    out = far_out * np.column_stack((np.cos(up), np.sin(up)))
    found = pair().near(out, AZIMUTHS)[0] * far_out * np.exp(-1j * pair().k * far_out)
    far = pair().far(ELEVATIONS, AZIMUTHS)[0]
    assert np.abs(found - far).max() < 0.01 * np.abs(far).max()


def test_over_frequencies_the_levels_are_those_of_each() -> None:
    problem = Problem(
        assembly=SMALL,
        ways=tuple(Way(name=way.name) for way in SMALL.ways),
        frequencies=np.array([HERTZ, 1.1 * HERTZ]),
        air=AIR,
        elevations=ELEVATIONS,
    )
    leaning = solve_leaning(problem, HANGS, AZIMUTHS, Solving(workers=1))
    single = np.abs(pair().far(ELEVATIONS, AZIMUTHS)[0]) ** 2
    ratio = leaning.power[0] / single
    assert ratio == pytest.approx(ratio[0, 0])
    assert leaning.balance.power_error_db < 0.005
    assert np.array_equal(leaning.finer, [1.0, 1.0])
    shelf, alone = Shelf(), replace(problem, frequencies=problem.frequencies[:1])
    solve_leaning(alone, HANGS, AZIMUTHS, Solving(workers=1, store=shelf))
    # Nobody there to solve anything: out of the store.
    again = solve_leaning(alone, HANGS, AZIMUTHS, Solving(executor=Executor(), store=shelf))
    assert np.array_equal(again.pressure[0], leaning.pressure[0])


def test_it_stops_when_it_is_told_to() -> None:
    solved = pair()
    with stopped_by(StopFlag()) as stop, pytest.raises(StoppedError):
        stop.set()
        coupling(*solved.meshes, solved.place, solved.k, 9, 5.0, (None,))


def test_out_of_balance_it_is_solved_again_on_a_finer_mesh() -> None:
    """Each mesh 1.5 times the last, twice at most, none that is too large."""

    @dataclass(frozen=True)
    class Solved:
        power_error_db: np.ndarray
        unknowns: int = 100

    def solving(errors: Sequence[float], unknowns: int = 100) -> float:
        left = iter(errors)
        return mended(lambda _: Solved(np.array([next(left)]), unknowns), DEFAULT_SETTINGS)[1]

    assert solving([0.05]) == 1.0
    assert solving([0.2, -0.05]) == 1.5
    assert solving([0.2, -0.2, 0.3]) == 2.25
    assert solving([0.2], unknowns=1001) == 1.0


def test_half_a_circle_stands_for_all() -> None:
    """Middles of equal steps: the mean of cos^2 is 1/2, of cos 0."""
    turn = np.radians(half_circle(6))
    assert np.mean(np.cos(turn) ** 2) == pytest.approx(0.5)
    assert np.mean(np.cos(turn)) == pytest.approx(0.0)


def test_what_would_touch_is_refused() -> None:
    """The plate's edge, 60 mm out and 20 mm up, reaches down to 0 at asin(20 / 60) = 19 degrees."""
    assert pair(Displacement(tilt=np.radians(5.0))).rounds > 0
    with pytest.raises(AllRoundError, match="would touch"):
        pair(Displacement(tilt=np.radians(25.0)))


def test_nothing_hangs() -> None:
    with pytest.raises(AllRoundError, match="nothing hangs"):
        solve_askew(SMALL.without_upper(), HERTZ, drives(), HANGS, AIR)
