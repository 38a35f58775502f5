"""Measured against predicted levels: residuals, and how large they may be."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

MODEL_DB = 1.5
"""Standard deviation of a predicted third-octave level, dB: common practice, no source. It covers
what the model leaves out: posts, a cone that bends, parts not quite round. What nobody knows of
driver and build comes on top, see `Comparison.shared_db`."""
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
    shared_db : (N, P, B) array
        Errors of the prediction that all positions and bands share, one standard deviation each,
        level and driver curve removed as from the residuals, dB; none if nothing is doubted.
    """

    offset_db: float
    driver_db: np.ndarray
    difference_db: np.ndarray
    driver_removed: bool
    shared_db: np.ndarray

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

    @cached_property
    def weighed_db(self) -> float:
        """Root mean square of the residuals weighed by the covariance of their errors, dB.

        sqrt(r^T C^-1 r / N) times `STATED_DB`, C that of model and meter, independent, and of
        `shared_db`: what has the shape of another driver or build counts little. It is `rms_db`
        where nothing is doubted.
        """
        known = self.compared
        residual, shared = self.difference_db[known], self.shared_db[:, known]
        # (s^2 + S^T S)^-1 by Woodbury: as large as there are shared errors, not readings.
        inner = STATED_DB**2 * np.eye(len(shared)) + shared @ shared.T
        along = shared @ residual
        square = residual @ residual - along @ np.linalg.solve(inner, along)
        return float(np.sqrt(max(square, 0.0) / self.count)) if self.count else float("nan")

    @property
    def expected_weighed_db(self) -> float:
        """Expected `weighed_db`: `STATED_DB` but for what was removed."""
        return float(STATED_DB * np.sqrt(max(self.free, 0) / max(self.count, 1)))

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
    def expected_by_reading_db(self) -> np.ndarray:
        """(P, B) standard deviation of each residual by model, meter, driver and build, dB."""
        counts = self.compared.sum(axis=0) if self.driver_removed else self.count
        kept = 1.0 - 1.0 / np.maximum(counts, 1)
        return np.sqrt(STATED_DB**2 * kept + np.sum(self.shared_db**2, axis=0))

    @property
    def expected_db(self) -> float:
        """Expected root mean square of the residuals, dB."""
        return root_mean_square(self.expected_by_reading_db[self.compared])

    @property
    def limit_db(self) -> np.ndarray:
        """(P, B) two standard deviations of a residual, exceeded by one in twenty, dB."""
        return 2.0 * np.hypot(STATED_DB, np.sqrt(np.sum(self.shared_db**2, axis=0)))

    @property
    def beyond(self) -> int:
        """Number of residuals larger than `limit_db`."""
        return int(np.count_nonzero(np.abs(np.nan_to_num(self.difference_db)) > self.limit_db))

    @property
    def explained(self) -> bool:
        """True if the residuals are no larger than expected, rms."""
        return self.rms_db <= self.expected_db


def compare(
    measured_db: np.ndarray, predicted_db: np.ndarray, shared_db: np.ndarray | None = None
) -> Comparison:
    """Subtract predicted from measured levels, then level and driver curve.

    Parameters
    ----------
    measured_db : (P, B) array
        Of any reference; nan where there is none.
    predicted_db : (P, B) array
    shared_db : (N, P, B) array, optional
        Errors of the prediction that all positions and bands share, as
        `studies.solving.levels_of_members.spread_of` has them.
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
    shared = np.zeros((0, *raw.shape)) if shared_db is None else shared_db
    shared = _removed(np.where(np.isfinite(raw), shared, np.nan), by_band=removed)
    return Comparison(offset, driver, raw - offset - driver, removed, shared)


def _removed(shared_db: np.ndarray, *, by_band: bool) -> np.ndarray:
    """Shared errors less their mean over the positions or over everything; 0 where not compared."""
    known = np.isfinite(shared_db)
    axes = (1,) if by_band else (1, 2)
    counts = np.maximum(known.sum(axis=axes, keepdims=True), 1)
    mean = np.where(known, shared_db, 0.0).sum(axis=axes, keepdims=True) / counts
    return np.where(known, shared_db - mean, 0.0)


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
