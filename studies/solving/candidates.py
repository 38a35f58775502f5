"""One candidate with its solution and score; of many, the best and the nearly as good."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeVar

import numpy as np

from dispersion.coverage import Coverage
from dispersion.elevations import level_db
from dispersion.response import Response
from shapes.assembly import Assembly
from studies.solving.lines import PlaceInLine
from studies.solving.target import NO_DIFFERENCE_DB, Scorecard

Part = TypeVar("Part")
SAME_SIZE = 1e-7
"""Sizes closer than this are one size, m or rad: far below what a saw or a caliper resolves."""
Standing = Literal["best", "near-best", ""]
"""How a candidate compares with the best one; empty if its score is not nearly as good."""


@dataclass(frozen=True)
class Candidate:
    """Something that might be built.

    Attributes
    ----------
    name : str
    build : callable
        () -> Assembly; ValueError with the reason if the geometry cannot exist.
    along : PlaceInLine or None
        Where it stands among candidates that differ from it in one size only, if there are any.
    """

    name: str
    build: Callable[[], Assembly]
    along: PlaceInLine | None = None


class NotSolvedError(ValueError):
    """No solution where one is needed: of one candidate, or of all that were tried."""


@dataclass(frozen=True, eq=False)
class Solved:
    """Solution, measures and score of one candidate.

    Attributes
    ----------
    response : Response
        Complex pressure; without its far field unless `studies.solving.grid.run` kept it.
    coverage : Coverage
        Window level, evenness, leak and other measures by third-octave band.
    scorecard : Scorecard
        The score and its terms, dB.
    window_curve_db : (F,) array
        Window level at every single frequency, dB.
    images : (F, N) complex array or None
        Far field towards the images of the seats, see `studies.solving.seating.towards_images`.
    """

    response: Response
    coverage: Coverage
    scorecard: Scorecard
    window_curve_db: np.ndarray
    images: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class Row:
    """One candidate after the attempt to build and solve it.

    Attributes
    ----------
    name : str
    drawn : Assembly or None
        Its geometry; None if that cannot exist.
    reason : str
        Why it was not solved; empty if it was.
    found : Solved or None
        Its solution; None if it was not solved.
    along : PlaceInLine or None
        As the candidate had it.
    """

    name: str
    drawn: Assembly | None = None
    reason: str = ""
    found: Solved | None = field(default=None, repr=False)
    along: PlaceInLine | None = None

    @property
    def solved(self) -> bool:
        """True if it was solved, so that response, coverage and score exist."""
        return self.found is not None

    @property
    def is_contender(self) -> bool:
        """True if it was solved and keeps both limits: leak above the window, treble not hollow."""
        return self.solved and not (self.scorecard.leaks_too_much or self.scorecard.too_hollow)

    @property
    def assembly(self) -> Assembly:
        """Geometry of the candidate; NotSolvedError if it cannot exist."""
        return self._present(self.drawn)

    @property
    def response(self) -> Response:
        """Complex pressure from the solver; NotSolvedError if it was not solved."""
        return self._present(self.found).response

    @property
    def coverage(self) -> Coverage:
        """Measures by third-octave band; NotSolvedError if it was not solved."""
        return self._present(self.found).coverage

    @property
    def scorecard(self) -> Scorecard:
        """Terms of the score, dB; NotSolvedError if it was not solved."""
        return self._present(self.found).scorecard

    @property
    def window_curve_db(self) -> np.ndarray:
        """(F,) window level at every solved frequency, dB; NotSolvedError if it was not solved."""
        return self._present(self.found).window_curve_db

    @property
    def images(self) -> np.ndarray | None:
        """(F, N) far field towards the images of the seats; NotSolvedError if it was not solved."""
        return self._present(self.found).images

    def _present(self, what: Part | None) -> Part:
        if what is None:
            raise NotSolvedError(f"{self.name}: {self.reason}")
        return what

    @property
    def score(self) -> float:
        """Score, dB, less is better; infinite if it was not solved."""
        return self.scorecard.score if self.solved else float("inf")

    @property
    def solves(self) -> int:
        """Frequencies that were solved for this candidate itself."""
        read = 0 if self.response.settling is None else self.response.settling.read
        return len(self.response.solved_frequencies) - read

    @property
    def per_band(self) -> int:
        """Frequencies of the response in each third-octave band: solved, or read from a fit."""
        return len(self.response.problem.frequencies) // len(self.coverage.centres)

    @cached_property
    def seat_curves_db(self) -> np.ndarray:
        """(F, seats) level at every seat and solved frequency, dB re 0 dB at its distance."""
        return 20.0 * np.log10(np.abs(self.response.near))

    @cached_property
    def seat_levels_db(self) -> np.ndarray:
        """(B, seats) band level at every seat, dB re 0 dB at its distance."""
        if self.response.settling is not None:
            return level_db(self.response.settling.near_power)
        return level_db(self.response.band_means(np.abs(self.response.near) ** 2))


@dataclass(frozen=True)
class NearBest:
    """Range of a swept size round the best in which every score is nearly as good.

    Attributes
    ----------
    low, high : float
        Least and largest size, m; both belong to the range.
    within_db : float
        How far above the best score "nearly as good" reaches, dB.
    """

    low: float
    high: float
    within_db: float

    def holds(self, size: float) -> bool:
        """Return whether a size, m, lies in the range, ends included."""
        return self.low <= size <= self.high


def contenders(rows: Sequence[Row]) -> tuple[int, ...]:
    """Return the places of the rows among which the best may be chosen, ascending.

    Solved rows that leak no more above the window than the designer takes and have no hollow that
    nothing lifts, whatever their score; every solved row if there is none.
    """
    free = tuple(place for place, row in enumerate(rows) if row.is_contender)
    return free or tuple(place for place, row in enumerate(rows) if row.solved)


def best_of(rows: Sequence[Row]) -> Row | None:
    """Return the solved row with the lowest score; None if no row was solved.

    Only rows solved at the largest number of frequencies per band compete: the coarse ones were
    too far behind to be solved again.
    """
    leaders = [row for row, fine in zip(rows, are_settled(rows), strict=True) if fine]
    return min(leaders, key=lambda row: row.score, default=None)


def are_settled(rows: Sequence[Row]) -> tuple[bool, ...]:
    """Return for each row whether it was solved as finely as the finest of them."""
    finest = max((row.per_band for row in rows if row.solved), default=0)
    return tuple(row.solved and row.per_band == finest for row in rows)


def winner_of(rows: Sequence[Row]) -> Row:
    """Return the solved row with the lowest score; raise NotSolvedError if no row was solved."""
    best = best_of(rows)
    if best is None:
        raise NotSolvedError("no candidate was solved")
    return best


def near_best(sizes: Sequence[float], rows: Sequence[Row], within_db: float) -> NearBest:
    """Return the unbroken range of sizes round the best whose scores are nearly as good.

    Parameters
    ----------
    sizes : sequence of float
        m, in any order.
    rows : sequence of Row
        One for each size; one of them solved at least.
    within_db : float
        How far above the best score a score may lie, dB. A row that was not solved ends the range.
    """
    found = _near_best_ranges(sizes, rows, within_db)
    best = next(size for size, row in zip(sizes, rows, strict=True) if row is best_of(rows))
    return next(one for one in found if one.holds(best))


def islands(sizes: Sequence[float], rows: Sequence[Row], within_db: float) -> tuple[NearBest, ...]:
    """Return the ranges of sizes as good as `near_best`, but apart from it, smallest first.

    Parameters are those of `near_best`. Neighbours between which no score is worse by
    `NO_DIFFERENCE_DB` than the worst of them may be are one. A range in which every row is coarse,
    beside others that have settled, is none.
    """
    best = near_best(sizes, rows, within_db)
    fine = [size for size, row in zip(sizes, are_settled(rows), strict=True) if row]
    limit = winner_of(rows).score + within_db + NO_DIFFERENCE_DB
    found: list[NearBest] = []
    for one in _near_best_ranges(sizes, rows, within_db):
        if one == best or not any(map(one.holds, fine)):
            continue
        joint = NearBest(found[-1].low, one.high, within_db) if found else one
        held = [row for size, row in zip(sizes, rows, strict=True) if joint.holds(size)]
        if all(row.score <= limit for row in held):
            found = [*found[:-1], joint]
        else:
            found.append(one)
    return tuple(found)


def _near_best_ranges(
    sizes: Sequence[float], rows: Sequence[Row], within_db: float
) -> list[NearBest]:
    """Every unbroken range of sizes whose scores are that near the best, smallest first."""
    limit = winner_of(rows).score + within_db
    in_order = sorted(zip(sizes, rows, strict=True), key=lambda pair: pair[0])
    runs = itertools.groupby(in_order, key=lambda pair: pair[1].score <= limit)
    found = [[size for size, _ in run] for good, run in runs if good]
    return [NearBest(float(run[0]), float(run[-1]), within_db) for run in found]
