"""Flush in an endless baffle: what must not matter does not.

Limits: 0.01 dB, the tenth of the solver's promise, unless a line says else. Known fields:
`studies.questions.proof.cases.flush`.
"""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import spherical_jn

from dispersion.air import Air
from dispersion.walls import ConstantAdmittance, Walls
from dispersion.waves import WaveSettings, axial_motion, solve_flush
from dispersion.waves.flush import CLEAR, hankel_ratios
from shapes.meridian import Line
from shapes.outlines import driver_outline
from shapes.parts import Driver, DustCap, Tweeter

AIR = Air()
FREQUENCIES = (40.0, 1600.0, 5000.0)
PROUD = Driver(
    effective_radius=0.052,
    frame_radius=0.065,
    cone_depth=0.022,
    centre=DustCap(radius=0.017, height=0.009),
    proud=0.003,
)
CONE = [axial_motion("driver", {"cone", "dust cap"}, AIR)]


def level_of(frequency: float, clear: float = CLEAR, finer: float = 1.0, board: float = 0.0):
    driver = tuple(driver_outline(PROUD, None))
    ring = (Line((0.065 + board, 0.0), (0.065, 0.0), "board"),) if board else ()
    settings = WaveSettings() if finer == 1.0 else WaveSettings().finer(finer)
    found = solve_flush((*ring, *driver), frequency, CONE, AIR, settings, clear)
    return 20.0 * np.log10(np.abs(found.on_axis[0]))


@pytest.mark.parametrize("frequency", FREQUENCIES)
def test_neither_hemisphere_nor_ring_nor_mesh_matters(frequency: float) -> None:
    others = [level_of(frequency, clear=1.15), level_of(frequency, clear=2.0)]
    others += [level_of(frequency, board=0.03), level_of(frequency, finer=2.0)]
    assert others == pytest.approx([level_of(frequency)] * 4, abs=0.01)


@pytest.mark.parametrize("derivative", [False, True])
def test_resonances_of_the_closed_hemisphere_do_not_show(derivative: bool) -> None:
    """Soft or hard inside, its air alone would ring at the zeros of j_n(kR) or j_n'(kR), n even."""
    a = 0.05
    piston = (Line((a, 0.0), (0.0, 0.0), "piston"),)
    drive = [axial_motion("piston", {"piston"}, AIR)]
    for n, low, high in ((0, 4.0, 4.6), (2, 5.0, 8.0)) if derivative else ((0, 3.0, 3.3),):
        x = brentq(lambda x, n=n: spherical_jn(n, x, derivative), low, high)
        found = solve_flush(piston, x * AIR.speed / (2.0 * np.pi * a * CLEAR), drive, AIR)
        straight = AIR.density * found.surface.volume_acceleration() / (2.0 * np.pi)
        assert np.abs(found.on_axis / straight - 1.0) == pytest.approx(0.0, abs=0.00115)
        assert found.power_error_db == pytest.approx(0.0, abs=0.01)


def test_power_of_each_way_of_a_coaxial_driver_is_kept() -> None:
    tweeter = Tweeter(dome_radius=0.01, dome_height=0.004, face_height=0.002, housing_radius=0.016)
    coaxial = Driver(effective_radius=0.052, frame_radius=0.065, cone_depth=0.022, proud=0.003)
    pieces = tuple(driver_outline(coaxial, tweeter))
    drives = [axial_motion(part, {part}, AIR) for part in ("cone", "dome")]
    found = solve_flush(pieces, 4000.0, drives, AIR)
    assert found.power_error_db == pytest.approx(0.0, abs=0.01)
    assert found.far_field([90.0]) == pytest.approx(found.on_axis[None])


@pytest.mark.parametrize("frequency", FREQUENCIES[1:])
def test_what_the_driver_takes_is_in_the_balance(frequency: float) -> None:
    """Layers take little in the open, felt on a cone decibels; nothing is taken by the baffle."""
    driver, felt = tuple(driver_outline(PROUD, None)), ConstantAdmittance(0.5 + 0.2j)
    walls = [Walls(), Walls(layers=False, absorbers=(("cone", felt),))]
    hard = solve_flush(driver, frequency, CONE, AIR)
    some, much = (solve_flush(driver, frequency, CONE, AIR, walls=one) for one in walls)
    for found in (some, much):
        assert found.power_error_db == pytest.approx(0.0, abs=0.01)
    lost = [20.0 * np.log10(np.abs(hard.on_axis[0] / one.on_axis[0])) for one in (some, much)]
    assert 0.0 < abs(lost[0]) < 0.05
    assert lost[1] > 1.0


def test_ratios_of_hankel_functions() -> None:
    """Written out: h_0 = -i/x e^ix, h_1 = -(1/x)(1 + i/x) e^ix, h_2 by recurrence."""
    x = 0.7
    h0, h1 = -1j / x, -(1.0 + 1j / x) / x
    assert hankel_ratios(2, x)[1:] == pytest.approx([h0 / h1, h1 / (3.0 / x * h1 - h0)])
    # Far beyond its argument an order falls off like (x / R)^(n + 1).
    assert hankel_ratios(200, 1e-3)[200] == pytest.approx(1e-3 / 399.0, rel=1e-6)


def test_what_is_not_there_cannot_move() -> None:
    drive = [axial_motion("tweeter", {"dome"}, AIR)]
    with pytest.raises(ValueError, match=r"driven parts \['dome'\] are on no driver"):
        solve_flush(tuple(driver_outline(PROUD, None)), 1000.0, drive, AIR)
