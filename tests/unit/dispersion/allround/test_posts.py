"""Posts through answer matrices: power, symmetry, and that more of everything changes nothing.

Exact fields: `studies.questions.proof.cases.posts`; another library: tests/validation.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.allround import PostedField, RingAnswer, Rod, orders_up_to, solve_ring, stand
from dispersion.allround.flat_ring import AllRoundError
from dispersion.waves import axial_motion
from shapes.assembly import Assembly, Column, Driver, TopPlate, Tweeter
from shapes.reflectors import ball_cap

AIR = Air()
SMALL = Assembly(
    column=Column(width=0.12, height=0.030),
    driver=Driver(effective_radius=0.020, frame_radius=0.020),
    plate_gap=0.020,
    reflector=ball_cap(ball_diameter=0.070, keep=0.014),
    plate=TopPlate(radius=0.060, thickness=0.008),
)
COAXIAL = replace(
    SMALL,
    driver=Driver(effective_radius=0.020, frame_radius=0.020, cone_depth=0.004),
    tweeter=Tweeter(dome_radius=0.008, dome_height=0.002, face_height=0.001, housing_radius=0.010),
)
ROD = Rod(radius=0.003, circle_radius=0.042)
AT_THE_EDGE = Rod(radius=0.006, circle_radius=0.0539)
"""0.1 mm of flat beside it."""
HERTZ = 9000.0
"""Two modes travel in the gap."""
SINES, WEIGHTS = np.polynomial.legendre.leggauss(80)
ELEVATIONS = np.degrees(np.arcsin(SINES))
POWER_DB = 0.005
SAME = 2e-4
"""Of the largest pressure: what the stated numbers of modes and orders may leave out."""
SAME_AT_THE_EDGE = 1e-3
"""The same where a thick post nearly stands over the edge: 0.01 dB."""


def wavenumber(hertz: float = HERTZ) -> float:
    return 2.0 * np.pi * hertz / AIR.speed


@cache
def answer(
    assembly: Assembly = SMALL,
    step: int = 1,
    more_orders: int = 8,
    more_modes: int = 3,
    floor: float | None = None,
) -> RingAnswer:
    drives = [axial_motion(way.name, way.parts, AIR) for way in assembly.ways]
    orders = range(0, orders_up_to(wavenumber(), 0.06, more_orders) + 1, step)
    return solve_ring(
        assembly, HERTZ, drives, orders, ELEVATIONS, AIR, floor=floor, more_modes=more_modes
    )


def balance_db(field: PostedField, weights: np.ndarray = WEIGHTS) -> np.ndarray:
    """Power far away over the power through each way, dB: Parseval over the azimuth."""
    far = np.pi * np.einsum("e,wem->w", weights, np.abs(field.far) ** 2)
    return 10.0 * np.log10(far / (AIR.density * AIR.speed) / field.power)


def difference(one: PostedField, other: PostedField) -> float:
    azimuths = np.radians(np.arange(0.0, 360.0, 7.0))
    a, b = one.at_azimuths(azimuths), other.at_azimuths(azimuths)
    return float(np.abs(a - b).max() / np.abs(b).max())


@pytest.mark.parametrize("count", [1, 3, 4])
def test_power_is_kept(count: int) -> None:
    field = stand(answer(), [ROD], count)
    assert np.abs(balance_db(field)).max() < POWER_DB
    assert np.abs(field.power / answer().power - 1.0).max() > 1e-3, "posts change the driver's load"


def test_power_is_kept_on_a_floor_and_by_both_ways() -> None:
    above = np.where(SINES > 0.0, WEIGHTS, 0.0)
    assert np.abs(balance_db(stand(answer(step=3, floor=-0.03), [ROD], 3), above)) < POWER_DB
    assert np.abs(balance_db(stand(answer(COAXIAL, step=3), [ROD], 3))).max() < POWER_DB


def test_lines_hear_each_other_alike() -> None:
    """D = D^T (reciprocity), so that R_m times int cos^2 dz is symmetric; waves sent are 1."""
    known = answer()
    norm = 1.0 + (np.arange(len(known.kappa)) == 0)
    for reflected in known.reflected:
        both = (norm[:, None, None, None] * reflected).reshape(2 * len(norm), -1)
        assert np.abs(both - both.T).max() < 1e-4 * max(1.0, np.abs(both).max())


def test_equal_posts_one_by_one_are_those_by_symmetry() -> None:
    """Three rods on their own, all orders, against one rod three-fold: the same to rounding."""
    one_by_one = [replace(ROD, azimuth=2.0 * np.pi * j / 3) for j in range(3)]
    assert difference(stand(answer(), one_by_one), stand(answer(), [ROD], 3)) < 1e-8


def test_posts_turned_turn_the_field() -> None:
    """Uneven posts, all turned by 50 degrees."""
    rods = [ROD, Rod(0.004, 0.040, 1.9), Rod(0.002, 0.045, 3.6)]
    turned = [replace(rod, azimuth=rod.azimuth + np.radians(50.0)) for rod in rods]
    here, there = stand(answer(), rods), stand(answer(), turned)
    azimuths = np.radians(np.arange(0.0, 360.0, 11.0))
    before = here.at_azimuths(azimuths)
    after = there.at_azimuths(azimuths + np.radians(50.0))
    assert np.abs(after - before).max() < 1e-9 * np.abs(before).max()
    assert np.abs(balance_db(here)) < POWER_DB


def test_posts_of_no_thickness_do_nothing() -> None:
    """What a thin rod scatters goes with (ka)^2, its cross section."""
    thin = stand(answer(step=3), [replace(ROD, radius=3e-5)], 3)
    round_part = thin.far[:, :, thin.orders == 0][:, :, 0]
    assert np.abs(round_part - answer(step=3).way_far).max() < 1e-3 * np.abs(round_part).max()


def test_more_orders_and_modes_change_nothing() -> None:
    for rod, same in ((ROD, SAME), (AT_THE_EDGE, SAME_AT_THE_EDGE)):
        usual = stand(answer(step=3), [rod], 3)
        assert difference(stand(answer(step=3, more_orders=14), [rod], 3), usual) < same
        assert difference(stand(answer(step=3, more_modes=6), [rod], 3), usual) < same
        assert difference(stand(answer(step=3), [rod], 3, more=6), usual) < 1e-5


def test_fewer_would_show() -> None:
    """So that the test before can fail."""
    usual = stand(answer(step=3), [AT_THE_EDGE], 3)
    for fewer in ({"more_orders": 1}, {"more_modes": 0}):
        found = stand(answer(step=3, **fewer), [AT_THE_EDGE], 3)
        assert difference(found, usual) > SAME_AT_THE_EDGE
    assert difference(stand(answer(step=3), [AT_THE_EDGE], 3, more=0), usual) > 1e-5


def test_refusals() -> None:
    with pytest.raises(AllRoundError, match="not wholly on the flat"):
        stand(answer(), [Rod(0.003, 0.0575)], 3)
    with pytest.raises(ValueError, match="an answer without the orders"):
        stand(answer(step=3), [ROD], 4)
