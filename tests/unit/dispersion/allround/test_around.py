"""Posts over a band, with walls that take something, near and far, kept and found again."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.allround import AllRoundError, Around, Solving, solve_around
from dispersion.fields import Fields
from dispersion.problem import Problem
from dispersion.sources import Way
from dispersion.walls import ConstantAdmittance, Walls
from shapes.assembly import Assembly, Column, Driver, Posts, TopPlate
from shapes.reflectors import ball_cap

HERTZ = np.array([3600.0, 3850.0, 4100.0, 4400.0])
AIR = Air()
BUILT = Assembly(
    column=Column(width=0.12, height=0.030),
    driver=Driver(effective_radius=0.020, frame_radius=0.020),
    plate_gap=0.020,
    reflector=ball_cap(ball_diameter=0.070, keep=0.014),
    plate=TopPlate(radius=0.060, thickness=0.008),
    posts=Posts(count=3, radius=0.003, circle_radius=0.042),
)
LOSSY = Walls(absorbers=(("cone", ConstantAdmittance(0.05)),))
FAR_OUT, STEEP = 30.0, np.radians(20.0)
AZIMUTHS = np.array([0.0, 17.0, 60.0])


class Shelf(dict[bytes, Fields]):
    """A store in memory."""

    def fetch(self, key: bytes) -> Fields | None:
        return self.get(key)

    def keep(self, key: bytes, fields: Fields) -> None:
        self[key] = fields


def problem(assembly: Assembly = BUILT, walls: Walls = LOSSY) -> Problem:
    return Problem(
        assembly=assembly,
        ways=tuple(Way(name=way.name) for way in assembly.ways),
        frequencies=HERTZ,
        air=AIR,
        elevations=np.array([0.0, 20.0]),
        points=FAR_OUT * np.array([[np.cos(STEEP), np.sin(STEEP)]]),
        walls=walls,
    )


SHELF = Shelf()


@cache
def solved() -> Around:
    return solve_around(problem(), (3,), Solving(workers=1, store=SHELF))


def test_power_is_kept_with_walls_that_take_some() -> None:
    """Far away and taken, over driven: 0.005 dB, as of the round solver."""
    assert solved().balance.power_error_db < 0.005
    taken = solve_around(problem(walls=Walls(layers=False)), (3,), Solving(workers=1))
    level = 20.0 * np.log10(np.abs(taken.bare / solved().bare)).mean()
    assert level > 0.1, "the cone takes next to nothing, and the balance proves nothing"


def test_far_out_the_pressure_is_the_far_field() -> None:
    """r p exp(-ikr) at 30 m against far away: the next term is of k a^2 / 2 r = 0.005."""
    found = solved().with_posts(BUILT.standing_posts, AZIMUTHS)
    assert np.abs(found[:, 2] / found[:, 1] - 1.0).max() < 0.01


def test_mean_power_is_that_of_many_azimuths() -> None:
    posts = BUILT.standing_posts
    every = np.abs(solved().with_posts(posts, np.arange(0.0, 360.0, 2.0))) ** 2
    assert solved().mean_power(posts) == pytest.approx(every.mean(axis=2), rel=1e-9)


def test_an_answer_kept_is_the_same_to_the_last_bit() -> None:
    posts, before = BUILT.standing_posts, solved().with_posts(BUILT.standing_posts, AZIMUTHS)
    kept = len(SHELF)
    again = solve_around(problem(), (3,), Solving(workers=1, store=SHELF))
    assert len(SHELF) == kept == len(HERTZ)
    assert np.array_equal(again.with_posts(posts, AZIMUTHS), before)
    assert np.array_equal(again.power_error_db, solved().power_error_db)
    thicker = replace(posts, radius=0.0031)
    solve_around(problem(replace(BUILT, posts=thicker)), (3,), Solving(workers=1, store=SHELF))
    assert len(SHELF) == 2 * kept, "another design has names of its own"


def test_what_absorbs_between_the_boards_is_refused() -> None:
    felt = Walls(absorbers=(("baffle", ConstantAdmittance(0.3)),))
    with pytest.raises(AllRoundError, match="absorbs on the baffle"):
        solve_around(problem(walls=felt), (3,), Solving(workers=1))


def test_ripples_are_asked_for_by_elevation_and_at_points() -> None:
    around, posts = solved(), BUILT.standing_posts
    (steep,), (there,) = around.ripples(posts, [[20.0]]), around.ripples_at_points(posts)
    assert steep.exact
    assert there.level_db == pytest.approx(steep.level_db, abs=0.02)
    assert there.at(-1.0) == pytest.approx(there.level_db[:, 359])
    with pytest.raises(ValueError, match="not solved"):
        around.ripples(posts, [[5.0]])
