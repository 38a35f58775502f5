"""Predicted change of the level at the reference after each cut, and when to stop cutting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from studies.measured.positions import Position
from studies.questions.meter.open_question import Contender, OpenQuestion
from studies.questions.meter.prediction import PlacePredictions, PlacePredictor
from studies.questions.meter.selection import select_readings
from studies.solving.losses import least_change
from studies.solving.target import METER_DB

MOST_STEP_BANDS = 4
"""Most bands that are read after each cut."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shaving:
    """Predicted change at the reference on the way from the tallest cap to the best.

    Attributes
    ----------
    stops : tuple of Contender
        From tall to short, the best last.
    too_far : Contender or None
        The next height below the near-best range.
    change_db, soft_change_db : (S, B) array
        Level less that under the tallest cap, as it is and with a cone that absorbs, dB; a row for
        each stop and one for `too_far`.
    uncertainty_db : (S, B) array
        Standard deviation of such a change, dB.
    bands : tuple of int
        Bands that separate the best from the stop before it and from `too_far`.
    also : tuple of int
        Others that change much on the way, `MOST_STEP_BANDS` in all.
    """

    stops: tuple[Contender, ...]
    too_far: Contender | None
    change_db: np.ndarray
    soft_change_db: np.ndarray
    uncertainty_db: np.ndarray
    bands: tuple[int, ...]
    also: tuple[int, ...]

    @property
    def way(self) -> tuple[Contender, ...]:
        """The stops, and `too_far` where there is one: one for each row of `change_db`."""
        return (*self.stops, *((self.too_far,) if self.too_far else ()))

    @property
    def shown(self) -> tuple[int, ...]:
        """Bands worth reading after each cut, ascending."""
        return tuple(sorted((*self.bands, *self.also)))

    @property
    def last(self) -> int:
        """Number of the stop at which to stop: its row in `change_db`."""
        return len(self.stops) - 1

    @property
    def steps_db(self) -> np.ndarray:
        """(S - 1, B) sure change of the level from each stop to the next, dB."""
        return sure_steps(self.change_db, self.soft_change_db)[: self.last]

    @property
    def shows_on_a_meter(self) -> bool:
        """True if some band surely changes by `METER_DB` or more in one step."""
        return bool(np.max(np.abs(self.steps_db)) >= METER_DB)


def sure_steps(change_db: np.ndarray, soft_change_db: np.ndarray) -> np.ndarray:
    """(S - 1, B) change from each row to the next whatever the cone takes, dB: the smaller."""
    return least_change(np.diff(change_db, axis=0), np.diff(soft_change_db, axis=0))


def shaving_of(
    asked: OpenQuestion,
    predictor: PlacePredictor,
    positions: Sequence[Position],
    predicted: PlacePredictions,
) -> Shaving | None:
    """Predict what each cut changes at the reference; None where nothing is shaved.

    Parameters
    ----------
    asked : OpenQuestion
        Its stops are the cuts.
    predictor : PlacePredictor
    positions : sequence of Position
        Places of the plan, the reference first.
    predicted : PlacePredictions
        At the same places.
    """
    if len(asked.stops) < 2:
        return None
    way = [*asked.stops, *([asked.too_far] if asked.too_far else [])]
    levels = np.array([predictor(stop.assembly, positions).level_db[0] for stop in way])
    soft = np.array([predictor.with_soft_cone(stop.assembly, positions)[0] for stop in way])
    change, soft_change = levels - levels[0], soft - soft[0]
    comparable, half = predicted.comparable[0], 0.5 * (soft_change - change)
    # As if the room did nothing alike before and after a cut: on the safe side.
    sigma = np.sqrt(2.0) * predicted.uncertainty.independent_db[0]
    # Time to stop: the best must differ from the stop before it and from what lies beyond.
    last = slice(len(asked.stops) - 2, None)
    covariance = np.diag(sigma**2) + half[last].T @ half[last] / len(half[last])
    selected = select_readings(change[last], covariance, comparable, MOST_STEP_BANDS)
    bands = tuple(sorted(reading.index for reading in selected))
    # A mean change over the cuts, so that no single large one decides.
    busy = np.mean(np.abs(sure_steps(change, soft_change)), axis=0) / sigma
    others = [int(band) for band in np.argsort(-busy) if comparable[band] and band not in bands]
    return Shaving(
        stops=asked.stops,
        too_far=asked.too_far,
        change_db=change,
        soft_change_db=soft_change,
        uncertainty_db=np.hypot(sigma, half),
        bands=bands,
        also=tuple(others[: MOST_STEP_BANDS - len(bands)]),
    )
