"""Third-octave bands: which frequency belongs where, and means within bands."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dispersion.bands import (
    BandError,
    band_edges,
    band_index,
    band_label,
    band_means,
    nominal_centre,
    study_frequencies,
    third_octave_centres,
    twelve_per_octave,
)


def test_a_nominal_range_gives_the_bands_it_names():
    centres = third_octave_centres(100.0, 12500.0)
    assert len(centres) == 22
    assert centres[0] == pytest.approx(100.0)
    assert centres[-1] == pytest.approx(12589.254, abs=1e-3)


@given(st.floats(20.0, 20e3))
def test_every_frequency_lies_within_the_edges_of_its_band(frequency):
    (centre,) = third_octave_centres(frequency, frequency)
    lower, upper = band_edges(centre)
    assert lower * (1 - 1e-9) <= frequency < upper


def test_bands_meet_at_their_edges():
    lower, upper = band_edges(third_octave_centres(20.0, 20e3))
    assert np.allclose(lower[1:], upper[:-1], rtol=1e-12)
    assert np.array_equal(band_index(lower), np.arange(-17, 14))


@pytest.mark.parametrize(
    ("frequency", "label"),
    [
        (31.6, "31.5 Hz"),
        (63.1, "63 Hz"),
        (100.0, "100 Hz"),
        (630.957, "630 Hz"),
        (1000.0, "1 kHz"),
        (1258.9, "1.25 kHz"),
        (3162.3, "3.15 kHz"),
        (15848.9, "16 kHz"),
        (19952.6, "20 kHz"),
    ],
)
def test_labels_are_the_trade_s(frequency, label):
    assert band_label(frequency) == label


def test_a_label_names_the_band_not_the_frequency():
    assert nominal_centre(1100.0) == 1000.0
    assert nominal_centre(1130.0) == 1250.0


@pytest.mark.parametrize("per_band", [4, 5, 9])
def test_study_frequencies_fill_every_band_evenly(per_band):
    f = study_frequencies(100.0, 16000.0, per_band)
    assert len(f) == 23 * per_band
    assert np.array_equal(np.unique(band_index(f), return_counts=True)[1], [per_band] * 23)
    assert np.allclose(np.diff(np.log10(f)), 0.1 / per_band, rtol=1e-9)


def test_study_frequencies_are_centred_in_the_band():
    f = study_frequencies(1000.0, 1000.0)
    assert np.exp(np.mean(np.log(f))) == pytest.approx(1000.0, rel=1e-12)


def test_twelve_per_octave_from_100_hz_to_19_2_khz_makes_92():
    f = twelve_per_octave(100.0, 19200.0)
    assert len(f) == 92
    assert f[12] == pytest.approx(200.0)
    assert len(twelve_per_octave(100.0, 200.0)) == 13


def test_band_means_are_means_of_power_along_the_first_axis():
    f = study_frequencies(500.0, 2000.0)
    power = np.arange(f.size * 3, dtype=float).reshape(f.size, 3)
    centres, means = band_means(f, power)
    assert np.allclose(centres, third_octave_centres(500.0, 2000.0))
    assert np.allclose(means, power.reshape(7, 4, 3).mean(axis=1))
    assert np.allclose(band_means(f, power[:, 0])[1], means[:, 0])


def test_mean_of_a_sloping_spectrum_comes_close_to_the_integral():
    # 6 dB per octave, |p|^2 = f^2: the mean over d(ln f) is (upper^2 - lower^2) / (2 ln ratio).
    lower, upper = band_edges(1000.0)
    exact = (upper**2 - lower**2) / (2.0 * np.log(upper / lower))
    f = study_frequencies(1000.0, 1000.0)
    assert band_means(f, f**2)[1][0] == pytest.approx(exact, rel=1e-3)


def test_a_band_with_too_few_frequencies_is_refused():
    f = study_frequencies(500.0, 2000.0)
    with pytest.raises(BandError, match="the 1 kHz band holds 3 frequencies"):
        band_means(np.delete(f, 13), np.ones(f.size - 1))
    gap = f[(f < 880.0) | (f > 1130.0)]
    with pytest.raises(BandError, match="the 1 kHz band holds 0 frequencies"):
        band_means(gap, np.ones(gap.size))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: study_frequencies(100.0, 1000.0, 3), "at least 4"),
        (lambda: third_octave_centres(1000.0, 100.0), "1000 to 100 Hz"),
        (lambda: third_octave_centres(0.0, 100.0), "above 0 Hz"),
        (lambda: band_index(-5.0), "above 0 Hz"),
        (lambda: band_means([1.0, 2.0], [1.0]), "does not go with 2 frequencies"),
        (lambda: band_means([2.0, 1.0], [1.0, 1.0]), "ascend"),
    ],
)
def test_bad_input_is_refused(call, words):
    with pytest.raises(BandError, match=words):
        call()
