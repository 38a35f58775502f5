"""The measuring plan: where to stand, what to read, and what the few telling readings should be.

Levels are compared as differences: at one place less the reference in the same band, or after a
cut less before it at the same place. Then what the driver does by itself, the amplifier's level
and the meter's own error fall out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from pydantic import ValidationError

from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design, DesignError, Mistake
from studies.design.errors import mistakes_in
from studies.design.workshop_tables import MeasuringTable
from studies.measured.positions import Position
from studies.questions.meter.around import Asked, Foreseen, foresee
from studies.questions.meter.open_question import Contender, Kind, OpenQuestion, open_question
from studies.questions.meter.places import (
    BEHIND_POST,
    BESIDE_POST,
    FAR_SIDE,
    FARTHER,
    QUARTER_TURN,
    REFERENCE,
    Stand,
    stands_of,
    widest_radius,
)
from studies.questions.meter.telling import Told, chances_of_mistakes, most_telling
from studies.solving.grid import COARSE_PER_BAND, FINE_PER_BAND, Progress, Solver

INSTRUMENT_OPTIONS = ("instrument", "turntable", "distance", "wall")
"""Keys of the measuring table that options can replace."""
MOST_READINGS = 6
"""Readings that are called telling at most; more are no longer few."""
MOST_STEP_BANDS = 4


@dataclass(frozen=True, eq=False)
class Shaving:
    """What the meter shows at the reference on the way from the tallest cap to the best.

    Attributes
    ----------
    stops : tuple of Contender
        From tall to short, the best last.
    too_far : Contender or None
        The next height beyond the near-best range.
    change_db : (S, B) array
        At each stop, and when too far: level less that under the tallest cap, dB.
    doubt_db : (B,) array
        Standard deviation of such a change, dB.
    bands : tuple of int
        Those that tell best when it is time to stop.
    also : tuple of int
        Others that change much on the way, `MOST_STEP_BANDS` in all.
    """

    stops: tuple[Contender, ...]
    too_far: Contender | None
    change_db: np.ndarray
    doubt_db: np.ndarray
    bands: tuple[int, ...]
    also: tuple[int, ...]

    @property
    def way(self) -> tuple[Contender, ...]:
        """The stops, and what would be too far."""
        return (*self.stops, *((self.too_far,) if self.too_far else ()))

    @property
    def shown(self) -> tuple[int, ...]:
        """Bands worth reading after each cut, ascending."""
        return tuple(sorted((*self.bands, *self.also)))


@dataclass(frozen=True, eq=False)
class Meter:
    """The plan.

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
    foreseen : Foreseen
        Levels at the places, how far each may be off, and which bands may be compared.
    question : OpenQuestion
    contenders_db : (K, P, B) array
        Levels of each candidate.
    told : tuple of Told
        The few telling readings; their numbers count through places and bands.
    mistaken : mapping of (int, int) to float
        For each pair of candidates: chance of taking one for the other after those readings.
    shaving : Shaving or None
    responses : tuple of Response
        Every solve at the places.
    """

    design: Design
    assembly: Assembly
    stands: tuple[Stand, ...]
    left_out: Mapping[str, str]
    foreseen: Foreseen
    question: OpenQuestion
    contenders_db: np.ndarray
    told: tuple[Told, ...]
    mistaken: Mapping[tuple[int, int], float]
    shaving: Shaving | None
    responses: tuple[Response, ...] = field(repr=False)

    @property
    def measuring(self) -> MeasuringTable:
        """What there is to measure with."""
        return self.design.tables.measuring

    @property
    def relative_db(self) -> np.ndarray:
        """(P, B) predicted readings: level less that at the reference in the same band, dB."""
        return self.foreseen.level_db - self.foreseen.level_db[:1]

    @property
    def contenders_relative_db(self) -> np.ndarray:
        """(K, P, B) the same of each candidate."""
        return self.contenders_db - self.contenders_db[:, :1]

    def place_and_band(self, told: Told) -> tuple[int, int]:
        """Place and band of a telling reading."""
        return divmod(told.reading, len(self.foreseen.centres))

    @property
    def centres(self) -> np.ndarray:
        """(B,) exact centres of the bands, Hz."""
        return self.foreseen.centres

    @property
    def whole_pattern_below_hz(self) -> float:
        """Above it, Hz, the meter is too near for the pattern far away: c R / D^2.

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


def meter(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = COARSE_PER_BAND,
    question: Kind | None = None,
    among: Sequence[float] = (),
) -> Meter:
    """Make the plan.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band for the search of the near-best; what is predicted for
        the meter is solved at `FINE_PER_BAND` or more.
    question : {"keep", "plate gap"}, optional
        What is open; left out, the height to keep where the file asks for it.
    among : sequence of float
        Sizes to tell apart, m; left out, the near-best ones.

    Raises
    ------
    DesignError
        If the room does not hold the reference place, or nothing can be told apart.
    """
    assembly, fine = design.assembly(), max(per_band, FINE_PER_BAND)
    stands, left_out = stands_of(design, assembly)
    asked = open_question(design, solver, per_band, progress, question, among)
    ask = Asked(design, solver, fine, progress)
    foreseen = foresee(design, assembly, stands, ask, asked.kind == "plate gap")
    positions = [stand.position for stand in stands]
    levels = np.array([ask(c.assembly, positions).level_db for c in asked.contenders])
    told, mistaken = _told(levels, stands, foreseen)
    return Meter(
        design,
        assembly,
        stands,
        left_out,
        foreseen,
        asked,
        levels,
        told,
        mistaken,
        _shaving(asked, ask, positions, foreseen),
        ask.responses,
    )


def _told(
    levels: np.ndarray, stands: Sequence[Stand], foreseen: Foreseen
) -> tuple[tuple[Told, ...], dict[tuple[int, int], float]]:
    """The telling readings, and for each pair of candidates the chance of a mistake after them."""
    relative = (levels - levels[:, :1]).reshape(len(levels), -1)
    usable = foreseen.fair & tells_candidates(stands)[:, None]
    covariance = foreseen.doubts.covariance
    told = most_telling(relative, covariance, usable.ravel(), MOST_READINGS)
    return told, chances_of_mistakes(relative, covariance, told)


def tells_candidates(stands: Sequence[Stand]) -> np.ndarray:
    """(P,) whether a place tells candidates apart: only those of another elevation do."""
    same = (REFERENCE, BEHIND_POST, BESIDE_POST, QUARTER_TURN, FAR_SIDE, FARTHER)
    return np.array([stand.position.name not in same for stand in stands])


def _shaving(
    asked: OpenQuestion, ask: Asked, positions: Sequence[Position], foreseen: Foreseen
) -> Shaving | None:
    if len(asked.stops) < 2:
        return None
    way = [*asked.stops, *([asked.too_far] if asked.too_far else [])]
    levels = np.array([ask(stop.assembly, positions).level_db[0] for stop in way])
    change = levels - levels[0]
    # As if the room did nothing alike before and after a cut: on the safe side.
    doubt = np.sqrt(2.0) * foreseen.doubts.alone_db[0]
    # Time to stop is told by the best, the stop before it and what lies beyond.
    last = change[len(asked.stops) - 2 :]
    told = most_telling(last, np.diag(doubt**2), foreseen.fair[0], MOST_STEP_BANDS)
    bands = tuple(sorted(one.reading for one in told))
    # A mean change over the cuts, so that no single large one decides.
    busy = np.mean(np.abs(np.diff(change, axis=0)), axis=0) / doubt
    others = [b for b in np.argsort(-busy) if foreseen.fair[0, b] and b not in bands]
    also = tuple(int(band) for band in others[: MOST_STEP_BANDS - len(bands)])
    return Shaving(asked.stops, asked.too_far, change, doubt, bands, also)
