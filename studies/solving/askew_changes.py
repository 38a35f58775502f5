"""What hanging askew changes where it is asked for: at positions, of a pattern, of mean powers.

What is known finely of a design hung straight is kept. What [askew] changes of it is solved at a
few frequencies in each third octave: that askew over, or less, that hung straight, solved alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from dispersion.allround import STRAIGHT, Displacement, half_circle
from dispersion.bands import band_means, third_octave_centres
from dispersion.problem import Problem
from dispersion.ripple import Balance
from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.positions import Position
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, problem_of
from studies.solving.leaning import (
    SOLVED_FROM_HZ,
    as_hung,
    bands_solved,
    change_db,
    solve_both,
    solve_hung,
)
from studies.solving.posted import NOTHING_SOLVED, ChangeAround, given_to
from studies.solving.predicting import places

FEW_AZIMUTHS = 8
"""Half way round: enough for a mean, which is exact up to order 15."""
MEAN_STEP_DEG = 1.0
"""Between elevations, where means of all directions are taken."""


def askew_at_positions(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    progress: Progress | None = None,
    band: tuple[float, float] | None = None,
) -> ChangeAround | None:
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
    ChangeAround or None
        (P, B), dB; None where the file does not say that it hangs askew.
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
) -> ChangeAround:
    """What hanging so changes at positions, (P, B) in dB; see `askew_at_positions`."""
    found = np.zeros((len(positions), len(third_octave_centres(*band))))
    noted = [at for at, position in enumerate(positions) if position.azimuth_deg is not None]
    frequencies = bands_solved(band)
    if not noted or not frequencies.size:
        return ChangeAround(found, NOTHING_SOLVED)
    from_side = [_from_side(design, float(positions[at].azimuth_deg or 0.0)) for at in noted]
    azimuths, numbers = np.unique(np.round(from_side, 6), return_inverse=True)
    points = places([positions[at] for at in noted], design.column_height)
    leaning, straight = solve_both(
        design, assembly, displaced, frequencies, points, azimuths, solver, progress
    )
    _, changes = change_db(leaning, straight)
    first, bands = len(leaning.problem.elevations), changes.shape[0]
    for row, (at, number) in enumerate(zip(noted, numbers, strict=True)):
        found[at, -bands:] = changes[:, first + row, number]
    return ChangeAround(found, leaning.balance)


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
    frequencies = bands_solved((centres[0], centres[-1]))
    if given_to(solver) is None or not frequencies.size:
        return None
    problem = replace(
        problem_of(design, assembly),
        frequencies=frequencies,
        elevations=np.zeros(1),
        points=places(positions, design.column_height),
    )
    hung = Displacement(shift=shift)
    leaning = solve_hung(design, problem, hung, np.array([0.0, 180.0]), solver, progress)
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
) -> ChangeAround | None:
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
    found, balance = np.zeros(shape, dtype=complex), NOTHING_SOLVED
    if solved.any():
        there = replace(problem, frequencies=problem.frequencies[solved], points=problem.points[:0])
        askew = solve_hung(design, there, displaced, from_side, solver, progress)
        straight = solve_hung(design, there, STRAIGHT, np.zeros(1), solver, progress)
        found[solved] = askew.pressure - straight.pressure
        balance = askew.balance
    return ChangeAround(found, balance)


class PowersAskew(NamedTuple):
    """Mean power of all azimuths as [askew] says that it hangs, and hung straight.

    Attributes
    ----------
    problem : Problem
        With the frequencies and elevations of what follows.
    power, straight : (F, E) array
        Over 0 dB.
    alone : (F,) array
        Power of what 0 dB is, see `Reference.alone`.
    balance : Balance
    """

    problem: Problem
    power: np.ndarray
    straight: np.ndarray
    alone: np.ndarray
    balance: Balance


def powers_askew(
    design: Design, assembly: Assembly, solver: Solver, progress: Progress | None = None
) -> PowersAskew:
    """Find the mean power of all azimuths as [askew] says that it hangs, and hung straight."""
    displaced = as_hung(design, assembly, solver) or STRAIGHT
    problem = problem_of(design, assembly, COARSE_PER_BAND)
    elevations = np.linspace(-90.0, 90.0, round(180.0 / MEAN_STEP_DEG) + 1)
    problem = replace(problem, elevations=elevations, points=problem.points[:0])
    straight = solve_hung(design, problem, STRAIGHT, np.zeros(1), solver, progress)
    power, balance = straight.power[:, :, 0].copy(), NOTHING_SOLVED
    high = problem.frequencies >= SOLVED_FROM_HZ
    if high.any():
        there = replace(problem, frequencies=problem.frequencies[high])
        azimuths = half_circle(FEW_AZIMUTHS)
        leaning = solve_hung(design, there, displaced, azimuths, solver, progress)
        power[high], balance = leaning.power.mean(axis=2), leaning.balance
    alone = np.abs(straight.reference.alone(problem.frequencies)) ** 2
    return PowersAskew(problem, power, straight.power[:, :, 0], alone, balance)


def _from_side(design: Design, azimuth_deg: float) -> float:
    """Azimuth from the side to which it hangs, degrees: both sides of that are the same."""
    hangs = design.tables.askew
    towards = 0.0 if hangs is None else math.degrees(hangs.towards)
    return abs((azimuth_deg - towards + 180.0) % 360.0 - 180.0)
