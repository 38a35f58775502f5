"""Parts of the score from third octaves that slide, against closed forms and as promises."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispersion.bands import study_frequencies
from dispersion.coverage import measure_coverage
from dispersion.elevations import level_db
from dispersion.sliding import STEPS_PER_WIDTH, SlidingBands, fine_power, slide

GRID = np.linspace(-90.0, 90.0, 181)
F = study_frequencies(200.0, 16_000.0, 48)
WINDOW = (-10.0, 20.0)


def pattern(frequencies: np.ndarray) -> np.ndarray:
    """A lobe that wanders and narrows with frequency, with ripple: no zeros."""
    octaves = np.log2(frequencies / 1000.0)[:, None]
    middle = 8.0 * np.sin(2.0 * octaves)
    width = 60.0 / (1.0 + 0.3 * (octaves + 3.0))
    return np.exp(-(((GRID - middle) / width) ** 2)) * (1.2 + np.sin(9.0 * octaves)) + 0.01


def parts(frequencies: np.ndarray, power: np.ndarray) -> SlidingBands:
    return slide(fine_power(frequencies, GRID, power, WINDOW), 300.0, 12_500.0)


def test_a_pattern_that_is_the_same_everywhere_has_no_parts() -> None:
    found = parts(F, np.full((len(F), len(GRID)), 0.25))
    assert found.window_level_db == pytest.approx(level_db(0.25))
    assert found.coverage_db == pytest.approx(0.0, abs=1e-9)
    assert found.steadiness_db == pytest.approx(0.0, abs=1e-9)
    assert found.residue_db == pytest.approx(0.0, abs=1e-9)
    assert found.boost_db(0.0) == pytest.approx(0.0, abs=1e-9)
    # The share of a sphere above the window: half of 1 - sin(20 degrees).
    assert found.mean_leak == pytest.approx(0.5 * (1.0 - np.sin(np.radians(20.0))), abs=1e-9)


def test_bands_at_the_centres_of_third_octaves_are_their_means() -> None:
    power = pattern(F)
    coverage = measure_coverage(F, GRID, power, WINDOW, (200.0, 16_000.0))
    # From the first to the last exact centre the band stops at every one of them.
    found = slide(fine_power(F, GRID, power, WINDOW), *coverage.centres[[0, -1]])
    for sliding, by_band in (
        (found.centres, coverage.centres),
        (found.window_level_db, coverage.window_level_db),
        (found.deviation_db, coverage.evenness_db),
        (found.sound_power_db, coverage.sound_power_db),
        (found.leak, coverage.upward_leak),
    ):
        assert sliding[::STEPS_PER_WIDTH] == pytest.approx(by_band, rel=1e-9, abs=1e-9)


def test_coverage_is_the_rms_over_the_window_s_directions() -> None:
    slope = 0.05 * GRID  # dB, the same at all frequencies
    found = parts(F, np.tile(10.0 ** (slope / 10.0), (len(F), 1)))
    # 1.5 dB over 30 degrees: rms of a straight line, 1.5 / sqrt(12), less the mean's curvature.
    assert found.coverage_db == pytest.approx(1.5 / np.sqrt(12.0), abs=0.01)


def test_steadiness_and_residue_of_a_wave_along_the_frequency() -> None:
    octaves = np.log2(F / 1000.0)
    fast = 10.0 ** (0.1 * np.sin(2.0 * np.pi * octaves / 0.9))
    above = WINDOW[1] < GRID
    outside = np.where(above, fast[:, None], 1.0)
    assert parts(F, outside).residue_db == pytest.approx(0.0, abs=1e-9)
    assert parts(F, outside).steadiness_db > 0.1
    everywhere = np.tile(fast[:, None], (1, len(GRID)))
    assert parts(F, everywhere).steadiness_db == pytest.approx(0.0, abs=1e-9)
    assert parts(F, everywhere).residue_db > 0.3


@given(st.floats(-8.0, 8.0), st.floats(0.0, 2.0 * np.pi), st.floats(2.0, 5.0))
def test_no_equaliser_changes_coverage_or_steadiness(
    height_db: float, phase: float, period: float
) -> None:
    power, octaves = pattern(F), np.log2(F / 1000.0)
    lift = 10.0 ** (0.1 * height_db * np.sin(2.0 * np.pi * octaves / period + phase))
    plain, equalised = parts(F, power), parts(F, power * lift[:, None])
    # The rest is what the lift changes within a third octave.
    assert equalised.coverage_db == pytest.approx(plain.coverage_db, abs=0.03)
    assert equalised.steadiness_db == pytest.approx(plain.steadiness_db, abs=0.03)


@given(st.floats(1.0, 10.0), st.floats(800.0, 6000.0))
def test_a_peak_is_dearer_than_a_notch(height_db: float, centre: float) -> None:
    bump = height_db * np.exp(-((np.log2(F / centre) / 0.2) ** 2))
    peak, notch = (
        parts(F, np.tile(10.0 ** (0.1 * sign * bump)[:, None], (1, len(GRID))))
        for sign in (1.0, -1.0)
    )
    assert peak.residue_db > 1.1 * notch.residue_db


@pytest.mark.parametrize("twelfths", [1, 3, 5, 7, 11])
def test_a_shifted_grid_changes_nothing(twelfths: int) -> None:
    shift = 10.0 ** (twelfths / 12.0 / 10.0)
    shifted = F * shift
    plain, moved = parts(F, pattern(F)), parts(shifted, pattern(shifted))
    for name in ("coverage_db", "steadiness_db", "residue_db"):
        assert getattr(moved, name) == pytest.approx(getattr(plain, name), abs=0.02), name
    assert moved.boost_db(0.0) == pytest.approx(plain.boost_db(0.0), abs=0.02)


def test_the_treble_is_lifted_to_the_middle_and_the_wanted_tilt() -> None:
    level = -2.0 * np.log2(F / 1000.0)
    found = parts(F, np.tile(10.0 ** (0.1 * level)[:, None], (1, len(GRID))))
    # From 2 to 12.5 kHz a fall of 2 dB an octave lies 2 x mean octaves above 1 kHz below.
    mean_octaves = 0.5 * (1.0 + np.log2(12.589))
    assert found.boost_db(0.0) == pytest.approx(2.0 * mean_octaves, abs=0.1)
    assert found.boost_db(-2.0) == pytest.approx(0.0, abs=0.05)


def test_a_hollow_is_as_deep_as_its_deepest_octave() -> None:
    """25 dB between 3 and 10 kHz, over an octave: nothing of it is smoothed away in the middle."""
    low = (F > 3000.0) & (F < 10_000.0)
    found = parts(F, np.where(low[:, None], 10.0**-2.5, 1.0) * np.ones((1, len(GRID))))
    deep, place = found.hollow(0.0)
    assert deep == pytest.approx(25.0, abs=1.5) and 3000.0 < place < 10_000.0
    assert parts(F, np.ones((len(F), len(GRID)))).hollow(0.0)[0] == pytest.approx(0.0, abs=1e-9)


def test_bands_below_a_frequency_are_left_out() -> None:
    found = parts(F, pattern(F))
    kept = found.above(1000.0)
    assert kept.centres[0] >= 1000.0
    assert kept.centres[-1] == found.centres[-1]
    assert len(kept.leak) == len(kept.centres) < len(found.centres)
    assert found.above(1e6) is found
