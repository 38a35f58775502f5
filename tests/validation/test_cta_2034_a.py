"""Sound-power weights of ANSI/CTA-2034-A, Appendix C, and patterns put through them."""

import numpy as np
import pytest

from dispersion.cta_2034_a import cta_mean_square, cta_weights
from dispersion.elevations import mean_square

# How many of the 70 curves have each angle: 0 and 180 belong to both orbits and count once.
CURVES = np.array([1] + 17 * [4] + [1])
ANGLES = np.arange(0.0, 181.0, 10.0)


def test_seventy_curves_do_not_quite_add_up_to_one():
    # 1 - 6 arcsin(sin^2 5 degrees) / (4 pi), worked from the printed weights.
    assert cta_weights() @ CURVES == pytest.approx(0.996373, abs=5e-7)


def test_dipole_on_the_reference_axis():
    # Both orbits see cos^2 of the angle from the axis. The sphere's exact value is 4.7712 dB.
    total = cta_weights() @ (CURVES * np.cos(np.radians(ANGLES)) ** 2)
    assert -10.0 * np.log10(total) == pytest.approx(4.4317, abs=5e-5)
    normalised = total / (cta_weights() @ CURVES)
    assert -10.0 * np.log10(normalised) == pytest.approx(4.4159, abs=5e-5)


@pytest.mark.parametrize("size", [19, 37, 181, 361])
def test_cosine_of_elevation_all_round(size):
    elevations = np.linspace(-90.0, 90.0, size)
    power = np.cos(np.radians(elevations)) ** 2
    assert 10 * np.log10(cta_mean_square(power, elevations)) == pytest.approx(-1.6693, abs=5e-5)
    assert 10 * np.log10(mean_square(power, elevations)) == pytest.approx(-1.7609, abs=5e-5)


def test_an_even_source_is_even():
    assert cta_mean_square(np.ones(181), np.linspace(-90, 90, 181)) == pytest.approx(1.0)
