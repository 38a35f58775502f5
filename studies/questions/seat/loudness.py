"""How loud it can be at the seats before the cone has no travel left, and what power that takes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from dispersion.air_load import AirLoad, air_load, air_load_flush
from dispersion.bands import band_means, study_frequencies
from dispersion.elevations import level_db
from dispersion.problem import Problem
from dispersion.sources import travel_level_db
from studies.design import Design

HIGHEST_KA = 0.5
"""Up to here travel is told of, a being the cone's effective radius: above, it hardly moves."""
PER_BAND = 48

Heard = Callable[[np.ndarray], np.ndarray]
"""(N,) frequencies in Hz -> (N, S) direct sound at the seats over rho A / (2 pi), which is 1 m from
a small source in a wall; A is the volume acceleration of a way at 0 dB."""
Drive = Callable[[np.ndarray], np.ndarray]
"""(N,) frequencies in Hz -> (N,) volume acceleration of the cone over that A."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Loudness:
    """Level of a sine at which the cone runs out of travel, by third octave.

    Attributes
    ----------
    excursion : float
        Peak, one way, m.
    centres : (B,) array
        Hz.
    alone_db : (B,) array
        A small source in a wall that moves as much air, at 1 m, dB re 20 uPa.
    most_db : (S, B) array
        Direct sound at each seat, dB re 20 uPa.
    one_watt_db : (S, B) array or None
        The same for 1 W; None without a sensitivity.
    load : AirLoad or None
        None without a moving mass: for 1 W the cone then counts as moved as in a wall.
    """

    excursion: float
    centres: np.ndarray
    alone_db: np.ndarray = field(repr=False)
    most_db: np.ndarray = field(repr=False)
    one_watt_db: np.ndarray | None = field(default=None, repr=False)
    load: AirLoad | None = None

    @property
    def power_w(self) -> np.ndarray | None:
        """(B,) power that takes the cone to its end, W; None without a sensitivity."""
        if self.one_watt_db is None:
            return None
        return 10.0 ** ((self.most_db[0] - self.one_watt_db[0]) / 10.0)


def loudness(design: Design, problem: Problem, heard: Heard, drive: Drive) -> Loudness | None:
    """Find how loud it can be at the seats of a design.

    Parameters
    ----------
    design : Design
        Says excursion, and may say moving mass and sensitivity.
    problem : Problem
        As built; its first way is the cone.
    heard, drive : callable

    Returns
    -------
    Loudness or None
        None where the file gives no excursion, or its band begins above `HIGHEST_KA`.
    """
    driver, (low, high) = design.tables.driver, design.target.band
    top = HIGHEST_KA * design.air.speed / (2.0 * math.pi * driver.effective_radius)
    if not driver.excursion or low > top:
        return None
    f = study_frequencies(low, min(top, high), PER_BAND)
    swept = math.pi * driver.effective_radius**2 * driver.excursion
    alone = 10.0 ** (travel_level_db(f, swept, design.air) / 10.0)
    power = np.abs(heard(f)) ** 2
    most = power * (alone / np.abs(drive(f)) ** 2)[:, None]
    centres, bands = band_means(f, np.column_stack((alone, most)))
    load = _load(problem, driver.moving_mass)
    return Loudness(
        excursion=driver.excursion,
        centres=centres,
        alone_db=level_db(bands[:, 0]),
        most_db=level_db(bands[:, 1:].T),
        one_watt_db=_one_watt_db(driver.sensitivity_db, load, band_means(f, power)[1]),
        load=load,
    )


def _one_watt_db(
    sensitivity_db: float | None, load: AirLoad | None, bands: np.ndarray
) -> np.ndarray | None:
    """(S, B) level for 1 W from band means of the power at the seats (B, S)."""
    if sensitivity_db is None:
        return None
    return sensitivity_db - (0.0 if load is None else load.loss_db) + level_db(bands.T)


def _load(problem: Problem, published: float | None) -> AirLoad | None:
    if published is None:
        return None
    flush = air_load_flush(problem)
    return AirLoad(air_load(problem), flush, published - flush)
