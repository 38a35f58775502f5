"""What hangs off the centre or tilted, solved: levels and pressure round the column.

Where something else is known finely of a design hung straight, what hanging askew changes is taken:
that askew over, or less, that hung straight, solved alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.allround import (
    STRAIGHT,
    AllRoundError,
    Displacement,
    Leaning,
    half_circle,
    solve_leaning,
)
from dispersion.bands import band_means, study_frequencies, third_octave_centres
from dispersion.problem import Problem
from dispersion.waves import DEFAULT_SETTINGS
from shapes.assembly import Assembly
from shapes.lengths import in_own
from studies.design import Design, DesignError, Mistake
from studies.measured.positions import Position
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, counted, problem_of
from studies.solving.posted import IN_WINDOW, given_to
from studies.solving.predicting import places

SOLVED_FROM_HZ = 500.0
"""Below, a millimetre or half a degree is a thousandth of a wave."""
AZIMUTHS, FEW_AZIMUTHS = 18, 8
"""Half way round: 10 degrees apart; enough for a mean, which is exact up to order 15."""
MEAN_STEP_DEG = 1.0
"""Between elevations, where means of all directions are taken."""


@dataclass(frozen=True, eq=False, kw_only=True)
class RoundLevels:
    """Level by azimuth, third octave by third octave; posts left out.

    Attributes
    ----------
    centres : (B,) array
        Exact centres of the bands, Hz.
    azimuths_deg : (A,) array
        From the side to which the part is displaced, half way round: the other half is the same.
    level_db : (B, A) array
        Mean power of the window, dB re 0 dB; at a seat, dB over that hung straight.
    power_error_db : float
        Largest imbalance of power, dB.
    finer : (F,) array
        How many times finer than asked for each mesh was, to mend that balance.
    """

    centres: np.ndarray
    azimuths_deg: np.ndarray
    level_db: np.ndarray = field(repr=False)
    power_error_db: float
    finer: np.ndarray = field(repr=False)

    @property
    def side_db(self) -> np.ndarray:
        """(B,) what a seat on the worst side gains or loses: first harmonic of the level, dB."""
        once_round = np.cos(np.radians(self.azimuths_deg))
        return 2.0 * np.abs(np.mean(self.level_db * once_round, axis=1))

    @property
    def swing_db(self) -> np.ndarray:
        """(B,) lowest to highest, dB."""
        return np.ptp(self.level_db, axis=1)

    @property
    def mean_db(self) -> np.ndarray:
        """(B,) level of the mean power round the column, dB re 0 dB."""
        return 10.0 * np.log10(np.mean(10.0 ** (self.level_db / 10.0), axis=1))

    @property
    def right_round(self) -> tuple[np.ndarray, np.ndarray]:
        """Azimuths (2 A,) right round, degrees, and the level there, (B, 2 A), dB."""
        back = slice(None, None, -1)
        azimuths = np.concatenate((self.azimuths_deg, 360.0 - self.azimuths_deg[back]))
        return azimuths, np.concatenate((self.level_db, self.level_db[:, back]), axis=1)

    @property
    def about_mean_db(self) -> np.ndarray:
        """Level less the mean of its band, as `right_round`, (B, 2 A), dB."""
        return self.right_round[1] - self.mean_db[:, None]

    @property
    def best_azimuth_deg(self) -> float:
        """Where the bands are nearest their means (least rms), from the side displaced to."""
        off = np.mean((self.level_db - self.mean_db[:, None]) ** 2, axis=0)
        return float(self.azimuths_deg[off.argmin()])


def as_hung(design: Design, assembly: Assembly, solver: Solver) -> Displacement | None:
    """How reflector and plate hang by the file's [askew].

    None where it says nothing of it, nothing hangs, or the method is another than waves.
    """
    hangs = design.tables.askew
    if hangs is None or assembly.upper is None or given_to(solver) is None:
        return None
    displaced = Displacement(shift=hangs.shift, tilt=hangs.tilt)
    return None if displaced == STRAIGHT else displaced


def hung_in_words(design: Design) -> str:
    """How it hangs by [askew]: "2 mm off the centre and tilted by 0.5 degrees"."""
    hangs = design.tables.askew
    if hangs is None:
        return "straight"
    words = f"{in_own(hangs.shift)} off the centre and tilted by {math.degrees(hangs.tilt):.1f}"
    return f"{words} degrees towards azimuth {math.degrees(hangs.towards):.0f}"


def levels_askew(
    design: Design,
    assembly: Assembly,
    displaced: Displacement,
    solver: Solver,
    progress: Progress | None = None,
) -> RoundLevels | None:
    """Solve column and reflector with an axis each, from `SOLVED_FROM_HZ` up.

    None where nothing hangs, the band ends below, or the method is another than waves.
    """
    frequencies = _frequencies(design.target.band)
    if given_to(solver) is None or assembly.upper is None or not frequencies.size:
        return None
    problem = problem_of(design, assembly)
    problem = replace(
        problem,
        frequencies=frequencies,
        elevations=np.linspace(*design.window_deg, IN_WINDOW),
        points=problem.points[:0],
    )
    leaning = _solved(design, problem, displaced, half_circle(AZIMUTHS), solver, progress)
    centres, power = band_means(problem.frequencies, leaning.power.mean(axis=1))
    return _levels(leaning, centres, 10.0 * np.log10(power))


def powers_askew(
    design: Design, assembly: Assembly, solver: Solver, progress: Progress | None = None
) -> tuple[Problem, np.ndarray, np.ndarray, np.ndarray]:
    """Mean power of all azimuths as [askew] says that it hangs, and hung straight.

    Returns
    -------
    problem : Problem
        With the frequencies and elevations of what follows.
    power, straight : (F, E) array
        Over 0 dB.
    alone : (F,) array
        Power of what 0 dB is, see `Reference.alone`.
    """
    displaced = as_hung(design, assembly, solver) or STRAIGHT
    problem = problem_of(design, assembly, COARSE_PER_BAND)
    elevations = np.linspace(-90.0, 90.0, round(180.0 / MEAN_STEP_DEG) + 1)
    problem = replace(problem, elevations=elevations, points=problem.points[:0])
    straight = _solved(design, problem, STRAIGHT, np.zeros(1), solver, progress)
    power = straight.power[:, :, 0].copy()
    high = problem.frequencies >= SOLVED_FROM_HZ
    if high.any():
        there = replace(problem, frequencies=problem.frequencies[high])
        azimuths = half_circle(FEW_AZIMUTHS)
        leaning = _solved(design, there, displaced, azimuths, solver, progress)
        power[high] = leaning.power.mean(axis=2)
    alone = np.abs(straight.reference.alone(problem.frequencies)) ** 2
    return problem, power, straight.power[:, :, 0], alone


def levels_at_seats(
    design: Design,
    assembly: Assembly,
    points: np.ndarray,
    solver: Solver,
    progress: Progress | None = None,
) -> tuple[RoundLevels | None, ...]:
    """What [askew] changes at points (P, 2) in the air as the column is turned; None if nothing."""
    displaced, frequencies = as_hung(design, assembly, solver), _frequencies(design.target.band)
    if displaced is None or not frequencies.size:
        return (None,) * len(points)
    leaning, straight = _both(
        design, assembly, displaced, frequencies, points, half_circle(AZIMUTHS), solver, progress
    )
    centres, changes = _change_db(leaning, straight)
    first = len(leaning.problem.elevations)
    return tuple(_levels(leaning, centres, changes[:, first + n]) for n in range(len(points)))


def askew_at_positions(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    progress: Progress | None = None,
    band: tuple[float, float] | None = None,
) -> np.ndarray | None:
    """What [askew] changes at measuring positions, by third octave.

    Parameters
    ----------
    design, assembly, solver, progress
        As for `levels_askew`.
    positions : sequence of Position
        Where the azimuth was not noted nothing changes.
    band : (float, float), optional
        Lowest and highest third octave, Hz; the design's own if left out.

    Returns
    -------
    (P, B) array or None
        dB; None where the file does not say that it hangs askew.
    """
    displaced, wanted = as_hung(design, assembly, solver), band or design.target.band
    if displaced is None:
        return None
    return change_at_positions_of(design, assembly, displaced, positions, solver, progress, wanted)


def change_at_positions_of(
    design: Design,
    assembly: Assembly,
    displaced: Displacement,
    positions: Sequence[Position],
    solver: Solver,
    progress: Progress | None,
    band: tuple[float, float],
) -> np.ndarray:
    """(P, B) what hanging so changes at positions, dB; see `askew_at_positions`."""
    found = np.zeros((len(positions), len(third_octave_centres(*band))))
    noted = [at for at, position in enumerate(positions) if position.azimuth_deg is not None]
    frequencies = _frequencies(band)
    if not noted or not frequencies.size:
        return found
    from_side = [_from_side(design, float(positions[at].azimuth_deg or 0.0)) for at in noted]
    azimuths, numbers = np.unique(np.round(from_side, 6), return_inverse=True)
    points = places([positions[at] for at in noted], design.column_height)
    leaning, straight = _both(
        design, assembly, displaced, frequencies, points, azimuths, solver, progress
    )
    _, changes = _change_db(leaning, straight)
    first, bands = len(leaning.problem.elevations), changes.shape[0]
    for row, (at, number) in enumerate(zip(noted, numbers, strict=True)):
        found[at, -bands:] = changes[:, first + row, number]
    return found


def side_by_place(
    design: Design,
    assembly: Assembly,
    shift: float,
    positions: Sequence[Position],
    centres: np.ndarray,
    solver: Solver,
    progress: Progress | None = None,
) -> np.ndarray | None:
    """Half of what a place gains from the far side to the side that all hangs to, (P, B) dB.

    0 where a band is not solved; None by another method than waves.
    """
    frequencies = _frequencies((centres[0], centres[-1]))
    if given_to(solver) is None or not frequencies.size:
        return None
    problem = replace(
        problem_of(design, assembly),
        frequencies=frequencies,
        elevations=np.zeros(1),
        points=places(positions, design.column_height),
    )
    hung = Displacement(shift=shift)
    leaning = _solved(design, problem, hung, np.array([0.0, 180.0]), solver, progress)
    bands, power = band_means(frequencies, leaning.power[:, len(problem.elevations) :])
    found = np.zeros((len(positions), len(centres)))
    found[:, -len(bands) :] = 5.0 * np.log10(power[..., 0] / power[..., 1]).T
    return found


def pressure_change(
    design: Design,
    problem: Problem,
    azimuths_deg: np.ndarray,
    solver: Solver,
    progress: Progress | None = None,
) -> np.ndarray | None:
    """Far-field pressure as [askew] says less that hung straight, over 0 dB, (F, E, A).

    0 below `SOLVED_FROM_HZ`; None where the file does not say that it hangs askew.
    """
    assembly = problem.assembly
    displaced = as_hung(design, assembly, solver)
    if displaced is None:
        return None
    from_side = np.array([_from_side(design, float(azimuth)) for azimuth in azimuths_deg])
    shape = (len(problem.frequencies), len(problem.elevations), len(from_side))
    solved = problem.frequencies >= SOLVED_FROM_HZ
    found = np.zeros(shape, dtype=complex)
    if solved.any():
        there = replace(problem, frequencies=problem.frequencies[solved], points=problem.points[:0])
        askew = _solved(design, there, displaced, from_side, solver, progress)
        straight = _solved(design, there, STRAIGHT, np.zeros(1), solver, progress)
        found[solved] = askew.pressure - straight.pressure
    return found


def _from_side(design: Design, azimuth_deg: float) -> float:
    """Azimuth from the side to which it hangs, degrees: both sides of that are the same."""
    hangs = design.tables.askew
    towards = 0.0 if hangs is None else math.degrees(hangs.towards)
    return abs((azimuth_deg - towards + 180.0) % 360.0 - 180.0)


def _frequencies(band: tuple[float, float]) -> np.ndarray:
    """Frequencies of the bands that are solved; none where all lie lower."""
    centres = third_octave_centres(*band)
    centres = centres[centres >= 0.99 * SOLVED_FROM_HZ]
    return study_frequencies(centres[0], centres[-1], COARSE_PER_BAND) if centres.size else centres


def _both(
    design: Design,
    assembly: Assembly,
    displaced: Displacement,
    frequencies: np.ndarray,
    points: np.ndarray,
    azimuths: np.ndarray,
    solver: Solver,
    progress: Progress | None,
) -> tuple[Leaning, Leaning]:
    """As it hangs and hung straight, at points and straight out."""
    problem = replace(
        problem_of(design, assembly),
        frequencies=frequencies,
        elevations=np.zeros(1),
        points=points,
    )
    return (
        _solved(design, problem, displaced, azimuths, solver, progress),
        _solved(design, problem, STRAIGHT, np.zeros(1), solver, progress),
    )


def _solved(
    design: Design,
    problem: Problem,
    displaced: Displacement,
    azimuths: np.ndarray,
    solver: Solver,
    progress: Progress | None,
) -> Leaning:
    given, stage = (
        given_to(solver) or {},
        "hung straight" if displaced == STRAIGHT else "hung askew",
    )
    advance = counted(progress, stage, len(problem.frequencies))
    settings = given.get("settings", DEFAULT_SETTINGS)
    try:
        return solve_leaning(
            problem,
            displaced,
            azimuths,
            settings,
            given.get("workers"),
            advance,
            given.get("store"),
        )
    except AllRoundError as refusal:
        raise DesignError(design.path, (Mistake("askew", str(refusal)),)) from None


def _change_db(leaning: Leaning, straight: Leaning) -> tuple[np.ndarray, np.ndarray]:
    """(B,) centres, Hz, and (B, X, A) levels of one over those of the other, dB."""
    centres, power = band_means(leaning.problem.frequencies, leaning.power)
    return centres, 10.0 * np.log10(
        power / band_means(leaning.problem.frequencies, straight.power)[1]
    )


def _levels(leaning: Leaning, centres: np.ndarray, level_db: np.ndarray) -> RoundLevels:
    return RoundLevels(
        centres=centres,
        azimuths_deg=leaning.azimuths_deg,
        level_db=level_db,
        power_error_db=leaning.worst_power_error_db,
        finer=leaning.finer,
    )
