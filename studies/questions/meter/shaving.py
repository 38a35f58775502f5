"""Change of the level at the reference after each cut in every member, and when to stop cutting."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from studies.questions.meter.open_question import Contender, OpenQuestion
from studies.questions.meter.prediction import PlacePredictions
from studies.questions.meter.stop_rule import Steps, StopRule, chance_of_a_good_stop, stop_rule
from studies.solving.levels_of_members import range_of, sure_change
from studies.solving.target import METER_DB

MOST_STEP_BANDS = 4
"""Most bands that are read after each cut."""
ENOUGH = 0.8
"""Chance of a good stop from which on a meter tells when to stop."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shaving:
    """Predicted change at the reference on the way from the tallest cap to the best.

    Attributes
    ----------
    stops : tuple of Contender
        From tall to short, the best last.
    too_far : Contender or None
        The next height below the near-best range.
    change_db : (S, B) array
        Level less that under the tallest cap with the very sizes of the file, dB; a row for each
        stop and one for `too_far`.
    members_db : (M, S, B) array
        The same in every member of the ensemble.
    noise_db : (B,) array
        Standard deviation of one reading, dB.
    good : (S,) bool array
        Rows within the near-best range.
    rule : StopRule or None
        When to stop; None where no band may be read.
    chance : float
        Of a stop within the near-best range by that rule, in a speaker that is none of the members.
    also : tuple of int
        Bands besides those of the rule that change much on the way, `MOST_STEP_BANDS` in all.
    """

    stops: tuple[Contender, ...]
    too_far: Contender | None
    change_db: np.ndarray
    members_db: np.ndarray
    noise_db: np.ndarray
    good: np.ndarray
    rule: StopRule | None
    chance: float
    also: tuple[int, ...]

    @property
    def way(self) -> tuple[Contender, ...]:
        """The stops, and `too_far` where there is one: one for each row of `change_db`."""
        return (*self.stops, *((self.too_far,) if self.too_far else ()))

    @property
    def tells(self) -> bool:
        """True if a meter tells when to stop."""
        return self.rule is not None and self.chance >= ENOUGH

    @property
    def bands(self) -> tuple[int, ...]:
        """Bands of the rule, where it tells."""
        return tuple(sorted(self.rule.bands)) if self.rule is not None and self.tells else ()

    @property
    def shown(self) -> tuple[int, ...]:
        """Bands worth reading after each cut, ascending."""
        return tuple(sorted((*self.bands, *self.also)))

    @property
    def last(self) -> int:
        """Number of the stop at which to stop: its row in `change_db`."""
        return len(self.stops) - 1

    @cached_property
    def range_db(self) -> np.ndarray:
        """(2, S, B) ends of what nine of ten members show, dB."""
        return range_of(self.members_db)

    @cached_property
    def sum_range_db(self) -> np.ndarray:
        """(2, S) ends of the sum that is to be added up, in nine of ten members, dB."""
        if self.rule is None:
            return np.zeros((2, len(self.good)))
        return range_of(self.rule.sums_db(self.members_db))

    @property
    def uncertainty_db(self) -> np.ndarray:
        """(S, B) standard deviation of a change: of two readings, and over the members, dB."""
        over = self.members_db.std(axis=0, ddof=1)
        return np.hypot(np.sqrt(2.0) * self.noise_db, over)

    @property
    def steps_db(self) -> np.ndarray:
        """(S - 1, B) change from each stop to the next that nine of ten members show, dB."""
        return sure_change(np.diff(self.members_db, axis=1))[: self.last]

    @property
    def shows_on_a_meter(self) -> bool:
        """True if some band surely changes by `METER_DB` or more in one step."""
        return bool(np.max(np.abs(self.steps_db)) >= METER_DB)


def way_down(asked: OpenQuestion) -> tuple[Contender, ...]:
    """Return every height that is come to: the stops, and one too far; none if nothing is shaved.

    Parameters
    ----------
    asked : OpenQuestion
        Its stops are the cuts.
    """
    if len(asked.stops) < 2:
        return ()
    return (*asked.stops, *([asked.too_far] if asked.too_far else []))


def shaving_of(
    asked: OpenQuestion,
    levels_db: np.ndarray,
    members_db: np.ndarray,
    predicted: PlacePredictions,
    builds: np.ndarray,
) -> Shaving:
    """Say what each cut changes at the reference, and when to stop.

    Parameters
    ----------
    asked : OpenQuestion
    levels_db : (S, B) array
        At the reference on the `way_down`, with the very sizes of the file, dB.
    members_db : (M, S, B) array
        The same in every member.
    predicted : PlacePredictions
        The reference first.
    builds : (M,) int array
        Which build each member is of.
    """
    change, changes = levels_db - levels_db[0], members_db - members_db[:, :1]
    # As if the room did nothing alike before and after a cut: on the safe side.
    noise, comparable = predicted.uncertainty.independent_db[0], predicted.comparable[0]
    good = np.array([_near_best(asked, one) for one in way_down(asked)])
    steps = Steps(changes[:, 1:], good[1:], noise)
    rule = stop_rule(steps, comparable)
    chance = 0.0 if rule is None else chance_of_a_good_stop(steps, comparable, builds)
    bands = () if rule is None or chance < ENOUGH else rule.bands
    # A mean change over the cuts, so that no single large one decides.
    busy = np.mean(np.abs(sure_change(np.diff(changes, axis=1))), axis=0) / noise
    others = [int(band) for band in np.argsort(-busy) if comparable[band] and band not in bands]
    return Shaving(
        stops=asked.stops,
        too_far=asked.too_far,
        change_db=change,
        members_db=changes,
        noise_db=noise,
        good=good,
        rule=rule,
        chance=chance,
        also=tuple(others[: MOST_STEP_BANDS - len(bands)]),
    )


def _near_best(asked: OpenQuestion, one: Contender) -> bool:
    return asked.near_best is not None and asked.near_best.holds(one.size)
