"""One candidate and all that was found of it; of many, the best and the nearly as good."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

import numpy as np

from dispersion.coverage import Coverage
from dispersion.response import Response
from shapes.assembly import Assembly
from studies.solving.target import Scorecard

Part = TypeVar("Part")


@dataclass(frozen=True)
class Candidate:
    """Something that could be built: a name, its assembly or the reason why there is none."""

    name: str
    build: Callable[[], Assembly]


class NotSolvedError(ValueError):
    """A candidate was asked for what it has not got."""


@dataclass(frozen=True, eq=False)
class Solved:
    """What was found of a candidate.

    Attributes
    ----------
    response : Response
        Without far field unless that was asked for.
    coverage : Coverage
    scorecard : Scorecard
    window_curve_db : (F,) array
        Window level at every single frequency, dB.
    """

    response: Response
    coverage: Coverage
    scorecard: Scorecard
    window_curve_db: np.ndarray


@dataclass(frozen=True, eq=False)
class Row:
    """What became of one candidate.

    Attributes
    ----------
    name : str
    drawn : Assembly or None
        None if it could not even be drawn.
    reason : str
        Why it was not solved; empty if it was.
    found : Solved or None
        None if it was not solved.
    """

    name: str
    drawn: Assembly | None = None
    reason: str = ""
    found: Solved | None = field(default=None, repr=False)

    @property
    def solved(self) -> bool:
        """Tell whether there are numbers."""
        return self.found is not None

    @property
    def assembly(self) -> Assembly:
        """What would be built; NotSolvedError if it could not be drawn."""
        return self._present(self.drawn)

    @property
    def response(self) -> Response:
        """What the solver found; NotSolvedError if it was not asked."""
        return self._present(self.found).response

    @property
    def coverage(self) -> Coverage:
        """What it amounts to; NotSolvedError if it was not solved."""
        return self._present(self.found).coverage

    @property
    def scorecard(self) -> Scorecard:
        """How it was judged; NotSolvedError if it was not solved."""
        return self._present(self.found).scorecard

    @property
    def window_curve_db(self) -> np.ndarray:
        """(F,) window level at every frequency, dB; NotSolvedError if it was not solved."""
        return self._present(self.found).window_curve_db

    def _present(self, what: Part | None) -> Part:
        if what is None:
            raise NotSolvedError(f"{self.name}: {self.reason}")
        return what

    @property
    def score(self) -> float:
        """Score in dB; infinite if it was not solved."""
        return self.scorecard.score if self.solved else float("inf")

    @property
    def per_band(self) -> int:
        """Frequencies in a third-octave band."""
        return len(self.response.problem.frequencies) // len(self.coverage.centres)

    @cached_property
    def seat_curves_db(self) -> np.ndarray:
        """(F, seats) level at every seat, dB."""
        return 20.0 * np.log10(np.abs(self.response.near))


@dataclass(frozen=True)
class NearBest:
    """The unbroken range of a swept size round the best whose score is nearly as good."""

    low: float
    high: float
    within_db: float


def best_of(rows: Sequence[Row]) -> Row | None:
    """Return the row with the lowest score, None if none was solved.

    Rows solved at most frequencies go before coarse ones: those were no leaders.
    """
    solved = [row for row in rows if row.solved]
    finest = max((row.per_band for row in solved), default=0)
    leaders = [row for row in solved if row.per_band == finest]
    return min(leaders, key=lambda row: row.score, default=None)


def winner_of(rows: Sequence[Row]) -> Row:
    """Return the same where one must have been solved; NotSolvedError if none was."""
    best = best_of(rows)
    if best is None:
        raise NotSolvedError("no candidate was solved")
    return best


def near_best(sizes: Sequence[float], rows: Sequence[Row], within_db: float) -> NearBest:
    """Walk from the best size to either side while the score stays within `within_db`."""
    order = np.argsort(sizes)
    scores = np.array([rows[i].score for i in order])
    leader = best_of(rows)
    best = next(at for at, i in enumerate(order) if rows[i] is leader)
    good = scores <= scores[best] + within_db
    low = high = best
    while low > 0 and good[low - 1]:
        low -= 1
    while high < len(scores) - 1 and good[high + 1]:
        high += 1
    return NearBest(float(sizes[order[low]]), float(sizes[order[high]]), within_db)
