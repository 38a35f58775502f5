"""Sources on a rigid sphere.

Sources:
- point source on a sphere: Morse, Vibration and Sound, VII.27; Beranek & Mellow, Acoustics: Sound
  Fields and Transducers (2012), 12.5, Eq. 12.46 and 12.47; the curve on the axis is digitised from
  the book (its own error up to 0.04 dB).
- radially moving cap: Morse & Ingard, Theoretical Acoustics, 7.2. Axially moving cap: Beranek &
  Mellow, 12.6, Eq. 12.59 to 12.61; the polar curves of the axial cap are digitised from the book.
- the series of both: `series`.
- pulsating and oscillating sphere: radiation ratio k^2 / (k^2 + 1) and k^4 / (k^4 + 4), Kirkup, The
  Boundary Element Method in Acoustics (2007), 5.6.3; specific impedance ika / (1 + ika) with
  exp(+i omega t), elementary.
"""

from __future__ import annotations

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
from studies.questions.proof.cases.series import cap_on_sphere, point_on_sphere
from studies.questions.proof.cases.solids import AIR, capped_sphere, frequency_of, hertz, sphere

POLAR = np.array([0.0, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0])

POINT_SOURCE_KR = (0.1, 0.5, 1, 2, 3, 5, 10, 20)

POINT_SOURCE_ON_AXIS = [  # kR and dB, digitised from the book
    (0.1122, 0.009), (0.1375, 0.028), (0.1683, 0.029), (0.2061, 0.051), (0.2524, 0.088),
    (0.3091, 0.167), (0.3786, 0.313), (0.4636, 0.575), (0.5569, 0.958), (0.6530, 1.447),
    (0.7516, 1.927), (0.8549, 2.426), (0.9745, 2.915), (1.1482, 3.415), (1.4061, 3.612),
    (1.7054, 3.903), (2.0684, 4.485), (2.5330, 4.685), (3.0284, 5.021), (3.7987, 5.181),
    (4.6518, 5.411), (5.6967, 5.596), (7.0604, 5.682), (8.0138, 5.744), (9.0847, 5.800),
]  # fmt: skip

# Half angle in degrees, kR.
RADIAL_CAPS = tuple((half_angle, kr) for half_angle in (15, 30, 60) for kr in (1, 2, 5, 10))
AXIAL_CAPS = RADIAL_CAPS[2:]

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
    known = point_on_sphere(kr)
    solution = tiny_cap(kr)
    return compare(
        f"kR {kr:g}",
        (*degrees(POLAR), "directivity index"),
        [*level_over_free_field(solution, POLAR), *directivity_index(solution)],
        # The same source in the free field gives (kR)^2 in this unit.
        [*level(known.far_field(np.cos(np.radians(POLAR))) / kr**2), known.directivity_index],
        LEVEL_TOLERANCE_DB,
        hertz(kr),
    )


def point_source_as_drawn(point: tuple[float, float]) -> Compared:
    """Level on the axis, as read off the printed curve."""
    kr, printed = point
    found = level_over_free_field(tiny_cap(kr), np.zeros(1))
    return compare(f"kR {kr:g}", ["axis"], found, [printed], LEVEL_TOLERANCE_DB)


def radial_cap(case: tuple[int, int]) -> Compared:
    """Cap that moves outwards, of some half angle in degrees at some kR."""
    return _cap(case, axial=False)


def axial_cap(case: tuple[int, int]) -> Compared:
    """Cap that moves along the axis as one piece."""
    return _cap(case, axial=True)


def _cap(case: tuple[int, int], *, axial: bool) -> Compared:
    """Levels over the axis, directivity index, strength on the axis, power balance."""
    half_angle, kr = case
    drive = (axial_motion if axial else normal_motion)("cap", {"cap"}, AIR)
    solution = solve([capped_sphere(half_angle)], frequency_of(kr), [drive], AIR)
    far = solution.far_field(90.0 - POLAR)[:, 0]
    known = cap_on_sphere(kr, half_angle, axial=axial)
    strengths = known.far_field(np.cos(np.radians(POLAR)))
    exact = level(strengths / strengths[0])
    heard = np.flatnonzero(exact > exact.max() - PROMISED_RANGE_DB)
    # The acceleration is 1 m/s^2, so u = 1 / omega.
    on_axis = abs(far[0]) * kr * 2.0 * np.pi * solution.frequency / (AIR.density * AIR.speed)
    names = [degrees(POLAR)[i] for i in heard]
    return compare(
        f"{half_angle} deg, kR {kr}",
        [*names, "directivity index", "strength on the axis", "power balance"],
        [
            *level(far / far[0])[heard],
            *directivity_index(solution),
            level(on_axis),
            *solution.power_error_db,
        ],
        [*exact[heard], known.directivity_index, level(strengths[0]), 0.0],
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
        name="Point source on a sphere",
        kind=WAVES,
        source=f"Morse, Vibration and Sound, VII.27; {_BOOK}, Eq. 12.46 and 12.47; series evaluated"
        " for this project",
        unit="dB",
        cases=POINT_SOURCE_KR,
        run=point_source,
    ),
    Check(
        name="Point source on a sphere, as drawn",
        kind=WAVES,
        source=f"{_BOOK}, 12.5, read off the figure",
        unit="dB",
        cases=tuple(POINT_SOURCE_ON_AXIS),
        run=point_source_as_drawn,
    ),
    Check(
        name="Cap on a sphere, radial",
        kind=WAVES,
        source="Morse & Ingard, Theoretical Acoustics, 7.2; series evaluated for this project",
        unit="dB",
        cases=RADIAL_CAPS,
        run=radial_cap,
    ),
    Check(
        name="Cap on a sphere, axial",
        kind=WAVES,
        source=f"{_BOOK}, Eq. 12.59 to 12.61; series evaluated for this project",
        unit="dB",
        cases=AXIAL_CAPS,
        run=axial_cap,
    ),
    Check(
        name="Cap on a sphere, axial, as drawn",
        kind=WAVES,
        source=f"{_BOOK}, 12.6, read off the figures",
        unit="dB",
        cases=tuple(AXIAL_CAP_CURVES),
        run=axial_cap_as_drawn,
    ),
    Check(
        name="Pulsating sphere",
        kind=WAVES,
        source=f"elementary; power: {_KIRKUP}",
        unit="dB",
        cases=SPHERE_KA,
        run=pulsating_sphere,
    ),
    Check(
        name="Oscillating sphere",
        kind=WAVES,
        source=_KIRKUP,
        unit="dB",
        cases=SPHERE_KA,
        run=oscillating_sphere,
    ),
)
