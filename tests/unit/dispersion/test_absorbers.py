"""What surfaces take, held against formulas worked out in another way.

Miki's coefficients: Y. Miki, J. Acoust. Soc. Jpn. (E) 11, 19 (1990). Felt to ten digits, and what
is taken from all sides: `studies.questions.proof.cases.closed_forms`.
"""

import cmath
import math

import numpy as np
import pytest

from dispersion.absorbers import (
    MOST_DIFFUSE,
    Above,
    AbsorberError,
    AbsorptionByOctave,
    LimpMass,
    PorousLayer,
    admittance_of,
    diffuse_absorption,
)
from dispersion.air import Air
from dispersion.walls import ConstantAdmittance

AIR = Air()
FELT = PorousLayer(5e-3, 50e3)


def test_a_layer_on_a_hard_back_is_a_closed_tube() -> None:
    """Z = i Zc cot(kc d), the textbook's; Y = 0.1."""
    frequency = 5e3
    k = 2 * math.pi * frequency / AIR.speed
    zc = 1 + (0.0699 + 0.1071j) * 0.1**-0.632
    kc = k * (1 + (0.1093 + 0.1597j) * 0.1**-0.618)
    impedance = 1j * zc * cmath.cos(kc * 0.005) / cmath.sin(kc * 0.005)
    assert FELT.admittance(frequency, AIR) == pytest.approx(1 / impedance)


def test_below_miki_s_range_a_thin_layer_goes_on_as_a_spring() -> None:
    """No step at Y = 0.01, and a spring: Im beta like f; within a tenth of gamma k d there."""
    at, below = FELT.admittance(500.0, AIR), FELT.admittance(250.0, AIR)
    assert below == pytest.approx(complex(at.real / 4, at.imag / 2))
    assert FELT.admittance(500.0 * (1 - 1e-9), AIR) == pytest.approx(at)
    compressed = 1.4 * 2 * math.pi * 250.0 / AIR.speed * 5e-3  # slow air in felt stays as warm
    assert -below.imag == pytest.approx(compressed, rel=0.1)


def test_what_miki_does_not_reach_is_refused_with_a_remedy() -> None:
    with pytest.raises(AbsorberError, match=r"up to 20000 Hz.*absorption by octave"):
        PorousLayer(5e-3, 20e3).admittance(20.1e3, AIR)
    with pytest.raises(AbsorberError, match=r"50 mm thick, is known from 1000 Hz"):
        PorousLayer(50e-3, 100e3).admittance(100.0, AIR)
    with pytest.raises(AbsorberError, match="above zero"):
        PorousLayer(0.0, 50e3)


def test_a_limp_mass_moves_by_newton_s_law() -> None:
    """Without loss the pressure moves sigma only: v = p / (-i omega sigma)."""
    beta, omega = LimpMass(0.5, 0.0).admittance(8e3, AIR), 2 * math.pi * 8e3
    assert beta == pytest.approx(AIR.density * AIR.speed / (-1j * omega * 0.5))
    lossy = LimpMass(0.5, 0.2).admittance(8e3, AIR)
    assert 1 / lossy == pytest.approx((1 / beta) * (1 + 0.2j))


def test_a_cone_takes_nothing_until_it_lets_go() -> None:
    cone = Above(4e3, ConstantAdmittance(0.03))
    assert [cone.admittance(f, AIR) for f in (100.0, 4e3)] == [0, 0]
    assert cone.admittance(4e3 * 2 ** (1 / 6), AIR) == pytest.approx(0.015)
    assert [cone.admittance(f, AIR) for f in (5040.0, 16e3)] == pytest.approx([0.03, 0.03])


def test_a_table_becomes_the_admittance_with_its_absorption() -> None:
    table = AbsorptionByOctave(((500.0, 0.1), (2000.0, 0.5), (4000.0, 1.0)))
    taken = [diffuse_absorption(table.admittance(f, AIR).real) for f in (100.0, 1000.0, 2000.0)]
    assert taken == pytest.approx([0.1, 0.3, 0.5])
    assert diffuse_absorption(table.admittance(8e3, AIR).real) == pytest.approx(MOST_DIFFUSE)
    assert admittance_of(0.0) == 0.0
    assert admittance_of(1e-12) == pytest.approx(1.25e-13)  # alpha = 8 beta where little is taken


def test_a_table_that_is_none_is_refused() -> None:
    for octaves in ((), ((500.0, 0.1), (250.0, 0.1)), ((500.0, 1.2),)):
        with pytest.raises(AbsorberError, match="give|lie"):
            AbsorptionByOctave(octaves)


def test_nothing_gives_power_off() -> None:
    for absorber in (FELT, PorousLayer(10e-3, 50e3), LimpMass(0.3, 0.2), Above(3e3, FELT)):
        assert all(absorber.admittance(f, AIR).real >= 0 for f in np.geomspace(90, 18e3, 60))
