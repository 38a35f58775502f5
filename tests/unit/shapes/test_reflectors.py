"""Reflectors from their named dimensions."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shapes.reflectors import (
    Reflector,
    ReflectorError,
    ball_cap,
    base_of_cap,
    cone,
    conic_section,
    flared,
    keep_of_base,
    turned,
)

WAVY = [(0.0, -0.05), (0.02, -0.045), (0.05, -0.03), (0.06, -0.01), (0.05, 0.0)]
ALL = [
    ball_cap(0.2, 0.045),
    ball_cap(0.2, 0.15),
    cone(0.08, half_angle=math.radians(45)),
    cone(0.08, height=0.05, tip_radius=0.004),
    flared(0.08, 0.05),
    flared(0.08, 0.05, rim_slope=math.radians(10)),
    flared(0.08, 0.05, tip_slope=math.radians(50)),
    conic_section("parabola", 0.08, 0.05, 0.05),
    conic_section("ellipse", 0.08, 0.05, 0.05, focus_radius=0.15),
    conic_section("hyperbola", 0.08, 0.05, 0.05),
    turned(WAVY),
    turned(WAVY, smooth=False),
]


@pytest.mark.parametrize("reflector", ALL, ids=lambda r: r.label)
def test_every_reflector_runs_from_tip_to_rim(reflector: Reflector) -> None:
    assert reflector.profile.start[0] == 0.0
    assert reflector.profile.start[1] == pytest.approx(-reflector.height, abs=1e-9)
    assert reflector.profile.end == pytest.approx((reflector.base_radius, 0.0), abs=1e-12)
    assert reflector.profile.parts == ("reflector",)
    assert reflector.volume > 0
    assert reflector.profile.self_intersections() == ()
    assert reflector.label


def test_a_cap_has_the_facts_of_the_trim_card() -> None:
    cap = ball_cap(0.2, keep_of_base(0.2, 0.13))
    assert cap.fact("keep") == pytest.approx(0.0240, abs=5e-5)
    assert cap.fact("cut off") == pytest.approx(0.1760, abs=5e-5)
    assert cap.fact("base diameter") == pytest.approx(0.13)
    assert math.degrees(cap.fact("rim slope")) == pytest.approx(40.5, abs=0.05)
    assert cap.rim_slope == pytest.approx(math.asin(0.13 / 0.2))
    assert cap.rim_slope == pytest.approx(cap.fact("rim slope"))


def test_a_cap_of_more_than_half_the_ball_doubles_back() -> None:
    cap = ball_cap(0.2, 0.15)
    assert cap.base_radius == pytest.approx(math.sqrt(0.15 * 0.05))
    assert cap.widest_radius == pytest.approx(0.1, abs=1e-6)
    assert cap.rim_slope == pytest.approx(math.radians(120))
    assert cap.rim_z == 0.0


def test_a_whole_ball_may_be_kept_but_no_more() -> None:
    assert ball_cap(0.2, 0.2).volume == pytest.approx(math.pi * 0.2**3 / 6)
    with pytest.raises(ReflectorError, match=r"cannot keep 201.0 mm .* of a ball of 200.0 mm"):
        ball_cap(0.2, 0.201)
    for keep in (0.0, -0.01, math.nan):
        with pytest.raises(ReflectorError, match="keep must be more than zero"):
            ball_cap(0.2, keep)


@given(st.floats(0.02, 2.0), st.floats(0.01, 1.0))
def test_keep_and_base_are_inverse(diameter: float, share: float) -> None:
    base = share * diameter
    keep = keep_of_base(diameter, base)
    assert 0 < keep <= diameter / 2
    assert base_of_cap(diameter, keep) == pytest.approx(base, rel=1e-9)


def test_a_base_wider_than_the_ball_is_refused() -> None:
    with pytest.raises(ReflectorError, match="take a larger ball"):
        keep_of_base(0.1, 0.12)


def test_a_cone_prints_its_three_angles_together() -> None:
    shape = cone(0.08, half_angle=math.radians(50))
    assert shape.fact("half angle") == pytest.approx(math.radians(50))
    assert shape.fact("included angle") == pytest.approx(math.radians(100))
    assert shape.fact("slope") == pytest.approx(math.radians(40))
    assert shape.height == pytest.approx(0.08 / math.tan(math.radians(50)))


@given(st.floats(0.01, 0.2), st.floats(0.02, 0.2), st.floats(0.0, 0.9))
def test_a_rounded_tip_touches_the_cone_smoothly(height: float, base: float, share: float) -> None:
    tip_radius = share * min(height, base) / 2
    shape = cone(base, height=height, tip_radius=tip_radius)
    assert shape.height == pytest.approx(height, rel=1e-9)
    if tip_radius > 1e-6:
        arc, line = shape.profile.pieces
        assert shape.tip_slope == pytest.approx(0.0, abs=1e-6)
        before, after = arc.derivative(1.0), line.derivative(0.0)
        assert math.atan2(*before[::-1]) == pytest.approx(math.atan2(*after[::-1]), abs=1e-6)


def test_a_cone_needs_one_of_half_angle_and_height() -> None:
    for given_both in ({}, {"half_angle": 0.7, "height": 0.05}):
        with pytest.raises(ReflectorError, match="either its half angle or its height"):
            cone(0.08, **given_both)
    with pytest.raises(ReflectorError, match="not between 0 and 90 deg"):
        cone(0.08, half_angle=math.radians(95))
    with pytest.raises(ReflectorError, match="leaves nothing of the cone"):
        cone(0.08, half_angle=math.radians(45), tip_radius=0.2)
    with pytest.raises(ReflectorError, match="too large"):
        cone(0.08, height=0.02, tip_radius=0.2)
    with pytest.raises(ReflectorError, match="tip radius must not be negative"):
        cone(0.08, height=0.02, tip_radius=-0.001)


def test_a_flare_runs_level_into_the_plate_unless_told() -> None:
    shape = flared(0.08, 0.05)
    assert shape.rim_slope == pytest.approx(0.0, abs=1e-12)
    assert shape.tip_slope == pytest.approx(2 * math.atan2(0.05, 0.08))
    steps = shape.profile.pieces[0].derivative(np.linspace(0, 1, 50))
    slopes = np.arctan2(steps[:, 1], steps[:, 0])
    assert np.all(np.diff(slopes) < 0)


def test_a_flare_keeps_the_slope_it_is_given() -> None:
    assert flared(0.08, 0.05, rim_slope=0.2).rim_slope == pytest.approx(0.2)
    assert flared(0.08, 0.05, tip_slope=0.9).tip_slope == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("sizes", "slopes"),
    [
        ((0.05, 0.08), {}),
        ((0.08, 0.05), {"rim_slope": 0.8}),
        ((0.08, 0.05), {"tip_slope": 1.4}),
        ((0.08, 0.05), {"rim_slope": -0.1}),
    ],
)
def test_a_flare_that_is_none_is_refused(
    sizes: tuple[float, float], slopes: dict[str, float]
) -> None:
    with pytest.raises(ReflectorError, match="keep the rim between"):
        flared(*sizes, **slopes)


def test_a_flare_takes_one_slope_only() -> None:
    with pytest.raises(ReflectorError, match="not both"):
        flared(0.08, 0.05, tip_slope=1.0, rim_slope=0.1)


def test_conics_ask_for_the_foci_they_have() -> None:
    with pytest.raises(ReflectorError, match="needs the radius of its focus ring"):
        conic_section("ellipse", 0.08, 0.05, 0.05)
    with pytest.raises(ReflectorError, match="has no second focus"):
        conic_section("parabola", 0.08, 0.05, 0.05, focus_radius=0.1)
    with pytest.raises(ReflectorError, match="move the second focus"):
        conic_section("ellipse", 0.08, 0.05, 0.05, focus_radius=0.02)


def test_a_turned_profile_keeps_its_order_and_may_double_back() -> None:
    shape = turned(WAVY, smooth=False)
    assert np.allclose(shape.profile.sample(1e-3), WAVY)
    assert shape.base_radius == 0.05
    assert shape.widest_radius == pytest.approx(0.06)
    smooth = turned(WAVY).profile.sample(1e-6)
    for knot in WAVY:
        assert np.min(np.hypot(*(smooth - knot).T)) < 1e-9


def test_a_turned_profile_may_be_drawn_at_any_height() -> None:
    lifted = [(r, z + 0.3) for r, z in WAVY]
    assert np.allclose(turned(lifted).profile.sample(1e-5), turned(WAVY).profile.sample(1e-5))


def test_a_cylinder_at_the_rim_lowers_the_base_edge() -> None:
    shape = turned([(0, -0.05), (0.08, -0.01), (0.08, 0)], smooth=False)
    assert shape.rim_z == pytest.approx(-0.01)


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([(0, -0.05)], "at least two points"),
        ([(0.01, -0.05), (0.08, 0)], "off the axis"),
        ([(0, 0.05), (0.08, 0)], "rises above its rim"),
        ([(0, 0), (0.04, -0.02), (0.08, 0)], "level with its base"),
        ([(0, -0.05), (0.05, -0.05), (0.05, -0.03), (0.02, -0.06), (0.08, 0)], "meets itself"),
        ([(0, -0.05), (0.04, -0.02), (0.04, -0.02), (0.08, 0)], "no length"),
        ([(0, -0.05), (0.04, -0.02), (-0.01, -0.01), (0.08, 0)], "across the axis"),
        ([(0, -0.05), (0.04, -0.02), (0, 0)], "ends on the axis"),
    ],
)
def test_a_turned_profile_that_cannot_be_made_is_refused(points: list, says: str) -> None:
    with pytest.raises(ReflectorError, match=says):
        turned(points, smooth=False)


def test_a_fact_that_a_reflector_does_not_have() -> None:
    with pytest.raises(KeyError):
        ball_cap(0.2, 0.05).fact("half angle")
