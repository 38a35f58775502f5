"""Off-centre and tilt: what only rays can tell, since the wave solver needs one axis."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.bands import third_octave_centres
from dispersion.paths.rays import count_rays, meaningful_above_hz
from dispersion.paths.scene import Mounting
from dispersion.problem import Problem
from studies.design import Design
from studies.design.moves import HALF_DEGREE, MILLIMETRE, Unit
from studies.solving.grid import problem_of

RAYS = 2**18
"""Rays through each of the centred, shifted and tilted reflectors."""


@dataclass(frozen=True, eq=False)
class Askew:
    """What a reflector and plate off the axis or tilted do, estimated by rays.

    Attributes
    ----------
    name : str
    tolerance : float
        m or radians.
    unit : Unit
    frequencies : (F,) array
        Third octaves where rays mean something, Hz.
    side_db : (F,) array
        How much a seat on the worst side gains or loses in the window, dB: the part of the
        change that goes once round the column.
    error_db : float
        Standard error of that, at most.
    """

    name: str
    tolerance: float
    unit: Unit
    frequencies: np.ndarray
    side_db: np.ndarray
    error_db: float

    @property
    def largest_db(self) -> float:
        """Largest change in any of the bands, dB."""
        return float(self.side_db.max())

    @property
    def largest_at_hz(self) -> float:
        """Centre of that band, Hz."""
        return float(self.frequencies[int(np.argmax(self.side_db))])

    @property
    def per_unit_db(self) -> float:
        """Largest change per unit, dB, taken as proportional."""
        return self.largest_db * self.unit.size / self.tolerance if self.tolerance else 0.0


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
    cases = (
        ("off-centre", allowed.off_centre, MILLIMETRE, Mounting(dx=allowed.off_centre)),
        ("tilt", allowed.tilt, HALF_DEGREE, Mounting(tilt=allowed.tilt)),
    )
    found = []
    for name, size, unit, mounting in cases:
        side = 2.0 * np.abs(np.mean((count(mounting)[0] - centred) * once_round, axis=1))
        found.append(Askew(name, size, unit, meant, side, error))
    return tuple(found)


def _round_the_window(
    problem: Problem, window_deg: tuple[float, float], mounting: Mounting
) -> tuple[np.ndarray, np.ndarray, float]:
    """(F, A) level by azimuth in dB, the azimuths' edges, standard error of a once-round part."""
    found = count_rays(problem, rays=RAYS, mounting=mounting, window_deg=window_deg)
    share = np.maximum(found.by_azimuth, 1e-12)
    relative = np.median(found.azimuth_error / share, axis=1).max()
    # Amplitude of a harmonic of A even errors: sqrt(2 / A); the difference of two levels: sqrt(2).
    error = 10.0 / np.log(10.0) * relative * 2.0 / np.sqrt(share.shape[1])
    return 10.0 * np.log10(share), found.azimuth_edges, float(error)
