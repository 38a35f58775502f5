"""What a radiation pattern amounts to: window, evenness, tilt, leak, directivity, sound power.

Plain functions of `power`, |p|^2 relative to 0 dB (see `dispersion.response`), whose last axis is
the elevation; `dispersion.elevations` says how they are averaged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.bands import band_index, band_means
from dispersion.cta_2034_a import CEILING_BOUNCE, FLOOR_BOUNCE
from dispersion.elevations import (
    Array,
    CoverageError,
    checked,
    level_db,
    mean_square,
    power_at,
    share_above,
    window_nodes,
    window_power,
)
from dispersion.sliding import MIDDLE_HZ, SlidingBands, fine_power, slide

TREBLE_DROP_DB = 6.0
"""How far below the middle of the curve the treble ends: common practice, no source."""


def evenness(power: ArrayLike, elevations: ArrayLike, window: tuple[float, float]) -> Array:
    """Unevenness in the window: rms of level(e) - window level over its elevations, dB, (...)."""
    nodes, weights = window_nodes(elevations, window)
    inside = power_at(power, elevations, nodes)
    deviation = level_db(inside) - level_db(inside @ weights)[..., None]
    return np.sqrt(deviation**2 @ weights)


def directivity_index(power: ArrayLike, elevations: ArrayLike, reference: ArrayLike) -> Array:
    """Level of a reference above the spherical mean, dB, shape (...).

    Parameters
    ----------
    power : array_like, shape (..., E)
        |p|^2.
    elevations : array_like, shape (E,)
        Degrees.
    reference : array_like, shape (...)
        The power referred to. A source without a front has no axis, so choose: the best
        direction `power.max(-1)`, the horizontal ring `power_at(power, elevations, 0.0)`, or
        the window's mean `window_power(...)`.

    Notes
    -----
    10 lg Q with Q of ANSI/ASA S1.1, 6.66 and 6.67.
    """
    return level_db(reference) - level_db(mean_square(power, elevations))


def tilt_of(centres: ArrayLike, levels: ArrayLike) -> float:
    """Slope of the least-squares straight line against log2 of the frequency, dB per octave.

    Parameters
    ----------
    centres : array_like, shape (B,)
        Band centres, Hz; at least two.
    levels : array_like, shape (B,)
        dB.
    """
    octaves = np.log2(np.asarray(centres, dtype=float))
    if octaves.size < 2:
        raise CoverageError("a tilt needs two third-octave bands at least: widen the band")
    octaves = octaves - octaves.mean()
    return float(octaves @ np.asarray(levels, dtype=float) / (octaves @ octaves))


def treble_limit(centres: ArrayLike, levels: ArrayLike, drop_db: float = TREBLE_DROP_DB) -> float:
    """Highest band that is still within `drop_db` of the middle of the curve.

    Parameters
    ----------
    centres, levels : array_like, shape (B,)
        Hz and dB, ascending.
    drop_db : float
        How far below the mean of the band levels from 500 Hz to 2 kHz; 6 dB as a rule.

    Returns
    -------
    float
        Exact centre of that band, Hz. A dip on the way up does not end the range: it shows in
        the residue. The highest band computed means "this or more"; nan if there is no band from
        500 Hz to 2 kHz.
    """
    f, curve = np.asarray(centres, dtype=float), np.asarray(levels, dtype=float)
    middle = _bands_within(f, MIDDLE_HZ)
    if not np.any(middle):
        return float("nan")
    return float(f[curve >= curve[middle].mean() - drop_db][-1])


def _bands_within(centres: Array, band: tuple[float, float]) -> NDArray[np.bool_]:
    # By number, since 12500 Hz means the band of 12589 Hz.
    numbers = band_index(centres)
    return (numbers >= band_index(band[0])) & (numbers <= band_index(band[1]))


@dataclass(frozen=True, eq=False, kw_only=True)
class Coverage:
    """Everything about one design's pattern, by third-octave band and in single numbers.

    B bands, E elevations. The single numbers are taken over the bands of `band`.

    Attributes
    ----------
    window : (float, float)
        Degrees of elevation.
    band : (float, float)
        Hz.
    elevations : ndarray, shape (E,)
        Degrees.
    centres : ndarray, shape (B,)
        Exact band centres, Hz.
    in_band : ndarray of bool, shape (B,)
        The bands that count for the single numbers.
    level_db : ndarray, shape (B, E)
        Band level at each elevation.
    window_level_db, evenness_db : ndarray, shape (B,)
        See `window_power` and `evenness`.
    sound_power_db : ndarray, shape (B,)
        Level of the spherical mean: the level that the same sound power would give at the same
        distance if it left evenly in all directions. Add 10.99 dB for 10 lg of `sound_power`.
    di_best_db, di_ring_db, di_window_db : ndarray, shape (B,)
        Directivity index re the best direction of the grid, the horizontal ring, the window.
    upward_leak : ndarray, shape (B,)
        Share of the sound power above the window, 0 to 1.
    floor_bounce_db, ceiling_bounce_db : ndarray, shape (B,)
        ANSI/CTA-2034-A: mean power at -20, -30, -40 and at +40, +50, +60 degrees.
    sliding : SlidingBands
        Levels in a third octave that slides over `band`, and the parts taken from them.
    mean_window_level_db : float
        Mean of the band values in dB.
    tilt_db_per_octave : float
        Of the window level; see `tilt_of`.
    treble_limit_hz : float
        Of all bands; see `treble_limit`.
    """

    window: tuple[float, float]
    band: tuple[float, float]
    elevations: Array
    centres: Array
    in_band: NDArray[np.bool_]
    level_db: Array
    window_level_db: Array
    evenness_db: Array
    sound_power_db: Array
    di_best_db: Array
    di_ring_db: Array
    di_window_db: Array
    upward_leak: Array
    floor_bounce_db: Array
    ceiling_bounce_db: Array
    sliding: SlidingBands
    mean_window_level_db: float
    tilt_db_per_octave: float
    treble_limit_hz: float

    @property
    def level_re_window_db(self) -> Array:
        """Band level at each elevation re the window's level in the same band, shape (B, E), dB."""
        return self.level_db - self.window_level_db[:, None]


def measure_coverage(
    frequencies: ArrayLike,
    elevations: ArrayLike,
    power: ArrayLike,
    window: tuple[float, float],
    band: tuple[float, float],
    weights: ArrayLike | None = None,
) -> Coverage:
    """Take all coverage numbers of one design.

    Parameters
    ----------
    frequencies : array_like, shape (F,)
        Hz, at least 4 in each third-octave band (`bands.study_frequencies`).
    elevations : array_like, shape (E,)
        Degrees, uniform from -90 to +90.
    power : array_like, shape (F, E)
        |p|^2 relative to 0 dB (see `dispersion.response`).
    window : (float, float)
        Lower and upper elevation, degrees.
    band : (float, float)
        Lower and upper frequency, Hz: the bands that hold them, and those between, make the
        single numbers.
    weights : array_like, shape (F,), optional
        As for `bands.band_means`.

    Raises
    ------
    CoverageError
        For a bad grid, window, power or band.
    dispersion.bands.BandError
        For fewer than 4 frequencies in a band.
    """
    p, e = checked(power, elevations)
    sliding = slide(fine_power(frequencies, e, p, window, weights), *band)
    centres, p = band_means(frequencies, p, weights)
    return coverage_of_bands(centres, e, p, window, band, sliding)


def coverage_of_bands(
    centres: ArrayLike,
    elevations: ArrayLike,
    power: ArrayLike,
    window: tuple[float, float],
    band: tuple[float, float],
    sliding: SlidingBands,
) -> Coverage:
    """Take all coverage numbers of one design from band values.

    Parameters
    ----------
    centres : array_like, shape (B,)
        Exact centres of adjoining third octaves, Hz.
    elevations : array_like, shape (E,)
        Degrees, uniform from -90 to +90.
    power : array_like, shape (B, E)
        Mean |p|^2 over each band, relative to 0 dB.
    window, band : (float, float)
        As for `measure_coverage`.
    sliding : SlidingBands
        Of the same power, over the band.

    Raises
    ------
    CoverageError
        For a bad grid, window, power or band.
    """
    p, e = checked(power, elevations)
    centres = np.asarray(centres, dtype=float)
    in_band = _require_band(centres, band)
    mean_db = level_db(mean_square(p, e))
    window_db = level_db(window_power(p, e, window))
    uneven_db = evenness(p, e, window)
    leak = share_above(p, e, window[1])
    return Coverage(
        window=window,
        band=band,
        elevations=e,
        centres=centres,
        in_band=in_band,
        level_db=level_db(p),
        window_level_db=window_db,
        evenness_db=uneven_db,
        sound_power_db=mean_db,
        di_best_db=level_db(p.max(axis=-1)) - mean_db,
        di_ring_db=level_db(power_at(p, e, 0.0)) - mean_db,
        di_window_db=window_db - mean_db,
        upward_leak=leak,
        floor_bounce_db=level_db(power_at(p, e, FLOOR_BOUNCE).mean(axis=-1)),
        ceiling_bounce_db=level_db(power_at(p, e, CEILING_BOUNCE).mean(axis=-1)),
        sliding=sliding,
        mean_window_level_db=float(window_db[in_band].mean()),
        tilt_db_per_octave=tilt_of(centres[in_band], window_db[in_band]),
        treble_limit_hz=treble_limit(centres, window_db),
    )


def _require_band(centres: Array, band: tuple[float, float]) -> NDArray[np.bool_]:
    low, high = band
    if not 0.0 < low < high:
        raise CoverageError(f"band {low:g} to {high:g} Hz: give the lower frequency first, above 0")
    numbers = band_index(centres)
    if numbers[0] > band_index(low) or numbers[-1] < band_index(high):
        raise CoverageError(
            f"band {low:g} to {high:g} Hz reaches beyond what was computed, the bands from "
            f"{centres[0]:.0f} to {centres[-1]:.0f} Hz: narrow the band or compute more"
        )
    return _bands_within(centres, band)
