"""A batch of speakers of one design, none quite as drawn: how they differ, and how many pass."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from studies.design.moves import Dimension
from studies.questions.tolerance.sensitivity import seat_levels_db
from studies.solving.candidates import Row

BAND_PERCENT = (5.0, 50.0, 95.0)
"""Percentiles of a batch: nine speakers in ten lie between the first and the last."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Speaker:
    """One speaker of a batch.

    Attributes
    ----------
    name : str
    reason : str
        Why it cannot be built or solved; empty if it can.
    score : float
        dB; infinite if it cannot be built.
    seat_db : (B,) array
        Band level at the first seat, or of the window if there are no seats, dB; nan if it cannot
        be built.
    row : Row or None
        Where it was solved throughout.
    """

    name: str
    reason: str = ""
    score: float = float("inf")
    seat_db: np.ndarray
    row: Row | None = None

    @property
    def known(self) -> bool:
        """Whether it can be built, so that score and levels exist."""
        return not self.reason


@dataclass(frozen=True, eq=False, kw_only=True)
class Batch:
    """N speakers of one design, each size of each drawn evenly from within its tolerance.

    Attributes
    ----------
    dimensions : tuple of Dimension
    changes : (N, D) array
        How far each of the D sizes is off, in SI units.
    nominal : Row
        The design as written.
    speakers : tuple of Speaker
    within_db : float
        A speaker whose score is at most this much worse than the nominal one passes.
    solved : (B,) bool array
        Third octaves in which every speaker was solved; in the others some are read from the
        sizes moved one at a time.
    doubt_db : float
        How far a score may be off because of that: the most on any speaker that was solved
        throughout. 0 where nothing is read.
    curve_doubt_db : (B,) array
        The same of a band level at the main seat, dB.
    """

    dimensions: tuple[Dimension, ...]
    changes: np.ndarray
    nominal: Row
    speakers: tuple[Speaker, ...]
    within_db: float
    solved: np.ndarray
    doubt_db: float
    curve_doubt_db: np.ndarray

    @property
    def known(self) -> tuple[Speaker, ...]:
        """The speakers that can be built."""
        return tuple(speaker for speaker in self.speakers if speaker.known)

    @property
    def throughout(self) -> tuple[Row, ...]:
        """Rows of the speakers that were solved throughout."""
        return tuple(speaker.row for speaker in self.speakers if speaker.row is not None)

    @property
    def reads(self) -> bool:
        """Whether anything of any speaker is read and not solved."""
        return not bool(self.solved.all())

    @property
    def scores_db(self) -> np.ndarray:
        """(S,) scores of the speakers that can be built, dB."""
        return np.array([speaker.score for speaker in self.known])

    @property
    def score_band_db(self) -> np.ndarray:
        """(3,) 5 %, half and 95 % of the scores of the speakers that can be built, dB; or nan."""
        if not self.known:
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
        if not self.known:
            return np.full((3, len(self.nominal.coverage.centres)), np.nan)
        return np.percentile([speaker.seat_db for speaker in self.known], BAND_PERCENT, axis=0)

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
        """Least and largest yield if every score is off by `doubt_db`."""
        limit = self.limit_db
        return self._share_up_to(limit - self.doubt_db), self._share_up_to(limit + self.doubt_db)

    @property
    def passing_error(self) -> float:
        """Standard error of the yield as if the speakers were drawn independently.

        sqrt(s (1 - s) / N) with s = (passed + 1) / (N + 2), so that it is not 0 where all pass.
        Even (Sobol) sampling does no worse.
        """
        count = len(self.speakers)
        share = (self.passing * count + 1.0) / (count + 2.0)
        return float(np.sqrt(share * (1.0 - share) / count))

    def _share_up_to(self, limit_db: float) -> float:
        return float(np.mean([speaker.score <= limit_db for speaker in self.speakers]))
