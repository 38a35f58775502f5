"""Cross-validation of a fit: some angles are left out, and predicted from a fit to the others.

Fitting again without some readings would cost as much as the fit each time. One Gauss-Newton step
from the solution with the Jacobian there comes close enough: x' = x + C (J r / s^2 - x), all over
the readings that are kept. The levels at x' are then solved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from studies.measured.positions import Position, by_place
from studies.questions.overlay.estimating import Residuals, centred, covariance_of, free_readings
from studies.questions.overlay.search import Search

MOST_GROUPS = 8


@dataclass(frozen=True, eq=False)
class CrossValidation(Residuals):
    """Residuals of positions that were left out, against a fit to the other positions.

    Attributes
    ----------
    written_db, fitted_db : (P, B) array
        Measured less predicted, level or driver curve taken from the other positions, dB: with
        the sizes as written, and with those fitted to the others; nan where these say nothing.
    groups : int
        Number of groups of positions; each is left out once.
    """

    groups: int


def groups_of(positions: tuple[Position, ...], measured: np.ndarray) -> list[list[int]]:
    """Divide the positions into groups that are left out together, `MOST_GROUPS` at most.

    Parameters
    ----------
    positions : tuple of Position
    measured : (P,) bool array
        Positions that count.

    Returns
    -------
    list of list of int
        Positions at one distance and height are in one group.
    """
    places = by_place(positions, np.flatnonzero(measured).tolist())
    count = min(MOST_GROUPS, len(places))
    return [[one for place in places[first::count] for one in place] for first in range(count)]


def cross_validate(search: Search) -> CrossValidation | None:
    """Leave every group of positions out in turn, and predict it from the others.

    Parameters
    ----------
    search : Search
        Finished.

    Returns
    -------
    CrossValidation or None
        None with one place only, or where the others do not determine a level.
    """
    trials, by_band = search.trials, search.by_band
    levels, known = trials.measured.level_db, search.known
    groups = groups_of(trials.measured.positions, known.any(axis=1))
    written, fitted = np.full(levels.shape, np.nan), np.full(levels.shape, np.nan)
    for group in groups:
        kept = known.copy()
        kept[group] = False
        if not kept.any() or free_readings(kept, by_band=by_band) < 1:
            continue
        for widths, into in (
            (np.zeros_like(search.widths), written),
            (_step(search, kept), fitted),
        ):
            predicted = trials.levels(widths)
            if predicted is not None:
                into[group] = _residual(levels - predicted, kept, by_band=by_band)[group]
    both = np.isfinite(written) & np.isfinite(fitted)
    if not both.any():
        return None
    return CrossValidation(
        np.where(both, written, np.nan), np.where(both, fitted, np.nan), len(groups)
    )


def _step(search: Search, kept: np.ndarray) -> np.ndarray:
    """(K,) sizes in prior widths after one Gauss-Newton step with the readings kept."""
    left = search.trials.measured.level_db - search.trials.built(search.widths)
    residual = centred(left, kept, by_band=search.by_band)
    jacobian = centred(search.jacobian, kept, by_band=search.by_band)
    gradient = jacobian @ residual / search.sigma_db**2 - search.widths
    step = covariance_of(jacobian, search.sigma_db) @ gradient
    return np.clip(search.widths + step, *search.trials.bounds)


def _residual(difference: np.ndarray, kept: np.ndarray, *, by_band: bool) -> np.ndarray:
    """(P, B) difference less its mean over the readings kept, of each band or of all."""
    if not by_band:
        return difference - difference[kept].mean()
    counts = kept.sum(axis=0)
    total = np.where(kept, difference, 0.0).sum(axis=0)
    mean = np.divide(total, counts, out=np.full(counts.shape, np.nan), where=counts > 0)
    return difference - mean
