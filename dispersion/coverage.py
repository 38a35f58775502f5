"""What a radiation pattern amounts to: window, evenness, tilt, leak, directivity, sound power.

Plain functions of `power`, |p|^2 relative to the house's 0 dB, whose last axis is the elevation.
The elevation grid is uniform in angle from -90 (straight down) to +90 degrees (straight up), both
included; the source is the same all round. Two rules serve every number:

- over the sphere, and over any zone of it, power is integrated as Clenshaw-Curtis does: exactly,
  for the cosine polynomial through all samples, wherever the zone's edge lies;
- in a window of elevations, such as -5 to +15 degrees, power is linear between samples, the
  window's two edges are interpolated and count half a step each, and every degree weighs the
  same (a listener may be at any of them), not every solid angle.

A source without a front leaves no meaning to most averages of ANSI/CTA-2034-A: seven of the nine
positions of its listening window, its front, side and rear wall bounces, and with them the early
reflections and the predicted in-room response, are all the one level of the horizontal ring. What
stays is the floor bounce and the ceiling bounce (vertical angles only), and the standard's sound
power as a check (`cta_mean_square`); the exact one is `sound_power`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.bands import band_index, band_means

Array = NDArray[np.float64]

# What stands for silence, so that no level is minus infinity: -200 dB.
SILENCE = 1e-20
TREBLE_REFERENCE = (500.0, 2000.0)
TREBLE_DROP_DB = 6.0
# ANSI/CTA-2034-A [from memory].
FLOOR_BOUNCE = (-40.0, -30.0, -20.0)
CEILING_BOUNCE = (40.0, 50.0, 60.0)


class CoverageError(ValueError):
    """A pattern or a window that no coverage can be told of."""


def level_db(power: ArrayLike) -> Array:
    """10 lg(power) in dB, never below -200 dB."""
    return 10.0 * np.log10(np.maximum(np.asarray(power, dtype=float), SILENCE))


def _checked(power: ArrayLike, elevations: ArrayLike) -> tuple[Array, Array]:
    p = np.asarray(power, dtype=float)
    e = _checked_grid(elevations)
    if p.ndim < 1 or p.shape[-1] != e.size:
        raise CoverageError(f"power of shape {p.shape} needs a last axis of {e.size} elevations")
    if not np.all(np.isfinite(p)) or np.any(p < 0.0):
        raise CoverageError("power must be finite and not negative: give |p|^2, not dB")
    return p, e


def _checked_grid(elevations: ArrayLike) -> Array:
    e = np.asarray(elevations, dtype=float)
    if e.ndim != 1 or e.size < 3 or not np.allclose(e, np.linspace(-90.0, 90.0, e.size)):
        raise CoverageError(
            "elevations must be uniform from -90 to +90 degrees, both included: "
            "numpy.linspace(-90, 90, 181) for instance"
        )
    return e


def _require_window(window: tuple[float, float]) -> None:
    low, high = window
    if not -90.0 <= low < high <= 90.0:
        raise CoverageError(
            f"window {low:g} to {high:g} degrees: give the lower elevation first, "
            "both within -90 to 90"
        )


def zone_weights(elevations: ArrayLike, low: float, high: float) -> Array:
    """Weights for a zone of the sphere, as a share of the whole.

    Parameters
    ----------
    elevations : array_like, shape (E,)
        The uniform grid, degrees.
    low, high : float
        Edges of the zone, degrees, anywhere between -90 and 90.

    Returns
    -------
    ndarray, shape (E,)
        w with sum_j w_j f(e_j) = 1/2 int_low^high f(e) cos(e) de, exact if f is a polynomial of
        degree below E in sin(e). Over the whole sphere they are positive and add up to 1
        (Clenshaw & Curtis, Numer. Math. 2, 197, 1960, halved).
    """
    return _zone_weights(_checked_grid(elevations).size - 1, float(low), float(high))


@lru_cache(maxsize=64)
def _zone_weights(count: int, low: float, high: float) -> Array:
    k = np.arange(count + 1)
    # Angles from straight down, so that f = sum_k a_k cos(k angle) on a uniform grid.
    start, end = np.radians(low + 90.0), np.radians(high + 90.0)
    rising = _sine_integral(k + 1, end) - _sine_integral(k + 1, start)
    falling = _sine_integral(k - 1, end) - _sine_integral(k - 1, start)
    moments = (rising - falling) / 2.0
    ends_halved = np.ones(count + 1)
    ends_halved[[0, -1]] = 0.5
    cosines = np.cos(np.pi / count * (np.outer(k, k) % (2 * count)))
    weights = ends_halved * (cosines @ (ends_halved * moments)) / count
    weights.flags.writeable = False  # the same array for everyone who asks
    return weights


def _sine_integral(multiples: NDArray[np.int_], angle: float) -> Array:
    # The integral of sin(n x) from 0 to the angle, for whole n, 0 included.
    divisor = np.where(multiples == 0, 1, multiples)
    return np.where(multiples == 0, 0.0, (1.0 - np.cos(multiples * angle)) / divisor)


def sphere_weights(elevations: ArrayLike) -> Array:
    """Weights, shape (E,), for the mean over the whole sphere; they add up to 1."""
    return zone_weights(elevations, -90.0, 90.0)


def mean_square(power: ArrayLike, elevations: ArrayLike) -> Array:
    """Mean of the power over the sphere, shape (...), for power of shape (..., E)."""
    p, e = _checked(power, elevations)
    return p @ sphere_weights(e)


def sound_power(power: ArrayLike, elevations: ArrayLike) -> Array:
    """Power through the whole sphere, 4 pi times its mean, shape (...).

    Parameters
    ----------
    power : array_like, shape (..., E)
        |p|^2 relative to the house's 0 dB.
    elevations : array_like, shape (E,)
        Degrees.

    Returns
    -------
    ndarray, shape (...)
        4 pi for a source of 0 dB in every direction; a flush piston at low frequencies has 2 pi.
    """
    return 4.0 * np.pi * mean_square(power, elevations)


def share_above(power: ArrayLike, elevations: ArrayLike, elevation: float) -> Array:
    """Share of the sound power that leaves above an elevation, 0 to 1, shape (...).

    The elevation (degrees) may lie between samples; see `zone_weights`.
    """
    p, e = _checked(power, elevations)
    total = np.maximum(p @ sphere_weights(e), SILENCE)
    # The polynomial may dip below nothing between the samples of a deep null.
    return np.clip(p @ zone_weights(e, elevation, 90.0) / total, 0.0, 1.0)


def power_at(power: ArrayLike, elevations: ArrayLike, at: ArrayLike) -> Array:
    """Power at any elevations, linear between samples.

    Parameters
    ----------
    power : array_like, shape (..., E)
        |p|^2.
    elevations : array_like, shape (E,)
        Degrees.
    at : array_like, shape (A,) or ()
        Elevations wanted, degrees, within -90 to 90.

    Returns
    -------
    ndarray, shape (..., A) or (...)
        |p|^2 there.
    """
    p, e = _checked(power, elevations)
    wanted = np.asarray(at, dtype=float)
    if not np.all(np.abs(wanted) <= 90.0):
        raise CoverageError("elevations must lie within -90 to 90 degrees")
    place = (wanted + 90.0) / 180.0 * (e.size - 1)
    left = np.minimum(place.astype(int), e.size - 2)
    share = place - left
    return (1.0 - share) * p[..., left] + share * p[..., left + 1]


def window_nodes(elevations: ArrayLike, window: tuple[float, float]) -> tuple[Array, Array]:
    """Elevations in a window and their weights.

    Parameters
    ----------
    elevations : array_like, shape (E,)
        The uniform grid, degrees.
    window : (float, float)
        Lower and upper elevation, degrees, anywhere between the samples.

    Returns
    -------
    nodes, weights : ndarray, shape (W,)
        The window's edges and every grid elevation between them; trapezoidal weights, uniform
        in angle, which add up to 1.
    """
    e = _checked_grid(elevations)
    _require_window(window)
    low, high = window
    between = e[(e > low + 1e-9) & (e < high - 1e-9)]
    nodes = np.concatenate([[low], between, [high]])
    steps = np.diff(nodes)
    weights = (np.append(steps, 0.0) + np.append(0.0, steps)) / (2.0 * (high - low))
    return nodes, weights


def window_power(power: ArrayLike, elevations: ArrayLike, window: tuple[float, float]) -> Array:
    """Mean power in the window, uniform in angle, shape (...), for power of shape (..., E)."""
    nodes, weights = window_nodes(elevations, window)
    return power_at(power, elevations, nodes) @ weights


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


def tilt_and_ripple(centres: ArrayLike, levels: ArrayLike) -> tuple[float, float]:
    """Slope of a curve and what is left of it.

    Parameters
    ----------
    centres : array_like, shape (B,)
        Band centres, Hz; at least two.
    levels : array_like, shape (B,)
        dB.

    Returns
    -------
    tilt : float
        dB per octave of the least-squares straight line against log2 of the frequency.
    ripple : float
        rms of the levels about that line, dB.
    """
    octaves = np.log2(np.asarray(centres, dtype=float))
    curve = np.asarray(levels, dtype=float)
    if octaves.size < 2:
        raise CoverageError("a tilt needs two third-octave bands at least: widen the band")
    octaves = octaves - octaves.mean()
    tilt = float(octaves @ curve / (octaves @ octaves))
    rest = curve - curve.mean() - tilt * octaves
    return tilt, float(np.sqrt(np.mean(rest**2)))


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
        the ripple. The highest band computed means "this or more"; nan if there is no band from
        500 Hz to 2 kHz.
    """
    f, curve = np.asarray(centres, dtype=float), np.asarray(levels, dtype=float)
    middle = _bands_within(f, TREBLE_REFERENCE)
    if not np.any(middle):
        return float("nan")
    return float(f[curve >= curve[middle].mean() - drop_db][-1])


def _bands_within(centres: Array, band: tuple[float, float]) -> NDArray[np.bool_]:
    # By number, since 12500 Hz means the band of 12589 Hz.
    numbers = band_index(centres)
    return (numbers >= band_index(band[0])) & (numbers <= band_index(band[1]))


def cta_weights() -> Array:
    """Sound-power weights of ANSI/CTA-2034-A, Appendix C, for 0, 10, ... 180 degrees, (19,).

    Each is the weight of one curve; the 70 curves of both orbits add up to 0.996373, not 1.

    Notes
    -----
    Closed form of the printed table: with d(t) = arcsin(sin(t)^2) / (4 pi),
    w(t) = d(t + 5) - d(t - 5) up to 80 degrees, w(0) = d(5), w(90) = 2 [d(90) - d(85)].
    """
    edges = np.radians(np.arange(5.0, 90.0, 10.0))
    areas = np.append(np.arcsin(np.sin(edges) ** 2), np.pi / 2.0) / (4.0 * np.pi)
    quarter = np.diff(areas, prepend=0.0)
    quarter[-1] *= 2.0
    return np.concatenate([quarter, quarter[-2::-1]])


def cta_mean_square(power: ArrayLike, elevations: ArrayLike) -> Array:
    """Mean square over both orbits of ANSI/CTA-2034-A, normalised, shape (...).

    Every curve of the horizontal orbit is the ring at elevation 0. Two orbits are no full
    quadrature of the sphere: a check on `mean_square`, not a replacement.
    """
    angles = np.arange(0.0, 181.0, 10.0)
    over_the_top = np.where(angles <= 90.0, angles, 180.0 - angles)
    upper, lower = (power_at(power, elevations, side * over_the_top) for side in (1.0, -1.0))
    ring = power_at(power, elevations, 0.0)[..., None]
    weights = cta_weights()
    # 0 and 180 degrees belong to both orbits and count once; all others appear four times.
    curves = np.where((angles == 0.0) | (angles == 180.0), ring, upper + lower + 2.0 * ring)
    total = weights @ np.where((angles == 0.0) | (angles == 180.0), 1.0, 4.0)
    return curves @ weights / total


@dataclass(frozen=True, eq=False)
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
    mean_window_level_db, mean_evenness_db : float
        Means of the band values in dB.
    tilt_db_per_octave, ripple_db : float
        Of the window level; see `tilt_and_ripple`.
    mean_leak : float
        Mean of the shares, 0 to 1.
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
    mean_window_level_db: float
    mean_evenness_db: float
    tilt_db_per_octave: float
    ripple_db: float
    mean_leak: float
    treble_limit_hz: float


def measure_coverage(
    frequencies: ArrayLike,
    elevations: ArrayLike,
    power: ArrayLike,
    window: tuple[float, float],
    band: tuple[float, float],
) -> Coverage:
    """Take all coverage numbers of one design.

    Parameters
    ----------
    frequencies : array_like, shape (F,)
        Hz, at least 4 in each third-octave band (`bands.study_frequencies`).
    elevations : array_like, shape (E,)
        Degrees, uniform from -90 to +90.
    power : array_like, shape (F, E)
        |p|^2 relative to the house's 0 dB.
    window : (float, float)
        Lower and upper elevation, degrees.
    band : (float, float)
        Lower and upper frequency, Hz: the bands that hold them, and those between, make the
        single numbers.

    Raises
    ------
    CoverageError
        For a bad grid, window, power or band.
    dispersion.bands.BandError
        For fewer than 4 frequencies in a band.
    """
    p, e = _checked(power, elevations)
    centres, p = band_means(frequencies, p)
    in_band = _require_band(centres, band)
    mean_db = level_db(mean_square(p, e))
    window_db = level_db(window_power(p, e, window))
    uneven_db = evenness(p, e, window)
    leak = share_above(p, e, window[1])
    tilt, ripple = tilt_and_ripple(centres[in_band], window_db[in_band])
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
        mean_window_level_db=float(window_db[in_band].mean()),
        mean_evenness_db=float(uneven_db[in_band].mean()),
        tilt_db_per_octave=tilt,
        ripple_db=ripple,
        mean_leak=float(leak[in_band].mean()),
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
