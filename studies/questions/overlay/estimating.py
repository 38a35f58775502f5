"""Bayesian least squares for a few sizes: residuals, covariance, intervals, correlations.

Sizes are counted in prior widths from what is written, so that every prior is normal with mean 0
and standard deviation 1. With r the residuals (readings less predicted levels), J the Jacobian of
the levels and s the standard deviation of a residual, the most likely sizes x minimise
|r(x)|^2 / s^2 + |x|^2. Their covariance is C = (J J^T / s^2 + 1)^-1 with the Jacobian at the
solution, and a 95 % interval is x +- t(0.975; nu) sqrt(C_ii).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from studies.measured.comparing import root_mean_square

STATED_COUNTS = 4.0
"""The stated standard deviation of model and meter counts as much as so many residuals."""
WIDE = 10.0
"""Correlations are those under priors so many times as wide: of the readings all but alone."""
CONFIDENCE = 0.95


@dataclass(frozen=True, eq=False)
class Residuals:
    """Measured less predicted levels at P positions in B bands, dB; nan where no reading counts.

    Attributes
    ----------
    written_db, fitted_db : (P, B) array
        With the sizes as written and as fitted, level or driver curve removed.
    """

    written_db: np.ndarray
    fitted_db: np.ndarray

    @property
    def rms_written_db(self) -> float:
        """Root mean square of all residuals with the sizes as written, dB."""
        return float(np.sqrt(np.nanmean(self.written_db**2)))

    @property
    def rms_fitted_db(self) -> float:
        """Root mean square of all residuals with the sizes as fitted, dB."""
        return float(np.sqrt(np.nanmean(self.fitted_db**2)))

    @property
    def improved(self) -> bool:
        """True if the sizes as fitted leave less than those as written, rms."""
        return self.rms_fitted_db < self.rms_written_db

    @property
    def rms_by_position_db(self) -> np.ndarray:
        """(2, P) as written and as fitted, dB; nan where no reading counts."""
        both = (self.written_db, self.fitted_db)
        return np.array([[root_mean_square(row) for row in residual] for residual in both])

    @property
    def rms_by_band_db(self) -> np.ndarray:
        """(2, B) as written and as fitted, dB; nan where no reading counts."""
        both = (self.written_db.T, self.fitted_db.T)
        return np.array([[root_mean_square(row) for row in residual] for residual in both])


def centred(values: np.ndarray, known: np.ndarray, *, by_band: bool) -> np.ndarray:
    """Subtract the mean over the positions.

    Parameters
    ----------
    values : (..., P, B) array
        dB.
    known : (P, B) bool array
        True where a reading counts.
    by_band : bool
        Subtract the mean of each band; otherwise one mean over everything.

    Returns
    -------
    (..., N) array
        Where a reading counts, in the order of `known`. Subtracting a mean is a projection, so a
        fit to the result is the same as a fit with that mean as one more unknown.
    """
    flat = values[..., known]
    if not by_band:
        return flat - flat.mean(axis=-1, keepdims=True)
    band = np.nonzero(known)[1]
    member = (band[:, None] == np.unique(band)).astype(float)
    return flat - (flat @ member / member.sum(axis=0)) @ member.T


def free_readings(known: np.ndarray, *, by_band: bool) -> int:
    """Return the number of readings less the number of means that `centred` subtracts from them."""
    removed = np.count_nonzero(known.any(axis=0)) if by_band else 1
    return int(np.count_nonzero(known)) - int(removed)


def degrees_of_freedom(free: int, sizes: int) -> float:
    """Return nu = `STATED_COUNTS` + free readings - sizes."""
    return STATED_COUNTS + free - sizes


def residual_deviation(residual: np.ndarray, stated_db: float, freedom: float) -> float:
    """Standard deviation of a residual, dB, from the stated one and the residuals found.

    sqrt((n s0^2 + |r|^2) / nu), with n = `STATED_COUNTS` and nu = n + free readings - sizes: the
    mean of a scaled inverse chi-square prior with the readings (Gelman et al., Bayesian Data
    Analysis, 3rd ed., Section 2.6 [from memory]).
    """
    square = STATED_COUNTS * stated_db**2 + float(np.sum(residual**2))
    return float(np.sqrt(square / freedom))


def covariance_of(jacobian: np.ndarray, sigma_db: float, prior: float = 1.0) -> np.ndarray:
    """(K, K) covariance of K sizes in prior widths: (J J^T / s^2 + 1 / prior^2)^-1.

    Parameters
    ----------
    jacobian : (K, N) array
        Change of each reading by one prior width of each size, dB.
    sigma_db : float
        s, standard deviation of a residual.
    prior : float
        Standard deviation of the priors, in prior widths.
    """
    information = jacobian @ jacobian.T / sigma_db**2
    return np.linalg.inv(information + np.eye(len(jacobian)) / prior**2)


def student(freedom: float) -> float:
    """Half a 95 % interval in standard deviations: t(0.975; nu), nu degrees of freedom."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + 0.5 * CONFIDENCE))


def half_width(covariance: np.ndarray, freedom: float) -> np.ndarray:
    """(K,) half of each 95 % interval: t(0.975; nu) sqrt(C_ii)."""
    return student(freedom) * np.sqrt(np.diag(covariance))


def correlations_of(jacobian: np.ndarray, sigma_db: float) -> np.ndarray:
    """(K, K) correlations of the sizes by the readings: under priors `WIDE` times as wide.

    `jacobian` and `sigma_db` as in `covariance_of`.
    """
    wide = covariance_of(jacobian, sigma_db, WIDE)
    deviation = np.sqrt(np.diag(wide))
    return wide / np.outer(deviation, deviation)


def level_error(jacobian: np.ndarray, sigma_db: float, freedom: float) -> float:
    """Half of the 95 % interval of a level common to all readings, dB.

    Parameters
    ----------
    jacobian : (K, N) array
        Not centred: the level is estimated together with the sizes, and has no prior.
    sigma_db : float
        Standard deviation of a residual.
    freedom : float
        Degrees of freedom.
    """
    every = np.vstack((jacobian, np.ones(jacobian.shape[1])))
    information = every @ every.T / sigma_db**2
    information[:-1, :-1] += np.eye(len(jacobian))
    deviation = np.sqrt(np.linalg.inv(information)[-1, -1])
    return student(freedom) * float(deviation)
