"""Which few readings tell candidates apart: a small Gaussian measure.

Candidates i predict readings y_i (N,); a measurement is one of them plus errors with covariance C,
the same for all. For a choice S of readings two candidates lie

    d'_ij = sqrt((y_i - y_j)_S^T  C_SS^-1  (y_i - y_j)_S)

standard deviations apart, and whoever takes the likelier of the two is wrong with probability

    Phi(-d'_ij / 2),      Phi the normal distribution,

from 50 % (no better than a coin) downwards. C_SS^-1 takes care of readings that err together:
a second reading with the same error as the first adds little, and where both see the same
disturbance but differ in what the candidates do, their difference is what counts.

Readings are taken one at a time, each time the one that lowers most the mean of that probability
over all pairs of candidates (greedy: not always the best set, but nearly, and easily checked).

Source: linear discriminant of two normal distributions of one covariance, textbook.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

ENOUGH = 0.05
"""One chance in twenty of taking one candidate for another: no more readings are asked for."""
LEAST_GAIN = 0.01
"""A reading that lowers the mean chance of a mistake by less is not worth the walk."""


@dataclass(frozen=True)
class Told:
    """A reading that was chosen, and what is known once it is taken with those before it.

    Attributes
    ----------
    reading : int
        Its place among all readings.
    mistaken : float
        Largest probability over all pairs of taking one candidate for the other.
    """

    reading: int
    mistaken: float


def distance_apart(difference: np.ndarray, covariance: np.ndarray) -> float:
    """Standard deviations between what two candidates predict: d'.

    Parameters
    ----------
    difference : (N,) array
        dB.
    covariance : (N, N) array
        Of the errors of these readings, dB squared.
    """
    squared = float(difference @ np.linalg.solve(covariance, difference))
    return math.sqrt(max(squared, 0.0))


def chance_of_mistake(distance: float) -> float:
    """Phi(-d' / 2): probability of taking one candidate for the other."""
    from scipy.special import ndtr

    return float(ndtr(-0.5 * distance))


def most_telling(
    predicted: np.ndarray, covariance: np.ndarray, usable: np.ndarray, most: int
) -> tuple[Told, ...]:
    """Choose readings one by one until the candidates are told apart.

    Parameters
    ----------
    predicted : (K, N) array
        What each candidate predicts, dB; two candidates at least.
    covariance : (N, N) array
        Errors of all readings, dB squared.
    usable : (N,) bool array
        Readings that may be asked for.
    most : int
        How many at most.

    Returns
    -------
    tuple of Told
        In the order in which they tell most; fewer where less than `LEAST_GAIN` is gained, or
        where the largest chance of a mistake is `ENOUGH` or less.
    """
    pairs = [predicted[i] - predicted[j] for i, j in combinations(range(len(predicted)), 2)]
    chosen: list[int] = []
    told: list[Told] = []
    mean_before = 0.5
    while len(told) < most and not (told and told[-1].mistaken <= ENOUGH):
        rest = [n for n in np.flatnonzero(usable).tolist() if n not in chosen]
        if not rest:
            break
        chances = [_chances(pairs, covariance, [*chosen, n]) for n in rest]
        best = min(range(len(rest)), key=lambda at: float(np.mean(chances[at])))
        if np.mean(chances[best]) > mean_before - LEAST_GAIN:
            break
        mean_before = float(np.mean(chances[best]))
        chosen.append(rest[best])
        told.append(Told(chosen[-1], float(max(chances[best]))))
    return tuple(told)


def chances_of_mistakes(
    predicted: np.ndarray, covariance: np.ndarray, told: Sequence[Told]
) -> dict[tuple[int, int], float]:
    """Chance of taking one candidate for the other once all these are read, for every pair."""
    if not told:
        return dict.fromkeys(combinations(range(len(predicted)), 2), 0.5)
    some = [one.reading for one in told]
    part = covariance[np.ix_(some, some)]
    return {
        (i, j): chance_of_mistake(distance_apart((predicted[i] - predicted[j])[some], part))
        for i, j in combinations(range(len(predicted)), 2)
    }


def _chances(pairs: list[np.ndarray], covariance: np.ndarray, some: list[int]) -> list[float]:
    part = covariance[np.ix_(some, some)]
    return [chance_of_mistake(distance_apart(pair[some], part)) for pair in pairs]
