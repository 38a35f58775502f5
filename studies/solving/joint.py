"""Keep and plate gap searched together: at which gap does each height of a cap hang best?

Posts can be made longer or shorter again, a cap cannot be made taller. On a map of keep by gap good
pairs lie along a ridge: gap less keep, the room between the driver and what hangs over it, is
nearly the same along it. So the map is solved at few pairs, and the score at any other is their
mean, weighted by how near they are along the ridge and across it (`best_gap_for`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from studies.design import Design
from studies.solving.candidates import SAME_SIZE, Candidate, Part
from studies.solving.grid import Fineness, Progress, Solver, require_one_solved, run
from studies.solving.lines import PlaceInLine
from studies.solving.shaving import cut_candidate

MOST_KEEPS, MOST_GAPS = 9, 8
"""Of the map, for each ball: the others are read from it."""
ALONG, ACROSS = 6e-3, 2e-3
"""Standard deviations of the weights, m: in keep, and in gap less keep. Across, a score changes
within some millimetres; nobody hangs a plate much better than that."""
FARTHEST = -4.5
"""Exponent of the weight at three standard deviations: farther pairs do not speak for a gap."""


@dataclass(frozen=True, eq=False)
class Pair:
    """A keep under a plate at a gap.

    Attributes
    ----------
    ball_diameter, keep, plate_gap : float
        m.
    score : float
        dB; infinite if it cannot be built.
    reason : str
        Why not; empty if it can.
    """

    ball_diameter: float
    keep: float
    plate_gap: float
    score: float
    reason: str = ""

    @property
    def room(self) -> float:
        """Gap less keep: from the baffle to the apex, m."""
        return self.plate_gap - self.keep


def solve_pairs(
    design: Design,
    sizes: Sequence[tuple[float, float]],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
) -> tuple[Pair, ...]:
    """Solve a map of keep by gap, at few of either, for every ball.

    Parameters
    ----------
    design : Design
        Its ``[gap]`` says where the plate may hang.
    sizes : sequence of (float, float)
        Ball diameter and keep of each cap that may be cut, m.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    fineness : int or ByNeed
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.

    Raises
    ------
    DesignError
        If none of them can be built.
    """
    balls = dict.fromkeys(ball for ball, _ in sizes)
    gaps = thinned(design.gap_candidates(), MOST_GAPS)
    places = [
        (ball, keep, gap)
        for ball in balls
        for keep in thinned(sorted(k for b, k in sizes if b == ball), MOST_KEEPS)
        for gap in gaps
    ]
    candidates = [_candidate(design, *place) for place in places]
    rows = run(design, candidates, solver, fineness, "keep by gap", progress)
    require_one_solved(design, rows, "trim.keep", "pair of keep and gap")
    return tuple(
        Pair(*place, row.score, row.reason) for place, row in zip(places, rows, strict=True)
    )


def thinned(sizes: Sequence[Part], most: int) -> list[Part]:
    """Return so many of some sizes at most, both ends among them, evenly spread over the list."""
    places = np.linspace(0, len(sizes) - 1, min(most, len(sizes)))
    return [sizes[int(place)] for place in np.round(places)]


def at_end(size: float, tried: Sequence[float]) -> bool:
    """Return whether a size is at or beyond an end of several: a better may lie beyond."""
    within = min(tried) + SAME_SIZE < size < max(tried) - SAME_SIZE
    return len(tried) > 1 and not within


def best_gap_for(
    pairs: Sequence[Pair], ball_diameter: float, keep: float, gaps: Sequence[float]
) -> float:
    """Return the gap at which a height of a cap hangs best, by the pairs of its ball, m.

    Gaps farther from every solved pair than three standard deviations are not chosen, unless all
    are.

    Parameters
    ----------
    pairs : sequence of Pair
        Those that cannot be built are passed over.
    ball_diameter, keep : float
        m.
    gaps : sequence of float
        Among which to choose, m.
    """
    own = [
        pair for pair in pairs if np.isfinite(pair.score) and pair.ball_diameter == ball_diameter
    ]
    if not own:
        return gaps[0]
    scores = np.array([pair.score for pair in own])
    far = (np.array([pair.keep for pair in own]) - keep) / ALONG
    room = np.array([pair.room for pair in own])
    across = (room - (np.array(gaps)[:, None] - keep)) / ACROSS
    exponent = -0.5 * (far**2 + across**2)
    nearest = exponent.max(axis=1)
    weights = np.exp(exponent - nearest[:, None])
    # Far from every pair that could be built, a mean says nothing.
    there = nearest >= min(FARTHEST, nearest.max())
    means = np.where(there, (weights @ scores) / weights.sum(axis=1), np.inf)
    return float(gaps[int(np.argmin(means))])


def _candidate(design: Design, ball: float, keep: float, gap: float) -> Candidate:
    cut = cut_candidate(design, ball, keep, gap)
    return Candidate(cut.name, cut.build, PlaceInLine(f"ball {ball}, gap {gap}", keep))
