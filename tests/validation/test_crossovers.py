"""Crossovers against their closed forms.

Numbers and sources: `studies.questions.proof.cases.ways`.
"""

import numpy as np
import pytest

from dispersion.sources import Crossover
from studies.questions.proof.cases.ways import CORNER, RATIO, both_sides


@pytest.mark.parametrize(
    ("kind", "order", "level"),
    [("butterworth", n, -3.0103) for n in range(1, 9)]
    + [("linkwitz-riley", n, -6.0206) for n in (2, 4, 6, 8)],
)
@pytest.mark.parametrize("side", ["low", "high"])
def test_level_at_the_corner(kind, order, level, side):
    corner = Crossover(kind, order, CORNER, side).response(CORNER)
    assert 20.0 * np.log10(abs(corner)) == pytest.approx(level, abs=5e-5)


@pytest.mark.parametrize("order", [2, 4, 6, 8, 12, 16])
def test_the_sides_of_linkwitz_riley_stay_in_phase(order):
    low, high = both_sides("linkwitz-riley", order)
    polarity = 1.0 if order % 4 == 0 else -1.0
    # So that the lobe points straight ahead.
    assert np.allclose(np.angle(low * np.conj(polarity * high)), 0.0, atol=1e-6)


@pytest.mark.parametrize("order", [1, 3, 5, 7])
@pytest.mark.parametrize("polarity", [1.0, -1.0])
def test_odd_butterworth_sums_flat_in_either_polarity(order, polarity):
    low, high = both_sides("butterworth", order)
    assert np.allclose(np.abs(low + polarity * high), 1.0, atol=1e-9)
    assert np.allclose(np.abs(low) ** 2 + np.abs(high) ** 2, 1.0, atol=1e-9)


def test_second_order_low_pass_in_closed_form():
    # Conjugate of 1 / (1 + j sqrt(2) x - x^2), for exp(-i omega t).
    low, high = both_sides("butterworth", 2)
    denominator = 1.0 - 1j * np.sqrt(2.0) * RATIO - RATIO**2
    assert np.allclose(low, 1.0 / denominator, rtol=1e-9)
    assert np.allclose(high, -(RATIO**2) / denominator, rtol=1e-9)


@pytest.mark.parametrize(("kind", "order"), [("butterworth", 3), ("linkwitz-riley", 4)])
def test_filters_delay(kind, order):
    # With exp(-i omega t) a delay t is exp(+i omega t): the phase rises with frequency.
    for response in both_sides(kind, order):
        assert np.all(np.diff(np.unwrap(np.angle(response))) > 0.0)
