"""Sources on a rigid sphere.

Sources:
- point source on a sphere: Morse, Vibration and Sound, VII.27; Beranek & Mellow, Acoustics: Sound
  Fields and Transducers (2012), 12.5, Eq. 12.46 and 12.47. Levels evaluated for this project from
  that series; the curve on the axis is digitised from the book (its own error up to 0.04 dB).
- radially moving cap: Morse & Ingard, Theoretical Acoustics, 7.2. Axially moving cap: Beranek &
  Mellow, 12.6, Eq. 12.59 to 12.61. Levels evaluated for this project from both series; the polar
  curves of the axial cap are digitised from the book.
- pulsating and oscillating sphere: radiation ratio k^2 / (k^2 + 1) and k^4 / (k^4 + 4), Kirkup, The
  Boundary Element Method in Acoustics (2007), 5.6.3; specific impedance ika / (1 + ika) with
  exp(+i omega t), elementary.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dispersion.waves import WaveSolution, axial_motion, normal_motion, solve
from studies.questions.proof.cases.check import (
    LEVEL_TOLERANCE_DB,
    POWER_TOLERANCE_DB,
    PROMISED_RANGE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    degrees,
    level,
)
from studies.questions.proof.cases.solids import AIR, capped_sphere, frequency_of, hertz, sphere

POLAR = np.array([0.0, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0])

# kR: level in dB over the same source in the free field at POLAR, then directivity index
POINT_SOURCE = {
    0.1: (0.0074, 0.0009, -0.0122, -0.0190, -0.0129, -0.0003, 0.0061, 0.0178),
    0.5: (0.7084, 0.5121, 0.0481, -0.3245, -0.2873, 0.0087, 0.1658, 0.7590),
    1: (3.0359, 2.6858, 1.5482, -0.2351, -1.0595, -0.0652, 0.5724, 2.3990),
    2: (4.4072, 4.0023, 2.9322, 1.5374, -1.9412, -1.5969, 1.0455, 2.8517),
    3: (4.9808, 4.6214, 3.7520, 1.4255, -0.6357, -4.5791, 1.2237, 3.0019),
    5: (5.4557, 5.2645, 4.2362, 1.9243, -1.8119, -5.6365, 1.1776, 3.0924),
    10: (5.8321, 5.6994, 4.9274, 2.4329, -2.4553, -8.7487, 0.3847, 3.1550),
    20: (5.9647, 5.9074, 5.3605, 2.6016, -3.6342, -10.3585, -1.5372, 3.1232),
}

POINT_SOURCE_ON_AXIS = [  # kR and dB, digitised from the book
    (0.1122, 0.009), (0.1375, 0.028), (0.1683, 0.029), (0.2061, 0.051), (0.2524, 0.088),
    (0.3091, 0.167), (0.3786, 0.313), (0.4636, 0.575), (0.5569, 0.958), (0.6530, 1.447),
    (0.7516, 1.927), (0.8549, 2.426), (0.9745, 2.915), (1.1482, 3.415), (1.4061, 3.612),
    (1.7054, 3.903), (2.0684, 4.485), (2.5330, 4.685), (3.0284, 5.021), (3.7987, 5.181),
    (4.6518, 5.411), (5.6967, 5.596), (7.0604, 5.682), (8.0138, 5.744), (9.0847, 5.800),
]  # fmt: skip

# motion, half angle in degrees, kR: dB over the axis at 30 to 180 degrees, directivity index,
# |p| kr / (rho c u) on the axis
CAPS = [
    ("radial", 15, 1, -0.370, -1.549, -3.356, -4.165, -3.152, -2.507, 2.4551, 0.024046),
    ("radial", 15, 2, -0.473, -1.688, -3.218, -6.749, -6.330, -3.665, 3.0871, 0.112517),
    ("radial", 15, 5, -0.637, -2.626, -5.708, -9.669, -13.394, -6.487, 4.4653, 0.794683),
    ("radial", 15, 10, -1.985, -7.012, -12.953, -18.663, -24.689, -15.387, 8.0359, 3.317538),
    ("radial", 30, 1, -0.424, -1.717, -3.584, -4.347, -3.287, -2.626, 2.6059, 0.093086),
    ("radial", 30, 2, -0.658, -2.273, -4.198, -7.893, -7.261, -4.543, 3.7276, 0.433624),
    ("radial", 30, 5, -1.901, -6.841, -12.627, -17.421, -20.746, -13.455, 7.8383, 3.046393),
    ("radial", 30, 10, -7.619, -18.388, -20.110, -24.689, -30.016, -20.460, 13.5076, 12.095770),
    ("radial", 60, 1, -0.570, -2.159, -4.141, -4.737, -3.596, -2.919, 2.9706, 0.323596),
    ("radial", 60, 2, -1.128, -3.861, -7.107, -11.407, -10.002, -7.236, 5.3940, 1.457240),
    ("radial", 60, 5, -4.936, -12.153, -16.099, -20.276, -22.634, -14.259, 10.9753, 8.500418),
    ("radial", 60, 10, 0.298, -7.626, -16.057, -19.328, -23.126, -11.762, 7.6834, 11.979796),
    ("axial", 15, 5, -0.634, -2.617, -5.694, -9.654, -13.380, -6.473, 4.4573, 0.781158),
    ("axial", 15, 10, -1.974, -6.967, -12.872, -18.577, -24.609, -15.309, 8.0080, 3.261035),
    ("axial", 30, 1, -0.423, -1.712, -3.577, -4.341, -3.283, -2.622, 2.6010, 0.086892),
    ("axial", 30, 2, -0.652, -2.253, -4.164, -7.855, -7.231, -4.515, 3.7064, 0.404806),
    ("axial", 30, 5, -1.855, -6.673, -12.337, -17.131, -20.510, -13.241, 7.7300, 2.843145),
    ("axial", 30, 10, -7.362, -18.945, -20.608, -25.132, -30.457, -20.902, 13.4607, 11.289718),
    ("axial", 60, 1, -0.545, -2.085, -4.051, -4.682, -3.567, -2.899, 2.9151, 0.245160),
    ("axial", 60, 2, -1.041, -3.569, -6.607, -10.864, -9.704, -6.994, 5.1323, 1.106062),
    ("axial", 60, 5, -4.212, -12.211, -17.776, -22.347, -24.942, -16.627, 10.7941, 6.518567),
    ("axial", 60, 10, -0.901, -10.256, -19.600, -23.838, -27.757, -16.365, 8.8649, 10.566055),
]  # fmt: skip

# Axial cap of 60 degrees, ka = kR sin(60 degrees): polar angle and dB over the axis, digitised.
AXIAL_CAP_CURVES: dict[float, list[tuple[float, float]]] = {
    1: [
        (179.8, -3.52), (170.5, -3.59), (163.5, -3.84), (155.4, -4.12), (148.2, -4.57),
        (138.8, -5.06), (127.9, -5.62), (118.4, -5.89), (108.4, -5.75), (99.3, -5.34),
        (90.7, -4.83), (82.5, -4.02), (74.3, -3.46), (66.2, -2.71), (59.9, -2.22), (53.3, -1.74),
        (45.5, -1.31), (37.4, -0.77), (29.3, -0.51), (19.5, -0.14), (8.4, 0.01),
    ],
    3: [
        (180.2, -14.08), (196.6, -16.95), (206.1, -20.91), (214.8, -22.77), (231.9, -18.36),
        (246.1, -17.32), (259.5, -16.13), (271.2, -14.12), (281.2, -11.99), (290.2, -9.95),
        (298.8, -8.23), (307.1, -6.49), (315.7, -4.85), (324.8, -3.17), (334.9, -1.86),
        (343.0, -1.01), (350.9, -0.34), (359.9, -0.11), (188.1, -14.57), (224.5, -19.92),
    ],
    10: [
        (179.9, -13.27), (162.1, -20.48), (148.5, -21.71), (155.2, -25.73), (133.2, -21.41),
        (141.2, -23.42), (123.1, -21.18), (113.0, -19.91), (104.2, -18.51), (96.9, -17.19),
        (90.4, -16.13), (84.5, -14.93), (78.7, -13.69), (74.0, -12.53), (69.5, -11.04),
        (65.6, -9.28), (61.4, -7.45), (57.9, -5.88), (54.2, -4.59), (50.5, -3.37), (46.8, -2.19),
        (43.2, -1.23), (38.4, -0.24), (34.6, 0.89), (30.8, 2.08), (26.6, 3.17), (4.4, 0.21),
        (22.6, 3.86), (9.3, 1.61), (18.6, 3.85), (12.6, 2.57), (169.0, -29.46), (0.1, -0.09),
    ],
    30: [
        (180.0, -19.83), (225.0, -30.35), (239.8, -29.38), (254.4, -28.17), (269.4, -24.83),
        (284.4, -19.52), (299.7, -11.77), (314.8, -3.89), (329.7, -2.41), (345.0, -1.78),
        (0.0, -0.17), (323.1, -2.17), (335.6, -2.3), (349.2, -1.56), (186.9, -27.49),
    ],
}  # fmt: skip

READING_OFF_A_CURVE_DB = 0.5
"""Root mean square error allowed for a curve read off a printed polar plot."""


def directivity_index(solution: WaveSolution) -> np.ndarray:
    """Of the direction straight up, in dB."""
    on_axis = np.abs(solution.far_field(np.array([90.0]))[0]) ** 2
    mean = solution.far_power() * 2.0 * AIR.density * AIR.speed / (4.0 * np.pi)
    return 10.0 * np.log10(on_axis / mean)


def tiny_cap(kr: float) -> WaveSolution:
    """Point source on a sphere: a cap of 0.2 degrees.

    A cap of half angle alpha weighs order n by 1 - n (n + 1) alpha^2 / 8: 0.006 dB at n = 20.
    """
    return solve([capped_sphere(0.2)], frequency_of(kr), [normal_motion("cap", {"cap"}, AIR)], AIR)


def level_over_free_field(solution: WaveSolution, polar: np.ndarray) -> np.ndarray:
    """Level in dB over a point source of the same volume acceleration A: p = rho A / (4 pi r)."""
    free = AIR.density * solution.volume_acceleration() / (4.0 * np.pi)
    return level(solution.far_field(90.0 - polar) / free)[:, 0]


def radiation_ratio(solution: WaveSolution, mean_square: float) -> list[float]:
    """Power in dB over rho c S <v^2> / 2, at the surface and far away, for a = 1 m/s^2."""
    velocity = 1.0 / (2.0 * np.pi * solution.frequency)
    plane = 0.5 * AIR.density * AIR.speed * 4.0 * np.pi * mean_square * velocity**2
    powers = (solution.driven_power()[0], solution.far_power()[0])
    return [10.0 * np.log10(power / plane) for power in powers]


def point_source(kr: float) -> Compared:
    """Level over the free field all round, and directivity index."""
    *levels, index = POINT_SOURCE[kr]
    solution = tiny_cap(kr)
    found = [*level_over_free_field(solution, POLAR), directivity_index(solution)[0]]
    at = (*degrees(POLAR), "directivity index")
    return compare(f"kR {kr:g}", at, found, [*levels, index], LEVEL_TOLERANCE_DB, hertz(kr))


def point_source_as_drawn(point: tuple[float, float]) -> Compared:
    """Level on the axis, as read off the printed curve."""
    kr, printed = point
    found = level_over_free_field(tiny_cap(kr), np.zeros(1))
    return compare(f"kR {kr:g}", ["axis"], found, [printed], LEVEL_TOLERANCE_DB)


def cap(row: tuple[Any, ...]) -> Compared:
    """Levels over the axis, directivity index, strength on the axis, power balance."""
    motion, half_angle, kr, *over_axis, index, strength = row
    drive = {"axial": axial_motion, "radial": normal_motion}[motion]("cap", {"cap"}, AIR)
    solution = solve([capped_sphere(half_angle)], frequency_of(kr), [drive], AIR)
    far = solution.far_field(90.0 - POLAR)[:, 0]
    exact, levels = np.array([0.0, *over_axis]), level(far / far[0])
    heard = np.flatnonzero(exact > exact.max() - PROMISED_RANGE_DB)
    # The acceleration is 1 m/s^2, so u = 1 / omega.
    on_axis = abs(far[0]) * kr * 2.0 * np.pi * solution.frequency / (AIR.density * AIR.speed)
    names = [degrees(POLAR)[i] for i in heard]
    return compare(
        f"{half_angle} deg, kR {kr}",
        [*names, "directivity index", "strength on the axis", "power balance"],
        [*levels[heard], *directivity_index(solution), level(on_axis), *solution.power_error_db],
        [*exact[heard], index, level(strength), 0.0],
        [*[LEVEL_TOLERANCE_DB] * (len(heard) + 2), POWER_TOLERANCE_DB],
        hertz(kr),
    )


def axial_cap_as_drawn(ka: int) -> Compared:
    """Root mean square difference to a polar curve read off the page."""
    polar, printed = np.array([(0.0, 0.0), *AXIAL_CAP_CURVES[ka]]).T
    polar = np.minimum(polar, 360.0 - polar)
    frequency = frequency_of(ka / np.sin(np.radians(60.0)))
    solution = solve([capped_sphere(60.0)], frequency, [axial_motion("cap", {"cap"}, AIR)], AIR)
    far = solution.far_field(90.0 - polar)[:, 0]
    rms = np.sqrt(np.mean((level(far / far[0]) - printed)[1:] ** 2))
    return compare(f"ka {ka:g}", ["rms over the curve"], rms, 0.0, READING_OFF_A_CURVE_DB)


def pulsating_sphere(ka: float) -> Compared:
    """Pressure on the surface, radiation ratio at the surface and far away."""
    solution = solve([sphere()], frequency_of(ka), [normal_motion("all", {"ball"}, AIR)], AIR)
    impedance = solution.pressure * 2.0 * np.pi * solution.frequency / 1j
    exact = AIR.density * AIR.speed * np.conj(1j * ka / (1.0 + 1j * ka))
    # The node that is farthest off, phase included.
    off = impedance[np.abs(impedance / exact - 1.0).argmax(), 0] / exact
    ratio = 10.0 * np.log10(ka**2 / (ka**2 + 1.0))
    return compare(
        f"ka {ka:g}",
        ("surface pressure", "power at the surface", "power far away"),
        [float(level(1.0 + abs(off - 1.0))), *radiation_ratio(solution, 1.0)],
        [0.0, ratio, ratio],
        [LEVEL_TOLERANCE_DB, POWER_TOLERANCE_DB, POWER_TOLERANCE_DB],
        hertz(ka),
    )


def oscillating_sphere(ka: float) -> Compared:
    """Radiation ratio at the surface and far away."""
    solution = solve([sphere()], frequency_of(ka), [axial_motion("all", {"ball"}, AIR)], AIR)
    # The mean square of the normal velocity is a third of that of the axial one.
    found = radiation_ratio(solution, 1.0 / 3.0)
    exact = [10.0 * np.log10(ka**4 / (ka**4 + 4.0))] * 2
    at = ("power at the surface", "power far away")
    return compare(f"ka {ka:g}", at, found, exact, POWER_TOLERANCE_DB, hertz(ka))


SPHERE_KA = (0.5, 1.0, 2.0, 5.0, 10.0)
_BOOK = "Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012)"
_KIRKUP = "Kirkup, The Boundary Element Method in Acoustics (2007), 5.6.3"
CHECKS = (
    Check(
        "Point source on a sphere",
        WAVES,
        f"Morse, Vibration and Sound, VII.27; {_BOOK}, Eq. 12.46 and 12.47; series evaluated for"
        " this project",
        "dB",
        tuple(POINT_SOURCE),
        point_source,
    ),
    Check(
        "Point source on a sphere, as drawn",
        WAVES,
        f"{_BOOK}, 12.5, read off the figure",
        "dB",
        tuple(POINT_SOURCE_ON_AXIS),
        point_source_as_drawn,
    ),
    Check(
        "Cap on a sphere, radial",
        WAVES,
        "Morse & Ingard, Theoretical Acoustics, 7.2; series evaluated for this project",
        "dB",
        tuple(row for row in CAPS if row[0] == "radial"),
        cap,
    ),
    Check(
        "Cap on a sphere, axial",
        WAVES,
        f"{_BOOK}, Eq. 12.59 to 12.61; series evaluated for this project",
        "dB",
        tuple(row for row in CAPS if row[0] == "axial"),
        cap,
    ),
    Check(
        "Cap on a sphere, axial, as drawn",
        WAVES,
        f"{_BOOK}, 12.6, read off the figures",
        "dB",
        tuple(AXIAL_CAP_CURVES),
        axial_cap_as_drawn,
    ),
    Check(
        "Pulsating sphere",
        WAVES,
        f"elementary; power: {_KIRKUP}",
        "dB",
        SPHERE_KA,
        pulsating_sphere,
    ),
    Check("Oscillating sphere", WAVES, _KIRKUP, "dB", SPHERE_KA, oscillating_sphere),
)
