"""Off-centre and tilt: estimated by rays, quickly, or solved with an axis for each part."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.allround import Displacement
from dispersion.bands import third_octave_centres
from dispersion.paths.rays import count_rays, meaningful_above_hz
from dispersion.paths.scene import Mounting
from dispersion.problem import Problem
from dispersion.ripple import Balance
from studies.design import Design
from studies.design.moves import HALF_DEGREE, Unit, step_of_lengths
from studies.solving.grid import Progress, Solver, problem_of
from studies.solving.leaning import levels_askew

RAYS = 2**18
"""Rays through each of the centred, shifted and tilted reflectors."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Askew:
    """What a reflector and plate off the axis, or tilted, do to the level round the column.

    Attributes
    ----------
    name : str
        "off-centre" or "tilt".
    tolerance : float
        How far off, m or radians.
    unit : Unit
        In which it is stated.
    frequencies : (F,) array
        Third octaves where rays mean something, Hz.
    side_db : (F,) array
        How much a seat on the worst side gains or loses in the window, dB: amplitude of the
        first harmonic over azimuth of the change of level.
    error_db : float
        Largest standard error of `side_db`.
    swing_db : (F,) array or None
        Lowest to highest level of the window round the column, dB; None by rays.
    balance : Balance or None
        Of power; None by rays.
    """

    name: str
    tolerance: float
    unit: Unit
    frequencies: np.ndarray
    side_db: np.ndarray
    error_db: float
    swing_db: np.ndarray | None = None
    balance: Balance | None = None

    @property
    def solved(self) -> bool:
        """Whether it was solved; else rays estimate it."""
        return self.swing_db is not None

    @property
    def largest_db(self) -> float:
        """Largest of `side_db`, dB."""
        return float(self.side_db.max())

    @property
    def largest_at_hz(self) -> float:
        """Centre of the band with the largest of `side_db`, Hz."""
        return float(self.frequencies[int(np.argmax(self.side_db))])

    @property
    def per_unit_db(self) -> float:
        """`largest_db` per unit of the error, dB, taken as proportional; 0 without tolerance."""
        return self.largest_db * self.unit.size / self.tolerance if self.tolerance else 0.0

    @property
    def shows(self) -> bool:
        """Whether the largest change is more than twice its standard error."""
        return self.largest_db > 2.0 * self.error_db


def hung_askew(design: Design) -> tuple[Askew, ...]:
    """Estimate off-centre and tilt by rays, each alone; none where rays mean nothing."""
    assembly, allowed = design.assembly(), design.tables.tolerance
    centres = third_octave_centres(*design.target.band)
    meant = centres[centres >= meaningful_above_hz(assembly, design.air)]
    if not len(meant):
        return ()
    problem = replace(problem_of(design, assembly), frequencies=meant)
    count = partial(_round_the_window, problem, design.window_deg)
    centred, edges, error = count(Mounting())
    once_round = np.cos(np.radians(0.5 * (edges[1:] + edges[:-1])))
    step = step_of_lengths(design.tables)
    cases = (
        ("off-centre", allowed.off_centre, step, Mounting(dx=allowed.off_centre)),
        ("tilt", allowed.tilt, HALF_DEGREE, Mounting(tilt=allowed.tilt)),
    )
    found = []
    for name, size, unit, mounting in cases:
        side = 2.0 * np.abs(np.mean((count(mounting)[0] - centred) * once_round, axis=1))
        found.append(
            Askew(
                name=name,
                tolerance=size,
                unit=unit,
                frequencies=meant,
                side_db=side,
                error_db=error,
            )
        )
    return tuple(found)


def solved_askew(
    design: Design, solver: Solver, progress: Progress | None = None
) -> tuple[Askew, ...]:
    """Solve off-centre and tilt, each alone; none where nothing hangs or the band ends too low."""
    assembly, allowed = design.assembly(), design.tables.tolerance
    step = step_of_lengths(design.tables)
    cases = (
        ("off-centre", allowed.off_centre, step, Displacement(shift=allowed.off_centre)),
        ("tilt", allowed.tilt, HALF_DEGREE, Displacement(tilt=allowed.tilt)),
    )
    found = []
    for name, size, unit, displaced in cases:
        levels = levels_askew(design, assembly, displaced, solver, progress)
        if levels is None:
            return ()
        found.append(
            Askew(
                name=name,
                tolerance=size,
                unit=unit,
                frequencies=levels.centres,
                side_db=levels.side_db,
                error_db=0.0,
                swing_db=levels.swing_db,
                balance=levels.balance,
            )
        )
    return tuple(found)


def _round_the_window(
    problem: Problem, window_deg: tuple[float, float], mounting: Mounting
) -> tuple[np.ndarray, np.ndarray, float]:
    """(F, A) level by azimuth, dB; edges of the azimuths, deg; standard error of a harmonic, dB."""
    found = count_rays(problem, rays=RAYS, mounting=mounting, window_deg=window_deg)
    share = np.maximum(found.by_azimuth, 1e-12)
    relative = np.median(found.azimuth_error / share, axis=1).max()
    # Amplitude of a harmonic of A even errors: sqrt(2 / A); the difference of two levels: sqrt(2).
    error = 10.0 / np.log(10.0) * relative * 2.0 / np.sqrt(share.shape[1])
    return 10.0 * np.log10(share), found.azimuth_edges, float(error)
