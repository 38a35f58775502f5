"""Third-octave bands against IEC 61260-1:2014 (base ten) and ISO 266."""

import numpy as np
import pytest

from dispersion.bands import band_edges, nominal_centre, third_octave_centres

# 1000 * 10^(n/10) Hz for n = -17 ... 13, to four decimals.
CENTRES = [
    19.9526, 25.1189, 31.6228, 39.8107, 50.1187, 63.0957, 79.4328, 100, 125.8925, 158.4893,
    199.5262, 251.1886, 316.2278, 398.1072, 501.1872, 630.9573, 794.3282, 1000, 1258.9254,
    1584.8932, 1995.2623, 2511.8864, 3162.2777, 3981.0717, 5011.8723, 6309.5734, 7943.2823,
    10000, 12589.2541, 15848.9319, 19952.6231,
]  # fmt: skip
# ISO 266, the nominal frequencies of the same bands.
NOMINAL = [
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250,
    1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
]  # fmt: skip


def test_exact_centres():
    assert np.allclose(third_octave_centres(20.0, 20e3), CENTRES, atol=6e-5, rtol=0.0)


def test_edges_are_half_a_band_away():
    lower, upper = band_edges(third_octave_centres(20.0, 20e3))
    assert np.allclose(lower, np.array(CENTRES) * 10**-0.05, rtol=5e-6)
    assert np.allclose(upper, np.array(CENTRES) * 10**0.05, rtol=5e-6)


def test_nominal_frequencies():
    assert [nominal_centre(f) for f in CENTRES] == pytest.approx(NOMINAL)
    assert [nominal_centre(f) for f in NOMINAL] == pytest.approx(NOMINAL)


def test_pyfar_agrees_where_it_is_installed():
    constants = pytest.importorskip("pyfar").constants
    centres, lower, upper = constants.fractional_octave_frequencies_exact(3)
    ours = third_octave_centres(20.0, 20e3)
    assert np.allclose(ours, centres, rtol=1e-12)
    assert np.allclose(band_edges(ours), (lower, upper), rtol=1e-12)
    nominal = constants.fractional_octave_frequencies_nominal(3, (20, 20e3))
    assert [nominal_centre(f) for f in ours] == pytest.approx(list(nominal))
