from dataclasses import replace

import numpy as np
import pytest

from dispersion.air_load import AirLoad, air_load, air_load_flush
from dispersion.problem import Problem
from dispersion.sources import Way
from shapes.assembly import Assembly, Column, Driver, TopPlate

PISTON = Driver(effective_radius=0.05, frame_radius=0.06, cone_depth=0.0)
UNDER_A_PLATE = Assembly(
    column=Column(width=0.4, height=0.3, edge_radius=0.02),
    driver=PISTON,
    plate_gap=0.02,
    reflector=None,
    plate=TopPlate(radius=0.2, thickness=0.02, edge_radius=0.005),
)


def problem(assembly: Assembly) -> Problem:
    return Problem(assembly=assembly, ways=(Way(name="driver"),), frequencies=np.array([1000.0]))


def test_a_flat_piston_in_a_wall_moves_eight_thirds_of_its_radius_cubed() -> None:
    """8/3 rho a^3 (Beranek & Mellow 2012, 4.19 [from memory]); ka of 0.1 leaves 0.3 per cent."""
    found = problem(UNDER_A_PLATE)
    assert air_load_flush(found) == pytest.approx(8.0 / 3.0 * found.air.density * 0.05**3, rel=5e-3)


def test_a_thin_ring_of_air_weighs_as_a_disc_pushed_outwards() -> None:
    """Between plates H apart out to R, flow is radial; with its kinetic energy M is

    rho pi a^4 / (2 H) (1/4 + ln(R / a)), plus what the open edge adds: found between this and an
    edge moved out by H, rounded.
    """
    found = problem(UNDER_A_PLATE)
    a, gap, rim = 0.05, 0.02, 0.2

    def radial(edge: float) -> float:
        return found.air.density * np.pi * a**4 / (2.0 * gap) * (0.25 + np.log(edge / a))

    assert radial(rim) < air_load(found) < 1.25 * radial(rim + gap)


def test_under_a_far_plate_it_is_nearly_that_of_a_bare_column() -> None:
    high = problem(UNDER_A_PLATE.with_gap(0.4))
    bare = problem(replace(UNDER_A_PLATE, plate=None, plate_gap=0.4))
    assert air_load(high) == pytest.approx(air_load(bare), rel=0.1)


def test_a_cone_twice_as_heavy_with_its_air_moves_6_db_less() -> None:
    load = AirLoad(mass=0.011, flush=0.001, moving_mass=0.009)
    assert load.loss_db == pytest.approx(20.0 * np.log10(2.0))
    # omega^2 = stiffness over mass.
    assert load.resonance_share == pytest.approx(np.sqrt(0.5))
