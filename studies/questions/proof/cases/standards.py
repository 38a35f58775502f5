"""Air, bands and sound-power weights against standards and published tables.

- Absorption: ISO 9613-1:1993, Table 1 (dB/km at 101.325 kPa, exact midband frequencies), and
  ISO 9613-2:1996, Table 2.
- Speed of sound: O. Cramer, J. Acoust. Soc. Am. 93, 2510 (1993), as evaluated by pyfar 0.8.1.
- Density: Ostashev and Wilson, Acoustics in Moving Inhomogeneous Media (2015), section 6.3, as
  evaluated by pyfar 0.8.1.
- Third octaves: IEC 61260-1:2014 (base ten) and ISO 266.
- Sound-power weights: ANSI/CTA-2034-A, Appendix C.
"""

from __future__ import annotations

import numpy as np

from dispersion.air import Air, absorption
from dispersion.bands import band_edges, nominal_centre, third_octave_centres
from dispersion.cta_2034_a import cta_weights
from studies.questions.proof.cases.check import REST, Check, Compared, compare

ROUNDING = 1e-12

# Temperature in degrees Celsius, relative humidity in percent, Hz, dB/km as printed.
TABLE_1 = [
    (-20, 10, 50, 0.589),
    (-20, 50, 1000, 9.14),
    (0, 50, 1000, 6.83),
    (0, 20, 2000, 34.6),
    (5, 50, 1000, 5.08),
    (10, 70, 1000, 3.66),
    (10, 50, 4000, 46.7),
    (15, 50, 1000, 4.16),
    (15, 100, 10000, 105.0),
    (20, 50, 1000, 4.66),
    (20, 50, 2000, 9.86),
    (25, 50, 1000, 5.68),
    (25, 100, 2000, 11.4),
    (30, 50, 4000, 24.5),
]

# The octave bands 63 Hz to 8 kHz, dB/km as printed.
ISO_9613_2: dict[tuple[float, float], list[float]] = {
    (10, 70): [0.1, 0.4, 1.0, 1.9, 3.7, 9.7, 32.8, 117],
    (20, 70): [0.1, 0.3, 1.1, 2.8, 5.0, 9.0, 22.9, 76.6],
    (30, 70): [0.1, 0.3, 1.0, 3.1, 7.4, 12.7, 23.1, 59.3],
    (15, 20): [0.3, 0.6, 1.2, 2.7, 8.2, 28.2, 88.8, 202],
    (15, 50): [0.1, 0.5, 1.2, 2.2, 4.2, 10.8, 36.2, 129],
    (15, 80): [0.1, 0.3, 1.1, 2.4, 4.1, 8.3, 23.7, 82.8],
}

# Temperature, Cramer at 50 percent and the density there.
SPEED_AND_DENSITY = [
    (0, 331.6014, 1.29110),
    (10, 337.7789, 1.24407),
    (15, 340.8734, 1.22139),
    (20, 343.9845, 1.19914),
    (25, 347.1243, 1.17720),
    (30, 350.3074, 1.15546),
]


def exact_midband(nominal: float) -> float:
    """The base-ten third-octave centre that the tables are computed for."""
    return 1000.0 * 10.0 ** (round(10.0 * np.log10(nominal / 1000.0)) / 10.0)


# As the standard defines them: 1 kHz times whole powers of the cube root of G = 10^(3/10).
G = 10.0**0.3
CENTRES = 1000.0 * G ** (np.arange(-17, 14) / 3.0)

# ISO 266, the nominal frequencies of the same bands.
NOMINAL = [
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250,
    1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
]  # fmt: skip

# As printed, for 0/180, 10/170, ... 80/100, 90 degrees.
PRINTED = [
    0.000604486, 0.004730189, 0.008955027, 0.012387354, 0.014989611, 0.016868154, 0.018165962,
    0.019006744, 0.019477787, 0.019629373,
]  # fmt: skip


def absorption_as_printed(row: tuple[float, float, float, float]) -> Compared:
    """Absorption of air against a table of three figures, dB/km."""
    temperature, humidity, nominal, printed = row
    found = 1000.0 * absorption(exact_midband(nominal), temperature, humidity)
    half_a_unit = 0.5 * 10.0 ** (np.floor(np.log10(printed)) - 2)
    case = f"{temperature:g} C, {humidity:g} %"
    return compare(case, [f"{nominal:g} Hz"], found, printed, 1.001 * half_a_unit)


def octaves_as_printed(weather: tuple[int, int]) -> Compared:
    """The same in octave bands, dB/km."""
    printed = np.array(ISO_9613_2[weather])
    found = 1000.0 * absorption([exact_midband(f) for f in OCTAVES], *weather)
    # Part 2 rounds the three figures of part 1 once more: 4.151 is 4.15 there and 4.1 here.
    three_figures = [float(f"{value:.3g}") for value in found]
    half_a_unit = np.where(printed > 100.0, 0.5, 0.05)
    at, case = [f"{f} Hz" for f in OCTAVES], f"{weather[0]:g} C, {weather[1]:g} %"
    return compare(case, at, three_figures, printed, 1.001 * half_a_unit)


def speed_of_sound(row: tuple[float, float, float]) -> Compared:
    """Speed of sound, m/s."""
    temperature, speed, _ = row
    return compare(f"{temperature:g} C", ["50 %"], Air(temperature, 50.0).speed, speed, 1e-4)


def density_of_air(row: tuple[float, float, float]) -> Compared:
    """Density, kg/m^3; the source rounds molar masses and gas constant to four figures."""
    temperature, _, known = row
    allowed = 5e-4 * known
    return compare(f"{temperature:g} C", ["50 %"], Air(temperature, 50.0).density, known, allowed)


def band_centres(_: None) -> Compared:
    """Exact centres of the third octaves from 20 Hz to 20 kHz."""
    at = [f"{f:g} Hz" for f in NOMINAL]
    return compare("centres", at, third_octave_centres(20.0, 20e3), CENTRES, 1e-9)


def band_limits(_: None) -> Compared:
    """Their edges, over half a band (a sixth of a power of G) away from the centres."""
    lower, upper = band_edges(third_octave_centres(20.0, 20e3))
    found = np.concatenate((lower / CENTRES * G ** (1 / 6), upper / CENTRES / G ** (1 / 6)))
    at = [f"{f:g} Hz, {edge}" for edge in ("lower", "upper") for f in NOMINAL]
    return compare("edges", at, found, np.ones(len(at)), ROUNDING)


def nominal_names(_: None) -> Compared:
    """Their nominal frequencies."""
    at = [f"{f:g} Hz" for f in CENTRES]
    return compare("names", at, [nominal_centre(f) for f in CENTRES], NOMINAL, 1e-6)


def weights_as_printed(_: None) -> Compared:
    """Sound-power weights; printed to nine decimals: within one unit of the last."""
    at = [f"{angle} deg" for angle in range(0, 181, 10)]
    return compare("weights", at, cta_weights(), PRINTED + PRINTED[-2::-1], 1e-9)


OCTAVES = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
_IEC = "IEC 61260-1:2014, base ten"
CHECKS = (
    Check(
        name="Absorption of air",
        kind=REST,
        source="ISO 9613-1:1993, Table 1",
        unit="dB/km",
        cases=tuple(TABLE_1),
        run=absorption_as_printed,
    ),
    Check(
        name="Absorption in octave bands",
        kind=REST,
        source="ISO 9613-2:1996, Table 2",
        unit="dB/km",
        cases=tuple(ISO_9613_2),
        run=octaves_as_printed,
    ),
    Check(
        name="Speed of sound",
        kind=REST,
        source="O. Cramer, J. Acoust. Soc. Am. 93, 2510 (1993), evaluated by pyfar 0.8.1",
        unit="m/s",
        cases=tuple(SPEED_AND_DENSITY),
        run=speed_of_sound,
    ),
    Check(
        name="Density of air",
        kind=REST,
        source="Ostashev & Wilson, Acoustics in Moving Inhomogeneous Media (2015), 6.3, evaluated"
        " by pyfar 0.8.1",
        unit="kg/m3",
        cases=tuple(SPEED_AND_DENSITY),
        run=density_of_air,
    ),
    Check(
        name="Third octaves: centres",
        kind=REST,
        source=_IEC,
        unit="Hz",
        cases=(None,),
        run=band_centres,
    ),
    Check(name="Third octaves: edges", kind=REST, source=_IEC, cases=(None,), run=band_limits),
    Check(
        name="Third octaves: names",
        kind=REST,
        source="ISO 266",
        unit="Hz",
        cases=(None,),
        run=nominal_names,
    ),
    Check(
        name="Weights of the sound power",
        kind=REST,
        source="ANSI/CTA-2034-A, Appendix C",
        cases=(None,),
        run=weights_as_printed,
    ),
)
