"""Coverage: quadrature on the elevation grid, the window's edges, and the gathered numbers."""

import dataclasses
from unittest.mock import Mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispersion.bands import BandError, study_frequencies, third_octave_centres
from dispersion.coverage import (
    coverage_of_bands,
    directivity_index,
    evenness,
    measure_coverage,
    tilt_of,
    treble_limit,
)
from dispersion.cta_2034_a import cta_mean_square
from dispersion.elevations import (
    CoverageError,
    level_db,
    mean_square,
    power_at,
    share_above,
    sound_power,
    sphere_weights,
    window_nodes,
    window_power,
    zone_weights,
)

GRID = np.linspace(-90.0, 90.0, 181)
SINE = np.sin(np.radians(GRID))
ANGLES = st.floats(-90.0, 90.0)


@pytest.mark.parametrize("size", [3, 8, 19, 181, 361])
def test_sphere_weights_are_positive_and_exact_for_their_degree(size):
    grid = np.linspace(-90.0, 90.0, size)
    weights = sphere_weights(grid)
    assert np.all(weights > 0.0)
    for degree in range(min(size, 40)):
        exact = 1.0 / (degree + 1) if degree % 2 == 0 else 0.0
        assert weights @ np.sin(np.radians(grid)) ** degree == pytest.approx(exact, abs=1e-12)


@given(ANGLES, ANGLES)
def test_zones_between_samples_are_exact(one, other):
    low, high = sorted((one, other))
    x1, x2 = np.sin(np.radians([low, high]))
    weights = zone_weights(GRID, low, high)
    assert np.sum(weights) == pytest.approx((x2 - x1) / 2.0, abs=1e-12)
    assert weights @ SINE**4 == pytest.approx((x2**5 - x1**5) / 10.0, abs=1e-12)
    assert weights @ SINE**7 == pytest.approx((x2**8 - x1**8) / 16.0, abs=1e-12)


@given(ANGLES)
def test_what_leaves_above_and_below_is_everything(edge):
    power = (1.0 + SINE) ** 3 * (1.5 + np.cos(40.0 * np.radians(GRID)))
    above = zone_weights(GRID, edge, 90.0) @ power
    below = zone_weights(GRID, -90.0, edge) @ power
    assert above + below == pytest.approx(mean_square(power, GRID), rel=1e-12)


def test_share_above_of_an_even_source_is_the_cap_s_area():
    power = np.ones((2, GRID.size))
    expected = (1.0 - np.sin(np.radians(15.3))) / 2.0
    assert np.allclose(share_above(power, GRID, 15.3), expected, atol=1e-12)


def test_share_stays_between_none_and_all():
    beam = np.where(np.abs(GRID - 40.0) < 2.5, 1.0, 0.0)
    shares = [share_above(beam, GRID, edge) for edge in np.arange(-90.0, 90.1, 0.7)]
    assert min(shares) >= 0.0
    assert max(shares) <= 1.0
    assert share_above(np.zeros(GRID.size), GRID, 0.0) == 0.0


def test_power_is_linear_between_samples_and_exact_on_them():
    power = np.stack([GRID + 100.0, 2.0 * GRID + 200.0])
    assert np.allclose(power_at(power, GRID, [-90.0, -5.25, 7.0, 90.0])[0], [10, 94.75, 107, 190])
    assert np.allclose(power_at(power, GRID, 12.5), [112.5, 225.0])


def test_window_holds_its_edges_whether_they_are_samples_or_not():
    nodes, weights = window_nodes(GRID, (-5.0, 15.0))
    assert np.allclose(nodes, np.arange(-5.0, 15.5))
    assert weights[0] == pytest.approx(weights[1] / 2.0)
    nodes, weights = window_nodes(GRID, (-4.6, 15.3))
    assert nodes[0] == -4.6
    assert nodes[-1] == 15.3
    assert np.sum(weights) == pytest.approx(1.0)
    # Exact for a straight line: the mean is its middle.
    assert weights @ nodes == pytest.approx((15.3 - 4.6) / 2.0)


def test_window_mean_moves_smoothly_with_its_edge_over_a_sample():
    power = 1.0 + 0.5 * np.cos(np.radians(20.0 * GRID))
    means = [window_power(power, GRID, (-5.0, high)) for high in (15.0 - 1e-7, 15.0, 15.0 + 1e-7)]
    assert np.ptp(means) < 1e-7


def test_a_window_narrower_than_the_grid_works():
    assert window_power(GRID + 100.0, GRID, (0.2, 0.4)) == pytest.approx(100.3)


def test_window_weighs_angles_not_areas():
    # cos^2 from 0 to 90 degrees: 1/2 uniform in angle, 2/3 by area.
    power = np.cos(np.radians(GRID)) ** 2
    assert window_power(power, GRID, (0.0, 90.0)) == pytest.approx(0.5, abs=1e-12)


def test_evenness_is_the_rms_in_decibels():
    assert np.allclose(evenness(np.full((3, GRID.size), 7.0), GRID, (-5.0, 15.0)), 0.0, atol=1e-9)
    # Steps of 2 dB up and down by sample: mean power and rms follow by hand.
    power = np.where(np.arange(GRID.size) % 2 == 0, 10.0**0.1, 10.0**-0.1)
    mean_db = 10.0 * np.log10((10.0**0.1 + 10.0**-0.1) / 2.0)
    expected = np.sqrt(((1.0 - mean_db) ** 2 + (1.0 + mean_db) ** 2) / 2.0)
    assert evenness(power, GRID, (-10.0, 10.0)) == pytest.approx(expected, rel=1e-12)


def test_evenness_does_not_depend_on_level():
    power = 1.2 + np.sin(np.radians(9.0 * GRID))
    scaled = evenness(1e-4 * power, GRID, (-5.0, 15.0))
    assert scaled == pytest.approx(evenness(power, GRID, (-5.0, 15.0)), rel=1e-9)


@given(st.floats(-6.0, 6.0), st.floats(-40.0, 10.0))
def test_a_straight_line_has_its_tilt(slope, offset):
    centres = third_octave_centres(200.0, 12500.0)
    tilt = tilt_of(centres, offset + slope * np.log2(centres / 1000.0))
    assert tilt == pytest.approx(slope, abs=1e-9)


def test_the_tilt_does_not_see_what_is_even_about_the_middle():
    centres = third_octave_centres(500.0, 2000.0)
    zigzag = np.array([1.0, -1.0, 1.0, -2.0, 1.0, -1.0, 1.0])
    assert tilt_of(centres, zigzag - 3.0 * np.log2(centres)) == pytest.approx(-3.0)


def test_treble_limit_is_the_highest_band_left():
    centres = third_octave_centres(500.0, 16000.0)
    levels = np.where(centres < 9000.0, 0.0, -20.0)
    assert treble_limit(centres, levels) == pytest.approx(7943.28, abs=0.01)
    # A dip below that limit does not end the range; one band above it extends it.
    levels[8], levels[14] = -30.0, -5.9
    assert treble_limit(centres, levels) == pytest.approx(12589.25, abs=0.01)
    assert treble_limit(centres, levels, drop_db=3.0) == pytest.approx(7943.28, abs=0.01)


def test_treble_limit_without_a_middle_is_not_a_number():
    assert np.isnan(treble_limit([4000.0, 5000.0], [0.0, 0.0]))


def test_silence_has_a_level():
    assert level_db(0.0) == -200.0


FREQUENCIES = study_frequencies(200.0, 12500.0)
# A pattern without zeros that changes with frequency.
POWER = (1000.0 / FREQUENCIES[:, None]) ** 0.5 * (
    1.5 + np.cos(np.radians(GRID)[None, :] * (1.0 + FREQUENCIES[:, None] / 1000.0))
)


def test_coverage_gathers_consistent_numbers():
    coverage = measure_coverage(FREQUENCIES, GRID, POWER, (-5.0, 15.0), (500.0, 10e3))
    bands = coverage.centres.size
    assert bands == 19
    assert coverage.level_db.shape == (bands, GRID.size)
    assert coverage.in_band.sum() == 14
    inside = coverage.in_band
    assert coverage.sliding.mean_leak == pytest.approx(
        coverage.upward_leak[inside].mean(), abs=0.01
    )
    assert np.allclose(coverage.di_window_db, coverage.window_level_db - coverage.sound_power_db)
    assert np.all(coverage.di_best_db >= coverage.di_ring_db)
    assert np.all(coverage.di_best_db >= coverage.di_window_db)
    tilt = tilt_of(coverage.centres[inside], coverage.window_level_db[inside])
    assert coverage.tilt_db_per_octave == tilt


def test_coverage_of_a_flat_even_source_is_trivial():
    power = np.full((FREQUENCIES.size, GRID.size), 0.25)
    coverage = measure_coverage(FREQUENCIES, GRID, power, (-5.0, 15.0), (200.0, 12500.0))
    quarter_db = 10.0 * np.log10(0.25)
    for name in ("window_level_db", "sound_power_db", "floor_bounce_db", "ceiling_bounce_db"):
        assert np.allclose(getattr(coverage, name), quarter_db, atol=1e-9), name
    for name in ("di_best_db", "di_ring_db", "di_window_db", "evenness_db"):
        assert np.allclose(getattr(coverage, name), 0.0, atol=1e-9), name
    assert coverage.mean_window_level_db == pytest.approx(quarter_db)
    assert coverage.tilt_db_per_octave == pytest.approx(0.0, abs=1e-9)
    assert coverage.treble_limit_hz == pytest.approx(12589.25, abs=0.01)
    assert coverage.sliding.mean_leak == pytest.approx((1.0 - np.sin(np.radians(15.0))) / 2.0)


def test_bounces_average_power_at_the_standard_s_angles():
    power = np.tile(np.where(GRID == 50.0, 3.0, 0.0) + np.where(GRID == -20.0, 6.0, 0.0), (8, 1))
    f = study_frequencies(1000.0, 1250.0)
    coverage = measure_coverage(f, GRID, power, (-5.0, 15.0), (1000.0, 1250.0))
    assert np.allclose(coverage.ceiling_bounce_db, 0.0)
    assert np.allclose(coverage.floor_bounce_db, 10.0 * np.log10(2.0))


def test_coverage_does_not_change():
    coverage = measure_coverage(FREQUENCIES, GRID, POWER, (-5.0, 15.0), (500.0, 10e3))
    with pytest.raises(dataclasses.FrozenInstanceError):
        coverage.tilt_db_per_octave = 0.0


@pytest.mark.parametrize(
    ("window", "band", "words"),
    [
        ((15.0, -5.0), (500.0, 10e3), "window 15 to -5 degrees"),
        ((0.0, 0.0), (500.0, 10e3), "window 0 to 0"),
        ((-5.0, 95.0), (500.0, 10e3), "within -90 to 90"),
        ((-5.0, 15.0), (10e3, 500.0), "band 10000 to 500 Hz"),
        ((-5.0, 15.0), (500.0, 16e3), "reaches beyond what was computed"),
        ((-5.0, 15.0), (100.0, 10e3), "reaches beyond what was computed"),
        ((-5.0, 15.0), (1000.0, 1050.0), "two third-octave bands"),
    ],
)
def test_bad_windows_and_bands_are_refused(window, band, words):
    with pytest.raises(CoverageError, match=words):
        measure_coverage(FREQUENCIES, GRID, POWER, window, band)


def test_too_few_frequencies_in_a_band_are_refused():
    with pytest.raises(BandError):
        measure_coverage(FREQUENCIES[2:], GRID, POWER[2:], (-5.0, 15.0), (500.0, 10e3))


@pytest.mark.parametrize(
    ("power", "elevations", "words"),
    [
        (np.ones(181), np.radians(GRID), "uniform from -90 to \\+90 degrees"),
        (np.ones(180), GRID[:-1], "uniform from -90 to \\+90 degrees"),
        (np.ones(181), GRID[::-1], "uniform from -90 to \\+90 degrees"),
        (np.ones((181, 2)), GRID, "last axis of 181"),
        (-np.ones(181), GRID, "not dB"),
        (np.full(181, np.nan), GRID, "finite"),
    ],
)
@pytest.mark.parametrize("measure", [mean_square, sound_power, cta_mean_square])
def test_bad_grids_and_powers_are_refused(measure, power, elevations, words):
    with pytest.raises(CoverageError, match=words):
        measure(power, elevations)


def test_elevations_beyond_the_pole_are_refused():
    with pytest.raises(CoverageError, match="within -90 to 90"):
        power_at(np.ones(181), GRID, 91.0)


def test_directivity_index_of_leading_axes():
    power = np.ones((4, 2, GRID.size))
    assert directivity_index(power, GRID, power.max(-1)).shape == (4, 2)


def test_bands_already_averaged_give_the_same_numbers() -> None:
    """Band means are taken first, of |p|^2 at each elevation; everything else comes after."""
    f = study_frequencies(200.0, 4000.0, 6)
    level = -3.0 * np.sin(np.log(f) * 7.0)[:, None] - 6.0 * SINE**2 * np.log2(f / 200.0)[:, None]
    power = 10.0 ** (level / 10.0)
    window, band = (-10.0, 20.0), (315.0, 2000.0)
    plain = measure_coverage(f, GRID, power, window, band)
    means = power.reshape(-1, 6, len(GRID)).mean(axis=1)
    centres = third_octave_centres(200.0, 4000.0)
    found = coverage_of_bands(centres, GRID, means, window, band, plain.sliding)
    assert found.sliding is plain.sliding
    for name, number in vars(plain).items():
        if name == "sliding":
            continue
        assert getattr(found, name) == pytest.approx(number, rel=1e-12, abs=1e-12), name


def test_a_band_that_was_not_averaged_is_refused() -> None:
    centres = third_octave_centres(500.0, 1000.0)
    with pytest.raises(CoverageError):
        coverage_of_bands(centres, GRID, np.ones((4, 181)), (-10.0, 20.0), (500.0, 2000.0), Mock())
    with pytest.raises(CoverageError):
        coverage_of_bands(centres, GRID, -np.ones((4, 181)), (-10.0, 20.0), (500.0, 1000.0), Mock())
