"""Laws that hold for any solids: energy, reciprocity, still air.

Numbers and sources: `studies.questions.proof.cases.laws`.
"""

import pytest
from bodies import EXAMPLES

from studies.questions.proof.cases.laws import places_exchanged, power_balance, still_air


@pytest.mark.parametrize("name", EXAMPLES)
def test_power_that_leaves_the_driver_arrives(name: str) -> None:
    """At every frequency of a study from 100 Hz to 16 kHz, four in a third-octave band."""
    compared = power_balance(name)
    assert len(compared.at) == 92
    assert compared.held


@pytest.mark.parametrize("m", [0, 1, 4])
@pytest.mark.parametrize("frequency", [200.0, 1e3, 4e3, 16e3])
def test_source_and_receiver_change_places(frequency: float, m: int) -> None:
    """Each order by itself: rings of sources and receivers that go as cos(m phi)."""
    assert places_exchanged((frequency, m)).held


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("frequency", [0.01, 0.1, 1.0])
def test_still_air(name: str, frequency: float) -> None:
    assert still_air((name, frequency)).held
