"""Target strength of a fixed rigid sphere and of a rigid prolate spheroid in water.

Numbers and sources: `studies.questions.proof.cases.echoes`.
"""

import numpy as np
import pytest
from bodies import level
from scipy.special import pro_ang1, pro_rad1, pro_rad2

from studies.questions.proof.cases.echoes import (
    AT_38_KHZ_DB,
    BROADSIDE_KHZ,
    HALF_A_DIGIT,
    SPHERE_KHZ,
    WATER_SPEED,
    WHOLE_SERIES_DB,
    broadside_echo,
    echo_by_angle,
    sphere_echo,
)


def test_printed_end_on_value_is_a_series_cut_short() -> None:
    """Degrees up to 10 give what is printed (at 1477.3 m/s, which fits it best)."""
    assert end_on_series(10, 1477.3) == pytest.approx(AT_38_KHZ_DB[0], abs=HALF_A_DIGIT)
    assert end_on_series(20, WATER_SPEED) == pytest.approx(WHOLE_SERIES_DB[0], abs=5e-4)


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


def test_rigid_sphere_at_all_195_frequencies() -> None:
    compared = sphere_echo(SPHERE_KHZ)
    assert len(compared.at) == 195
    assert compared.held


@pytest.mark.parametrize("kilohertz", BROADSIDE_KHZ)
def test_spheroid_broadside(kilohertz: float) -> None:
    assert broadside_echo(kilohertz).held


@pytest.mark.parametrize(("reference", "heard"), [("as printed", 20), ("whole series", 30)])
def test_spheroid_against_the_angle(reference: str, heard: int) -> None:
    compared = echo_by_angle(reference)
    assert len(compared.at) > heard
    assert compared.held
