"""Rigid plates as thin as the disc of the theory.

Sources:
- free rigid disc, oscillating along its axis and met squarely by a plane wave: evaluated for this
  project from the expansion of the pressure jump in P_(2m+1)(sqrt(1 - r^2/a^2)) (16 terms, power
  kept to 1e-13); it reproduces Bouwkamp, Rep. Prog. Phys. 17, 35 (1954) [from memory]:
  sigma / (pi a^2) = 16 (ka)^4 / (27 pi^2) [1 + 8/25 (ka)^2 + 311/6125 (ka)^4 + ...]. The disc's
  section and the resistance of its motion are the same number, an identity.
- rim of thickness h: the potential flow round the square end of a bar (Schwarz-Christoffel map,
  elementary) is, far from the end, that round a sharp edge farther out by
  (h / 2 pi) [1 + ln(4 pi L / h)], L the distance from the end.

So a plate acts as a disc enlarged by O(h ln h), with terms O(h) for its volume, as long as kh << 1.
Any quantity tends to the disc's as q_0 + h (q_1 + q_2 ln h); three plates give q_0. What is left
out is of the order of the square of that shift, (0.09)^2 for h/a = 0.1, and enters with weight 0.2.

Plates of h/a = 0.1, 0.03, 0.01 came out louder than the disc by 0.8, 0.4 and 0.2 dB on the axis at
ka = 0.1, and by 0.3, 0.2 and 0.1 dB at ka = 2; the limits q_0 within 0.02 dB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dispersion.waves import (
    DEFAULT_SETTINGS,
    PlaneWave,
    WaveSettings,
    WaveSolution,
    axial_motion,
    solve,
)
from dispersion.waves.elements import basis
from studies.questions.proof.cases.check import (
    LEVEL_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    degrees,
    level,
)
from studies.questions.proof.cases.solids import AIR, frequency_of, hertz, parts_of, plate

THICKNESSES = np.array([0.1, 0.03, 0.01])

# ka: resistance and reactance of both faces over rho c pi a^2, level at 30 and 60 degrees off axis
OSCILLATING = {
    0.1: (0.000006, 0.085053, -1.252, -6.027),
    0.2: (0.000097, 0.171129, -1.258, -6.047),
    0.5: (0.004065, 0.446109, -1.304, -6.183),
    1: (0.082123, 1.029137, -1.465, -6.672),
    1.5: (0.566861, 1.807701, -1.729, -7.482),
    2: (1.843539, 2.002056, -2.085, -8.597),
    3: (2.283572, 0.452265, -3.011, -11.605),
    4: (1.786871, 0.324168, -4.372, -15.391),
    5: (1.915251, 0.621157, -8.631, -17.555),
    7.5: (1.881863, 0.261818, -22.687, -21.386),
    10: (1.974299, 0.137845, -17.784, -23.988),
}

# ka: |f| / a at 0, 30 and 60 degrees, section, |p| at the centre of the lit and of the shadow face
BROADSIDE = {
    0.1: (0.002126, 0.001841, 0.001062, 0.000006, 1.002038, 1.002029),
    0.5: (0.055766, 0.047994, 0.027365, 0.004065, 1.058019, 1.052182),
    1: (0.258102, 0.218043, 0.119727, 0.082123, 1.325956, 1.225528),
    2: (1.360778, 1.070437, 0.505770, 1.843539, 3.078448, 1.749051),
    3: (1.745945, 1.234413, 0.458984, 2.283572, 3.315942, 1.316720),
    5: (2.516825, 0.931713, 0.333505, 1.915251, 2.269527, 1.606682),
    10: (4.947762, 0.638560, 0.312624, 1.974299, 3.191567, 1.304088),
}

HALF_A_DIGIT, HALF_A_DIGIT_OF_A_LEVEL = 5e-7, 5e-4

# A pressure at one point of the surface is no better than the best quartic: see the sphere's.
TWICE_AS_FINE = WaveSettings().finer(2.0)


def thin_limit(values: np.ndarray, thicknesses: np.ndarray = THICKNESSES) -> np.ndarray:
    """Return q_0 of q_0 + h (q_1 + q_2 ln h) through three plates, values (3, Q)."""
    h = thicknesses
    return np.linalg.solve(np.column_stack((np.ones(3), h, h * np.log(h))), values)[0]


def in_plane_wave(
    ka: float, thickness: float, settings: WaveSettings = DEFAULT_SETTINGS
) -> WaveSolution:
    """Solve a plate of unit radius that a plane wave meets squarely."""
    wave = [PlaneWave(90.0)]
    return solve([plate(thickness)], frequency_of(ka), wave, AIR, settings=settings)


def moving(ka: float, thickness: float) -> WaveSolution:
    """Solve a plate that moves along its axis."""
    bodies = [plate(thickness)]
    drive = axial_motion("disc", parts_of(bodies), AIR)
    return solve(bodies, frequency_of(ka), [drive], AIR)


def section(solution: WaveSolution) -> float:
    """Scattered power over intensity and pi a^2."""
    return 2.0 * AIR.density * AIR.speed * solution.far_power()[0] / np.pi


def impedance(solution: WaveSolution) -> tuple[float, float]:
    """Resistance (from the far power) and reactance over rho c pi a^2, for a = 1 m/s^2."""
    omega = 2.0 * np.pi * solution.frequency
    plane = np.pi * AIR.density * AIR.speed
    shape = basis(7)
    at = solution.mesh.at(shape.points)
    pressure = solution.pressure[solution.mesh.nodes][:, :, 0] @ shape.values.T
    area = 2.0 * np.pi * at.r * at.jacobian * shape.weights
    # The plate pushes the air with int p n_z dS; u = i / omega with exp(-i omega t).
    force_over_velocity = np.sum(area * at.normal_z * pressure) * omega / 1j
    return 2.0 * solution.far_power()[0] * omega**2 / plane, -force_over_velocity.imag / plane


def broadside(ka: float) -> Compared:
    """Far field and section of a disc that a plane wave meets squarely."""
    *magnitudes, exact_section, _, _ = BROADSIDE[ka]
    plates = [in_plane_wave(ka, h) for h in THICKNESSES]
    far = [np.abs(one.far_field(np.array([90.0, 60.0, 30.0]))[:, 0]) for one in plates]
    return compare(
        f"ka {ka:g}",
        (*degrees([0, 30, 60]), "cross-section"),
        [
            *level(thin_limit(np.array(far))),
            10.0 * np.log10(thin_limit(np.array([section(one) for one in plates]))),
        ],
        [*level(magnitudes), 10.0 * np.log10(exact_section)],
        [*within(magnitudes), *within([exact_section], 10.0)],
        hertz(ka),
    )


def both_faces(ka: float) -> Compared:
    """Pressure in the middle of the lit face and of the face in the shadow."""
    plates = [in_plane_wave(ka, h, TWICE_AS_FINE).pressure for h in THICKNESSES]
    found = level(thin_limit(np.array([np.abs(p[[0, -1], 0]) for p in plates])))
    known = BROADSIDE[ka][4:]
    at = ("lit face", "shadow face")
    return compare(f"ka {ka:g}", at, found, level(known), within(known), hertz(ka))


def oscillating(ka: float) -> Compared:
    """Resistance, reactance, and levels off the axis over the axis."""
    resistance, reactance, *off_axis = OSCILLATING[ka]
    plates = [moving(ka, h) for h in THICKNESSES]
    far = [one.far_field(np.array([90.0, 60.0, 30.0]))[:, 0] for one in plates]
    push, swing = thin_limit(np.array([impedance(one) for one in plates]))
    return compare(
        f"ka {ka:g}",
        ("resistance", "reactance", *degrees([30, 60])),
        [
            10.0 * np.log10(push),
            level(swing),
            *thin_limit(np.array([level(each[1:] / each[0]) for each in far])),
        ],
        [10.0 * np.log10(resistance), level(reactance), *off_axis],
        [
            *within([resistance], 10.0),
            *within([reactance]),
            *[LEVEL_TOLERANCE_DB + HALF_A_DIGIT_OF_A_LEVEL] * 2,
        ],
        hertz(ka),
    )


def within(known: ArrayLike, factor: float = 20.0) -> np.ndarray:
    """0.1 dB and half of the last printed digit, in dB."""
    return LEVEL_TOLERANCE_DB + factor * np.log10(1.0 + HALF_A_DIGIT / np.asarray(known))


_SERIES = (
    "series in Legendre functions, evaluated for this project; for long waves that of Bouwkamp,"
    " Rep. Prog. Phys. 17, 35 (1954) [from memory]"
)
CHECKS = (
    Check("Disc in a wave: far field", WAVES, _SERIES, "dB", tuple(BROADSIDE), broadside),
    Check(
        "Disc in a wave: on both faces",
        WAVES,
        f"{_SERIES}; mesh twice as fine",
        "dB",
        tuple(BROADSIDE),
        both_faces,
    ),
    Check("Disc that oscillates", WAVES, _SERIES, "dB", tuple(OSCILLATING), oscillating),
)
