"""A flat piston in the top of a very wide cylinder: nearly a piston in an infinite baffle.

Numbers and sources: `studies.questions.proof.cases.pistons`.
"""

import pytest
from scipy.special import j1, struve

from studies.questions.proof.cases.pistons import PRINTED, far_field, radiation_impedance


@pytest.mark.parametrize("twice_ka", PRINTED)
def test_printed_values_are_those_of_the_formula(twice_ka: float) -> None:
    found = (1.0 - 2.0 * j1(twice_ka) / twice_ka, 2.0 * struve(1, twice_ka) / twice_ka)
    assert found == pytest.approx(PRINTED[twice_ka], abs=6e-7)


@pytest.mark.parametrize("ka", [3.831706, 5.0, 7.015587, 10.0])
def test_directivity(ka: float) -> None:
    assert far_field(ka).held


@pytest.mark.parametrize("twice_ka", PRINTED)
def test_radiation_impedance(twice_ka: float) -> None:
    assert radiation_impedance(twice_ka).held
