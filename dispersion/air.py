"""The air between diaphragm and ear: speed of sound, density and absorption.

Each formula states its source and the range in which its source vouches for it, and refuses
input outside that range.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

ZERO_CELSIUS = 273.15
REFERENCE_PRESSURE = 101325.0
# Mole fraction of carbon dioxide in today's open air; a tenth more moves the speed by 0.004 m/s.
CARBON_DIOXIDE = 425e-6
GAS_CONSTANT = 8.314462618
# Molar masses of dry air (with 400 ppm carbon dioxide) and of water, kg/mol.
DRY_AIR_MASS = 28.96546e-3
WATER_MASS = 18.01528e-3


class AirError(ValueError):
    """Air outside the range of a formula; the message names the range and its source."""


def _require(name: str, value: float, low: float, high: float, unit: str, source: str) -> None:
    if not low <= value <= high:
        raise AirError(
            f"{name} {value:g} {unit} is outside {low:g} to {high:g} {unit}, "
            f"the range of {source}: give a {name} within it"
        )


def water_fraction(temperature_c: float, humidity_percent: float, pressure_pa: float) -> float:
    """Mole fraction of water vapour in the air, from 0 to about 0.06.

    Parameters
    ----------
    temperature_c : float
        Temperature in degrees Celsius.
    humidity_percent : float
        Relative humidity, 0 to 100.
    pressure_pa : float
        Pressure in pascals.

    Notes
    -----
    O. Cramer, J. Acoust. Soc. Am. 93, 2510 (1993), Eq. (A1) to (A3).
    """
    kelvin = temperature_c + ZERO_CELSIUS
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * temperature_c**2
    saturation = np.exp(
        1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin
    )
    return float(humidity_percent / 100.0 * enhancement * saturation / pressure_pa)


def speed_of_sound(
    temperature_c: float, humidity_percent: float, pressure_pa: float = REFERENCE_PRESSURE
) -> float:
    """Speed of sound in humid air, m/s.

    Parameters
    ----------
    temperature_c : float
        0 to 30 degrees Celsius.
    humidity_percent : float
        Relative humidity, 0 to 100.
    pressure_pa : float
        75 000 to 102 000 Pa.

    Raises
    ------
    AirError
        Outside these ranges, which are those of the source.

    Notes
    -----
    O. Cramer, J. Acoust. Soc. Am. 93, 2510 (1993), Eq. (15) and Table III, at zero frequency and
    with 425 ppm of carbon dioxide. ISO 9613-1 uses 343.2 sqrt(T / 293.15) instead, which leaves
    the humidity out and is lower by 0.8 m/s at 20 degrees and 50 percent.
    """
    source = "the speed-of-sound formula (Cramer 1993)"
    _require("temperature", temperature_c, 0.0, 30.0, "degrees Celsius", source)
    _require("humidity", humidity_percent, 0.0, 100.0, "percent", source)
    _require("pressure", pressure_pa, 75e3, 102e3, "Pa", source)
    t, p, c = temperature_c, pressure_pa, CARBON_DIOXIDE
    w = water_fraction(temperature_c, humidity_percent, pressure_pa)
    dry = 331.5024 + 0.603055 * t - 0.000528 * t**2
    water = (51.471935 + 0.1495874 * t - 0.000782 * t**2) * w
    pressure = (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p
    carbon = (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * c
    mixed = -2.835149 * w**2 - 2.15e-13 * p**2 + 29.179762 * c**2 + 0.000486 * w * p * c
    return dry + water + pressure + carbon + mixed


def density(
    temperature_c: float, humidity_percent: float, pressure_pa: float = REFERENCE_PRESSURE
) -> float:
    """Density of humid air, kg/m3.

    Parameters
    ----------
    temperature_c : float
        0 to 30 degrees Celsius.
    humidity_percent : float
        Relative humidity, 0 to 100.
    pressure_pa : float
        75 000 to 102 000 Pa.

    Raises
    ------
    AirError
        Outside these ranges, those of the vapour formula used.

    Notes
    -----
    Ideal gas, p / (R T) [M_a - x_w (M_a - M_w)], with the molar masses of the CIPM-2007 formula
    (Picard et al., Metrologia 45, 149, 2008) and the vapour of `water_fraction`.
    Leaving out that formula's compressibility costs 0.04 percent.
    """
    source = "the water vapour formula (Cramer 1993)"
    _require("temperature", temperature_c, 0.0, 30.0, "degrees Celsius", source)
    _require("humidity", humidity_percent, 0.0, 100.0, "percent", source)
    _require("pressure", pressure_pa, 75e3, 102e3, "Pa", source)
    w = water_fraction(temperature_c, humidity_percent, pressure_pa)
    molar_mass = DRY_AIR_MASS - w * (DRY_AIR_MASS - WATER_MASS)
    return pressure_pa * molar_mass / (GAS_CONSTANT * (temperature_c + ZERO_CELSIUS))


def absorption(
    frequency: ArrayLike,
    temperature_c: float,
    humidity_percent: float,
    pressure_pa: float = REFERENCE_PRESSURE,
) -> NDArray[np.float64]:
    """Attenuation of a pure tone by the air, dB/m.

    Parameters
    ----------
    frequency : array_like
        Frequencies in Hz; frequency over pressure from 4e-4 to 10 Hz/Pa (41 Hz to 1 MHz at sea
        level).
    temperature_c : float
        -20 to 50 degrees Celsius.
    humidity_percent : float
        Relative humidity up to 100; water vapour at least 0.005 percent of the molecules.
    pressure_pa : float
        Up to 200 000 Pa.

    Returns
    -------
    ndarray
        dB/m, the shape of `frequency`.

    Raises
    ------
    AirError
        Outside these ranges, where ISO 9613-1 no longer states an error of 20 percent or less.

    Notes
    -----
    ISO 9613-1:1993, Eq. (3) to (5), with the vapour of its Annex B. Within 10 percent where
    water vapour is 0.05 to 5 percent of the molecules.
    """
    f = np.asarray(frequency, dtype=float)
    source = "the absorption formula (ISO 9613-1)"
    _require("temperature", temperature_c, -20.0, 50.0, "degrees Celsius", source)
    _require("pressure", pressure_pa, 1.0, 200e3, "Pa", source)
    for value in f.ravel():
        _require("frequency", value, 4e-4 * pressure_pa, 10 * pressure_pa, "Hz", source)
    kelvin = temperature_c + ZERO_CELSIUS
    t = kelvin / 293.15
    p = pressure_pa / REFERENCE_PRESSURE
    saturation = 10.0 ** (4.6151 - 6.8346 * (273.16 / kelvin) ** 1.261)
    h = humidity_percent * saturation / p
    driest = 0.005 * p / saturation
    _require("humidity", humidity_percent, driest, 100.0, "percent", source)
    oxygen = p * (24.0 + 4.04e4 * h * (0.02 + h) / (0.391 + h))
    nitrogen = p / np.sqrt(t) * (9.0 + 280.0 * h * np.exp(-4.170 * (t ** (-1 / 3) - 1.0)))
    classical = 1.84e-11 / p * np.sqrt(t)
    relaxing = 0.01275 * np.exp(-2239.1 / kelvin) / (oxygen + f**2 / oxygen)
    relaxing = relaxing + 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen + f**2 / nitrogen)
    return 8.686 * f**2 * (classical + t**-2.5 * relaxing)


def viscosity(temperature_c: float) -> float:
    """Dynamic viscosity of dry air, Pa s; humidity lowers it by 0.3 percent at most at 20 degrees.

    Notes
    -----
    Sutherland's law, 1.458e-6 T^1.5 / (T + 110.4), with the numbers of the U.S. Standard
    Atmosphere (1976) [from memory].
    """
    kelvin = temperature_c + ZERO_CELSIUS
    return 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)


def conductivity(temperature_c: float) -> float:
    """Thermal conductivity of dry air, W/(m K).

    Notes
    -----
    2.64638e-3 T^1.5 / (T + 245.4 * 10^(-12/T)), of the U.S. Standard Atmosphere (1976)
    [from memory].
    """
    kelvin = temperature_c + ZERO_CELSIUS
    return 2.64638e-3 * kelvin**1.5 / (kelvin + 245.4 * 10.0 ** (-12.0 / kelvin))


@dataclass(frozen=True)
class Air:
    """The air of a room.

    Parameters
    ----------
    temperature_c : float
        0 to 30 degrees Celsius.
    humidity_percent : float
        Relative humidity, 0 to 100.
    pressure_pa : float
        75 000 to 102 000 Pa (102 000 Pa is fine weather at sea level, 75 000 Pa is 2 500 m up).

    Raises
    ------
    AirError
        Outside these ranges, which are those of the speed-of-sound formula.
    """

    temperature_c: float = 20.0
    humidity_percent: float = 50.0
    pressure_pa: float = REFERENCE_PRESSURE

    def __post_init__(self) -> None:
        """Refuse at once what no formula could serve later."""
        speed_of_sound(self.temperature_c, self.humidity_percent, self.pressure_pa)

    @property
    def speed(self) -> float:
        """Speed of sound, m/s; see `speed_of_sound`."""
        return speed_of_sound(self.temperature_c, self.humidity_percent, self.pressure_pa)

    @property
    def density(self) -> float:
        """Density, kg/m3; see `density`."""
        return density(self.temperature_c, self.humidity_percent, self.pressure_pa)

    @property
    def kinematic_viscosity(self) -> float:
        """Viscosity over density, m2/s; see `viscosity`."""
        return viscosity(self.temperature_c) / self.density

    @property
    def heat_ratio(self) -> float:
        """Ratio of specific heats gamma = rho c^2 / p, of an ideal gas."""
        return self.density * self.speed**2 / self.pressure_pa

    @property
    def prandtl_number(self) -> float:
        """Viscosity times specific heat over thermal conductivity; the heat of an ideal gas."""
        kelvin = self.temperature_c + ZERO_CELSIUS
        ratio = self.heat_ratio
        heat = ratio / (ratio - 1.0) * self.pressure_pa / (self.density * kelvin)
        return viscosity(self.temperature_c) * heat / conductivity(self.temperature_c)

    def absorption(self, frequency: ArrayLike) -> NDArray[np.float64]:
        """Attenuation of pure tones in dB/m; see `absorption`."""
        return absorption(frequency, self.temperature_c, self.humidity_percent, self.pressure_pa)

    def attenuation(self, frequency: float) -> float:
        """Attenuation of a pure tone in nepers per metre.

        Below the range of `absorption`, where it is next to nothing, that of the range's end.
        """
        lowest = 4.001e-4 * self.pressure_pa
        return float(self.absorption(max(frequency, lowest))) * np.log(10.0) / 20.0
