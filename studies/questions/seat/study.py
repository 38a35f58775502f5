"""What reaches the seats: direct sound, first bounces, impulse responses.

The column is the same all round, so the image of a seat in floor, ceiling or wall is one more point
in the half plane: the wave solver gives the pressure there exactly, near field and phase included,
and what the image hears in free air is what the seat hears by way of the surface. Levels of bounces
are of energy; their sum with the direct sound, and a wall close behind the column, are added wave
by wave. It stops at first bounces off bare planes: no second bounces, no room modes, no furniture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain, count

import numpy as np

from dispersion.bands import (
    band_edges,
    band_means,
    octaves_of,
    study_frequencies,
    third_octave_centres,
)
from dispersion.curves import Curves, curves_by_need, curves_on_a_grid
from dispersion.elevations import level_db
from dispersion.impulse import BandLimits, bins, samples_for
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.ripple import Ripple
from dispersion.room import DIRECT, air_loss, first_bounces, share_reflected
from shapes.assembly import Assembly
from studies.design import Design
from studies.questions.seat.delays import SeatDelays, seat_delays
from studies.questions.seat.impulses import SeatImpulse, seat_impulse
from studies.questions.seat.listener import FLOOR, RUG_HZ, Arrival, FloorCheck, Listener, Rug
from studies.questions.seat.loudness import Loudness, loudness
from studies.questions.seat.pair import TwoColumns, require_apart, two_columns
from studies.questions.seat.shadows import Shaded, shaded
from studies.solving.grid import (
    COARSE_PER_BAND,
    FINE_BY_NEED,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    counted,
    problem_of,
    read_per_band,
)
from studies.solving.leaning import levels_at_seats
from studies.solving.posted import are_solved, solve_posts
from studies.solving.seating import Ears, Seating, Sitter, seating_of

READ_PER_BAND = 48
"""Frequencies in a third octave at which the curves are read for band values."""


@dataclass(frozen=True, eq=False, kw_only=True)
class SeatStudy:
    """What reaches every seat of a design: answer of `roundcast seat`.

    Attributes
    ----------
    design : Design
    assembly : Assembly
    seating : Seating
    curves : Curves
        The pressure at every point that was asked for.
    centres : (B,) array
        Third-octave bands, Hz.
    frequencies : (F,) array
        Frequencies of `Listener.behind_curve_db`, Hz.
    listeners : tuple of Listener
        One for each seat, in the file's order: the first is the main seat.
    pattern_rms_db, pattern_worst_db : float
        Difference of the bounces by the far-field pattern, at the angle of each, from those by the
        pressure solved at the image: rms over bounces and bands, and the largest, dB. Those that
        pass the column are left out.
    loudness : Loudness or None
        How loud it can be by the cone's travel; None where the file gives none.
    pair : TwoColumns or None
        What differs off the middle seat; None where the file does not say how far apart two are.
    """

    design: Design
    assembly: Assembly
    seating: Seating
    curves: Curves = field(repr=False)
    centres: np.ndarray
    frequencies: np.ndarray
    listeners: tuple[Listener, ...]
    pattern_rms_db: float
    pattern_worst_db: float
    loudness: Loudness | None = field(default=None, repr=False)
    pair: TwoColumns | None = field(default=None, repr=False)

    @property
    def main(self) -> Listener:
        """The main seat."""
        return self.listeners[0]

    @property
    def rug(self) -> Rug | None:
        """The rug that takes the floor's bounce on its way to the main seat; None without one."""
        floor = next((one for one in self.main.bounces if one.path.surface == FLOOR), None)
        if floor is None:
            return None
        whole, (ring, ears) = floor.path.path_m, (self.seating.speaker.height, self._ears_height)
        near, far = (whole * height / (ring + ears) for height in (ring, ears))
        radius = math.sqrt(self.design.air.speed / RUG_HZ * near * far / whole)
        return Rug(floor.spot_m, 2.0 * radius * whole / (ring + ears), 2.0 * radius)

    @property
    def _ears_height(self) -> float:
        return self.main.sitter.place.height

    @property
    def quarter_wave_hz(self) -> float:
        """Frequency at which the wall behind is a quarter of a wave from the column's axis, Hz."""
        return self.design.air.speed / (4.0 * self.seating.near_wall)

    @property
    def read_between_db(self) -> float:
        """Largest error met between solved frequencies, dB re the pressure in the band."""
        return float(level_db(self.curves.worst_error**2))

    @property
    def octaves_hz(self) -> tuple[float, ...]:
        """(O,) centres of the octave bands of which a third octave was found, Hz."""
        return tuple(centre for centre, _ in octaves_of(self.centres))

    def by_octave_db(self, levels_db: np.ndarray) -> list[float]:
        """(O,) level of the mean energy of the third octaves (B,) in each octave band, dB."""
        octaves = (levels_db[among] for _, among in octaves_of(self.centres))
        return [float(level_db(np.mean(10.0 ** (levels / 10.0)))) for levels in octaves]


def seat(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_BY_NEED,
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
    fineness : int or ByNeed
        Frequencies in a third-octave band with splines in between, or as many as it takes.
    length : float, optional
        Length of the impulse responses, seconds; as long as they must be if left out.

    Raises
    ------
    DesignError
        If there is no seat, or speaker or seats do not fit into the room.
    dispersion.impulse.ImpulseError
        If `length` is too short for the latest bounce or the lowest frequency, or too long.
    """
    assembly = design.assembly()
    seating = seating_of(design, assembly)
    require_apart(design)
    samples = samples_for(_limits(design), _last_arrival(design, seating), length)
    problem = problem_of(design, assembly, read_per_band(fineness))
    free = replace(problem, points=seating.points)
    solved = _solved(design, free, fineness, _in_rounds(solver, progress, "at the seats"))
    seats = np.vstack([sitter.here.points[:1] for sitter in seating.sitters])
    on_floor = None
    if design.tables.room.floor:
        stands = replace(problem, points=seats, floor=True)
        rounds = _in_rounds(solver, progress, "column on the floor")
        on_floor = _solved(design, stands, fineness, rounds)
    centres = third_octave_centres(*design.target.band)
    passing = shaded(design, problem, seating, centres, solver, progress)
    reading = _Reading(design, seating, solved, on_floor, samples, passing)
    ripples = _with_posts(design, assembly, seats, solver, progress)
    leaning = levels_at_seats(design, assembly, seats, solver, progress)
    listeners = tuple(
        replace(reading.listener(sitter, number), posts=ripples[number], askew=leaning[number])
        for number, sitter in enumerate(seating.sitters)
    )
    off_db = _pattern_errors(design, seating, solved, listeners, passing)
    return SeatStudy(
        design=design,
        assembly=assembly,
        seating=seating,
        curves=solved,
        centres=centres,
        frequencies=reading.frequencies,
        listeners=listeners,
        pattern_rms_db=float(np.sqrt(np.mean(np.square(off_db)))),
        pattern_worst_db=float(np.max(np.abs(off_db))),
        loudness=loudness(design, problem, reading.direct, reading.drive),
        pair=two_columns(design, seating, solved),
    )


def _with_posts(
    design: Design,
    assembly: Assembly,
    seats: np.ndarray,
    solver: Solver,
    progress: Progress | None,
) -> tuple[Ripple | None, ...]:
    """What posts change of the direct sound at each seat as the column is turned, if solved."""
    if not are_solved(design, assembly, solver):
        return (None,) * len(seats)
    problem = problem_of(design, assembly, COARSE_PER_BAND)
    problem = replace(problem, elevations=np.zeros(1), points=seats)
    around = solve_posts(design, problem, solver, progress)
    return around.ripples_at_points(assembly.standing_posts)


def _limits(design: Design) -> BandLimits:
    """Edges of the lowest and the highest third octave."""
    lower, upper = band_edges(third_octave_centres(*design.target.band))
    return BandLimits(float(lower[0]), float(upper[-1]))


def _last_arrival(design: Design, seating: Seating) -> float:
    return max(sitter.here.distances.max() for sitter in seating.sitters) / design.air.speed


def _solved(design: Design, problem: Problem, fineness: Fineness, solver: Solver) -> Curves:
    if isinstance(fineness, ByNeed):
        return curves_by_need(problem, solver, design.window_deg, fineness.within_db)
    return curves_on_a_grid(problem, solver)


def _in_rounds(solver: Solver, progress: Progress | None, stage: str) -> Solver:
    """Return a solver that names the stage of its progress by the round."""
    stages = chain([stage], (f"{stage}, closer, round {n}" for n in count(1)))

    def solve(problem: Problem) -> Response:
        return solver(problem, progress=counted(progress, next(stages), len(problem.frequencies)))

    return solve


@dataclass(frozen=True, eq=False)
class _Reading:
    """Finds everything at a seat from the curves.

    `on_floor` are those of the seats with the column on a rigid floor; `samples` is the length of
    an impulse response; `passing` is what the column makes of bounces that pass it.
    """

    design: Design
    seating: Seating
    solved: Curves
    on_floor: Curves | None
    samples: int
    passing: Shaded

    @cached_property
    def frequencies(self) -> np.ndarray:
        return study_frequencies(*self.design.target.band, READ_PER_BAND)

    @cached_property
    def bins(self) -> np.ndarray:
        return bins(self.samples)

    def listener(self, sitter: Sitter, number: int) -> Listener:
        behind = self.pressure(sitter.behind, self.frequencies)
        behind *= self.phase(sitter.behind, self.frequencies)
        powers = np.abs(np.column_stack((behind.sum(axis=1), behind[:, 0]))) ** 2
        together, alone = self.bands(powers).T
        here = self.pressure(sitter.here, self.frequencies)
        here *= self.phase(sitter.here, self.frequencies)
        direct = [path.surface == DIRECT for path in sitter.here.paths]
        heard = np.column_stack((here.sum(axis=1), here[:, direct].sum(axis=1)))
        summed, straight = self.bands(np.abs(heard) ** 2).T
        return Listener(
            sitter=sitter,
            arrivals=self.arrivals(sitter.here),
            other_arrivals=self.arrivals(sitter.there),
            summed_db=level_db(summed / straight),
            behind_db=level_db(together / alone),
            behind_curve_db=level_db(powers[:, 0] / powers[:, 1]),
            impulse=self.impulse(sitter.here),
            delays=self.delays(number),
            floor=self.floor_check(sitter.here, number),
            shadows_db=self.shadows(sitter.here) | self.shadows(sitter.behind),
        )

    def shadows(self, ears: Ears) -> dict[str, np.ndarray]:
        """(B,) dB by surface: what the column makes of each bounce that passes it."""
        power = np.abs(self.passing.on(ears, self.frequencies)) ** 2
        levels = level_db(band_means(self.frequencies, power)[1]).T
        every = zip(ears.paths, levels, strict=True)
        return {path.surface: level for path, level in every if self.passing.passes(ears, path)}

    def pressure(self, ears: Ears, frequencies: np.ndarray) -> np.ndarray:
        """(F, P) pressure re 0 dB, the driver alone, at 1 m, losses in air and surface included.

        The phase of the distance is left out.
        """
        limits = _limits(self.design)
        held = np.clip(frequencies, limits.low, limits.high)
        lost_db = np.outer(air_loss(self.design.air, held), ears.distances)
        taken = [self.seating.absorption[path.surface] for path in ears.paths]
        kept = np.column_stack([share_reflected(one, held) for one in taken])
        near = self.solved.near(frequencies, ears.numbers)
        kept = np.sqrt(kept) * self.passing.on(ears, held)
        return near / ears.distances * kept * 10.0 ** (-lost_db / 20.0)

    def direct(self, frequencies: np.ndarray) -> np.ndarray:
        """(F, S) direct sound at the seats over rho A / (2 pi), the driver's own response in it."""
        ears = [sitter.here for sitter in self.seating.sitters]
        near = self.solved.near(frequencies, [one.first for one in ears])
        away = np.array([one.distances[0] for one in ears])
        return near * self.solved.alone(frequencies)[:, None] / away

    def drive(self, frequencies: np.ndarray) -> np.ndarray:
        """(F,) volume acceleration of the cone over A."""
        return self.solved.response.reference.drive(frequencies)[0]

    def bands(self, power: np.ndarray) -> np.ndarray:
        """(B, ...) band values of |p|^2 re 0 dB at `frequencies`, (F, ...)."""
        own = np.abs(self.solved.alone(self.frequencies)) ** 2
        return band_means(self.frequencies, power, own)[1]

    def phase(self, ears: Ears, frequencies: np.ndarray) -> np.ndarray:
        """(F, P) phase factor of the distance, exp(ikR)."""
        k = 2.0 * np.pi * frequencies / self.design.air.speed
        return np.exp(1j * np.outer(k, ears.distances))

    def arrivals(self, ears: Ears) -> tuple[Arrival, ...]:
        power = np.abs(self.pressure(ears, self.frequencies)) ** 2
        levels = level_db(self.bands(power)).T
        speaker = self.seating.speaker
        found = [
            Arrival(path, float(np.hypot(*(path.spot - speaker.position)[:2])), level)
            for path, level in zip(ears.paths, levels, strict=True)
        ]
        return tuple(sorted(found, key=lambda one: one.path.delay_s))

    def impulse(self, ears: Ears) -> SeatImpulse:
        # The driver's own curve, phase and all, belongs to what is heard.
        pressure = (self.pressure(ears, self.bins) * self.solved.alone(self.bins)[:, None]).T
        delays = ears.distances / self.design.air.speed
        return seat_impulse(
            list(pressure), delays.tolist(), _limits(self.design), self.samples, self.bins
        )

    def delays(self, number: int) -> SeatDelays:
        def heard(frequencies: np.ndarray) -> np.ndarray:
            return self.direct(frequencies)[:, number]

        return seat_delays(heard, self.solved.alone, self.frequencies)

    def floor_check(self, ears: Ears, number: int) -> FloorCheck | None:
        """Compare the exact pressure at a seat, by its number, with direct and image."""
        if self.on_floor is None:
            return None
        f = self.frequencies
        exact = self.on_floor.near(f, [number])[:, 0]
        two = [path.surface in (DIRECT, "floor") for path in ears.paths]
        paths = self.solved.near(f, ears.numbers) / ears.distances * self.phase(ears, f)
        powers = np.column_stack((exact / ears.distances[0], paths[:, two].sum(axis=1)))
        levels = level_db(self.bands(np.abs(powers) ** 2)).T
        return FloorCheck(*levels)


def _pattern_errors(
    design: Design,
    seating: Seating,
    solved: Curves,
    listeners: tuple[Listener, ...],
    passing: Shaded,
) -> list[np.ndarray]:
    """(B,) level by the far-field pattern less that by the solved pressure, dB, of every bounce."""
    centres = third_octave_centres(*design.target.band)
    pattern, elevations = level_db(solved.power), solved.response.problem.elevations
    off = []
    for listener in listeners:
        place = listener.sitter.place
        expected = first_bounces(
            seating.room, seating.speaker, place, elevations, pattern, centres, design.air
        )
        by_pattern = {bounce.surface: bounce.level_db for bounce in expected}
        here = listener.sitter.here
        for bounce in (one for one in listener.bounces if not passing.passes(here, one.path)):
            off.append(by_pattern[bounce.path.surface] - listener.re_direct_db(bounce))
    return off
