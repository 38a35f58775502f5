"""Means of a pattern over the sphere, over its zones, over a window of elevations.

`power` is |p|^2 relative to 0 dB (see `dispersion.response`); its last axis is the elevation. The
grid of elevations is uniform in angle from -90 (straight down) to +90 degrees (straight up), both
included; the source is the same all round. Two rules serve every number:

- over the sphere, and over any zone of it, power is integrated as Clenshaw-Curtis does: exactly,
  for the cosine polynomial through all samples, wherever the zone's edge lies;
- in a window of elevations, such as -5 to +15 degrees, power is linear between samples, the
  window's two edges are interpolated and count half a step each, and every degree weighs the
  same (a listener may be at any of them), not every solid angle.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# What stands for silence, so that no level is minus infinity: -200 dB.
SILENCE = 1e-20  # -200 dB: a null keeps a finite level


class CoverageError(ValueError):
    """A pattern or a window from which no coverage can be computed."""


def level_db(power: ArrayLike) -> Array:
    """10 lg(power) in dB, never below -200 dB."""
    return 10.0 * np.log10(np.maximum(np.asarray(power, dtype=float), SILENCE))


def checked(power: ArrayLike, elevations: ArrayLike) -> tuple[Array, Array]:
    """Power (..., E) and elevations (E,) as arrays; CoverageError if they are no pattern."""
    p = np.asarray(power, dtype=float)
    e = _checked_grid(elevations)
    if p.ndim < 1 or p.shape[-1] != e.size:
        raise CoverageError(f"power of shape {p.shape} needs a last axis of {e.size} elevations")
    if not np.all(np.isfinite(p)) or np.any(p < 0.0):
        raise CoverageError("power must be finite and not negative: give |p|^2, not dB")
    return p, e


def _checked_grid(elevations: ArrayLike) -> Array:
    e = np.asarray(elevations, dtype=float)
    if e.ndim != 1 or e.size < 3 or not _is_even(e.tobytes()):
        raise CoverageError(
            "elevations must be uniform from -90 to +90 degrees, both included: "
            "numpy.linspace(-90, 90, 181) for instance"
        )
    return e


@lru_cache(maxsize=64)
def _is_even(elevations: bytes) -> bool:
    """Whether these floats are the whole circle from straight down to straight up, evenly."""
    e = np.frombuffer(elevations)
    return np.allclose(e, np.linspace(-90.0, 90.0, e.size))


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
    p, e = checked(power, elevations)
    return p @ sphere_weights(e)


def sound_power(power: ArrayLike, elevations: ArrayLike) -> Array:
    """Power through the whole sphere, 4 pi times its mean, shape (...).

    Parameters
    ----------
    power : array_like, shape (..., E)
        |p|^2 relative to 0 dB (see `dispersion.response`).
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
    p, e = checked(power, elevations)
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
    p, e = checked(power, elevations)
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
