"""Bounces that pass the column on their way back to the seat, such as off a wall behind it.

What of the sound off that wall meets the column is solved by its own bodies, every azimuthal order,
as if it came from one point, the image of the middle of its gap. That point is what is least sure:
a speaker sends from all of its gap. Moved up or down by half of it on the example, with walls at 20
and 50 cm, a band's level at three seats moves by (rms, dB)

    ===========  =====  =====  =======  =====  ========  ======
    up to 1 kHz  2 kHz  4 kHz  6.3 kHz  8 kHz  12.5 kHz  16 kHz
    ===========  =====  =====  =======  =====  ========  ======
    0.08         0.18   0.44   0.81     1.3    3.4       5.7
    ===========  =====  =====  =======  =====  ========  ======

Read between the centres of third octaves it is within 0.2 dB (rms) of four frequencies a band, 0.7
at 16 kHz. What goes to and fro between column and wall after that is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import CubicSpline

from dispersion.allround import Crossing, solve_shadows
from dispersion.bands import band_edges
from dispersion.problem import Problem
from dispersion.room import Path
from dispersion.waves import DEFAULT_SETTINGS
from studies.design import Design
from studies.solving.grid import Progress, Solver, counted
from studies.solving.posted import given_to, solving_by
from studies.solving.ranking import RANKING
from studies.solving.seating import Ears, Seating

SURE_GAPS = 1.25
"""Up to a frequency at which the gap is so many wavelengths, 7 kHz on the example, that is about a
decibel; above, several."""
STAGE = "bounces that pass the column"
SETTINGS = replace(RANKING, column_wavelengths=np.inf)
"""The whole column on a coarser mesh: within 0.02 dB of the usual one on the example."""
NEAR = 2.0
"""A path that comes nearer to the axis than so many reaches of the column is asked of it."""


@dataclass(frozen=True, eq=False)
class Shaded:
    """What the column makes of bounces that pass it.

    Attributes
    ----------
    numbers : tuple of int
        N points of the study, those of `Seating.points`, whose paths pass the column.
    frequencies : (F,) array
        Ascending, Hz.
    factors : (F, N) complex array
        Pressure over that without the column in the way.
    """

    numbers: tuple[int, ...]
    frequencies: np.ndarray = field(repr=False)
    factors: np.ndarray = field(repr=False)

    def on(self, ears: Ears, frequencies: np.ndarray) -> np.ndarray:
        """(F, P) factors on the paths to a position of the ears, 1 where nothing is in the way."""
        found = np.ones((len(frequencies), len(ears.paths)), dtype=complex)
        if self.numbers:
            held = np.clip(frequencies, *self.frequencies[[0, -1]])
            read = CubicSpline(np.log(self.frequencies), self.factors)(np.log(held))
            for place, (number, _) in enumerate(ears.numbered):
                if number in self.numbers:
                    found[:, place] = read[:, self.numbers.index(number)]
        return found

    def passes(self, ears: Ears, path: Path) -> bool:
        """Whether one of the paths to a position of the ears passes the column."""
        return any(one is path and number in self.numbers for number, one in ears.numbered)


def crossings_of(design: Design, problem: Problem, seating: Seating) -> dict[int, Crossing]:
    """Return the paths that pass the column on their way to a seat, by the number of their point.

    Parameters
    ----------
    design : Design
    problem : Problem
        Its assembly is what stands in the way.
    seating : Seating
    """
    assembly, base = problem.assembly, design.column_height
    reach, top = np.vstack((assembly.lower_line, assembly.upper_line)).max(axis=0)
    found = {}
    for ears in seating.every_ears:
        axis = ears.axis
        for number, path in ears.numbered:
            source, place = (one - (*axis, base) for one in (path.source, ears.paths[0].image))
            if _passes(source, place, NEAR * reach, top + reach):
                found[number] = _crossing(source, place)
    return found


def shaded(
    design: Design,
    problem: Problem,
    seating: Seating,
    centres: np.ndarray,
    solver: Solver,
    progress: Progress | None = None,
) -> Shaded:
    """Solve what the column makes of the bounces that pass it.

    Parameters
    ----------
    design : Design
    problem : Problem
    seating : Seating
    centres : (B,) array
        Of the third octaves, Hz: solved there and at the lowest edge, it changes slowly in between.
    solver : callable
        Where it is not the wave solver, nothing is in the way.
    progress : callable, optional
        Called with (stage, done, total).
    """
    frequencies = np.concatenate((band_edges(centres)[0][:1], centres))
    found = {} if given_to(solver) is None else crossings_of(design, problem, seating)
    if not found:
        return Shaded((), frequencies, np.ones((len(frequencies), 0), dtype=complex))
    every = list(dict.fromkeys(found.values()))
    how = solving_by(solver, counted(progress, STAGE, len(frequencies)))
    if how.settings == DEFAULT_SETTINGS:
        how = replace(how, settings=SETTINGS)
    solved = solve_shadows(replace(problem, frequencies=frequencies), every, how)
    of_point = [every.index(one) for one in found.values()]
    return Shaded(tuple(found), frequencies, solved[:, of_point])


def _passes(source: np.ndarray, place: np.ndarray, within: float, below: float) -> bool:
    """Whether the straight way from source to place, over the baffle's middle, passes the axis."""
    along = place - source
    level = along[:2]
    share = -float(source[:2] @ level) / float(level @ level)
    nearest = source + share * along
    return 0.0 < share < 1.0 and math.hypot(*nearest[:2]) < within and nearest[2] < below


def _crossing(source: np.ndarray, place: np.ndarray) -> Crossing:
    (r, z), (there, above) = ((math.hypot(*one[:2]), float(one[2])) for one in (source, place))
    between = math.atan2(place[1], place[0]) - math.atan2(source[1], source[0])
    return Crossing((r, z), (there, above), between)
