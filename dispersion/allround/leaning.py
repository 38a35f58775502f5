"""Power round the column with what hangs askew, over many frequencies."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from dispersion.allround.askew import Displacement, solve_askew
from dispersion.fields import drive_of
from dispersion.flush_driver import flush_curve, flush_driver
from dispersion.problem import Problem
from dispersion.reference import Reference
from dispersion.stopping import Threads
from dispersion.waves import DEFAULT_SETTINGS, WaveSettings, one_blas_thread


@dataclass(frozen=True, eq=False, kw_only=True)
class Leaning:
    """What hangs askew, heard round the column; walls count as hard, posts as left out.

    Attributes
    ----------
    problem : Problem
    displaced : Displacement
    azimuths_deg : (A,) array
        From the side to which it is displaced, half way round: the other half is the same.
    power : (F, E, A) array
        |p|^2 over 0 dB, all ways together.
    power_error_db : (W, F) array
        Power far away over power through each way.
    """

    problem: Problem
    displaced: Displacement
    azimuths_deg: np.ndarray
    power: np.ndarray = field(repr=False)
    power_error_db: np.ndarray = field(repr=False)

    @property
    def worst_power_error_db(self) -> float:
        """Largest imbalance of power, dB."""
        return float(np.abs(self.power_error_db).max())


def half_circle(steps: int) -> np.ndarray:
    """Middles of equal steps of azimuth, half way round, degrees: their mean is that of all."""
    return (np.arange(steps) + 0.5) * 180.0 / steps


def solve_leaning(
    problem: Problem,
    displaced: Displacement,
    azimuths_deg: Sequence[float] | np.ndarray,
    settings: WaveSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Leaning:
    """Solve what hangs over the driver off the centre or tilted, at the problem's frequencies.

    Parameters
    ----------
    problem : Problem
        In free air.
    displaced : Displacement
    azimuths_deg : (A,) array
    settings : WaveSettings
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with 1 for every frequency done.

    Raises
    ------
    AllRoundError
        If nothing hangs.
    ValueError
        If the wave solver refuses a body, or the problem has a floor.
    """
    problem.require_free_air("askew")
    assembly, air, azimuths = problem.assembly, problem.air, np.asarray(azimuths_deg, dtype=float)
    drives = [
        drive_of(built, way.lets_go, air)
        for built, way in zip(assembly.ways, problem.ways, strict=True)
    ]
    flush = flush_curve(flush_driver(problem, settings))
    transfer = Reference(problem.ways, flush).transfer(problem.frequencies)

    def one(number: int) -> tuple[np.ndarray, np.ndarray]:
        frequency = float(problem.frequencies[number])
        pair = solve_askew(assembly, frequency, drives, displaced, air, settings)
        share = 2.0 * np.pi / air.density * transfer[:, number] / pair.volume_acceleration
        together = np.einsum("w,wea->ea", share, pair.far(problem.elevations, azimuths))
        if progress is not None:
            progress(1)
        return np.abs(together) ** 2, pair.power_error_db

    # The highest frequency costs most: started first, no worker ends up waiting for it.
    order = np.argsort(problem.frequencies)[::-1].tolist()
    with one_blas_thread(), Threads(workers or os.cpu_count()) as pool:
        found = dict(zip(order, pool.map(one, order), strict=True))
    power, error = zip(*(found[number] for number in range(len(order))), strict=True)
    return Leaning(
        problem=problem,
        displaced=displaced,
        azimuths_deg=azimuths,
        power=np.array(power),
        power_error_db=np.transpose(error),
    )
