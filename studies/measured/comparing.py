"""Measured against predicted: what is removed, what is left, how much of it is to be expected."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

MODEL_DB = 1.5
"""How far a third octave of the model may be off, one standard deviation: common practice, no
source. It covers what the model leaves out: posts, a cone that bends, parts not quite round."""
READING_DB = 1.0
"""The same of a level meter or a measuring microphone: common practice, no source."""
LEAST_POSITIONS = 3
"""From which on the driver's own curve can be told from what changes with the angle."""


@dataclass(frozen=True, eq=False)
class Comparison:
    """What is left of the differences once level and driver curve are removed.

    Attributes
    ----------
    offset_db : float
        Removed from every level: median of measured less predicted.
    driver_db : (B,) array
        Removed from every position alike: mean over the positions of what is left then; 0 where
        it is not removed, nan where a band is not compared.
    difference_db : (P, B) array
        Measured less predicted, both removed; nan where not compared.
    driver_removed : bool
        True with three positions or more; bands with fewer are then not compared.
    """

    offset_db: float
    driver_db: np.ndarray
    difference_db: np.ndarray
    driver_removed: bool

    @property
    def compared(self) -> np.ndarray:
        """(P, B) true where a difference is told."""
        return np.isfinite(self.difference_db)

    @cached_property
    def count(self) -> int:
        """How many differences there are."""
        return int(np.count_nonzero(self.compared))

    @cached_property
    def rms_db(self) -> float:
        """Root of the mean square of all differences, dB."""
        return _rms(self.difference_db)

    @property
    def rms_by_position_db(self) -> np.ndarray:
        """(P,) dB; nan where nothing is compared."""
        return np.array([_rms(row) for row in self.difference_db])

    @property
    def rms_by_band_db(self) -> np.ndarray:
        """(B,) dB; nan where nothing is compared."""
        return np.array([_rms(column) for column in self.difference_db.T])

    @property
    def worst_at(self) -> tuple[int, int]:
        """Position and band of the largest difference."""
        sizes = np.nan_to_num(np.abs(self.difference_db))
        position, band = np.unravel_index(int(np.argmax(sizes)), sizes.shape)
        return int(position), int(band)

    @property
    def worst_db(self) -> float:
        """Largest difference, signed, dB."""
        return float(self.difference_db[self.worst_at])

    @property
    def free(self) -> int:
        """Differences less numbers that were removed: what can still differ."""
        removed = np.count_nonzero(self.compared.any(axis=0)) if self.driver_removed else 1
        return self.count - int(removed)

    @property
    def expected_db(self) -> float:
        """Differences, rms, that the uncertainties of model and meter leave together, dB.

        Whatever is removed takes its share of them: sqrt(free / count).
        """
        return float(np.hypot(MODEL_DB, READING_DB) * np.sqrt(self.free / self.count))

    @property
    def limit_db(self) -> float:
        """Two standard deviations of one difference: beyond lies one in twenty, dB."""
        return 2.0 * float(np.hypot(MODEL_DB, READING_DB))

    @property
    def beyond(self) -> int:
        """How many differences lie beyond `limit_db`."""
        return int(np.count_nonzero(np.abs(np.nan_to_num(self.difference_db)) > self.limit_db))

    @property
    def explained(self) -> bool:
        """Tell whether the differences are no more than what is to be expected."""
        return self.rms_db <= self.expected_db


def compare(measured_db: np.ndarray, predicted_db: np.ndarray) -> Comparison:
    """Hold measured levels against predicted ones.

    Parameters
    ----------
    measured_db : (P, B) array
        Of any reference; nan where there is none.
    predicted_db : (P, B) array

    Returns
    -------
    Comparison
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
    """Scatter of positions that differ in azimuth only, one standard deviation, dB.

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


def _rms(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(known**2))) if known.size else float("nan")
