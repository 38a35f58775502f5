"""Level in the window round the column, with what hangs off the centre or tilted, solved."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.allround import Displacement, half_circle, solve_leaning
from dispersion.bands import band_means, study_frequencies
from dispersion.waves import DEFAULT_SETTINGS
from shapes.assembly import Assembly
from studies.design import Design
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, counted, problem_of
from studies.solving.posted import IN_WINDOW, given_to

SOLVED_FROM_HZ = 500.0
"""Below, a millimetre or half a degree is a thousandth of a wave."""
AZIMUTHS = 18
"""Half way round: 10 degrees apart."""


@dataclass(frozen=True, eq=False, kw_only=True)
class RoundLevels:
    """Window level by azimuth, third octave by third octave; hard walls, posts left out.

    Attributes
    ----------
    centres : (B,) array
        Exact centres of the bands, Hz.
    azimuths_deg : (A,) array
        From the side to which the part is displaced, half way round: the other half is the same.
    level_db : (B, A) array
        Mean power of the window, dB re 0 dB.
    power_error_db : float
        Largest imbalance of power, dB.
    """

    centres: np.ndarray
    azimuths_deg: np.ndarray
    level_db: np.ndarray = field(repr=False)
    power_error_db: float

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
    given = given_to(solver)
    band = (max(design.target.band[0], SOLVED_FROM_HZ), design.target.band[1])
    if given is None or assembly.upper is None or band[0] > band[1]:
        return None
    problem = replace(
        problem_of(design, assembly),
        frequencies=study_frequencies(*band, COARSE_PER_BAND),
        elevations=np.linspace(*design.window_deg, IN_WINDOW),
    )
    settings, workers = given.get("settings", DEFAULT_SETTINGS), given.get("workers")
    advance = counted(progress, "hung askew", len(problem.frequencies))
    azimuths = half_circle(AZIMUTHS)
    leaning = solve_leaning(problem, displaced, azimuths, settings, workers, advance)
    centres, power = band_means(problem.frequencies, leaning.power.mean(axis=1))
    return RoundLevels(
        centres=centres,
        azimuths_deg=azimuths,
        level_db=10.0 * np.log10(power),
        power_error_db=leaning.worst_power_error_db,
    )
