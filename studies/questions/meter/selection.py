"""Selection of the few readings that separate candidates best: linear discriminant.

Candidates i predict readings y_i (N,), in the mean over the members of the ensemble; a measurement
is one of them plus errors with covariance C, the same for all, of drivers as well as of readings.
So what is chosen changes from candidate to candidate in all members alike. For a set S of readings
the Mahalanobis distance of two candidates is

    d'_ij = sqrt((y_i - y_j)_S^T  C_SS^-1  (y_i - y_j)_S)

and whoever takes the likelier of the two is wrong with probability

    Phi(-d'_ij / 2),      Phi the normal distribution,

at most 50 %. C_SS^-1 accounts for correlated errors: a
second reading with the same error as the first adds little, and where both see the same
disturbance but differ between the candidates, their difference is what counts.

Readings are taken one at a time, each time the one that lowers most the mean of that probability
over all pairs of candidates (forward selection: not always the best set, but nearly).

What is said of the chance is not that formula, which knows the very members by which it was chosen:
see `honest_confusion`.

Source: linear discriminant of two normal distributions of one covariance, textbook.
"""

from __future__ import annotations

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
    pairs = np.array([one - other for one, other in combinations(predicted, 2)])
    chosen: list[int] = []
    selected: list[SelectedReading] = []
    mean_before = 0.5
    while len(selected) < most and not (selected and selected[-1].largest_confusion <= ENOUGH):
        rest = [n for n in np.flatnonzero(usable).tolist() if n not in chosen]
        if not rest:
            break
        confusion = _confusion(pairs, covariance, np.array([[*chosen, n] for n in rest]))
        best = int(np.argmin(confusion.mean(axis=1)))
        if confusion[best].mean() > mean_before - LEAST_GAIN:
            break
        mean_before = float(confusion[best].mean())
        chosen.append(rest[best])
        selected.append(SelectedReading(chosen[-1], float(confusion[best].max())))
    return tuple(selected)


def honest_confusion(
    members: np.ndarray, noise: np.ndarray, usable: np.ndarray, most: int, builds: np.ndarray
) -> dict[tuple[int, int], float]:
    """Probability of confusing each pair of candidates, of a driver that is none of the members.

    Readings and weights are chosen by all members and tried on them, which is too hopeful, and
    without each build in turn and tried on it, which is not hopeful enough; the mean of both, as
    for `studies.questions.meter.stop_rule`.

    Parameters
    ----------
    members : (K, M, N) array
        What each candidate predicts in each member, dB.
    noise : (N, N) array
        Covariance of the errors that are not in the members, dB squared.
    usable : (N,) bool array
    most : int
        How many readings at most.
    builds : (M,) int array
        Which build each member is of.
    """
    hopeful = confusion_of(members, members, noise, usable, most)
    folds = [
        confusion_of(members[:, builds != build], members[:, builds == build], noise, usable, most)
        for build in np.unique(builds)
    ]
    return {
        pair: min(0.5 * float(hopeful[pair] + np.mean([fold[pair] for fold in folds])), 0.5)
        for pair in hopeful
    }


def confusion_of(
    chosen_by: np.ndarray, tried: np.ndarray, noise: np.ndarray, usable: np.ndarray, most: int
) -> dict[tuple[int, int], float]:
    """Probability of confusing each pair of candidates by readings that some members chose.

    Parameters
    ----------
    chosen_by, tried : (K, M, N) array
        What each candidate predicts in the members that choose, and in others, dB.
    noise, usable, most
        As for `honest_confusion`.
    """
    mean, covariance = chosen_by.mean(axis=1), noise + covariance_of(chosen_by)
    some = [one.index for one in select_readings(mean, covariance, usable, most)]
    part = np.ix_(some, some)
    return {
        (i, j): _wrong(
            mean[i, some],
            mean[j, some],
            (tried[i][:, some], tried[j][:, some]),
            covariance[part],
            noise[part],
        )
        for i, j in combinations(range(len(chosen_by)), 2)
    }


def covariance_of(members: np.ndarray) -> np.ndarray:
    """(K, M, N) predictions -> (N, N) covariance over the members, averaged over candidates."""
    off = (members - members.mean(axis=1, keepdims=True)).reshape(-1, members.shape[2])
    return off.T @ off / (len(members) * max(members.shape[1] - 1, 1))


def _wrong(
    one: np.ndarray,
    other: np.ndarray,
    ends: tuple[np.ndarray, np.ndarray],
    covariance: np.ndarray,
    noise: np.ndarray,
) -> float:
    """Probability, over the members of both candidates, that the discriminant takes one wrong."""
    from scipy.special import ndtr

    if not one.size:
        return 0.5
    weights = np.linalg.solve(covariance, one - other)
    middle, error = 0.5 * weights @ (one + other), float(np.sqrt(weights @ noise @ weights))
    if error == 0.0:
        return 0.5
    first, second = ((end @ weights - middle) / error for end in ends)
    return float(np.mean([ndtr(-first), ndtr(second)]))


def _confusion(pairs: np.ndarray, covariance: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """(R, Q) probability of confusing each of Q pairs by each of R sets of readings, (R, n)."""
    from scipy.special import ndtr

    difference = np.moveaxis(pairs[:, sets], 0, 2)  # R, n, Q
    parts = covariance[sets[:, :, None], sets[:, None, :]]
    squared = np.sum(difference * np.linalg.solve(parts, difference), axis=1)
    return np.asarray(ndtr(-0.5 * np.sqrt(np.maximum(squared, 0.0))))
