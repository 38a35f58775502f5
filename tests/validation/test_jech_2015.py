"""Target strength of a fixed rigid sphere and of a rigid prolate spheroid in water.

Numbers and sources: `studies.questions.proof.cases.echoes`.
"""

import numpy as np
import pytest
from bodies import level
from scipy.special import pro_ang1, pro_rad1, pro_rad2

from studies.questions.proof.cases.echoes import (
    ANGLES_DEG,
    AT_38_KHZ_DB,
    BROADSIDE_DB,
    BROADSIDE_KHZ,
    HALF_A_DIGIT,
    WATER_SPEED,
    echoes_of_spheroid,
)


def test_printed_values_are_a_series_cut_short() -> None:
    """Orders to 4 and degrees to 10 give what is printed (at 1477.3 m/s, which fits it best)."""
    cut_short = echoes_of_spheroid(ANGLES_DEG, terms=(5, 11), speed=1477.3)
    assert cut_short == pytest.approx(AT_38_KHZ_DB, abs=1.05 * HALF_A_DIGIT)
    whole = echoes_of_spheroid(ANGLES_DEG)
    assert np.abs(whole - AT_38_KHZ_DB).max() > 0.5
    assert whole == pytest.approx(echoes_of_spheroid(ANGLES_DEG, terms=(9, 22)), abs=1e-6)


@pytest.mark.parametrize("kilohertz", BROADSIDE_KHZ[::8])
def test_series_gives_the_printed_broadside_echoes(kilohertz: float) -> None:
    [found] = echoes_of_spheroid(np.array([90.0]), kilohertz)
    [printed] = BROADSIDE_DB[kilohertz == BROADSIDE_KHZ]
    assert found == pytest.approx(printed, abs=2.0 * HALF_A_DIGIT)


def test_series_end_on_with_scipys_own_functions() -> None:
    [found] = echoes_of_spheroid(np.zeros(1))
    assert found == pytest.approx(end_on_series(20, WATER_SPEED), abs=1e-6)


def end_on_series(degrees: int, speed: float) -> float:
    """Echo of the spheroid met end-on at 38 kHz, in dB, from degrees 0 to `degrees`."""
    k, focal = 2.0 * np.pi * 38e3 / speed, np.sqrt(0.07**2 - 0.01**2)
    points, weights = np.polynomial.legendre.leggauss(64)
    total = 0.0
    for n in range(degrees + 1):
        norm = weights @ pro_ang1(0, n, k * focal, points)[0] ** 2
        at_the_end = pro_ang1(0, n, k * focal, 1.0 - 1e-12)[0]
        slope, other = (f(0, n, k * focal, 0.07 / focal)[1] for f in (pro_rad1, pro_rad2))
        total += (-1) ** n * at_the_end**2 / norm * slope / (slope + 1j * other)
    return float(level(2.0 / k * total))
