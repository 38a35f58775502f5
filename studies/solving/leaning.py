"""What hangs off the centre or tilted, solved: levels round the column, and at the seats."""

from __future__ import annotations

import math
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
from dispersion.ripple import Balance
from shapes.assembly import Assembly
from shapes.lengths import in_own
from studies.design import Design, DesignError, Mistake
from studies.solving.grid import Progress, Solver, counted, problem_of
from studies.solving.posted import IN_WINDOW, given_to, solving_by

SOLVED_FROM_HZ = 500.0
"""Below, a millimetre or half a degree is a thousandth of a wave."""
PER_BAND = 8
"""Frequencies in a third octave. What a millimetre off costs a seat of the example differs in
single bands above 5 kHz by up to 0.07 dB from that of 12, that of 4 by up to 0.34: narrow peaks."""
AZIMUTHS = 18
"""Half way round: 10 degrees apart."""


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
    balance : Balance
    """

    centres: np.ndarray
    azimuths_deg: np.ndarray
    level_db: np.ndarray = field(repr=False)
    balance: Balance

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


def left_out_in_words(design: Design) -> list[str]:
    """Say that how it hangs does not count here; nothing where the file says nothing of it."""
    hangs = design.tables.askew
    if hangs is None or not (hangs.shift or hangs.tilt):
        return []
    return [
        f"That it hangs {hung_in_words(design)} is left out: that counts by the wave solver only,"
        f" from {SOLVED_FROM_HZ:.0f} Hz up, and where something hangs."
    ]


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
    frequencies = bands_solved(design.target.band)
    if given_to(solver) is None or assembly.upper is None or not frequencies.size:
        return None
    problem = problem_of(design, assembly)
    problem = replace(
        problem,
        frequencies=frequencies,
        elevations=np.linspace(*design.window_deg, IN_WINDOW),
        points=problem.points[:0],
    )
    leaning = solve_hung(design, problem, displaced, half_circle(AZIMUTHS), solver, progress)
    centres, power = band_means(problem.frequencies, leaning.power.mean(axis=1))
    return _levels(leaning, centres, 10.0 * np.log10(power))


def levels_at_seats(
    design: Design,
    assembly: Assembly,
    points: np.ndarray,
    solver: Solver,
    progress: Progress | None = None,
) -> tuple[RoundLevels | None, ...]:
    """What [askew] changes at points (P, 2) in the air as the column is turned; None if nothing."""
    displaced, frequencies = as_hung(design, assembly, solver), bands_solved(design.target.band)
    if displaced is None or not frequencies.size:
        return (None,) * len(points)
    leaning, straight = solve_both(
        design, assembly, displaced, frequencies, points, half_circle(AZIMUTHS), solver, progress
    )
    centres, changes = change_db(leaning, straight)
    first = len(leaning.problem.elevations)
    return tuple(_levels(leaning, centres, changes[:, first + n]) for n in range(len(points)))


def bands_solved(band: tuple[float, float], per_band: int | None = None) -> np.ndarray:
    """Frequencies of the bands that are solved; none where all lie lower."""
    centres = third_octave_centres(*band)
    centres = centres[centres >= 0.99 * SOLVED_FROM_HZ]
    if not centres.size:
        return centres
    return study_frequencies(centres[0], centres[-1], per_band or PER_BAND)


def solve_both(
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
        solve_hung(design, problem, displaced, azimuths, solver, progress),
        solve_hung(design, problem, STRAIGHT, np.zeros(1), solver, progress),
    )


def solve_hung(
    design: Design,
    problem: Problem,
    displaced: Displacement,
    azimuths: np.ndarray,
    solver: Solver,
    progress: Progress | None,
) -> Leaning:
    """Solve it at the problem's frequencies; DesignError where it cannot be."""
    stage = "hung straight" if displaced == STRAIGHT else "hung askew"
    how = solving_by(solver, counted(progress, stage, len(problem.frequencies)))
    try:
        return solve_leaning(problem, displaced, azimuths, how)
    except AllRoundError as refusal:
        raise DesignError(design.path, (Mistake("askew", str(refusal)),)) from None


def change_db(leaning: Leaning, straight: Leaning) -> tuple[np.ndarray, np.ndarray]:
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
        balance=leaning.balance,
    )
