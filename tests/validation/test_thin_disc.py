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

import numpy as np
import pytest
from bodies import AIR, LEVEL_TOLERANCE_DB, frequency_of, level, parts_of, plate

from dispersion.waves import (
    DEFAULT_SETTINGS,
    PlaneWave,
    WaveSettings,
    WaveSolution,
    axial_motion,
    solve,
)
from dispersion.waves.elements import basis

THICKNESSES = np.array([0.1, 0.03, 0.01])
KH_OF_A_THIN_PLATE = 0.5

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
HALF_A_DIGIT = 5e-7
# A pressure at one point of the surface is no better than the best quartic: see the sphere's.
TWICE_AS_FINE = WaveSettings().finer(2.0)


def thin_limit(values: np.ndarray, thicknesses: np.ndarray = THICKNESSES) -> np.ndarray:
    """Return q_0 of q_0 + h (q_1 + q_2 ln h) through three plates, values (3, Q)."""
    h = thicknesses
    return np.linalg.solve(np.column_stack((np.ones(3), h, h * np.log(h))), values)[0]


def in_plane_wave(ka: float, thickness: float, settings=DEFAULT_SETTINGS) -> WaveSolution:
    wave = [PlaneWave(90.0)]
    return solve([plate(thickness)], frequency_of(ka), wave, AIR, settings=settings)


def moving(ka: float, thickness: float) -> WaveSolution:
    bodies = [plate(thickness)]
    drive = axial_motion("disc", parts_of(bodies), AIR)
    return solve(bodies, frequency_of(ka), [drive], AIR)


def broadside_field(ka: float, thickness: float) -> np.ndarray:
    """|f| at 0, 30 and 60 degrees from the direction of travel."""
    return np.abs(in_plane_wave(ka, thickness).far_field([90.0, 60.0, 30.0])[:, 0])


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


def assert_levels(found, exact, factor: float = 20.0) -> None:
    """Within 0.1 dB and half of the last printed digit."""
    exact = np.asarray(exact)
    allowed = LEVEL_TOLERANCE_DB + factor * np.log10(1.0 + HALF_A_DIGIT / exact)
    assert np.all(np.abs(factor * np.log10(found / exact)) < allowed)


@pytest.mark.parametrize("ka", BROADSIDE)
def test_broadside_scattering(ka: float) -> None:
    *magnitudes, exact_section, _, _ = BROADSIDE[ka]
    found = np.array([broadside_field(ka, h) for h in THICKNESSES])
    assert_levels(thin_limit(found), magnitudes)
    sections = np.array([[section(in_plane_wave(ka, h))] for h in THICKNESSES])
    assert_levels(thin_limit(sections), [exact_section], factor=10.0)


@pytest.mark.parametrize("ka", BROADSIDE)
def test_pressure_on_both_faces(ka: float) -> None:
    found = []
    for h in THICKNESSES:
        pressure = in_plane_wave(ka, h, TWICE_AS_FINE).pressure
        found.append(np.abs([pressure[0, 0], pressure[-1, 0]]))
    assert_levels(thin_limit(np.array(found)), BROADSIDE[ka][4:])


@pytest.mark.parametrize("ka", BROADSIDE)
def test_differences_shrink_with_the_thickness(ka: float) -> None:
    thin = [h for h in THICKNESSES if ka * h <= KH_OF_A_THIN_PLATE]
    exact = np.array(BROADSIDE[ka][:3])
    away = [np.abs(broadside_field(ka, h) - exact).max() for h in thin]
    assert len(away) > 1
    assert all(thinner < thicker for thicker, thinner in zip(away, away[1:], strict=False))


@pytest.mark.parametrize("thickness", THICKNESSES)
def test_plate_is_a_disc_a_little_larger(thickness: float) -> None:
    """Long waves: f(0) - f(180 deg) is the dipole, k^2 / (2 pi) times 8/3 of the radius cubed.

    The plate holds the thin disc of radius 1, and acts at most as a disc larger by the shift of
    its rim at the distance L = 1.
    """
    ka = 0.01
    far = in_plane_wave(ka, thickness).far_field([90.0, -90.0])[:, 0]
    dipole = abs(far[0] - far[1]) * 2.0 * np.pi / ka**2 / (8.0 / 3.0)
    at_most = 1.0 + thickness / (2.0 * np.pi) * (1.0 + np.log(4.0 * np.pi / thickness))
    assert 1.0 < dipole < at_most**3


@pytest.mark.parametrize("ka", OSCILLATING)
def test_oscillating_disc(ka: float) -> None:
    resistance, reactance, *off_axis = OSCILLATING[ka]
    impedances, levels = [], []
    for h in THICKNESSES:
        solution = moving(ka, h)
        impedances.append(impedance(solution))
        far = solution.far_field([90.0, 60.0, 30.0])[:, 0]
        levels.append(level(far[1:] / far[0]))
    found = thin_limit(np.array(impedances))
    assert_levels(found[:1], [resistance], factor=10.0)
    assert_levels(found[1:], [reactance])
    assert thin_limit(np.array(levels)) == pytest.approx(
        np.array(off_axis), abs=LEVEL_TOLERANCE_DB + 5e-4
    )
