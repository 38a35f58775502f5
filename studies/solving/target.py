"""What the designer wants, and how far a candidate falls short of it.

One formula, in decibels; zero is perfect and less is better:

    score = evenness_weight * evenness      rms of level across the window, mean over the bands
          + ripple_weight   * ripple        rms of the window level about its own straight tilt
          + tilt_weight     * |tilt - wanted|   dB per octave
          + leak_weight     * leak          -10 lg(1 - share of power that goes above the window)
          + level_weight    * loss          how far the mean window level lies below 0 dB

0 dB is the driver's own on-axis curve (see `dispersion.response`). The weights are the
designer's (`[target]` in the design file) and are printed with every result.
"""

from dataclasses import dataclass

import numpy as np

from dispersion.coverage import Coverage
from studies.design.study_tables import TargetTable

NO_DIFFERENCE_DB = 0.1
"""Scores that differ by less are reported as equal: the solver's own error is of that order."""
METER_DB = 0.5
"""Least change in a third-octave band that a level meter shows: common practice, no source."""


@dataclass(frozen=True)
class Term:
    """One term of the score.

    Attributes
    ----------
    name : str
        "evenness", "ripple", "tilt", "leak" or "level".
    measured : float
        The measure itself, dB (tilt: dB per octave); zero is perfect.
    weight : float
        The designer's weight of it.
    """

    name: str
    measured: float
    weight: float

    @property
    def cost(self) -> float:
        """Share of the score, dB: weight times measure."""
        return self.weight * self.measured


@dataclass(frozen=True)
class Scorecard:
    """Score of one candidate: the sum of its terms.

    Attributes
    ----------
    terms : tuple of Term
        Evenness, ripple, tilt, leak and level.
    """

    terms: tuple[Term, ...]

    @property
    def score(self) -> float:
        """Sum of all terms in dB: zero is perfect, less is better."""
        return sum(term.cost for term in self.terms)

    def term(self, name: str) -> Term:
        """Return the term of this name; StopIteration if there is none."""
        return next(term for term in self.terms if term.name == name)


def score(coverage: Coverage, target: TargetTable) -> Scorecard:
    """Score a coverage by the formula at the top of this module.

    Parameters
    ----------
    coverage : Coverage
        Measures of the candidate.
    target : TargetTable
        Weights, and the tilt that is wanted, dB per octave.

    Returns
    -------
    Scorecard
    """
    leak_db = -10.0 * np.log10(max(1.0 - coverage.mean_leak, 1e-12))
    off_tilt = abs(coverage.tilt_db_per_octave - target.wanted_tilt)
    return Scorecard(
        (
            Term("evenness", float(coverage.mean_evenness_db), target.evenness),
            Term("ripple", float(coverage.ripple_db), target.ripple),
            Term("tilt", float(off_tilt), target.tilt),
            Term("leak", float(leak_db), target.leak),
            Term("level", float(-coverage.mean_window_level_db), target.level),
        )
    )
