"""Air that moves along with a driver's cone: more of it under a low reflector than in a wall.

Far below the first resonance of the ring, pressure on the cone is in step with its acceleration, so
the air in front of it weighs as a mass does: force over acceleration,

    M = Re( integral of p a_n dS ) / a^2,    a_n the acceleration along the normal.

In an endless wall it is 8/3 rho a^3 for a flat piston (Beranek & Mellow, Acoustics: Sound Fields
and Transducers (2012), 4.19 [from memory]). The solver moves a cone with constant acceleration
whatever the load, so levels do not hold what this mass does: above the driver's own resonance they
fall by 20 lg of the moving masses' ratio.
"""

import math
from dataclasses import dataclass

import numpy as np

from dispersion.flush_driver import flush_driver
from dispersion.problem import Problem
from dispersion.waves import (
    DEFAULT_SETTINGS,
    WaveSettings,
    WaveSolution,
    axial_motion,
    solve,
    solve_flush,
)

LOW_KA = 0.1
"""Where the mass is taken, a being the cone's effective radius."""


@dataclass(frozen=True)
class AirLoad:
    """Air that moves along with a cone, and what it does.

    Attributes
    ----------
    mass, flush : float
        Before the cone under what hangs above it, and flush in an endless wall, kg.
    moving_mass : float
        Of the cone with all that moves along, without the air before it, kg.
    """

    mass: float
    flush: float
    moving_mass: float

    @property
    def loss_db(self) -> float:
        """By how much the cone moves less than in a wall, dB; no level holds it."""
        return 20.0 * math.log10(self._ratio)

    @property
    def resonance_share(self) -> float:
        """The driver's own resonance over that in a wall: the root of the moving masses' ratio."""
        return 1.0 / math.sqrt(self._ratio)

    @property
    def _ratio(self) -> float:
        return (self.moving_mass + self.mass) / (self.moving_mass + self.flush)


def air_load(problem: Problem, settings: WaveSettings = DEFAULT_SETTINGS) -> float:
    """Mass of the air before the cone, kg, under what hangs above it.

    Parameters
    ----------
    problem : Problem
        Its first way is the cone, which counts as moving in one piece.
    settings : WaveSettings

    Raises
    ------
    ValueError
        If the wave solver refuses the problem.
    """
    way = problem.assembly.ways[0]
    drive = axial_motion(way.name, way.parts, problem.air)
    return _mass(
        solve(problem.assembly.bodies, _low(problem), [drive], problem.air, settings=settings)
    )


def air_load_flush(problem: Problem, settings: WaveSettings = DEFAULT_SETTINGS) -> float:
    """Mass of the air before the same cone flush in an endless baffle, kg."""
    way = problem.assembly.ways[0]
    drive = axial_motion(way.name, way.parts, problem.air)
    pieces = flush_driver(problem, settings).outline.pieces
    return _mass(solve_flush(pieces, _low(problem), [drive], problem.air, settings).surface)


def _low(problem: Problem) -> float:
    radius = problem.assembly.ways[0].effective_radius
    return LOW_KA * problem.air.speed / (2.0 * np.pi * radius)


def _mass(solution: WaveSolution) -> float:
    """Force over acceleration, the drive's being 1 m/s^2; its work is half of force by velocity."""
    work = solution.work_of(solution.pressure)[0, 0]
    return float(-4.0 * np.pi * solution.frequency * work.imag)
