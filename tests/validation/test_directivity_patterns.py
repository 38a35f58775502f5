"""Directivity index and sound power of patterns whose values are known.

Numbers and sources: `studies.questions.proof.cases.closed_forms`.
"""

import numpy as np
import pytest

from dispersion.bands import study_frequencies
from dispersion.coverage import directivity_index, measure_coverage
from dispersion.elevations import level_db, power_at, share_above, sound_power
from studies.questions.proof.cases.closed_forms import (
    FOUR_DECIMALS_DB,
    GRID,
    UP,
    in_upper_half,
    index_of_piston,
    piston,
)


@pytest.mark.parametrize(
    ("pattern", "best", "ring"),
    [
        (np.ones(GRID.size), 0.0, 0.0),
        (in_upper_half(np.ones(GRID.size)), 3.0103, 0.0),
        (UP**2, 4.7712, None),
        (((1.0 + UP) / 2.0) ** 2, 4.7712, 4.7712 - 6.0206),
        (1.0 - UP**2, 1.7609, 1.7609),
    ],
    ids=["even", "half space", "dipole", "cardioid", "cosine of elevation"],
)
def test_directivity_index_of_simple_patterns(pattern, best, ring):
    assert directivity_index(pattern, GRID, pattern.max()) == pytest.approx(best, abs=6e-5)
    if ring is not None:
        at_ring = power_at(pattern, GRID, 0.0)
        assert directivity_index(pattern, GRID, at_ring) == pytest.approx(ring, abs=1.1e-4)


def test_sound_power_of_an_even_source():
    # L_p = L_W + 10 lg(Q / 4 pi) at 1 m: 10.99 dB between them for Q = 1.
    assert level_db(sound_power(np.ones(GRID.size), GRID)) == pytest.approx(10.9921, abs=5e-5)


def test_baffled_piston_through_the_whole_coverage():
    # Four equal frequencies per band at the same ka: the band mean changes nothing.
    frequencies = study_frequencies(1000.0, 1250.0)
    power = np.repeat(np.stack([piston(2.0), piston(8.0)]), 4, axis=0)
    coverage = measure_coverage(frequencies, GRID, power, (-5.0, 15.0), (1000.0, 1250.0))
    known = np.array([index_of_piston(2.0), index_of_piston(8.0)])
    assert coverage.di_best_db == pytest.approx(known, abs=FOUR_DECIMALS_DB)
    assert coverage.sound_power_db == pytest.approx(-known, abs=FOUR_DECIMALS_DB)


def test_everything_above_the_baffle_leaves_upwards():
    assert share_above(piston(2.0), GRID, 0.0) == pytest.approx(1.0, abs=2e-3)
    # D is even in elevation, so above the horizon lies half of the mirrored pattern.
    mirrored = piston(2.0) + piston(2.0)[::-1]
    assert share_above(mirrored, GRID, 0.0) == pytest.approx(0.5, abs=1e-12)
