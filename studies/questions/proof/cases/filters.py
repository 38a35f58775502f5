"""Crossovers against their closed forms.

Butterworth: S. Butterworth, Experimental Wireless 7, 536 (1930) [from memory]. Linkwitz-Riley:
S. H. Linkwitz, J. Audio Eng. Soc. 24, 2 (1976) [from memory].
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from dispersion.sources import Crossover
from studies.questions.proof.cases.check import REST, Check, Compared, compare

CORNER = 2500.0

RATIO = np.geomspace(0.02, 50.0, 101)

FREQUENCIES = CORNER * RATIO


def both_sides(
    kind: Literal["butterworth", "linkwitz-riley"], order: int
) -> tuple[np.ndarray, np.ndarray]:
    """Responses of the low and the high side."""
    low, high = Crossover(kind, order, CORNER, "low"), Crossover(kind, order, CORNER, "high")
    return low.response(FREQUENCIES), high.response(FREQUENCIES)


def butterworth(order: int) -> Compared:
    """Power of both sides against the formula, over fifty corners to either side."""
    low, high = (np.abs(side) ** 2 for side in both_sides("butterworth", order))
    known = [1.0 / (1.0 + RATIO ** (sign * 2 * order)) for sign in (1, -1)]
    at = [f"{side} side, x {ratio:.3g}" for side in ("low", "high") for ratio in RATIO]
    found, exact = np.concatenate((low, high)), np.concatenate(known)
    return compare(f"order {order}", at, found / exact, np.ones(len(at)), ROUNDING)


def flat_sum(order: int) -> Compared:
    """Magnitude of the sum of both sides of a Linkwitz-Riley crossover."""
    low, high = both_sides("linkwitz-riley", order)
    polarity = 1.0 if order % 4 == 0 else -1.0
    at = [f"x {ratio:.3g}" for ratio in RATIO]
    return compare(f"order {order}", at, np.abs(low + polarity * high), np.ones(len(at)), ROUNDING)


ROUNDING = 1e-9
CHECKS = (
    Check(
        "Butterworth crossovers",
        REST,
        "S. Butterworth, Experimental Wireless 7, 536 (1930) [from memory]",
        "",
        tuple(range(1, 17)),
        butterworth,
    ),
    Check(
        "Linkwitz-Riley crossovers",
        REST,
        "S. H. Linkwitz, J. Audio Eng. Soc. 24, 2 (1976) [from memory]",
        "",
        (2, 4, 6, 8, 12, 16),
        flat_sum,
    ),
)
