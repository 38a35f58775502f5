"""Third-octave bands of IEC 61260-1:2014 (base ten) and ISO 266, as pyfar has them."""

import numpy as np
import pytest

from dispersion.bands import band_edges, nominal_centre, third_octave_centres


def test_pyfar_agrees_where_it_is_installed():
    constants = pytest.importorskip("pyfar").constants
    centres, lower, upper = constants.fractional_octave_frequencies_exact(3)
    ours = third_octave_centres(20.0, 20e3)
    assert np.allclose(ours, centres, rtol=1e-12)
    assert np.allclose(band_edges(ours), (lower, upper), rtol=1e-12)
    nominal = constants.fractional_octave_frequencies_nominal(3, (20, 20e3))
    assert [nominal_centre(f) for f in ours] == pytest.approx(list(nominal))
