"""A rigid sphere in a plane wave and beside a point source.

Sources:
- plane wave: Morse & Ingard, Theoretical Acoustics, 8.2; Bowman, Senior & Uslenghi,
  Electromagnetic and Acoustic Scattering by Simple Shapes (1969), ch. 10 [both from memory];
  values evaluated for this project from the series f / a = (i / ka) sum (2n + 1) j_n' / h_n' P_n.
- hemispherical boss on a rigid plane: the sphere with its mirrored wave, from the same series.
- point source: p = exp(ikR) / (4 pi R) - (ik / 4 pi) sum (2n + 1) j_n'(ka) / h_n'(ka) h_n(kd)
  h_n(kr) P_n(cos theta), evaluated for this project; a = 1, d = 2, r = 5.
"""

from __future__ import annotations

import numpy as np

from dispersion.waves import Monopole, PlaneWave, WaveSettings, WaveSolution, solve
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
from studies.questions.proof.cases.solids import AIR, around, frequency_of, hertz, sphere

POLAR = np.array([0.0, 45.0, 90.0, 135.0, 180.0])  # from the direction of travel

# ka: |p| on the surface and |f| / a far away, both at POLAR, and Q = sigma / (pi a^2)
PLANE_WAVE = {
    0.1: (
        (1.000700, 0.999243, 0.997814, 0.999348, 1.000848),
        (0.001679, 0.000213, 0.003317, 0.006837, 0.008291),
        0.000077,
    ),
    0.5: (
        (1.019269, 0.983390, 0.963327, 1.034626, 1.084970),
        (0.046917, 0.010535, 0.074891, 0.152744, 0.183132),
        0.038744,
    ),
    1: (
        (1.068120, 0.926736, 0.973300, 1.291725, 1.418396),
        (0.192456, 0.076866, 0.242742, 0.418446, 0.469061),
        0.321629,
    ),
    2: (
        (1.127912, 0.691424, 1.193631, 1.499175, 1.660963),
        (0.548064, 0.346793, 0.531195, 0.357564, 0.380873),
        0.781500,
    ),
    3: (
        (1.151291, 0.668007, 1.178357, 1.632047, 1.774355),
        (0.952041, 0.631803, 0.309755, 0.489731, 0.379120),
        1.033500,
    ),
    5: (
        (1.145200, 0.720835, 1.247999, 1.761256, 1.874077),
        (1.818344, 0.494727, 0.386322, 0.440374, 0.519905),
        1.303363,
    ),
    10: (
        (1.045284, 0.528090, 1.323257, 1.870241, 1.957054),
        (4.108485, 0.212613, 0.485962, 0.496478, 0.489289),
        1.569142,
    ),
    20: (
        (0.837797, 0.451172, 1.349205, 1.942211, 1.987180),
        (8.854870, 0.575886, 0.466569, 0.491495, 0.487156),
        1.737437,
    ),
}

# ka: |p| at the pole, at 45 degrees and at the foot
BOSS: dict[float, tuple[float, float, float]] = {
    1: (0.473532, 1.144713, 1.946600),
    2: (2.562921, 0.948486, 2.387262),
    5: (2.851094, 1.709887, 2.495998),
    10: (2.556943, 1.343582, 2.646513),
}

# k: total level over the direct sound in dB at BESIDE, and 4 pi p at 0, 90 and 180 degrees
BESIDE = np.arange(0.0, 181.0, 30.0)

POINT_SOURCE: dict[float, tuple[tuple[float, ...], tuple[complex, ...]]] = {
    1: (
        (0.6882, 1.0614, 1.2112, 0.0778, -0.9190, -0.2163, 0.3357),
        (-0.36077771 + 0.00531185j, 0.10160389 - 0.15742397j, 0.08312762 + 0.12303733j),
    ),
    5: (
        (-1.9311, -0.3289, 0.4426, 0.2220, -0.0021, -4.4246, 1.6788),
        (-0.18826931 + 0.18916243j, -0.07592468 + 0.17471950j, 0.10152460 - 0.14046992j),
    ),
    10: (
        (1.1413, -1.0294, -1.8226, -1.4403, 0.5114, -6.2436, 1.8846),
        (0.12114294 - 0.36031963j, -0.15280346 - 0.03743148j, -0.03310696 - 0.17435790j),
    ),
    20: (
        (-1.1117, -1.1829, 0.0391, -0.8491, 0.9796, -6.3164, 1.6217),
        (-0.25465052 - 0.14550291j, 0.06990657 + 0.15320523j, -0.16425701 + 0.05163534j),
    ),
}

# Far field and points in the air are smooth averages of the surface pressure, and good at the
# default mesh. A pressure at one point of the surface is what quartics make of a wave, no
# better than the best quartic: per cents at the poles of four elements, and far less here.
TWICE_AS_FINE = WaveSettings().finer(2.0)

ORDERS_BEYOND_KA = 8
"""Orders above ka that are summed: what a sphere scatters falls off faster than exponentially."""


def cross_section(solution: WaveSolution) -> float:
    """Scattered power over the intensity 1 / (2 rho c) of the wave, in m^2."""
    return 2.0 * AIR.density * AIR.speed * float(solution.far_power()[0])


def direct(k: float, polar_deg: np.ndarray) -> np.ndarray:
    """Free field at r = 5 of a point source at d = 2."""
    distance = np.sqrt(29.0 - 20.0 * np.cos(np.radians(polar_deg)))
    return np.exp(1j * k * distance) / (4.0 * np.pi * distance)


def pressure_on_sphere(solution: WaveSolution, polar_deg: float) -> np.ndarray:
    """Surface pressure (W,) at the node on a polar angle that the mesh was cut at."""
    nodes = solution.mesh.node_points()
    away = np.abs(np.degrees(np.arctan2(np.abs(nodes.r), nodes.z)) - polar_deg)
    assert away.min() < 1e-6, "the mesh has no node there"
    return solution.pressure[solution.mesh.nodes.flat[away.argmin()]]


def surface_pressure(ka: float) -> Compared:
    """Pressure on the sphere in a plane wave, over that of the wave."""
    ball, frequency = sphere(breaks_deg=tuple(POLAR[1:-1])), frequency_of(ka)
    solution = solve([ball], frequency, [PlaneWave(90.0)], AIR, settings=TWICE_AS_FINE)
    found = [pressure_on_sphere(solution, angle)[0] for angle in POLAR]
    known = level(PLANE_WAVE[ka][0])
    return compare(f"ka {ka:g}", degrees(POLAR), level(found), known, LEVEL_TOLERANCE_DB, hertz(ka))


def scattered(ka: float) -> Compared:
    """Far field where it is loud, and the power of all of it."""
    _, magnitudes, section = PLANE_WAVE[ka]
    solution = solve([sphere()], frequency_of(ka), [PlaneWave(90.0)], AIR)
    exact, found = level(magnitudes), level(solution.far_field(90.0 - POLAR)[:, 0])
    heard = np.flatnonzero(exact > exact.max() - PROMISED_RANGE_DB)
    # Printed to six decimals, which is less than 0.1 dB of the smallest.
    allowed = LEVEL_TOLERANCE_DB + level(1.0 + 5e-7 / np.array(magnitudes))
    return compare(
        f"ka {ka:g}",
        [*(degrees(POLAR)[i] for i in heard), "cross-section"],
        [*found[heard], 10.0 * np.log10(cross_section(solution) / np.pi)],
        [*exact[heard], 10.0 * np.log10(section)],
        [*allowed[heard], POWER_TOLERANCE_DB + 10.0 * np.log10(1.0 + 5e-7 / section)],
        hertz(ka),
    )


def optical_theorem(ka: float) -> Compared:
    """Section = 4 pi / k Im f(0): below ka = 1 the imaginary part is a small share of f(0)."""
    solution = solve([sphere()], frequency_of(ka), [PlaneWave(90.0)], AIR)
    forward = 4.0 * np.pi / solution.wavenumber * solution.far_field(np.array([90.0]))[0, 0].imag
    found, known = (10.0 * np.log10(s / np.pi) for s in (forward, cross_section(solution)))
    at = ["cross-section from straight ahead"]
    return compare(f"ka {ka:g}", at, found, known, POWER_TOLERANCE_DB, hertz(ka))


def wave_across_the_axis(ka: int) -> Compared:
    """The same sphere met from the side, orders summed, scatters as it does along the axis."""
    towards = 30.0
    away = np.concatenate((POLAR, -POLAR[1:-1]))
    turned = np.radians(towards + away)
    elevations = np.degrees(np.arcsin(np.sin(turned)))
    azimuth = np.where(np.cos(turned) < 0.0, np.pi, 0.0)
    orders = [
        solve([sphere()], frequency_of(ka), [PlaneWave(towards)], AIR, m).far_field(elevations)
        for m in range(ka + ORDERS_BEYOND_KA + 1)
    ]
    found = level(around(orders, azimuth[:, None])[:, 0])
    magnitudes = PLANE_WAVE[ka][1]
    known = level([*magnitudes, *magnitudes[1:-1]])
    return compare(f"ka {ka}", degrees(away), found, known, LEVEL_TOLERANCE_DB, hertz(ka))


def boss(ka: int) -> Compared:
    """A wave and its mirror image on the sphere: a boss on a rigid plane, met squarely."""
    waves = [PlaneWave(90.0), PlaneWave(-90.0)]
    ball, frequency = sphere(breaks_deg=[45.0, 90.0]), frequency_of(ka)
    solution = solve([ball], frequency, waves, AIR, settings=TWICE_AS_FINE)
    found = level([pressure_on_sphere(solution, angle).sum() for angle in (0.0, 45.0, 90.0)])
    at = ("pole", "45 deg", "foot")
    return compare(f"ka {ka:g}", at, found, level(BOSS[ka]), LEVEL_TOLERANCE_DB, hertz(ka))


def beside_on_the_axis(k: int) -> Compared:
    """Total level over the direct sound, then the complex pressure of a few."""
    over_direct, complex_values = POINT_SOURCE[k]
    solution = solve([sphere()], frequency_of(k), [Monopole(2.0)], AIR)
    angle = np.radians(BESIDE)
    points = 5.0 * np.column_stack((np.sin(angle), np.cos(angle)))
    total = solution.pressure_at(points)[:, 0] + direct(k, BESIDE)
    # As a level of the same size as the complex difference.
    off = level(1.0 + np.abs(4.0 * np.pi * total[[0, 3, 6]] / np.array(complex_values) - 1.0))
    return compare(
        f"k {k:g}",
        [*degrees(BESIDE), *(f"phase and all, {angle}" for angle in degrees(BESIDE[[0, 3, 6]]))],
        [*level(total / direct(k, BESIDE)), *off],
        [*over_direct, 0.0, 0.0, 0.0],
        LEVEL_TOLERANCE_DB,
        hertz(k),
    )


def beside_off_the_axis(k: int) -> Compared:
    """The same field turned by 50 degrees: needs m = 0, 1, ...; receivers out of the plane."""
    tilt, turn = np.radians(50.0), np.radians(40.0)
    source = Monopole(2.0 * np.cos(tilt), 2.0 * np.sin(tilt))
    towards = np.array([np.sin(tilt), 0.0, np.cos(tilt)])
    across = np.cos(turn) * np.array([np.cos(tilt), 0.0, -np.sin(tilt)])
    across = across + np.sin(turn) * np.array([0.0, 1.0, 0.0])
    angle = np.radians(BESIDE)
    x, y, z = 5.0 * (np.outer(towards, np.cos(angle)) + np.outer(across, np.sin(angle)))
    points = np.column_stack((np.hypot(x, y), z))
    orders = [
        solve([sphere()], frequency_of(k), [source], AIR, m).pressure_at(points)[:, 0]
        for m in range(k + ORDERS_BEYOND_KA + 1)
    ]
    total = around(orders, np.arctan2(y, x)) + direct(k, BESIDE)
    found, known = level(total / direct(k, BESIDE)), POINT_SOURCE[k][0]
    return compare(f"k {k}", degrees(BESIDE), found, known, LEVEL_TOLERANCE_DB, hertz(k))


_BOOKS = (
    "Morse & Ingard, Theoretical Acoustics, 8.2, and Bowman, Senior & Uslenghi (1969), ch. 10"
    " [both from memory]; series evaluated for this project"
)
CHECKS = (
    Check(
        "Sphere in a wave: on its surface",
        WAVES,
        f"{_BOOKS}; mesh twice as fine",
        "dB",
        tuple(PLANE_WAVE),
        surface_pressure,
    ),
    Check("Sphere in a wave: far field", WAVES, _BOOKS, "dB", tuple(PLANE_WAVE), scattered),
    Check(
        "Sphere in a wave: optical theorem",
        WAVES,
        "elementary: the section follows from the field straight ahead",
        "dB",
        (1, 2, 3, 5, 10, 20),
        optical_theorem,
    ),
    Check("Sphere in a wave from the side", WAVES, _BOOKS, "dB", (1, 5, 10), wave_across_the_axis),
    Check(
        "Half a ball on a wall, in a wave", WAVES, f"{_BOOKS}; mirrored", "dB", tuple(BOSS), boss
    ),
    Check(
        "Sphere beside a source, on axis",
        WAVES,
        "elementary series, evaluated for this project",
        "dB",
        tuple(POINT_SOURCE),
        beside_on_the_axis,
    ),
    Check(
        "Sphere beside a source, off axis",
        WAVES,
        "elementary series, evaluated for this project, turned by 50 degrees",
        "dB",
        tuple(POINT_SOURCE),
        beside_off_the_axis,
    ),
)
