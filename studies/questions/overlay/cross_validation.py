"""Does a fit foretell angles that it has not seen? Some are left out, and foretold from the rest.

Fitting anew without some readings would cost as much as the fit each time. One step of least
squares from the solution, with the slopes there, comes close enough: x' = x + C (S r / s^2 - x),
all taken over the readings that are kept. What it foretells is then solved truly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from studies.measured.positions import Position
from studies.questions.overlay.estimating import centred, covariance_of, free_readings
from studies.questions.overlay.trials import Trials

MOST_GROUPS = 8
SAME_PLACE = 5e-3


@dataclass(frozen=True, eq=False)
class HeldOut:
    """How far angles that were left out lie from what the rest foretells.

    Attributes
    ----------
    groups : int
        So many times some positions were left out, each once.
    written_db, fitted_db : (P, B) array
        Measured less foretold, level or driver curve taken from the rest, dB: with the sizes as
        written, and with those that the rest gives; nan where the rest says nothing.
    """

    groups: int
    written_db: np.ndarray
    fitted_db: np.ndarray

    @property
    def errors_db(self) -> tuple[np.ndarray, np.ndarray]:
        """Both, in that order."""
        return self.written_db, self.fitted_db

    @property
    def rms_db(self) -> tuple[float, float]:
        """Root mean square of both, dB."""
        written, fitted = (float(np.sqrt(np.nanmean(error**2))) for error in self.errors_db)
        return written, fitted

    @property
    def better(self) -> bool:
        """Tell whether the fit foretells unseen angles better than what is written."""
        written, fitted = self.rms_db
        return fitted < written


def groups_of(positions: tuple[Position, ...], measured: np.ndarray) -> list[list[int]]:
    """Positions to leave out together: those at one distance and height, `MOST_GROUPS` at most."""
    places: dict[tuple[int, int], list[int]] = {}
    for number, at in enumerate(positions):
        if measured[number]:
            place = (round(at.r / SAME_PLACE), round(at.height / SAME_PLACE))
            places.setdefault(place, []).append(number)
    alone = list(places.values())
    count = min(MOST_GROUPS, len(alone))
    return [[one for place in alone[first::count] for one in place] for first in range(count)]


def hold_out(
    trials: Trials, widths: np.ndarray, slopes: np.ndarray, scale_db: float, by_band: bool
) -> HeldOut | None:
    """Leave angles out in turn.

    Parameters
    ----------
    trials : Trials
    widths : (K,) array
        The solution.
    slopes : (K, P, B) array
        There, dB for each prior width.
    scale_db : float
    by_band : bool
        Whether the common part is one number a band.

    Returns
    -------
    HeldOut or None
        None with one place only, or where what is left cannot foretell anything.
    """
    levels = trials.measured.level_db
    known = np.isfinite(levels)
    groups = groups_of(trials.measured.positions, known.any(axis=1))
    written, fitted = np.full(levels.shape, np.nan), np.full(levels.shape, np.nan)
    nowhere = np.zeros_like(widths)
    for group in groups:
        kept = known.copy()
        kept[group] = False
        if not kept.any() or free_readings(kept, by_band) < 1:
            continue
        moved = _without(trials, widths, slopes, scale_db, by_band, kept)
        for at, into in ((nowhere, written), (moved, fitted)):
            predicted = trials.levels(at)
            if predicted is not None:
                into[group] = _foretold(levels - predicted, kept, by_band)[group]
    both = np.isfinite(written) & np.isfinite(fitted)
    if not both.any():
        return None
    return HeldOut(len(groups), np.where(both, written, np.nan), np.where(both, fitted, np.nan))


def _without(
    trials: Trials,
    widths: np.ndarray,
    slopes: np.ndarray,
    scale_db: float,
    by_band: bool,
    kept: np.ndarray,
) -> np.ndarray:
    """Sizes that the readings kept would give, in prior widths."""
    left = centred(trials.measured.level_db - trials.levels(widths), kept, by_band)
    flat = centred(slopes, kept, by_band)
    step = covariance_of(flat, scale_db) @ (flat @ left / scale_db**2 - widths)
    return np.clip(widths + step, *trials.bounds)


def _foretold(difference: np.ndarray, kept: np.ndarray, by_band: bool) -> np.ndarray:
    """(P, B) what is left once the common part of the readings kept is taken off."""
    if not by_band:
        return difference - difference[kept].mean()
    counts = kept.sum(axis=0)
    total = np.where(kept, difference, 0.0).sum(axis=0)
    common = np.divide(total, counts, out=np.full(counts.shape, np.nan), where=counts > 0)
    return difference - common
