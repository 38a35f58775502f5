"""A batch of speakers of one design, none quite as drawn: how they differ, and how many pass."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from dispersion.bands import band_means
from dispersion.coverage import measure_coverage
from dispersion.elevations import level_db
from studies.design.moves import Dimension
from studies.design.study_tables import TargetTable
from studies.solving.candidates import Row, Solved
from studies.solving.target import score

BAND_PERCENT = (5.0, 50.0, 95.0)
"""Percentiles of a batch: nine speakers in ten lie between the first and the last."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Batch:
    """N speakers of one design, each size of each drawn evenly from within its tolerance.

    Attributes
    ----------
    dimensions : tuple of Dimension
    changes : (N, D) array
        How far each of the D sizes is off, in SI units.
    nominal : Row
        The design as written, at as few frequencies as the others.
    rows : tuple of Row
        The N speakers; one that cannot be built is a row with its reason.
    within_db : float
        A speaker whose score is at most this much worse than the nominal one passes.
    doubt_db : float
        How far a change of score may be off because only few frequencies are solved; nan if
        unknown.
    curve_doubt_db : (B,) array
        How far a change of a band level at the main seat may be off for the same reason, dB.
    """

    dimensions: tuple[Dimension, ...]
    changes: np.ndarray
    nominal: Row
    rows: tuple[Row, ...]
    within_db: float
    doubt_db: float
    curve_doubt_db: np.ndarray

    @property
    def solved(self) -> tuple[Row, ...]:
        """The speakers that can be built."""
        return tuple(row for row in self.rows if row.solved)

    @property
    def scores_db(self) -> np.ndarray:
        """(S,) scores of the speakers that can be built, dB."""
        return np.array([row.score for row in self.solved])

    @property
    def score_band_db(self) -> np.ndarray:
        """(3,) 5 %, half and 95 % of the scores of the speakers that can be built, dB; or nan."""
        if not self.solved:
            return np.full(3, np.nan)
        return np.percentile(self.scores_db, BAND_PERCENT)

    @property
    def limit_db(self) -> float:
        """Highest score with which a speaker passes, dB."""
        return self.nominal.score + self.within_db

    @property
    def written_db(self) -> np.ndarray:
        """(B,) band level of the design as written at the main seat, dB."""
        return seat_levels_db(self.nominal)

    @cached_property
    def seat_band_db(self) -> np.ndarray:
        """(3, B) 5 %, half and 95 % of the band level at the main seat, dB; or nan."""
        if not self.solved:
            return np.full((3, len(self.nominal.coverage.centres)), np.nan)
        levels = [seat_levels_db(row) for row in self.solved]
        return np.percentile(levels, BAND_PERCENT, axis=0)

    @property
    def seat_width_db(self) -> np.ndarray:
        """(B,) from 5 % to 95 % of the band level at the main seat, dB."""
        return self.seat_band_db[2] - self.seat_band_db[0]

    @property
    def re_written_db(self) -> np.ndarray:
        """(3, B) 5 %, half and 95 % of the band level less that of the design as written, dB."""
        return self.seat_band_db - self.written_db

    @property
    def passing(self) -> float:
        """Share of all speakers that pass: the yield. What cannot be built does not pass."""
        return self._share_up_to(self.limit_db)

    @property
    def passing_between(self) -> tuple[float, float]:
        """Least and largest yield if every score is off by `doubt_db`; nan if that is unknown."""
        limit = self.limit_db
        if np.isnan(self.doubt_db):
            return float("nan"), float("nan")
        return self._share_up_to(limit - self.doubt_db), self._share_up_to(limit + self.doubt_db)

    @property
    def passing_error(self) -> float:
        """Standard error of the yield as if the speakers were drawn independently.

        sqrt(s (1 - s) / N) with s = (passed + 1) / (N + 2), so that it is not 0 where all pass.
        Even (Sobol) sampling does no worse.
        """
        count = len(self.rows)
        share = (self.passing * count + 1.0) / (count + 2.0)
        return float(np.sqrt(share * (1.0 - share) / count))

    def _share_up_to(self, limit_db: float) -> float:
        return float(np.mean([row.score <= limit_db for row in self.rows]))


def seat_levels_db(row: Row) -> np.ndarray:
    """(B,) band level at the first seat, or of the window if there are no seats, dB."""
    if not row.response.near.shape[1]:
        return row.coverage.window_level_db
    _, power = band_means(row.response.problem.frequencies, np.abs(row.response.near[:, 0]) ** 2)
    return level_db(power)


def can_be_thinned(row: Row, per_band: int) -> bool:
    """Whether a grid of `per_band` frequencies a band is part of the one that a row was solved on.

    Frequencies lie in the middle of equal steps, so only every odd-numbered share of them does.
    """
    return row.per_band > per_band and row.per_band % (2 * per_band) == per_band


def thinned(row: Row, target: TargetTable, per_band: int) -> Row:
    """Return a solved row as it would be had only `per_band` frequencies a band been solved."""
    step, old = row.per_band // per_band, row.response
    some = slice(step // 2, None, step)
    problem = replace(old.problem, frequencies=old.problem.frequencies[some])
    response = replace(
        old,
        problem=problem,
        far_by_way=old.far_of_each[:, some],
        near_by_way=old.near_by_way[:, some],
        power_error_db=old.power_error_db[:, some],
        unknowns=old.unknowns[some],
    )
    coverage = measure_coverage(
        problem.frequencies, problem.elevations, response.power, row.coverage.window, target.band
    )
    curve = row.window_curve_db[some]
    return replace(row, found=Solved(response, coverage, score(coverage, target), curve))
