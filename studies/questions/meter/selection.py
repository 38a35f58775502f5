"""Selection of the few readings that separate candidates best: linear discriminant.

Candidates i predict readings y_i (N,); a measurement is one of them plus errors with covariance C,
the same for all. For a set S of readings the Mahalanobis distance of two candidates is

    d'_ij = sqrt((y_i - y_j)_S^T  C_SS^-1  (y_i - y_j)_S)

and whoever takes the likelier of the two is wrong with probability

    Phi(-d'_ij / 2),      Phi the normal distribution,

at most 50 %. C_SS^-1 accounts for correlated errors: a
second reading with the same error as the first adds little, and where both see the same
disturbance but differ between the candidates, their difference is what counts.

Readings are taken one at a time, each time the one that lowers most the mean of that probability
over all pairs of candidates (forward selection: not always the best set, but nearly).

Source: linear discriminant of two normal distributions of one covariance, textbook.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

ENOUGH = 0.05
"""Largest probability of confusing two candidates at which no more readings are selected."""
LEAST_GAIN = 0.01
"""A reading is selected only if it lowers the mean probability of confusion by this much."""


@dataclass(frozen=True)
class SelectedReading:
    """One selected reading.

    Attributes
    ----------
    index : int
        Its place among all readings.
    largest_confusion : float
        Largest probability of taking one candidate for another, over all pairs of candidates,
        once this reading and those selected before it are taken.
    """

    index: int
    largest_confusion: float


def mahalanobis_distance(difference: np.ndarray, covariance: np.ndarray) -> float:
    """Mahalanobis distance d' of two candidates, in standard deviations.

    Parameters
    ----------
    difference : (N,) array
        Predicted readings of one less those of the other, dB.
    covariance : (N, N) array
        Of the errors of these readings, dB squared.
    """
    squared = float(difference @ np.linalg.solve(covariance, difference))
    return math.sqrt(max(squared, 0.0))


def confusion_probability(distance: float) -> float:
    """Probability of taking one of two candidates for the other: Phi(-d' / 2).

    `distance` is d', see `mahalanobis_distance`; Phi is the normal distribution function.
    """
    from scipy.special import ndtr

    return float(ndtr(-0.5 * distance))


def select_readings(
    predicted: np.ndarray, covariance: np.ndarray, usable: np.ndarray, most: int
) -> tuple[SelectedReading, ...]:
    """Select readings one by one until the candidates are separated.

    Parameters
    ----------
    predicted : (K, N) array
        What each candidate predicts, dB; two candidates at least.
    covariance : (N, N) array
        Errors of all readings, dB squared.
    usable : (N,) bool array
        Readings that may be selected.
    most : int
        How many at most.

    Returns
    -------
    tuple of SelectedReading
        In the order of selection; fewer than `most` where a further one would gain less than
        `LEAST_GAIN`, or where the largest probability of confusion is `ENOUGH` or less.
    """
    pairs = [predicted[i] - predicted[j] for i, j in combinations(range(len(predicted)), 2)]
    chosen: list[int] = []
    selected: list[SelectedReading] = []
    mean_before = 0.5
    while len(selected) < most and not (selected and selected[-1].largest_confusion <= ENOUGH):
        rest = [n for n in np.flatnonzero(usable).tolist() if n not in chosen]
        if not rest:
            break
        confusion = [_confusion(pairs, covariance, [*chosen, n]) for n in rest]
        best = min(range(len(rest)), key=lambda at: float(np.mean(confusion[at])))
        if np.mean(confusion[best]) > mean_before - LEAST_GAIN:
            break
        mean_before = float(np.mean(confusion[best]))
        chosen.append(rest[best])
        selected.append(SelectedReading(chosen[-1], float(max(confusion[best]))))
    return tuple(selected)


def pairwise_confusion(
    predicted: np.ndarray, covariance: np.ndarray, selected: Sequence[SelectedReading]
) -> dict[tuple[int, int], float]:
    """Probability of confusing each pair of candidates once all selected readings are taken.

    Parameters
    ----------
    predicted : (K, N) array
        What each candidate predicts, dB.
    covariance : (N, N) array
        Errors of all readings, dB squared.
    selected : sequence of SelectedReading

    Returns
    -------
    dict of (int, int) to float
        0.5 for every pair where no reading was selected.
    """
    pairs = list(combinations(range(len(predicted)), 2))
    if not selected:
        return dict.fromkeys(pairs, 0.5)
    differences = [predicted[i] - predicted[j] for i, j in pairs]
    some = [one.index for one in selected]
    return dict(zip(pairs, _confusion(differences, covariance, some), strict=True))


def _confusion(pairs: list[np.ndarray], covariance: np.ndarray, some: list[int]) -> list[float]:
    part = covariance[np.ix_(some, some)]
    return [confusion_probability(mahalanobis_distance(pair[some], part)) for pair in pairs]
