"""What reaches the seats: direct sound, first bounces, impulse responses.

The column is the same all round, so the image of a seat in floor, ceiling or wall is one more point
in the half plane: the wave solver gives the pressure there exactly, near field and phase included,
and what the image hears in free air is what the seat hears by way of the surface. Levels are of
energy; only a wall close behind the column is added wave by wave. It stops at first bounces off
bare planes: no second bounces, no room modes, no furniture.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain, count

import numpy as np

from dispersion.bands import band_edges, band_means, study_frequencies, third_octave_centres
from dispersion.elevations import level_db
from dispersion.impulse import BandLimits, bins, samples_for
from dispersion.problem import Problem
from dispersion.refining import Refined, refined
from dispersion.response import Response
from dispersion.room import DIRECT, Path, air_loss, first_bounces, share_reflected
from shapes.assembly import Assembly
from studies.design import Design
from studies.questions.seat.impulses import SeatImpulse, seat_impulse
from studies.questions.seat.seating import Ears, Seating, Sitter, seating_of
from studies.solving.grid import FINE_PER_BAND, Progress, Solver, counted, problem_of

READ_PER_BAND = 48
"""Frequencies in a third octave at which the refined curves are read for band values."""
EARLY_S = 0.05
"""A bounce later than this no longer counts as early: the limit of ISO 3382-1 for speech [from
memory]."""


@dataclass(frozen=True, eq=False)
class Arrival:
    """Sound that reaches the ears on one path.

    Attributes
    ----------
    path : Path
    level_db : (B,) array
        Band level, dB relative to the house's 0 dB at 1 m: distance, air and surface included.
    """

    path: Path
    level_db: np.ndarray = field(repr=False)


@dataclass(frozen=True, eq=False)
class FloorCheck:
    """A seat in front of a column that stands on a rigid floor, two ways; (B,) arrays, dB.

    Attributes
    ----------
    exact_db : array
        From the wave solver with the floor in it, relative to 0 dB at 1 m.
    images_db : array
        Direct sound and the bounce off a floor that takes nothing, added wave by wave.
    """

    exact_db: np.ndarray
    images_db: np.ndarray


@dataclass(frozen=True, eq=False)
class Listener:
    """Everything at one seat.

    Attributes
    ----------
    sitter : Sitter
    arrivals : tuple of Arrival
        The direct sound, then every bounce, the earliest first.
    other_arrivals : tuple of Arrival
        The same at the other height of the ears.
    behind_db : (B,) array
        What a wall close behind the column adds to the direct sound, or takes from it.
    behind_curve_db : (F,) array
        The same at the study's `frequencies`.
    impulse : SeatImpulse
    floor : FloorCheck or None
    """

    sitter: Sitter
    arrivals: tuple[Arrival, ...]
    other_arrivals: tuple[Arrival, ...]
    behind_db: np.ndarray
    behind_curve_db: np.ndarray
    impulse: SeatImpulse
    floor: FloorCheck | None = None

    @property
    def name(self) -> str:
        """As in the file."""
        return self.sitter.seat.name

    @property
    def standing(self) -> bool:
        """Whether the seat as written is the standing one of the two."""
        return self.sitter.seat.ear_height > self.sitter.other_ears

    @property
    def direct(self) -> Arrival:
        """The direct sound."""
        return self.arrivals[0]

    @property
    def early_to_direct_db(self) -> np.ndarray:
        """(B,) energy of all early bounces over that of the direct sound, dB."""
        early = [one.level_db for one in self.arrivals[1:] if one.path.delay_s <= EARLY_S]
        energy = np.sum(10.0 ** (np.array(early) / 10.0), axis=0) if early else 0.0
        return level_db(energy / 10.0 ** (self.direct.level_db / 10.0))


@dataclass(frozen=True, eq=False)
class SeatStudy:
    """What reaches every seat of a design.

    Attributes
    ----------
    design : Design
    assembly : Assembly
    seating : Seating
    refined : Refined
        The solve behind everything.
    centres : (B,) array
        Third-octave bands, Hz.
    frequencies : (F,) array
        Of `Listener.behind_curve_db`, Hz.
    listeners : tuple of Listener
        In the file's order.
    pattern_db : (float, float)
        How far bounces by the far-field pattern at each one's angle lie from those by the solved
        pressure at the image: rms over bounces and bands, and the largest, dB.
    """

    design: Design
    assembly: Assembly
    seating: Seating
    refined: Refined = field(repr=False)
    centres: np.ndarray
    frequencies: np.ndarray
    listeners: tuple[Listener, ...]
    pattern_db: tuple[float, float]


def seat(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
    length: float | None = None,
) -> SeatStudy:
    """Find what reaches the seats of a design.

    Parameters
    ----------
    design : Design
    solver : callable
        The wave solver: phases count.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band to begin with; more are added where the curves bend.
    length : float, optional
        Of the impulse responses, seconds; left out, as long as they must be.

    Raises
    ------
    DesignError
        If there is no seat, or something of the room does not fit.
    dispersion.impulse.ImpulseError
        If `length` is too short for the latest bounce or the lowest frequency, or too long.
    """
    assembly = design.assembly()
    seating = seating_of(design, assembly)
    samples = samples_for(_limits(design), _last_arrival(design, seating), length)
    coarse = replace(problem_of(design, assembly, per_band), points=seating.points)
    solved = refined(coarse, _in_rounds(solver, progress))
    reading = _Reading(design, seating, solved, coarse.frequencies, samples)
    exact = _on_the_floor(coarse, seating, solver, progress) if design.tables.room.floor else None
    listeners = tuple(
        reading.listener(sitter, None if exact is None else exact.near[:, number])
        for number, sitter in enumerate(seating.sitters)
    )
    off = _pattern_error(design, seating, solved.response, coarse.frequencies, listeners)
    return SeatStudy(
        design,
        assembly,
        seating,
        solved,
        third_octave_centres(*design.target.band),
        reading.frequencies,
        listeners,
        off,
    )


def _limits(design: Design) -> BandLimits:
    """Edges of the lowest and the highest third octave."""
    lower, upper = band_edges(third_octave_centres(*design.target.band))
    return BandLimits(float(lower[0]), float(upper[-1]))


def _last_arrival(design: Design, seating: Seating) -> float:
    return max(sitter.here.distances.max() for sitter in seating.sitters) / design.air.speed


def _in_rounds(solver: Solver, progress: Progress | None) -> Solver:
    """Turn a solver into one that tells its rounds apart."""
    stages = chain(["at the seats"], (f"closer where it bends, round {n}" for n in count(1)))

    def solve(problem: Problem) -> Response:
        stage = next(stages)
        return solver(problem, progress=counted(progress, stage, len(problem.frequencies)))

    return solve


def _on_the_floor(
    coarse: Problem, seating: Seating, solver: Solver, progress: Progress | None
) -> Response:
    """Solve the seats once more with the column on a rigid floor."""
    seats = np.vstack([sitter.here.points[:1] for sitter in seating.sitters])
    problem = replace(coarse, points=seats, floor=True)
    stage = "column on the floor"
    return solver(problem, progress=counted(progress, stage, len(problem.frequencies)))


@dataclass(frozen=True, eq=False)
class _Reading:
    """Reads everything at a seat from the refined curves."""

    design: Design
    seating: Seating
    solved: Refined
    coarse: np.ndarray
    samples: int

    @cached_property
    def frequencies(self) -> np.ndarray:
        return study_frequencies(*self.design.target.band, READ_PER_BAND)

    @cached_property
    def bins(self) -> np.ndarray:
        return bins(self.samples)

    def listener(self, sitter: Sitter, on_floor: np.ndarray | None) -> Listener:
        behind = self.pressure(sitter.behind, self.frequencies)
        behind *= self.phase(sitter.behind, self.frequencies)
        powers = np.abs(np.column_stack((behind.sum(axis=1), behind[:, 0]))) ** 2
        together, alone = band_means(self.frequencies, powers)[1].T
        return Listener(
            sitter,
            self.arrivals(sitter.here),
            self.arrivals(sitter.there),
            level_db(together / alone),
            level_db(powers[:, 0] / powers[:, 1]),
            self.impulse(sitter.here),
            None if on_floor is None else self.floor_check(sitter.here, on_floor),
        )

    def pressure(self, ears: Ears, frequencies: np.ndarray) -> np.ndarray:
        """(F, P) over 0 dB at 1 m; air and surface included, the distance's phase left out."""
        limits = _limits(self.design)
        held = np.clip(frequencies, limits.low, limits.high)
        lost_db = np.outer(air_loss(self.design.air, held), ears.distances)
        taken = [self.seating.absorption[path.surface] for path in ears.paths]
        kept = np.column_stack([share_reflected(one, held) for one in taken])
        near = self.solved.near(frequencies, ears.numbers)
        return near / ears.distances * np.sqrt(kept) * 10.0 ** (-lost_db / 20.0)

    def phase(self, ears: Ears, frequencies: np.ndarray) -> np.ndarray:
        """(F, P) of the distance."""
        k = 2.0 * np.pi * frequencies / self.design.air.speed
        return np.exp(1j * np.outer(k, ears.distances))

    def arrivals(self, ears: Ears) -> tuple[Arrival, ...]:
        power = np.abs(self.pressure(ears, self.frequencies)) ** 2
        levels = level_db(band_means(self.frequencies, power)[1]).T
        found = [Arrival(path, level) for path, level in zip(ears.paths, levels, strict=True)]
        return tuple(sorted(found, key=lambda one: one.path.delay_s))

    def impulse(self, ears: Ears) -> SeatImpulse:
        pressure = self.pressure(ears, self.bins).T
        delays = ears.distances / self.design.air.speed
        return seat_impulse(
            list(pressure), delays.tolist(), _limits(self.design), self.samples, self.bins
        )

    def floor_check(self, ears: Ears, exact: np.ndarray) -> FloorCheck:
        """Hold the exact floor, at the coarse frequencies, against direct sound and image."""
        f = self.coarse
        two = [path.surface in (DIRECT, "floor") for path in ears.paths]
        paths = self.solved.near(f, ears.numbers) / ears.distances * self.phase(ears, f)
        powers = np.column_stack((exact / ears.distances[0], paths[:, two].sum(axis=1)))
        levels = level_db(band_means(f, np.abs(powers) ** 2)[1]).T
        return FloorCheck(*levels)


def _pattern_error(
    design: Design,
    seating: Seating,
    response: Response,
    coarse: np.ndarray,
    listeners: tuple[Listener, ...],
) -> tuple[float, float]:
    """Hold the bounces against those that the far-field pattern gives at each one's angle."""
    among = np.isin(response.problem.frequencies, coarse)
    centres, power = band_means(coarse, response.power[among])
    pattern, elevations = level_db(power), response.problem.elevations
    off = []
    for listener in listeners:
        place = listener.sitter.place
        bounces = first_bounces(
            seating.room, seating.speaker, place, elevations, pattern, centres, design.air
        )
        by_pattern = {bounce.surface: bounce.level_db for bounce in bounces}
        for arrival in listener.arrivals[1:]:
            level = arrival.level_db - listener.direct.level_db
            off.append(by_pattern[arrival.path.surface] - level)
    return float(np.sqrt(np.mean(np.square(off)))), float(np.max(np.abs(off)))
