"""The pressure in a slice through the axis: levels, the ring's mouth, one instant of the wave."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from dispersion.elevations import level_db
from dispersion.rational import Resonance
from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design

SKIN = 1e-4
"""A point this near a surface, m, counts as inside: on it the field is that of neither side."""
HALF_WAVE = 0.5
"""A gap wider than this share of a wavelength can hold more than one wave."""


@dataclass(frozen=True)
class LoudestPoint:
    """The point of a slice with the highest level at one frequency.

    Attributes
    ----------
    level_db : float
        dB re the driver's own on-axis level at 1 m.
    radius, height : float
        From the axis and above the baffle, m.
    on_axis : bool
        Whether it is as near to the axis as points of the slice are.
    """

    level_db: float
    radius: float
    height: float
    on_axis: bool


@dataclass(frozen=True, kw_only=True)
class RingPlace:
    """Where a resonance sits.

    Attributes
    ----------
    where : str
        The region that holds most of its energy: in the cone (below the baffle's face), over the
        driver, or farther out.
    share : float
        Of its potential energy between baffle and what hangs above, 0 to 1.
    radius, height : float
        Where its pressure is largest: from the axis, above the baffle, m.
    """

    where: str
    share: float
    radius: float
    height: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Slices:
    """Complex pressure in the plane through the axis, at F frequencies.

    Attributes
    ----------
    design : Design
    assembly : Assembly
    response : Response
        The solve behind it: far field, seats, power balance, unknowns at these frequencies.
    x : (X,) array
        From the axis, m, ascending; symmetrical, and never 0.
    z : (Z,) array
        Above the baffle, m, ascending.
    pressure : (F, Z, X) complex array
        All ways with their transfer functions, over the driver's own on-axis pressure at 1 m;
        exp(-i omega t); nan in solids.
    solid : (Z, X) bool array
        Inside a solid, or on its skin.
    resonances : tuple of Resonance
        Sharp resonances of the design in its target's band, ascending; none if not looked for.
    places : tuple of RingPlace
        Where each of them sits; none if not looked for.
    """

    design: Design
    assembly: Assembly
    response: Response = field(repr=False)
    x: np.ndarray = field(repr=False)
    z: np.ndarray = field(repr=False)
    pressure: np.ndarray = field(repr=False)
    solid: np.ndarray = field(repr=False)
    resonances: tuple[Resonance, ...] = ()
    places: tuple[RingPlace, ...] = ()

    @property
    def frequencies(self) -> np.ndarray:
        """(F,) Hz, ascending."""
        return self.response.problem.frequencies

    @property
    def names(self) -> tuple[str, ...]:
        """Of every frequency, short enough for a file's name: "2kHz"."""
        return tuple(short_name(frequency) for frequency in self.frequencies)

    @property
    def step(self) -> float:
        """Distance between neighbouring points, m."""
        return float(self.z[1] - self.z[0])

    @cached_property
    def level_db(self) -> np.ndarray:
        """(F, Z, X) dB re the driver's own on-axis level at 1 m; nan in solids."""
        return level_db(np.abs(self.pressure) ** 2)

    @property
    def wavelengths(self) -> np.ndarray:
        """(F,) wavelength in air, m."""
        return self.response.problem.air.speed / self.frequencies

    @property
    def points_per_wavelength(self) -> np.ndarray:
        """(F,) points of the slice to each wavelength."""
        return self.wavelengths / self.step

    @property
    def gaps(self) -> dict[str, float]:
        """Those of the three gaps that there are, by name, m."""
        assembly = self.assembly
        if assembly.upper is None:
            return {}
        gaps = {
            "plate gap": assembly.plate_gap,
            "rim gap": assembly.rim_gap,
            "tip clearance": assembly.tip_clearance,
        }
        return {name: gap for name, gap in gaps.items() if math.isfinite(gap)}

    @property
    def gaps_in_waves(self) -> dict[str, np.ndarray]:
        """(F,) each gap over the wavelength, by the gap's name."""
        return {name: gap / self.wavelengths for name, gap in self.gaps.items()}

    def wide_gaps(self, number: int) -> list[str]:
        """Names of the gaps that are larger than half a wave at one frequency."""
        half_wave = HALF_WAVE * self.wavelengths[number]
        return [name for name, gap in self.gaps.items() if gap > half_wave]

    @property
    def mouth(self) -> tuple[float, float] | None:
        """Radius and height of the ring's mouth, m: where it opens; None if nothing hangs above."""
        if self.assembly.upper is None:
            return None
        reflector, plate = self.assembly.reflector, self.assembly.plate
        under_plate = plate.radius if plate is not None else 0.0
        if reflector is not None and reflector.base_radius > under_plate:
            return reflector.base_radius, self.assembly.rim_gap
        return under_plate, self.assembly.plate_gap

    @cached_property
    def driver_mouth_power(self) -> np.ndarray:
        """(F,) mean |p|^2 over the driver's effective area, just above its frame or the baffle."""
        row = int(np.searchsorted(self.z, self.assembly.driver.proud + SKIN))
        counted = (np.abs(self.x) < self.assembly.driver.effective_radius) & ~self.solid[row]
        power = np.abs(self.pressure[:, row, counted]) ** 2
        return power @ np.abs(self.x[counted]) / np.abs(self.x[counted]).sum()

    @cached_property
    def ring_mouth_power(self) -> np.ndarray | None:
        """(F,) mean |p|^2 over the height of the ring's mouth; None if nothing hangs above."""
        if self.mouth is None:
            return None
        radius, height = self.mouth
        column = int(np.searchsorted(self.x, radius))
        counted = (self.z > 0.0) & (self.z < height) & ~self.solid[:, column]
        return np.mean(np.abs(self.pressure[:, counted, column]) ** 2, axis=1)

    @property
    def driver_mouth_db(self) -> np.ndarray:
        """(F,) level of `driver_mouth_power`, dB re the driver's own on-axis level at 1 m."""
        return level_db(self.driver_mouth_power)

    @property
    def ring_mouth_db(self) -> np.ndarray | None:
        """(F,) level of `ring_mouth_power`, dB re the driver's own on-axis level at 1 m."""
        return None if self.ring_mouth_power is None else level_db(self.ring_mouth_power)

    @property
    def drop_db(self) -> np.ndarray | None:
        """(F,) level at the driver's mouth less that at the ring's mouth, dB."""
        return None if self.ring_mouth_db is None else self.driver_mouth_db - self.ring_mouth_db

    def loudest(self, number: int) -> LoudestPoint:
        """Find the loudest point at one frequency."""
        row, column = np.unravel_index(np.nanargmax(self.level_db[number]), self.solid.shape)
        level, radius = float(self.level_db[number, row, column]), abs(float(self.x[column]))
        return LoudestPoint(level, radius, float(self.z[row]), radius < self.step)

    def in_air(self, values: np.ndarray) -> np.ndarray:
        """Replace values (Z, X) inside solids by those of the nearest air, to smooth over them."""
        from scipy.ndimage import distance_transform_edt  # slow to load

        nearest = distance_transform_edt(self.solid, return_distances=False, return_indices=True)
        return values[tuple(nearest)]

    def instant(self, number: int, turn: float) -> np.ndarray:
        """Pressure at one instant over its amplitude at the ring's mouth, or else the driver's.

        Re(p exp(-i omega t)) over the root of the mean |p|^2 there. The wave crests in the middle
        of the mouth at turn 0.

        Parameters
        ----------
        number : int
            Which of the frequencies.
        turn : float
            Time after the crest in periods: omega t = 2 pi turn.

        Returns
        -------
        (Z, X) array
            Solids hold the value of the nearest air.
        """
        power = self.driver_mouth_power if self.ring_mouth_power is None else self.ring_mouth_power
        amplitude = np.sqrt(power[number])
        radius, height = self.mouth or (0.0, 2.0 * self.assembly.driver.proud + 4.0 * self.step)
        column, row = np.searchsorted(self.x, radius), np.searchsorted(self.z, 0.5 * height)
        field = self.in_air(self.pressure[number])
        crest = field[row, column] / np.abs(field[row, column])
        return np.real(field / crest * np.exp(-2j * np.pi * turn)) / amplitude


def short_name(frequency: float) -> str:
    """Write a frequency for a file's name: "500Hz", "2kHz", "12.5kHz"."""
    return f"{frequency / 1e3:.5g}kHz" if frequency >= 1e3 else f"{frequency:.5g}Hz"
