"""What the designer wants, and how far a candidate falls short of it.

One formula, in decibels; zero is perfect and less is better:

    score = coverage_weight   * coverage      rms of level over the window's directions
          + steadiness_weight * steadiness    rms of the directivity about its own straight slope
          + residue_weight    * residue       what a one-octave equaliser leaves, peaks doubled
          + boost_weight      * boost         what that equaliser must lift in the treble

`dispersion.sliding` defines the parts. The weights are the designer's (`[target]` in the design
file) and are printed with every result. By default coverage counts most: it is what a cut changes
and no equaliser can mend. With equal weights residue would decide, since it varies most from cap to
cap. Too much power above the window is a limit, not a weight; so is treble that lies deeper than
`HOLLOW_LIMIT_DB`, however evenly it does.

No published work says how these parts compare; the weights were set so that coverage decides, and
so that no weight decides alone. Share of each in the variance of the score over the candidates of
the examples (covariance with the score over its variance; in brackets its own spread, dB):

    ==========================  ===========  ===========  ============  ===========
    candidates                  coverage     steadiness   residue       boost
    ==========================  ===========  ===========  ============  ===========
    cap, 41 keeps               0.82 (0.44)  0.27 (0.20)  -0.19 (0.18)  0.11 (0.12)
    cap, 21 gaps                0.62 (0.44)  0.26 (0.19)  -0.04 (0.17)  0.15 (0.15)
    cone, 21 gaps               0.64 (0.29)  0.16 (0.11)  0.06 (0.05)   0.14 (0.07)
    caps in its place, 41       0.69 (0.37)  0.24 (0.17)  -0.10 (0.13)  0.17 (0.11)
    coaxial driver, 21 gaps     0.92 (1.00)  0.13 (0.15)  -0.07 (0.10)  0.02 (0.03)
    ==========================  ===========  ===========  ============  ===========

Below 0: what a size does to residue it undoes elsewhere. What half and twice a weight do to the
first example, each shape at the best of its own gaps, plate and column as they stand (score; keep
at the file's gap, gap at the file's keep, mm, among what is not hollow and does not leak):

    ===============  =====  =====  ======  ======  ====  ===
    weight           cone   cap    plate   bare    keep  gap
    ===============  =====  =====  ======  ======  ====  ===
    as they are      3.69   3.85   5.54    7.38    24    82
    coverage 1       2.88   3.17   4.28    6.13    21    82
    coverage 4       5.30   5.22   8.07    9.87    26    82
    steadiness 0.5   3.08   3.22   4.81    5.81    26    82
    steadiness 2     4.90   5.13   7.01    10.51   22    82
    residue 0.25     3.45   3.50   5.10    7.08    24    82
    residue 1        4.16   4.56   6.43    7.96    22    82
    boost 0.05       3.50   3.60   5.21    6.79    23    82
    boost 0.2        4.07   4.36   6.21    8.54    24    82
    ===============  =====  =====  ======  ======  ====  ===

Cone, cap, plate, bare: in this order always, but for twice the coverage, where cone and cap are no
different. What is chosen is within 0.3 dB of the best by the weights as they are.

0 dB is the driver's own on-axis curve (see `dispersion.response`).
"""

from dataclasses import dataclass

from dispersion.coverage import Coverage
from studies.design.study_tables import TargetTable

HOLLOW_LIMIT_DB = 15.0
"""Thirty times the power: a judgement, no source. Set when it was known that of the example's caps
most need 8 to 13 dB somewhere in the treble, and tall ones that nearly touch the driver 20 dB round
5 kHz, in all directions alike, which the weights do not see."""
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
    hollow : float
        The most that an equaliser must lift in the treble, dB.
    """

    terms: tuple[Term, ...]
    leak: float
    leak_limit: float
    hollow: float = 0.0

    @property
    def leaks_too_much(self) -> bool:
        """True if more power leaves above the window than the designer takes."""
        return self.leak > self.leak_limit

    @property
    def too_hollow(self) -> bool:
        """True if some of the treble lies so low that no equaliser lifts it."""
        return self.hollow > HOLLOW_LIMIT_DB

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
        hollow=parts.hollow(target.wanted_tilt)[0],
    )
