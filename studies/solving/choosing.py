"""Choosing well: where the parts of a score disagree, which candidates no other beats.

The score weighs several wishes against each other. Here nothing is weighed: what stays is every
candidate that could be the right one for somebody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from studies.solving.candidates import Row, best_of

NOISE_DB = 0.05
"""Differences up to this do not count: of the order of the solver's own error (0.034 dB against
a mesh three times as fine, see `dispersion.waves`), and far below what anybody hears."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One solved candidate by coverage, steadiness and residue, and whether any other beats it.

    Attributes
    ----------
    name : str
    coverage_db, steadiness_db, residue_db : float
        Parts of the score as measured, dB (`dispersion.sliding`); less is better.
    score : float
        By the weights of the design, dB; less is better.
    solves : int
        Frequencies solved in a third-octave band.
    unbeaten : bool
        No other candidate beats it, see `unbeaten`.
    chosen : bool
        The study recommends it.
    """

    name: str
    coverage_db: float
    steadiness_db: float
    residue_db: float
    score: float
    solves: int
    unbeaten: bool
    chosen: bool


def unbeaten(rows: Sequence[Row], tolerance_db: float = NOISE_DB) -> tuple[int, ...]:
    """Find the rows that no other beats in coverage, steadiness and residue.

    One row beats another if it is nowhere worse by more than the tolerance, somewhere better by
    more than it, and better on the whole (in the sum of the three, dB). Without the last
    condition small steps could lead in a circle, and nobody would be left.

    Parameters
    ----------
    rows : sequence of Row
        Those that were not solved are passed over.
    tolerance_db : float

    Returns
    -------
    tuple of int
        Places in `rows`, ascending; at least one if any row was solved.
    """
    places = [place for place, row in enumerate(rows) if row.solved]
    offers = np.array([_offers(rows[place]) for place in places]).reshape(-1, 3)
    return tuple(
        place
        for place, own in zip(places, offers, strict=True)
        if not np.any(_beat(offers, own, tolerance_db))
    )


def choices(rows: Sequence[Row], chosen: Row | None = None) -> tuple[Choice, ...]:
    """Compare every solved row by coverage, steadiness and residue.

    Parameters
    ----------
    rows : sequence of Row
    chosen : Row, optional
        What the study recommends; left out, the lowest score.
    """
    stays = set(unbeaten(rows))
    leader = best_of(rows) if chosen is None else chosen
    return tuple(
        Choice(
            name=row.name,
            coverage_db=row.scorecard.term("coverage").measured,
            steadiness_db=row.scorecard.term("steadiness").measured,
            residue_db=row.scorecard.term("residue").measured,
            score=row.score,
            solves=row.solves,
            unbeaten=place in stays,
            chosen=row is leader,
        )
        for place, row in enumerate(rows)
        if row.solved
    )


def _offers(row: Row) -> tuple[float, float, float]:
    """Coverage, steadiness and residue with such signs that more is better, dB."""
    coverage, steadiness, residue = (
        -row.scorecard.term(name).measured for name in ("coverage", "steadiness", "residue")
    )
    return coverage, steadiness, residue


def _beat(
    offers: NDArray[np.float64], own: NDArray[np.float64], tolerance_db: float
) -> NDArray[np.bool_]:
    """(N,) for each of the (N, 3) offers, whether it beats this (3,) one."""
    ahead = offers - own
    nowhere_worse = np.all(ahead >= -tolerance_db, axis=1)
    somewhere_better = np.any(ahead > tolerance_db, axis=1)
    return nowhere_worse & somewhere_better & (offers.sum(axis=1) > own.sum())
