"""The measuring plan: places, predicted readings, the few that separate candidates, the cuts.

Levels are compared as differences: at one place less the reference in the same band, or after a
cut less before it at the same place. The driver's own curve, the amplifier's level and the
meter's own error then cancel.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from pydantic import ValidationError

from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design, DesignError, Mistake
from studies.design.errors import mistakes_in
from studies.design.workshop_tables import MeasuringTable
from studies.questions.meter.open_question import Kind, OpenQuestion, open_question
from studies.questions.meter.places import FARTHER, Stand, stands_of, widest_radius
from studies.questions.meter.prediction import PlacePredictions, PlacePredictor, predict_places
from studies.questions.meter.selection import SelectedReading, pairwise_confusion, select_readings
from studies.questions.meter.shaving import Shaving, shaving_of
from studies.questions.meter.uncertainty import Uncertainty
from studies.solving.grid import (
    CHANGES_BY_NEED,
    COARSE_PER_BAND,
    FINE_PER_BAND,
    ByNeed,
    Fineness,
    Progress,
    Solver,
)
from studies.solving.losses import least_change

MOST_READINGS = 6
"""Most readings that are selected to separate candidates."""


@dataclass(frozen=True)
class RoomCheck:
    """Mean difference between the place twice as far and the reference, over the compared bands.

    Attributes
    ----------
    free_db : float
        In a free field, dB.
    in_room_db : float
        With the late sound of the room as stated, dB.
    """

    free_db: float
    in_room_db: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Meter:
    """A measuring plan with P places, B bands and K candidates.

    Attributes
    ----------
    design : Design
        With the measuring table that was used, options included.
    assembly : Assembly
        As written in the file: what is predicted.
    stands : tuple of Stand
        Where the meter stands; the reference first.
    left_out : mapping of str to str
        Places that the room does not hold, with the reason.
    predicted : PlacePredictions
        Levels of the design as written, their uncertainty, and which bands may be compared.
    question : OpenQuestion
    contenders_db, soft_contenders_db : (K, P, B) array
        Levels of each candidate, as it is and with a cone that absorbs, dB.
    selected : tuple of SelectedReading
        The few readings that separate the candidates; indices count through places and bands.
    confusion : mapping of (int, int) to float
        For each pair of candidates: probability of taking one for the other after those readings.
    shaving : Shaving or None
        None where nothing is shaved.
    responses : tuple of Response
        Every solve at the places.
    """

    design: Design
    assembly: Assembly
    stands: tuple[Stand, ...]
    left_out: Mapping[str, str]
    predicted: PlacePredictions
    question: OpenQuestion
    contenders_db: np.ndarray
    soft_contenders_db: np.ndarray
    selected: tuple[SelectedReading, ...]
    confusion: Mapping[tuple[int, int], float]
    shaving: Shaving | None
    responses: tuple[Response, ...] = field(repr=False)

    @property
    def measuring(self) -> MeasuringTable:
        """Instrument, turntable and room: the file's table, with what the options replace."""
        return self.design.tables.measuring

    @property
    def centres(self) -> np.ndarray:
        """(B,) exact centres of the bands, Hz."""
        return self.predicted.centres

    @property
    def compared_centres(self) -> np.ndarray:
        """(N,) exact centres of the bands that are compared at the reference, Hz, ascending."""
        return self.centres[self.predicted.comparable[0]]

    @property
    def relative_db(self) -> np.ndarray:
        """(P, B) predicted readings: level less that at the reference in the same band, dB."""
        return self.predicted.level_db - self.predicted.level_db[:1]

    @property
    def soft_relative_db(self) -> np.ndarray:
        """(P, B) the same with a cone that absorbs, dB."""
        return self.predicted.soft_level_db - self.predicted.soft_level_db[:1]

    @property
    def softest(self) -> tuple[int, int]:
        """Place and band of the reading that a cone that absorbs changes most, as indices."""
        change = np.abs(self.soft_relative_db - self.relative_db) * self.predicted.comparable
        place, band = np.unravel_index(int(np.argmax(change)), change.shape)
        return int(place), int(band)

    @cached_property
    def uncertainty_db(self) -> np.ndarray:
        """(P, B) standard deviation of each difference from the reference, as written, dB."""
        change = self.predicted.soft_level_db - self.predicted.level_db
        return self.predicted.uncertainty.with_shared(0.5 * change[None]).difference_db

    @cached_property
    def contenders_uncertainty(self) -> Uncertainty:
        """Errors of the readings by which the candidates are told apart."""
        return errors_among(self.predicted, self.contenders_db, self.soft_contenders_db)

    @property
    def contenders_relative_db(self) -> np.ndarray:
        """(K, P, B) level of each candidate less its level at the reference, dB."""
        return self.contenders_db - self.contenders_db[:, :1]

    @property
    def soft_contenders_relative_db(self) -> np.ndarray:
        """(K, P, B) the same with a cone that absorbs, dB."""
        return self.soft_contenders_db - self.soft_contenders_db[:, :1]

    @property
    def range_db(self) -> np.ndarray:
        """(P, B) predicted reading of the largest candidate less that of the smallest, dB.

        The smaller of both where a cone that absorbs changes it, 0 where it changes the sign.
        """
        hard, soft = self.contenders_relative_db, self.soft_contenders_relative_db
        return least_change(hard[-1] - hard[0], soft[-1] - soft[0])

    @property
    def range_over_uncertainty(self) -> np.ndarray:
        """(P, B) size of `range_db` in standard deviations of a reading; nan if not compared."""
        sigma = self.contenders_uncertainty.difference_db
        share = np.abs(self.range_db) / np.maximum(sigma, 1e-9)
        return np.where(self.predicted.comparable, share, np.nan)

    @property
    def largest_confusion(self) -> float:
        """Largest probability of confusing two candidates after the selected readings."""
        return max(self.confusion.values())

    @property
    def separating_places(self) -> tuple[int, ...]:
        """Places at another elevation than the reference's: only there do candidates differ."""
        return tuple(n for n, stand in enumerate(self.stands) if stand.separates_candidates)

    def place_and_band(self, reading: SelectedReading) -> tuple[int, int]:
        """Place and band of a selected reading, as indices."""
        return divmod(reading.index, len(self.centres))

    @property
    def lowest_gate(self) -> Stand:
        """The place whose gate closes first, so that its lower limit is the highest."""
        return max(self.stands, key=lambda stand: stand.one_period_hz)

    @property
    def room_check(self) -> RoomCheck | None:
        """What to expect twice as far away; None without that place or without compared bands."""
        far = [n for n, stand in enumerate(self.stands) if stand.position.name == FARTHER]
        bands = self.predicted.comparable[0]
        if not far or not bands.any():
            return None
        free = self.relative_db[far[0], bands].mean()
        return RoomCheck(free, free + self.predicted.late_db[far[0], bands].mean())

    @property
    def whole_pattern_below_hz(self) -> float:
        """Frequency below which the pattern at this distance is that far away, Hz: c R / D^2.

        R is the distance from the ring, D the widest part; a judgement of common practice.
        """
        widest = 2.0 * widest_radius(self.assembly)
        return self.design.air.speed * self.measuring.distance_from_ring / widest**2


def with_options(design: Design, given: Mapping[str, Any]) -> Design:
    """Return the design with keys of its measuring table replaced, as options name them.

    Raises
    ------
    DesignError
        If a value makes no sense; the message names the option.
    """
    try:
        asked = MeasuringTable.model_validate(dict(given), context={"unit": "mm"})
    except ValidationError as error:
        found = mistakes_in(error, given, MeasuringTable)
        mistakes = [Mistake(f"--{m.key.replace('_', '-')}", m.message) for m in found]
        raise DesignError(design.path, mistakes) from None
    changes = {key: getattr(asked, key) for key in given}
    measuring = design.tables.measuring.model_copy(update=changes)
    return replace(design, tables=design.tables.model_copy(update={"measuring": measuring}))


def errors_among(
    predicted: PlacePredictions, levels: np.ndarray, soft_levels: np.ndarray
) -> Uncertainty:
    """Return the errors of readings that are to tell K candidates apart.

    What the cone takes moves each candidate's readings in its own way, by half of what a cone that
    absorbs changes; the discriminant has one covariance for all, so theirs are averaged.

    Parameters
    ----------
    predicted : PlacePredictions
    levels, soft_levels : (K, P, B) array
        Of each candidate, as it is and with a cone that absorbs, dB.
    """
    halves = 0.5 * (soft_levels - levels) / np.sqrt(len(levels))
    return predicted.uncertainty.with_shared(halves)


def meter(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = COARSE_PER_BAND,
    question: Kind | None = None,
    among: Sequence[float] = (),
) -> Meter:
    """Plan which levels to measure where, and what they should be.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band for the search of the near-best, or as many as it takes;
        predictions for the meter are solved at `FINE_PER_BAND` or more, or by need.
    question : {"keep", "plate gap"}, optional
        What is to be found out; left out, the height to keep where the file has `[trim]`.
    among : sequence of float
        Sizes to separate, m; left out, the near-best ones.

    Raises
    ------
    DesignError
        If the room does not hold the reference place, or fewer than two candidates can be built.
    """
    assembly = design.assembly()
    fine = CHANGES_BY_NEED if isinstance(fineness, ByNeed) else max(fineness, FINE_PER_BAND)
    stands, left_out = stands_of(design, assembly)
    asked = open_question(design, solver, fineness, progress, question, among)
    predictor = PlacePredictor(design, solver, fine, progress)
    gap_is_open = asked.kind == "plate gap"
    predicted = predict_places(design, assembly, stands, predictor, gap_is_open=gap_is_open)
    positions = [stand.position for stand in stands]
    built = [contender.assembly for contender in asked.contenders]
    levels = np.array([predictor(one, positions).level_db for one in built])
    soft = np.array([predictor.with_soft_cone(one, positions) for one in built])
    relative = (levels - levels[:, :1]).reshape(len(levels), -1)
    separating = np.array([stand.separates_candidates for stand in stands])
    usable = (predicted.comparable & separating[:, None]).ravel()
    covariance = errors_among(predicted, levels, soft).covariance
    selected = select_readings(relative, covariance, usable, MOST_READINGS)
    return Meter(
        design=design,
        assembly=assembly,
        stands=stands,
        left_out=left_out,
        predicted=predicted,
        question=asked,
        contenders_db=levels,
        soft_contenders_db=soft,
        selected=selected,
        confusion=pairwise_confusion(relative, covariance, selected),
        shaving=shaving_of(asked, predictor, positions, predicted),
        responses=predictor.responses,
    )
