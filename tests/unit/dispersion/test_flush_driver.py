from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.bands import study_frequencies
from dispersion.fields import Fields
from dispersion.flush_driver import FlushCurve, FlushDriver, flush_curve, flush_driver, place_ka
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.sources import Crossover, LettingGo, Way
from dispersion.waves import DEFAULT_SETTINGS
from shapes.assembly import Assembly, Column, Driver, Tweeter

COLUMN = Column(width=0.24, height=0.4, edge_radius=0.02)
CONE = Driver(effective_radius=0.052, frame_radius=0.065, cone_depth=0.022, proud=0.003)
POD = Tweeter(dome_radius=0.01, dome_height=0.004, face_height=0.002, housing_radius=0.016)
WAYS = tuple(
    Way(name=name, crossovers=(Crossover("linkwitz-riley", 4, 3000.0, side),))
    for name, side in (("driver", "low"), ("tweeter", "high"))
)


def problem(driver: Driver, ways: tuple[Way, ...] = (Way(name="driver"),), **more) -> Problem:
    assembly = Assembly(
        column=COLUMN,
        driver=driver,
        plate_gap=0.06,
        reflector=None,
        plate=None,
        tweeter=POD if len(ways) == 2 else None,
    )
    return Problem(assembly=assembly, ways=ways, **{"frequencies": np.array([1000.0])} | more)


@cache
def coaxial() -> FlushDriver:
    return flush_driver(problem(CONE, WAYS), DEFAULT_SETTINGS)


class Shelf(dict):
    """A store."""

    def fetch(self, key: bytes) -> Fields | None:
        return self.get(key)

    def keep(self, key: bytes, fields: Fields) -> None:
        assert key not in self
        self[key] = fields

    def __hash__(self) -> int:
        return id(self)


def test_between_places_it_is_what_is_solved_there() -> None:
    """Within 0.01 dB of the larger of both ways, a tenth of the solver's promise."""
    f = np.array([80.0, 977.0, 3300.0, 8100.0, 11800.0])
    solved = np.array([coaxial().solved(one)[0].far[:, 0] for one in f]).T
    off = np.abs(FlushCurve(coaxial())(f) - solved) / np.abs(solved).max(axis=0)
    assert off.max() < 10.0 ** (0.01 / 20.0) - 1.0


def test_places_are_evenly_spaced_in_what_is_said() -> None:
    ka = np.array([place_ka(number) for number in range(-12, 60, 7)])
    assert 1.0 * np.log2(ka) + 2.5 * ka == pytest.approx(np.arange(-12, 60, 7))


def test_each_place_is_solved_once_and_kept() -> None:
    shelf = Shelf()
    curve = FlushCurve(coaxial(), shelf)
    first = curve(np.array([2000.0, 2010.0]))
    assert 8 <= len(shelf) <= 9
    assert curve(np.array([2000.0, 2010.0])) == pytest.approx(first, rel=0, abs=0)
    again = FlushCurve(coaxial(), shelf)  # which would keep nothing twice
    assert again(np.array([2000.0, 2010.0])) == pytest.approx(first, rel=0, abs=0)
    other = FlushCurve(replace(coaxial(), air=Air(temperature_c=25.0)), shelf)
    other(np.array([2000.0]))
    assert len(shelf) >= 16
    assert flush_curve(coaxial(), shelf) is flush_curve(coaxial(), shelf)


def test_other_motions_are_solved_along_with_it() -> None:
    """To the last bit what each is by itself: another right-hand side of the same system."""
    still, lets_go = coaxial(), LettingGo(3000.0, 0.01)
    moved = replace(still, ways=((still.ways[0][0], lets_go), still.ways[1]))
    shelf = Shelf()
    FlushCurve(still, shelf, (moved,))(np.array([4000.0]))
    assert len(shelf) == 16
    alone = FlushCurve(moved)(np.array([4000.0]))
    assert FlushCurve(moved, shelf)(np.array([4000.0])) == pytest.approx(alone, rel=1e-12)
    assert len(shelf) == 16


def test_a_cone_in_its_column_is_told_by_itself_in_a_baffle() -> None:
    """Bare column: the band level straight up is near that of the driver alone, once it is wide.

    At ka 6 the edge of the baffle hears little: a flat piston and a deep cone, of which one gives
    12 dB less than the other, both come within 1 dB of 0 dB (no source: a bound).
    """
    f = study_frequencies(5000.0, 5000.0, 8)
    for driver in (CONE, replace(CONE, cone_depth=0.0, proud=0.0)):
        response = solve_waves(problem(driver, frequencies=f))
        up = response.band_means(response.power)[0, -1]
        assert 10.0 * np.log10(up) == pytest.approx(0.0, abs=1.0)


def test_0_db_of_two_ways_is_their_sum() -> None:
    """Far below a crossover 0 dB is the low way's, far above it the high way's: 48 dB apart."""
    response = solve_waves(problem(CONE, WAYS, frequencies=np.array([300.0, 12000.0])))
    flush = FlushCurve(coaxial())(response.problem.frequencies)
    assert np.abs(response.alone) == pytest.approx([abs(flush[0, 0]), abs(flush[1, 1])], rel=0.02)
    assert response.transfer * flush == pytest.approx(
        response.transfer * flush / (response.transfer * flush).sum(axis=0)
    )
