"""The measuring plan: places, predicted readings, the few that separate candidates, the cuts.

Levels are compared as differences: at one place less the reference in the same band, or after a
cut less before it at the same place. The driver's own curve, the amplifier's level and the
meter's own error then cancel.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
from pydantic import ValidationError

from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design, DesignError, Mistake
from studies.design.errors import mistakes_in
from studies.design.workshop_tables import MeasuringTable
from studies.measured.hung import NOTHING, keep_hung
from studies.questions.meter.open_question import Kind, OpenQuestion, open_question
from studies.questions.meter.places import FARTHER, Stand, stands_of, widest_radius
from studies.questions.meter.prediction import PlacePredictions, PlacePredictor, predict_places
from studies.questions.meter.selection import (
    SelectedReading,
    covariance_of,
    honest_confusion,
    select_readings,
)
from studies.questions.meter.shaving import Shaving, shaving_of, way_down
from studies.solving.grid import (
    CHANGES_BY_NEED,
    COARSE_PER_BAND,
    FINE_PER_BAND,
    ByNeed,
    Fineness,
    Progress,
    Solver,
)
from studies.solving.levels_of_members import (
    MemberSolving,
    build_of,
    in_the_room,
    levels_of_members,
    range_of,
    spread_of,
    sure_change,
)
from studies.solving.members import Member
from studies.solving.members import members as members_of_file
from studies.solving.ranking import to_rank
from studies.solving.uncertainty import Uncertainty

FIRST_TO_FILL = "driver-to-fill.csv"
"""The sheet of what is read before anything else, to find the driver."""
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
    members_db : (M, P, B) array
        Levels of the design as written in every member of the ensemble, dB.
    question : OpenQuestion
    contenders_db : (K, P, B) array
        Levels of each candidate with the very sizes of the file, dB.
    contenders_members_db : (K, M, P, B) array
        The same in every member.
    selected : tuple of SelectedReading
        The few readings that separate the candidates; indices count through places and bands.
    confusion : mapping of (int, int) to float
        For each pair of candidates: probability of taking one for the other after such readings, in
        a speaker that is none of the members.
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
    members_db: np.ndarray
    question: OpenQuestion
    contenders_db: np.ndarray
    contenders_members_db: np.ndarray
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

    @cached_property
    def relative_range_db(self) -> np.ndarray:
        """(2, P, B) ends of what nine of ten members read, dB."""
        return range_of(self.members_db - self.members_db[:, :1])

    @property
    def widest(self) -> tuple[int, int]:
        """Place and band of the reading that differs most over the members, as indices."""
        low, high = self.relative_range_db
        width = (high - low) * self.predicted.comparable
        place, band = np.unravel_index(int(np.argmax(width)), width.shape)
        return int(place), int(band)

    @cached_property
    def uncertainty_db(self) -> np.ndarray:
        """(P, B) standard deviation of each difference from the reference, as written, dB."""
        return self.predicted.uncertainty.with_shared(spread_of(self.members_db)).difference_db

    @cached_property
    def contenders_uncertainty(self) -> Uncertainty:
        """Errors of the readings by which the candidates are told apart."""
        return self.predicted.uncertainty.with_shared(spread_of(self.contenders_members_db))

    @property
    def contenders_relative_db(self) -> np.ndarray:
        """(K, P, B) level of each candidate less its level at the reference, dB."""
        return self.contenders_db - self.contenders_db[:, :1]

    @cached_property
    def contenders_range_db(self) -> np.ndarray:
        """(2, K, P, B) ends of what nine of ten members read of each candidate, dB."""
        return range_of(np.moveaxis(relative_to_reference(self.contenders_members_db), 1, 0))

    @cached_property
    def range_db(self) -> np.ndarray:
        """(P, B) reading of the largest candidate less that of the smallest, dB.

        What nine of ten members show at least; 0 where they differ in sign.
        """
        relative = relative_to_reference(self.contenders_members_db)
        return sure_change(relative[-1] - relative[0])

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
    def nothing_hangs(self) -> bool:
        """True over a bare column: no gap is open, and readings tell only which driver it is."""
        return not hangs(self.assembly)

    @property
    def first_hung(self) -> tuple[str, ...]:
        """What to read every place under before anything is cut, to find the driver: two.

        As sheets have it, see `studies.measured.hung`; none where the driver is known or nothing
        hangs.
        """
        if self.nothing_hangs or self.design.known is not None:
            return ()
        stops = self.question.stops
        return NOTHING, keep_hung(stops[0].size) if stops else ""

    @property
    def temperature(self) -> float | None:
        """Of the room, degrees C; None where it was not stated."""
        return self.measuring.temperature

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


def hangs(assembly: Assembly) -> bool:
    """Return whether a plate or a reflector hangs over the driver."""
    return assembly.plate is not None or assembly.reflector is not None


def fit_option(design: Design) -> str:
    """Return the option of `roundcast overlay` that finds all it can of a driver."""
    return "--fit-cone" if design.cone_is_open else "--fit"


def relative_to_reference(levels: np.ndarray) -> np.ndarray:
    """(..., P, B) levels less those at the first place, dB."""
    return levels - levels[..., :1, :]


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
    design = in_the_room(design)
    assembly = design.assembly()
    fine = CHANGES_BY_NEED if isinstance(fineness, ByNeed) else max(fineness, FINE_PER_BAND)
    stands, left_out = stands_of(design, assembly)
    asked = open_question(design, solver, fineness, progress, question, among)
    predictor = PlacePredictor(design, solver, fine, progress)
    predicted = predict_places(design, assembly, stands, predictor)
    changed_db = predicted.changed_db  # likewise of every candidate and build
    positions = [stand.position for stand in stands]
    way, contenders = way_down(asked), asked.contenders
    built = [one.assembly for one in (*contenders, *way)]
    levels = np.array([predictor(one, positions).level_db for one in built])
    every = members_but_for(asked.kind, design)
    members = levels_of_members(
        design,
        [assembly, *built],
        positions,
        MemberSolving(solver=to_rank(solver, fineness), fineness=fineness, progress=progress),
        every,
    )
    builds, count = build_of(members, every), len(contenders)
    told = _told_apart(predicted, members[1 : 1 + count], stands, builds)
    shaving = None
    if way:
        down = np.swapaxes(members[1 + count :, :, 0], 0, 1)
        shaving = shaving_of(asked, levels[count:, 0], down, predicted, builds)
    return Meter(
        design=design,
        assembly=assembly,
        stands=stands,
        left_out=left_out,
        predicted=predicted,
        members_db=members[0] + changed_db,
        question=asked,
        contenders_db=levels[:count] + changed_db,
        contenders_members_db=members[1 : 1 + count] + changed_db,
        selected=told[0],
        confusion=told[1],
        shaving=shaving,
        responses=predictor.responses,
    )


def members_but_for(kind: Kind, design: Design) -> list[Member]:
    """Return the members with the size that is asked as built: it is no error of its own."""
    off = {"keep": 0.0} if kind == "keep" else {"gap": 0.0}
    return [(replace(build, **off), moves) for build, moves in members_of_file(design)]


def _told_apart(
    predicted: PlacePredictions,
    members: np.ndarray,
    stands: Sequence[Stand],
    builds: np.ndarray,
) -> tuple[tuple[SelectedReading, ...], dict[tuple[int, int], float]]:
    """The readings that tell candidates apart, and how surely they do."""
    readings = relative_to_reference(members).reshape(*members.shape[:2], -1)
    separating = np.array([stand.separates_candidates for stand in stands])
    usable = (predicted.comparable & separating[:, None]).ravel()
    noise = predicted.uncertainty.covariance
    covariance = noise + covariance_of(readings)
    selected = select_readings(readings.mean(axis=1), covariance, usable, MOST_READINGS)
    if not selected:
        return (), dict.fromkeys(combinations(range(len(members)), 2), 0.5)
    return selected, honest_confusion(readings, noise, usable, MOST_READINGS, builds)
