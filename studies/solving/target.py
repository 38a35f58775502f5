"""What the designer wants, and how far a candidate falls short of it.

One formula, in decibels; zero is perfect and less is better:

    score = coverage_weight   * coverage      rms of level over the window's directions
          + steadiness_weight * steadiness    rms of the directivity about its own straight slope
          + residue_weight    * residue       what a one-octave equaliser leaves, peaks doubled
          + boost_weight      * boost         what that equaliser must lift in the treble

`dispersion.sliding` defines the parts. The weights are the designer's (`[target]` in the design
file) and are printed with every result. By default coverage counts most: it is what a cut changes
and no equaliser can mend. With equal weights residue would decide, since it varies most from cap to
cap. Too much power above the window is a limit, not a weight.

0 dB is the driver's own on-axis curve (see `dispersion.response`).
"""

from dataclasses import dataclass

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
        "coverage", "steadiness", "residue" or "boost".
    measured : float
        The measure itself, dB; zero is perfect.
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
        Coverage, steadiness, residue and boost.
    leak : float
        Share of the sound power that leaves above the window, 0 to 1.
    leak_limit : float
        The largest share that the designer takes.
    """

    terms: tuple[Term, ...]
    leak: float
    leak_limit: float

    @property
    def leaks_too_much(self) -> bool:
        """True if more power leaves above the window than the designer takes."""
        return self.leak > self.leak_limit

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
    parts = coverage.sliding.above(target.judged_from)
    return Scorecard(
        terms=(
            Term("coverage", parts.coverage_db, target.coverage),
            Term("steadiness", parts.steadiness_db, target.steadiness),
            Term("residue", parts.residue_db, target.residue),
            Term("boost", parts.boost_db(target.wanted_tilt), target.boost),
        ),
        leak=parts.mean_leak,
        leak_limit=target.leak_limit,
    )
