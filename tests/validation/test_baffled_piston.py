"""A flat piston in the top of a very wide cylinder: nearly a piston in an infinite baffle.

Numbers and sources: `studies.questions.proof.cases.pistons`.
"""

import pytest
from scipy.special import j1, struve

from studies.questions.proof.cases.pistons import PRINTED


@pytest.mark.parametrize("twice_ka", PRINTED)
def test_printed_values_are_those_of_the_formula(twice_ka: float) -> None:
    found = (1.0 - 2.0 * j1(twice_ka) / twice_ka, 2.0 * struve(1, twice_ka) / twice_ka)
    assert found == pytest.approx(PRINTED[twice_ka], abs=6e-7)
