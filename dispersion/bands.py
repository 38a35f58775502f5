"""Exact third-octave bands of base ten (IEC 61260-1:2014) and means within them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

REFERENCE = 1000.0
THIRDS = 3  # in an octave
LEAST_PER_BAND = 4
NOMINAL_DECADE = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
# A frequency computed to lie on an edge belongs to the upper band, whatever the last bit says.
EDGE_TOLERANCE = 1e-9


class BandError(ValueError):
    """Frequencies that cannot be put into third-octave bands."""


def _require_range(low: float, high: float) -> None:
    if not 0.0 < low <= high < np.inf:
        raise BandError(
            f"frequency range {low:g} to {high:g} Hz: the lower end must be above 0 Hz "
            "and not above the upper end"
        )


def band_index(frequency: ArrayLike) -> NDArray[np.int_]:
    """Return the number of the third-octave band that holds each frequency; 0 is that of 1 kHz.

    Parameters
    ----------
    frequency : array_like
        Frequencies in Hz, above 0.

    Returns
    -------
    ndarray of int
        The shape of `frequency`. A band reaches from its lower edge, included, to its upper
        edge, not included.
    """
    f = np.asarray(frequency, dtype=float)
    if not np.all((f > 0.0) & np.isfinite(f)):
        raise BandError("frequencies must be above 0 Hz and finite")
    return np.floor(10.0 * np.log10(f / REFERENCE) + 0.5 + EDGE_TOLERANCE).astype(int)


def third_octave_centres(low: float, high: float) -> NDArray[np.float64]:
    """Exact centres of the bands from the one that holds `low` to the one that holds `high`.

    Parameters
    ----------
    low, high : float
        Hz; nominal centres ("12500") do as well as exact ones (12589).

    Returns
    -------
    ndarray, shape (B,)
        1000 * 10^(n/10) Hz, ascending (IEC 61260-1:2014, Eq. (1) and (2)).

    Raises
    ------
    BandError
        If the range is empty or not positive.
    """
    _require_range(low, high)
    numbers = np.arange(int(band_index(low)), int(band_index(high)) + 1)
    return REFERENCE * 10.0 ** (numbers / 10.0)


def band_edges(centres: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lower and upper edges in Hz of the bands with these exact centres, each shape (B,)."""
    f = np.asarray(centres, dtype=float)
    half_band = 10.0**0.05
    return f / half_band, f * half_band


def nominal_centre(frequency: float) -> float:
    """Round to the centre, Hz, by which the trade calls the band that holds `frequency`.

    Notes
    -----
    IEC 61260-1:2014, Annex E; ISO 266.
    """
    decade, step = divmod(int(band_index(frequency)), 10)
    return REFERENCE * 10.0**decade * NOMINAL_DECADE[step]


def band_label(frequency: float) -> str:
    """Nominal centre in words: "31.5 Hz", "630 Hz", "1.25 kHz", "16 kHz"."""
    nominal = nominal_centre(frequency)
    return f"{nominal / 1000.0:g} kHz" if nominal >= 1000.0 else f"{nominal:g} Hz"


def study_frequencies(
    low: float, high: float, per_band: int = LEAST_PER_BAND
) -> NDArray[np.float64]:
    """Frequencies spaced evenly on a logarithmic scale, the same number in every band.

    Parameters
    ----------
    low, high : float
        Hz; whole bands are filled, from the one that holds `low` to the one that holds `high`.
    per_band : int
        At least 4.

    Returns
    -------
    ndarray, shape (B * per_band,)
        Ascending, Hz: in each band at (j + 1/2) / per_band - 1/2 of a band from its centre, so
        that none lies on an edge and the spacing runs on from band to band.

    Raises
    ------
    BandError
        For an empty range or fewer than 4 frequencies in a band.
    """
    if per_band < LEAST_PER_BAND:
        raise BandError(f"{per_band} frequencies per band: take at least {LEAST_PER_BAND}")
    offsets = (np.arange(per_band) + 0.5) / per_band - 0.5
    centres = third_octave_centres(low, high)
    return (centres[:, None] * 10.0 ** (offsets / 10.0)).ravel()


def twelve_per_octave(low: float, high: float) -> NDArray[np.float64]:
    """Frequencies low * 2^(j/12) Hz from `low` up to `high`, shape (F,).

    For curves and timings. A base-ten third octave holds four of these or only three, so band
    means want `study_frequencies`.
    """
    _require_range(low, high)
    steps = int(np.floor(12.0 * np.log2(high / low) + EDGE_TOLERANCE))
    return low * 2.0 ** (np.arange(steps + 1) / 12.0)


def band_means(
    frequencies: ArrayLike, power: ArrayLike, weights: ArrayLike | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean of the power within each third-octave band.

    Parameters
    ----------
    frequencies : array_like, shape (F,)
        Hz, ascending, evenly spaced on a logarithmic scale within each band: the mean is then
        what pink noise would read.
    power : array_like, shape (F, ...)
        |p|^2 at these frequencies.
    weights : array_like, shape (F,), optional
        How much each frequency counts: the power of what `power` is relative to, so that means are
        over the mean of that. All alike if left out.

    Returns
    -------
    centres : ndarray, shape (B,)
        Exact centres of the bands, Hz, ascending.
    means : ndarray, shape (B, ...)
        Mean of the power in each.

    Raises
    ------
    BandError
        If a band between the lowest and the highest frequency holds fewer than 4 of them.
    """
    f = np.asarray(frequencies, dtype=float)
    values = np.asarray(power, dtype=float)
    if f.ndim != 1 or values.ndim < 1 or values.shape[0] != f.size or f.size == 0:
        raise BandError(
            f"power of shape {values.shape} does not go with {f.size} frequencies: "
            "give one entry along its first axis for each frequency"
        )
    if np.any(np.diff(f) <= 0.0):
        raise BandError("frequencies must ascend, each one once")
    numbers = band_index(f)
    bands = np.arange(numbers[0], numbers[-1] + 1)
    starts = np.searchsorted(numbers, bands)
    counts = np.diff(np.append(starts, f.size))
    centres = REFERENCE * 10.0 ** (bands / 10.0)
    if np.any(counts < LEAST_PER_BAND):
        poor = int(np.argmax(counts < LEAST_PER_BAND))
        raise BandError(
            f"the {band_label(centres[poor])} band holds {counts[poor]} frequencies: "
            f"a band mean needs at least {LEAST_PER_BAND} (study_frequencies supplies them)"
        )
    counted = np.ones(f.size) if weights is None else np.asarray(weights, dtype=float)
    along = (-1,) + (1,) * (values.ndim - 1)
    means = np.add.reduceat(values * counted.reshape(along), starts, axis=0)
    return centres, means / np.add.reduceat(counted, starts).reshape(along)


def octaves_of(centres: ArrayLike) -> list[tuple[float, NDArray[np.bool_]]]:
    """Octaves of which a third octave is there: exact centre in Hz, and which ones are its own.

    Parameters
    ----------
    centres : array_like, shape (B,)
        Exact centres of third octaves, Hz.

    Returns
    -------
    list of (float, (B,) bool array)
        Ascending; the middle one of an octave's three thirds bears its name.
    """
    numbers = np.floor_divide(band_index(centres) + 1, THIRDS)
    return [
        (float(REFERENCE * 10.0 ** (THIRDS * number / 10.0)), numbers == number)
        for number in np.unique(numbers)
    ]


def octave_means(
    centres: ArrayLike, means: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean of the power within each octave band, from its three third-octave bands.

    Parameters
    ----------
    centres : array_like, shape (B,)
        Exact centres of adjoining third-octave bands, Hz, ascending.
    means : array_like, shape (B, ...)
        Mean power in each, as `band_means` gives it.

    Returns
    -------
    octaves : ndarray, shape (O,)
        Exact centres, Hz, of the octave bands of which all three thirds are there: 125 Hz,
        250 Hz and so on, which are centres of thirds as well.
    means : ndarray, shape (O, ...)
        Mean of the three: pink noise has the same power in each.

    Raises
    ------
    BandError
        If the bands do not adjoin, or `means` does not go with them.
    """
    numbers = band_index(centres)
    values = np.asarray(means, dtype=float)
    if numbers.ndim != 1 or np.any(np.diff(numbers) != 1) or values.shape[:1] != numbers.shape:
        raise BandError("octaves need adjoining third-octave bands and one entry for each")
    whole = [(centre, own) for centre, own in octaves_of(centres) if own.sum() == THIRDS]
    octaves = np.array([centre for centre, _ in whole])
    own_means = [values[own].mean(axis=0) for _, own in whole]
    return octaves, np.array(own_means).reshape(len(whole), *values.shape[1:])
