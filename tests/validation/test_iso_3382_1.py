"""Gliding arcs of ISO 3382-1:2009, 4.2.1 on patterns with an answer in closed form.

A level of m cos(n phi) dB has the energy mean 10 lg I0(m ln(10) / 10), since
exp(x cos phi) averages to the modified Bessel function I0(x); the mean of S samples of cos(n phi),
a step d apart, is cos(n phi_middle) sin(n S d / 2) / (S sin(n d / 2)). The limits are those of
Table 1 of the standard. What the standard says in words only: arcs are averaged as levels here.
"""

import numpy as np
import pytest
from scipy import special

from dispersion.bands import BandError, octave_means, third_octave_centres
from dispersion.gliding import (
    ArcError,
    deviation_by_octave,
    gliding_deviation_db,
    gliding_levels_db,
    iso_limit_db,
)

DEGREE, FIVE = np.arange(360.0), np.arange(0.0, 360.0, 5.0)


def energy_mean_db(swing: float) -> float:
    """Of swing * cos(n phi) dB; sampling it at A > 2n directions leaves an error of I_A / I_0."""
    return 10.0 * np.log10(special.i0(swing * np.log(10.0) / 10.0))


def lobes(count: int, swing: float, azimuths: np.ndarray) -> np.ndarray:
    return swing * np.cos(count * np.radians(azimuths))


def closed_form(count: int, swing: float, azimuths: np.ndarray) -> float:
    step, held = 2.0 * np.pi / azimuths.size, azimuths.size // 12
    smoothed = np.sin(count * held * step / 2.0) / (held * np.sin(count * step / 2.0))
    # Arcs are centred half way between directions if they hold an even number of them.
    middles = np.radians(azimuths) + (held - 1) * step / 2.0
    arcs = swing * smoothed * np.cos(count * middles)
    return float(np.abs(arcs - energy_mean_db(swing)).max())


@pytest.mark.parametrize("azimuths", [DEGREE, FIVE], ids=["turntable", "every 5 degrees"])
@pytest.mark.parametrize(("count", "swing"), [(1, 1.0), (2, 4.0), (3, 6.0), (4, 3.0)])
def test_lobes_have_a_closed_form(count: int, swing: float, azimuths: np.ndarray) -> None:
    found = gliding_deviation_db(lobes(count, swing, azimuths))
    # With so many samples to a lobe the sampled energy mean is the integral, to the last digits.
    assert found == pytest.approx(closed_form(count, swing, azimuths), abs=1e-9)


def test_twelve_lobes_pass_however_deep_but_for_their_energy_mean() -> None:
    """Every arc holds one whole period: all arc means are 0, the energy mean is above."""
    found = gliding_deviation_db(lobes(12, 5.0, DEGREE))
    assert found == pytest.approx(energy_mean_db(5.0), abs=1e-9)


def test_the_same_all_round_does_not_deviate() -> None:
    assert gliding_deviation_db(np.full((2, 72), [[-7.0], [3.0]])) == pytest.approx([0.0, 0.0])


def test_one_narrow_notch() -> None:
    """One of 72 directions d dB down: six arcs are d / 6 down, the circle is 71/72 of before."""
    notched = np.zeros(72)
    notched[10] = -20.0
    circle = 10.0 * np.log10((71.0 + 0.01) / 72.0)
    arcs = gliding_levels_db(notched)
    assert np.flatnonzero(arcs < -1e-9).tolist() == [5, 6, 7, 8, 9, 10]
    assert arcs.min() == pytest.approx(-20.0 / 6.0)
    assert gliding_deviation_db(notched) == pytest.approx(20.0 / 6.0 + circle)


def test_levels_and_energies_are_not_confused() -> None:
    """Half the circle 10 dB down: the arcs inside it are, and the circle has 10 lg(0.55)."""
    half = np.repeat([0.0, -10.0], 36)
    assert gliding_deviation_db(half) == pytest.approx(10.0 + 10.0 * np.log10(0.55))


def test_turning_the_source_changes_nothing() -> None:
    pattern = lobes(3, 6.0, FIVE) + lobes(1, 1.0, FIVE)
    assert gliding_deviation_db(np.roll(pattern, 17)) == pytest.approx(
        gliding_deviation_db(pattern)
    )


def test_octaves_hold_three_thirds_of_equal_power() -> None:
    centres = third_octave_centres(100.0, 5000.0)
    level = np.zeros((centres.size, 360))
    level[9] = lobes(3, 6.0, DEGREE)  # the 800 Hz third alone swings
    octaves, found = deviation_by_octave(centres, level)
    assert octaves == pytest.approx([1000.0 * 10.0 ** (0.3 * n) for n in range(-3, 3)])
    assert found[[0, 1, 2, 4, 5]] == pytest.approx(0.0, abs=1e-12)
    mixed = 10.0 * np.log10((10.0 ** (level[9] / 10.0) + 2.0) / 3.0)
    assert found[3] == pytest.approx(gliding_deviation_db(mixed))
    assert 0.3 < found[3] < gliding_deviation_db(level[9])


def test_bands_that_are_no_octaves() -> None:
    octaves, means = octave_means([1000.0, 10**3.1], [1.0, 1.0])
    assert octaves.size == means.size == 0
    assert deviation_by_octave([1000.0], np.zeros((1, 12)))[1].size == 0
    with pytest.raises(BandError, match="adjoining"):
        octave_means([1000.0, 2000.0], [1.0, 1.0])


def test_limits_of_table_1() -> None:
    octaves = [1000.0 * 10.0 ** (0.3 * n) for n in range(-4, 4)]
    assert [iso_limit_db(f) for f in octaves] == [None, 1.0, 1.0, 1.0, 3.0, 5.0, 6.0, None]


@pytest.mark.parametrize("directions", [0, 7, 100])
def test_circles_that_arcs_do_not_fit(directions: int) -> None:
    with pytest.raises(ArcError, match="multiple of 12"):
        gliding_levels_db(np.zeros(directions))


def test_silence_is_refused() -> None:
    with pytest.raises(ArcError, match="finite"):
        gliding_levels_db(np.full(12, -np.inf))
