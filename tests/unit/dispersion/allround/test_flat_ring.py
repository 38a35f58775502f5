"""Where the gap is flat, its modes, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from dispersion.allround import AllRoundError, flat_ring, orders_up_to
from dispersion.allround.flat_ring import FlatRing, check_foot
from shapes.assembly import Assembly, Column, Driver, FeltRing, TopPlate
from shapes.columns import computed_outline
from shapes.reflectors import ball_cap

PLATES = Assembly(
    column=Column(width=0.12, height=0.010),
    driver=Driver(effective_radius=0.020, frame_radius=0.025),
    plate_gap=0.020,
    reflector=None,
    plate=TopPlate(radius=0.055, thickness=0.008),
)
CAP = ball_cap(ball_diameter=0.070, keep=0.014)  # base radius sqrt(14 * 56) = 28 mm


@pytest.mark.parametrize(
    ("assembly", "inner", "outer"),
    [
        (PLATES, 0.025, 0.055),
        (PLATES.with_reflector(CAP), 0.028, 0.055),
        (replace(PLATES, plate=TopPlate(radius=0.2, thickness=0.02)), 0.025, 0.060),
        (PLATES.with_felt(FeltRing(0.003, let_in=True), None), 0.025, 0.055),
        (PLATES.with_felt(FeltRing(0.003, 0.030, 0.035), None), 0.035, 0.055),
    ],
    ids=["plates", "cap", "wide plate", "felt let in", "felt that stands out"],
)
def test_the_ring_lies_between_the_innermost_flats(
    assembly: Assembly, inner: float, outer: float
) -> None:
    ring = flat_ring(assembly)
    assert (ring.inner, ring.outer, ring.height) == pytest.approx((inner, outer, 0.020))


def test_no_ring_is_refused() -> None:
    with pytest.raises(AllRoundError, match="no top plate"):
        flat_ring(replace(PLATES, plate=None))
    with pytest.raises(AllRoundError, match="nowhere face each other flat"):
        flat_ring(replace(PLATES, plate=TopPlate(radius=0.025, thickness=0.008)))


@pytest.mark.parametrize(("radius", "circle"), [(0.003, 0.027), (0.003, 0.0531), (0.016, 0.040)])
def test_a_foot_beside_the_flat_is_refused(radius: float, circle: float) -> None:
    with pytest.raises(AllRoundError, match="not wholly on the flat"):
        check_foot(FlatRing(0.025, 0.055, 0.02), radius, circle)


def test_with_sides_the_flat_is_that_of_equal_area() -> None:
    """A foot may stand on a square plate's flat and yet reach past the circle of its area.

    Square of equal area: half a side of sqrt(pi) / 2 times the radius, 48.7 mm, corners at 68.9.
    """
    square = replace(PLATES, plate=TopPlate(radius=0.055, thickness=0.008, sides=4))
    ring = flat_ring(square)
    assert (ring.inner, ring.outer) == pytest.approx((0.025, 0.055))
    check_foot(ring, 0.003, 0.052)
    assert square.plate.footprint.room(0.055, np.pi / 4) > 0.003, "it stands on the square"
    with pytest.raises(AllRoundError, match="where what has sides is made round"):
        check_foot(ring, 0.003, 0.055)
    assert "round one of equal area" in str(computed_outline(square.column, square.plate))


def test_a_foot_may_fill_the_flat() -> None:
    check_foot(FlatRing(0.025, 0.055, 0.02), 0.015, 0.040)


def test_modes_travel_up_to_half_waves_across_the_gap() -> None:
    """k H / pi = 2.5: modes 0, 1, 2 travel, three more fade; kappa^2 = k^2 - (n pi / H)^2."""
    ring = FlatRing(0.025, 0.055, 0.02)
    k = 2.5 * np.pi / 0.02
    kappa = ring.wavenumbers(k)
    assert np.allclose(kappa**2, k**2 - (np.arange(6) * np.pi / 0.02) ** 2)
    assert np.all(kappa[:3].imag == 0.0)
    assert np.all(kappa[3:].imag > 0.0)
    assert np.all(np.abs(ring.wavenumbers(np.pi / 0.02)) > 1e-5 * k), "none is nothing"


@pytest.mark.parametrize("k", [1.0, 100.0, 400.0])
def test_rings_of_sources_stand_on_the_flat_less_than_half_a_wave_apart(k: float) -> None:
    inner, outer = FlatRing(0.025, 0.055, 0.02).source_radii(k)
    assert 0.025 < inner < outer < 0.055
    assert k * (outer - inner) < 0.6 * np.pi


def test_cutting_keeps_the_body() -> None:
    ring = flat_ring(PLATES)
    lower = ring.cut(PLATES.lower, 0.0, (0.03, 0.05))
    upper = ring.cut(PLATES.hung_body, 0.02, (0.03, 0.05))
    for cut, whole in ((lower, PLATES.lower), (upper, PLATES.hung_body)):
        assert len(cut.pieces) == len(whole.pieces) + 2
        assert cut.volume == pytest.approx(whole.volume)
        assert cut.parts == whole.parts


def test_orders() -> None:
    """Common practice, no source: k r and a few, J_m falls off beyond."""
    assert orders_up_to(100.0, 0.055) == 6 + 8
