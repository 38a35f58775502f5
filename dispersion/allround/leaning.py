"""Sound round the column with what hangs askew, over many frequencies."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np

from dispersion.allround.askew import MORE_ORDERS, Displacement, require_hung, solve_askew
from dispersion.allround.by_frequency import HERE, Solving, solve_each
from dispersion.fields import Fields, drive_of
from dispersion.flush_driver import flush_curve, flush_driver
from dispersion.problem import Problem
from dispersion.reference import Reference
from dispersion.ripple import Balance
from dispersion.waves import WaveSettings

STRAIGHT = Displacement()


@dataclass(frozen=True, eq=False, kw_only=True)
class Leaning:
    """What hangs askew, heard round the column; posts are left out.

    Places are the problem's E elevations, far away, and then its P points.

    Attributes
    ----------
    problem : Problem
    displaced : Displacement
    azimuths_deg : (A,) array
        From the side to which it is displaced.
    reference : Reference
        What 0 dB is.
    pressure : (F, E + P, A) complex array
        Over 0 dB at that distance, the phase of the distance taken off, all ways together.
    power_error_db : (W, F) array
        Power far away and taken by walls over power through each way.
    finer : (F,) array
        How many times finer the mesh was than asked for, to mend that balance.
    """

    problem: Problem
    displaced: Displacement
    azimuths_deg: np.ndarray
    reference: Reference
    pressure: np.ndarray = field(repr=False)
    power_error_db: np.ndarray = field(repr=False)
    finer: np.ndarray = field(repr=False)

    @cached_property
    def power(self) -> np.ndarray:
        """|p|^2 over 0 dB, (F, E + P, A)."""
        return np.abs(self.pressure) ** 2

    @property
    def balance(self) -> Balance:
        """Of power."""
        return Balance(float(np.abs(self.power_error_db).max()), self.finer)


def half_circle(steps: int) -> np.ndarray:
    """Middles of equal steps of azimuth, half way round, degrees: their mean is that of all."""
    return (np.arange(steps) + 0.5) * 180.0 / steps


def solve_leaning(
    problem: Problem,
    displaced: Displacement,
    azimuths_deg: Sequence[float] | np.ndarray,
    how: Solving = HERE,
) -> Leaning:
    """Solve what hangs over the driver off the centre or tilted, at the problem's frequencies.

    Parameters
    ----------
    problem : Problem
        In free air.
    displaced : Displacement
    azimuths_deg : (A,) array
    how : Solving

    Raises
    ------
    AllRoundError
        If nothing hangs, or it would touch what it hangs over.
    ValueError
        If the wave solver refuses a body, or the problem has a floor.
    """
    problem.require_free_air("askew")
    require_hung(problem.assembly, displaced)
    azimuths = np.asarray(azimuths_deg, dtype=float)
    asked = ("askew", displaced, azimuths)
    fields, finer = solve_each(problem, partial(_solved, displaced, azimuths), asked, how)
    flush = flush_curve(flush_driver(problem, how.settings), how.store)
    reference = Reference(problem.ways, flush)
    by_way = np.array([np.concatenate((one.far, one.near), axis=1) for one in fields])
    return Leaning(
        problem=problem,
        displaced=displaced,
        azimuths_deg=azimuths,
        reference=reference,
        pressure=np.einsum("wf,fwxa->fxa", reference.transfer(problem.frequencies), by_way),
        power_error_db=np.transpose([one.power_error_db for one in fields]),
        finer=finer,
    )


def _solved(
    displaced: Displacement, azimuths: np.ndarray, alone: Problem, settings: WaveSettings
) -> Fields:
    """Fields (W, E, A) and (W, P, A) at the single frequency of a problem, in the usual units."""
    assembly, air, frequency = alone.assembly, alone.air, float(alone.frequencies[0])
    drives = [
        drive_of(built, way.lets_go, air)
        for built, way in zip(assembly.ways, alone.ways, strict=True)
    ]
    # Hung straight, order 0 is all there is.
    more = 0 if displaced == STRAIGHT else MORE_ORDERS
    pair = solve_askew(
        assembly, frequency, drives, displaced, air, settings, more, walls=alone.walls
    )
    unit = (2.0 * np.pi / air.density / pair.volume_acceleration)[:, None, None]
    distance = np.hypot(*alone.points.T)
    spread = (distance * np.exp(-1j * pair.k * distance))[:, None]
    return Fields(
        far=unit * pair.far(alone.elevations, azimuths),
        near=unit * spread * pair.near(alone.points, azimuths),
        power_error_db=pair.power_error_db,
        unknowns=pair.unknowns,
        arrived=np.empty((0, len(drives), len(drives)), dtype=complex),
    )
