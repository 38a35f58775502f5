"""What readings tell of a few sizes: common part removed, scale, covariance, correlation.

Sizes are counted in prior widths from what is written, so that every prior is normal with mean 0
and standard deviation 1. With r the readings less the model's levels, S their slopes by size and
s the scale of what is left, the most likely x minimises |r(x)|^2 / s^2 + |x|^2; its covariance is
C = (S S^T / s^2 + 1)^-1 with the slopes at the solution, and a 95 % interval is
x +- t(0.975; nu) sqrt(C_ii).
"""

from __future__ import annotations

import numpy as np

STATED_COUNTS = 4.0
"""What is stated of meter and model counts as much as so many readings when the scale of what is
left is told."""
WIDE = 10.0
"""Correlations are those of priors so many times as wide: of the readings all but alone."""
CONFIDENCE = 0.95


def centred(values: np.ndarray, known: np.ndarray, by_band: bool) -> np.ndarray:
    """Remove what all positions have in common.

    Parameters
    ----------
    values : (..., P, B) array
        dB.
    known : (P, B) bool array
        Which count.
    by_band : bool
        Remove the mean over the positions band by band; otherwise one mean.

    Returns
    -------
    (..., N) array
        Those that count, in the order of `known`. What removes a mean is a projection, so that
        this is the same as fitting the common part along.
    """
    flat = values[..., known]
    if not by_band:
        return flat - flat.mean(axis=-1, keepdims=True)
    band = np.nonzero(known)[1]
    member = (band[:, None] == np.unique(band)).astype(float)
    return flat - (flat @ member / member.sum(axis=0)) @ member.T


def free_readings(known: np.ndarray, by_band: bool) -> int:
    """Readings less the numbers that are removed from them."""
    removed = np.count_nonzero(known.any(axis=0)) if by_band else 1
    return int(np.count_nonzero(known)) - int(removed)


def freedom_of(free: int, sizes: int) -> float:
    """Degrees of freedom of the scale, what is stated included."""
    return STATED_COUNTS + free - sizes


def scale_of(residual: np.ndarray, stated_db: float, freedom: float) -> float:
    """Scale of what is left, dB: stated and found, weighted by what each counts.

    sqrt((n s0^2 + |r|^2) / nu), with n = `STATED_COUNTS` and nu = n + free readings - sizes: the
    mean of a scaled inverse chi-square prior with the readings (Gelman et al., Bayesian Data
    Analysis, 3rd ed., Section 2.6 [from memory]).
    """
    square = STATED_COUNTS * stated_db**2 + float(np.sum(residual**2))
    return float(np.sqrt(square / freedom))


def covariance_of(slopes: np.ndarray, scale_db: float, prior: float = 1.0) -> np.ndarray:
    """(K, K) covariance of sizes in prior widths; `slopes` (K, N) in dB for each width."""
    told = slopes @ slopes.T / scale_db**2
    return np.linalg.inv(told + np.eye(len(slopes)) / prior**2)


def student(freedom: float) -> float:
    """How many standard deviations make half of a 95 % interval: t(0.975; nu)."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + 0.5 * CONFIDENCE))


def half_width(covariance: np.ndarray, freedom: float) -> np.ndarray:
    """(K,) half of each 95 % interval: t(0.975; nu) sqrt(C_ii)."""
    return student(freedom) * np.sqrt(np.diag(covariance))


def correlations_of(slopes: np.ndarray, scale_db: float) -> np.ndarray:
    """(K, K) correlations of the sizes as the readings tell them: priors `WIDE` times as wide."""
    wide = covariance_of(slopes, scale_db, WIDE)
    deviation = np.sqrt(np.diag(wide))
    return wide / np.outer(deviation, deviation)


def level_error(slopes: np.ndarray, scale_db: float, freedom: float) -> float:
    """Half of the 95 % interval of a level common to all readings, dB.

    Parameters
    ----------
    slopes : (K, N) array
        Not centred: the level is told together with the sizes, and has no prior.
    """
    every = np.vstack((slopes, np.ones(slopes.shape[1])))
    told = every @ every.T / scale_db**2
    told[:-1, :-1] += np.eye(len(slopes))
    deviation = np.sqrt(np.linalg.inv(told)[-1, -1])
    return student(freedom) * float(deviation)
