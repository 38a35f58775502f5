"""Measured against predicted levels: residuals, and how large they may be."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

MODEL_DB = 1.5
"""Standard deviation of a predicted third-octave level, dB: common practice, no source. It covers
what the model leaves out: posts, a cone that bends, parts not quite round."""
READING_DB = 1.0
"""The same of a level meter or a measuring microphone: common practice, no source."""
STATED_DB = float(np.hypot(MODEL_DB, READING_DB))
"""Standard deviation of a residual by model and meter together, dB."""
LEAST_POSITIONS = 3
"""Fewest positions from which the driver's own curve is estimated and removed."""


@dataclass(frozen=True, eq=False)
class Comparison:
    """Residuals of P positions in B bands: measured less predicted, level and driver curve removed.

    Attributes
    ----------
    offset_db : float
        Removed from every level: median of measured less predicted.
    driver_db : (B,) array
        Removed from every position alike: mean over the positions once `offset_db` is removed; 0
        where it is not removed, nan where a band is not compared.
    difference_db : (P, B) array
        The residuals; nan where not compared.
    driver_removed : bool
        True with three positions or more; bands with fewer are then not compared.
    """

    offset_db: float
    driver_db: np.ndarray
    difference_db: np.ndarray
    driver_removed: bool

    @property
    def compared(self) -> np.ndarray:
        """(P, B) true where there is a residual."""
        return np.isfinite(self.difference_db)

    @cached_property
    def count(self) -> int:
        """Number of residuals."""
        return int(np.count_nonzero(self.compared))

    @property
    def position_count(self) -> int:
        """Number of positions with a residual."""
        return int(np.count_nonzero(self.compared.any(axis=1)))

    @property
    def driver_range_db(self) -> tuple[float, float]:
        """Lowest and highest level of the driver curve that was removed, dB."""
        driver = self.driver_db[np.isfinite(self.driver_db)]
        return float(driver.min()), float(driver.max())

    @cached_property
    def rms_db(self) -> float:
        """Root mean square of all residuals, dB."""
        return root_mean_square(self.difference_db)

    @property
    def rms_by_position_db(self) -> np.ndarray:
        """(P,) root mean square over the bands, dB; nan where nothing is compared."""
        return np.array([root_mean_square(row) for row in self.difference_db])

    @property
    def rms_by_band_db(self) -> np.ndarray:
        """(B,) root mean square over the positions, dB; nan where nothing is compared."""
        return np.array([root_mean_square(column) for column in self.difference_db.T])

    @property
    def worst_at(self) -> tuple[int, int]:
        """Position and band of the largest residual, as indices."""
        sizes = np.nan_to_num(np.abs(self.difference_db))
        position, band = np.unravel_index(int(np.argmax(sizes)), sizes.shape)
        return int(position), int(band)

    @property
    def worst_db(self) -> float:
        """The residual of largest size, with its sign, dB."""
        return float(self.difference_db[self.worst_at])

    @property
    def free(self) -> int:
        """Number of residuals less that of what was removed: one level, or a mean for each band."""
        removed = np.count_nonzero(self.compared.any(axis=0)) if self.driver_removed else 1
        return self.count - int(removed)

    @property
    def expected_db(self) -> float:
        """Expected root mean square of the residuals: `STATED_DB` sqrt(free / count), dB."""
        return float(STATED_DB * np.sqrt(self.free / self.count))

    @property
    def limit_db(self) -> float:
        """Two standard deviations of one residual, exceeded by one in twenty, dB."""
        return 2.0 * STATED_DB

    @property
    def beyond(self) -> int:
        """Number of residuals larger than `limit_db`."""
        return int(np.count_nonzero(np.abs(np.nan_to_num(self.difference_db)) > self.limit_db))

    @property
    def explained(self) -> bool:
        """True if the residuals are no larger than expected, rms."""
        return self.rms_db <= self.expected_db


def compare(measured_db: np.ndarray, predicted_db: np.ndarray) -> Comparison:
    """Subtract predicted from measured levels, then level and driver curve.

    Parameters
    ----------
    measured_db : (P, B) array
        Of any reference; nan where there is none.
    predicted_db : (P, B) array
    """
    raw = np.asarray(measured_db, dtype=float) - predicted_db
    counts = np.isfinite(raw).sum(axis=0)
    removed = bool(np.any(counts >= LEAST_POSITIONS))
    if removed:
        raw = np.where(counts >= LEAST_POSITIONS, raw, np.nan)
    offset = float(np.nanmedian(raw))
    known = np.isfinite(raw).any(axis=0)
    driver = np.where(known, 0.0, np.nan)
    if removed:
        driver[known] = np.nanmean(raw[:, known] - offset, axis=0)
    return Comparison(offset, driver, raw - offset - driver, removed)


def scatter_round_db(difference_db: np.ndarray, groups: list[list[int]]) -> float:
    """Standard deviation of residuals at positions that differ in azimuth only, dB.

    Parameters
    ----------
    difference_db : (P, B) array
    groups : list of list of int
        Positions at the same distance and height.

    Returns
    -------
    float
        nan where there are no two such positions.
    """
    square, free = 0.0, 0
    for group in groups:
        for column in difference_db[group].T:
            known = column[np.isfinite(column)]
            if known.size > 1:
                square += float(np.sum((known - known.mean()) ** 2))
                free += known.size - 1
    return float(np.sqrt(square / free)) if free else float("nan")


def root_mean_square(values: np.ndarray) -> float:
    """Root mean square of the finite values; nan if there are none."""
    known = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(known**2))) if known.size else float("nan")
