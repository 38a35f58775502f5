"""Filters at the frequencies for which a formula knows the gain, and against scipy's filter."""

import numpy as np
import pytest
from scipy.signal import lfilter

from dispersion.biquads import RATE, Biquad, chain_db


@pytest.mark.parametrize("gain", [-9.0, 6.0])
def test_gains_where_they_are_known(gain: float) -> None:
    """A peaking filter has its gain in the middle, a shelf at its end and half of it half way."""
    ends = [1e-3, 1000.0, RATE / 2 - 1e-3]
    peaking = Biquad("peaking", 1000.0, gain, 2.0).level_db(ends)
    np.testing.assert_allclose(peaking, [0.0, gain, 0.0], atol=1e-6)
    low = Biquad("low shelf", 1000.0, gain).level_db(ends)
    np.testing.assert_allclose(low, [gain, gain / 2, 0.0], atol=1e-6)
    high = Biquad("high shelf", 1000.0, gain).level_db(ends)
    np.testing.assert_allclose(high, [0.0, gain / 2, gain], atol=1e-6)


@pytest.mark.parametrize("kind", ["peaking", "low shelf", "high shelf"])
def test_the_filter_does_to_an_impulse_what_its_level_says(kind: str) -> None:
    one = Biquad(kind, 800.0, 7.0, 1.5)
    top, bottom = one.coefficients()
    impulse = np.zeros(1 << 15)
    impulse[0] = 1.0
    spectrum = np.fft.rfft(lfilter(top, bottom, impulse))
    at = np.array([50, 500, 2000, 9000])
    frequencies = at * RATE / impulse.size
    found = 20.0 * np.log10(np.abs(spectrum[at]))
    np.testing.assert_allclose(found, one.level_db(frequencies), atol=1e-6)


def test_filters_in_a_chain_add_up() -> None:
    one, two = Biquad("peaking", 500.0, 3.0), Biquad("high shelf", 4000.0, -4.0)
    f = np.array([100.0, 500.0, 8000.0])
    np.testing.assert_allclose(chain_db((one, two), f), one.level_db(f) + two.level_db(f))
    np.testing.assert_array_equal(chain_db((), f), 0.0)
