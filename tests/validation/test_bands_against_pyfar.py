"""Band means against the third-octave filters of pyfar, which meet class 1 of IEC 61260-1:2014.

A loudspeaker and one echo, P(f) = |1 + a exp(-2 pi i f t)|^2, is excited with pink noise's spectrum
and filtered by pyfar; the energy of each band, over that without the echo, is what a meter would
read. Two things part it from the mean over the exact band, and both are known beforehand:

- skirts. With the filter's power g(f), the exact band's r(f) (1 inside, 0 outside), integrals over
  d(ln f) and M the mean of P in the band, the reading is M + int (P - M) (g - r) / int g, so that
  it departs by no more than int |P - M| |g - r| / int g. The filters are Butterworth band-passes
  by bilinear transform: g = 1 / (1 + x^(2 n)), x = (w^2 - w1 w2) / (w (w2 - w1)), w = tan(pi f/fs).
- samples. The mean of N points in the middles of equal steps h of u = ln f departs from the
  integral by no more than h^2 / 24 max |d2P/du2|, and here |d2P/du2| <= 2 a (y^2 + y) with
  y = 2 pi f t at the band's upper edge.

The tolerance of each band is the sum of the two, and of nothing else.
"""

import numpy as np
import pytest

from dispersion.bands import band_edges, band_means, study_frequencies

pyfar = pytest.importorskip("pyfar")

RATE, SAMPLES = 96000.0, 2**17
ECHO, DELAY = 0.7, 0.4e-3
LOW, HIGH, PER_BAND = 400.0, 10000.0, 12
BINS = np.fft.rfftfreq(SAMPLES, 1.0 / RATE)[1:]


def power(frequencies: np.ndarray) -> np.ndarray:
    return np.abs(1.0 + ECHO * np.exp(-2j * np.pi * frequencies * DELAY)) ** 2


def band_energy(transfer: np.ndarray, order: int) -> np.ndarray:
    """Energy in each third octave of a pink impulse sent through `transfer`, (B,)."""
    spectrum = np.append(0.0, transfer / np.sqrt(BINS))
    middle = np.exp(-1j * np.pi * np.arange(spectrum.size))  # half way along, clear of both ends
    impulse = np.fft.irfft(spectrum * middle, SAMPLES)
    filtered = pyfar.dsp.filter.fractional_octave_bands(
        pyfar.Signal(impulse, RATE), 3, frequency_range=(LOW, HIGH), order=order
    )
    return np.sum(filtered.time**2, axis=-1).ravel()


def skirts(lower: float, upper: float, mean: float, order: int) -> float:
    w, w1, w2 = (np.tan(np.pi * np.asarray(f) / RATE) for f in (BINS, lower, upper))
    with np.errstate(over="ignore"):  # far outside nothing passes
        passed = 1.0 / (1.0 + ((w**2 - w1 * w2) / (w * (w2 - w1))) ** (2 * order))
    exact = (lower <= BINS) & (upper > BINS)
    off = np.abs(power(BINS) - mean) * np.abs(passed - exact)
    return float(np.sum(off / BINS) / np.sum(passed / BINS))


def samples(upper: float) -> float:
    step, y = np.log(10.0) / 10.0 / PER_BAND, 2.0 * np.pi * upper * DELAY
    return step**2 / 24.0 * 2.0 * ECHO * (y**2 + y)


@pytest.mark.parametrize("order", [6, 14], ids=["least of class 1", "pyfar's own"])
def test_band_means_are_what_third_octave_filters_read(order: int) -> None:
    frequencies = study_frequencies(LOW, HIGH, PER_BAND)
    centres, means = band_means(frequencies, power(frequencies))
    with_echo = 1.0 + ECHO * np.exp(-2j * np.pi * BINS * DELAY)
    read = band_energy(with_echo, order) / band_energy(np.ones_like(with_echo), order)
    assert read.shape == means.shape
    for mean, reading, lower, upper in zip(means, read, *band_edges(centres), strict=True):
        tolerance = skirts(lower, upper, mean, order) + samples(upper)
        assert abs(reading - mean) <= tolerance, (lower, upper)
    # The bands differ among each other by far more, so that mixing them up would show.
    assert np.ptp(10.0 * np.log10(means)) > 5.0
