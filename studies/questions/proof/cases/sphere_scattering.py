"""A rigid sphere in a plane wave and beside a point source.

Sources:
- plane wave: Morse & Ingard, Theoretical Acoustics, 8.2; Bowman, Senior & Uslenghi,
  Electromagnetic and Acoustic Scattering by Simple Shapes (1969), ch. 10 [both from memory]; the
  series stand in `series`.
- hemispherical boss on a rigid plane: the sphere with its mirrored wave, from the same series.
- point source: p = exp(ikR) / (4 pi R) - (ik / 4 pi) sum (2n + 1) j_n'(ka) / h_n'(ka) h_n(kd)
  h_n(kr) P_n(cos theta), elementary; a = 1, d = 2, r = 5.
"""

from __future__ import annotations

import numpy as np
from scipy.special import eval_legendre, spherical_jn

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
from studies.questions.proof.cases.series import (
    cross_section_of_sphere,
    hankel,
    orders,
    pressure_on_sphere,
    scattered_by_sphere,
)
from studies.questions.proof.cases.solids import AIR, around, frequency_of, hertz, sphere

POLAR = np.array([0.0, 45.0, 90.0, 135.0, 180.0])  # from the direction of travel

PLANE_WAVE_KA = (0.1, 0.5, 1, 2, 3, 5, 10, 20)

BOSS_KA = (1, 2, 5, 10)

BESIDE = np.arange(0.0, 181.0, 30.0)
BESIDE_K = (1, 5, 10, 20)

# Far field and points in the air are smooth averages of the surface pressure, and good at the
# default mesh. A pressure at one point of the surface is what quartics make of a wave, no
# better than the best quartic: per cents at the poles of four elements, and far less here.
TWICE_AS_FINE = WaveSettings().finer(2.0)

ORDERS_BEYOND_KA = 8
"""Orders above ka that are summed: what a sphere scatters falls off faster than exponentially."""


def cosines(polar_deg: np.ndarray) -> np.ndarray:
    """Cosines of angles in degrees."""
    return np.cos(np.radians(polar_deg))


def cross_section(solution: WaveSolution) -> float:
    """Scattered power over the intensity 1 / (2 rho c) of the wave, in m^2."""
    return 2.0 * AIR.density * AIR.speed * float(solution.far_power()[0])


def direct(k: float, polar_deg: np.ndarray) -> np.ndarray:
    """Free field exp(ikR) / (4 pi R) at r = 5 of a point source at d = 2."""
    distance = np.sqrt(29.0 - 20.0 * np.cos(np.radians(polar_deg)))
    return np.exp(1j * k * distance) / (4.0 * np.pi * distance)


def field_beside(k: int, polar_deg: np.ndarray) -> np.ndarray:
    """Total pressure at r = 5 of a source exp(ikR) / (4 pi R) at d = 2, beside a rigid unit ball.

    The angle is seen from the middle of the ball; 0 is towards the source.
    """
    n, cosines = orders(k), np.cos(np.radians(polar_deg))
    terms = (2 * n + 1) * spherical_jn(n, k, True) / hankel(n, k, True)
    terms = terms * hankel(n, 2.0 * k) * hankel(n, 5.0 * k) * eval_legendre(n, cosines)
    return direct(k, polar_deg) - 1j * k / (4.0 * np.pi) * terms.sum(axis=0)


def pressure_at(solution: WaveSolution, polar_deg: float) -> np.ndarray:
    """Surface pressure (W,) at the node on a polar angle that the mesh was cut at."""
    nodes = solution.mesh.node_points()
    away = np.abs(np.degrees(np.arctan2(np.abs(nodes.r), nodes.z)) - polar_deg)
    assert away.min() < 1e-6, "the mesh has no node there"
    return solution.pressure[solution.mesh.nodes.flat[away.argmin()]]


def surface_pressure(ka: float) -> Compared:
    """Pressure on the sphere in a plane wave, over that of the wave."""
    ball, frequency = sphere(breaks_deg=tuple(POLAR[1:-1])), frequency_of(ka)
    solution = solve([ball], frequency, [PlaneWave(90.0)], AIR, settings=TWICE_AS_FINE)
    found = [pressure_at(solution, angle)[0] for angle in POLAR]
    known = level(pressure_on_sphere(ka, cosines(POLAR)))
    return compare(f"ka {ka:g}", degrees(POLAR), level(found), known, LEVEL_TOLERANCE_DB, hertz(ka))


def scattered(ka: float) -> Compared:
    """Far field where it is loud, and the power of all of it."""
    solution = solve([sphere()], frequency_of(ka), [PlaneWave(90.0)], AIR)
    exact = level(scattered_by_sphere(ka, cosines(POLAR)))
    found = level(solution.far_field(90.0 - POLAR)[:, 0])
    heard = np.flatnonzero(exact > exact.max() - PROMISED_RANGE_DB)
    sections = np.array([cross_section(solution) / np.pi, cross_section_of_sphere(ka)])
    section, exact_section = 10.0 * np.log10(sections)
    return compare(
        f"ka {ka:g}",
        [*(degrees(POLAR)[i] for i in heard), "cross-section"],
        [*found[heard], section],
        [*exact[heard], exact_section],
        [*[LEVEL_TOLERANCE_DB] * len(heard), POWER_TOLERANCE_DB],
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
    known = level(scattered_by_sphere(ka, cosines(away)))
    return compare(f"ka {ka}", degrees(away), found, known, LEVEL_TOLERANCE_DB, hertz(ka))


def boss(ka: int) -> Compared:
    """A wave and its mirror image on the sphere: a boss on a rigid plane, met squarely."""
    waves = [PlaneWave(90.0), PlaneWave(-90.0)]
    ball, frequency = sphere(breaks_deg=[45.0, 90.0]), frequency_of(ka)
    solution = solve([ball], frequency, waves, AIR, settings=TWICE_AS_FINE)
    angles = np.array([0.0, 45.0, 90.0])
    found = level([pressure_at(solution, angle).sum() for angle in angles])
    up, down = (pressure_on_sphere(ka, sign * cosines(angles)) for sign in (1.0, -1.0))
    at = ("pole", "45 deg", "foot")
    return compare(f"ka {ka:g}", at, found, level(up + down), LEVEL_TOLERANCE_DB, hertz(ka))


def beside_on_the_axis(k: int) -> Compared:
    """Total level over the direct sound, then the complex pressure of a few."""
    exact = field_beside(k, BESIDE)
    solution = solve([sphere()], frequency_of(k), [Monopole(2.0)], AIR)
    angle = np.radians(BESIDE)
    points = 5.0 * np.column_stack((np.sin(angle), np.cos(angle)))
    total = solution.pressure_at(points)[:, 0] + direct(k, BESIDE)
    # As a level of the same size as the complex difference.
    off = level(1.0 + np.abs(total / exact - 1.0)[[0, 3, 6]])
    return compare(
        f"k {k:g}",
        [*degrees(BESIDE), *(f"phase and all, {angle}" for angle in degrees(BESIDE[[0, 3, 6]]))],
        [*level(total / direct(k, BESIDE)), *off],
        [*level(exact / direct(k, BESIDE)), 0.0, 0.0, 0.0],
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
    found, known = (level(field / direct(k, BESIDE)) for field in (total, field_beside(k, BESIDE)))
    return compare(f"k {k}", degrees(BESIDE), found, known, LEVEL_TOLERANCE_DB, hertz(k))


_BOOKS = (
    "Morse & Ingard, Theoretical Acoustics, 8.2, and Bowman, Senior & Uslenghi (1969), ch. 10"
    " [both from memory]; series evaluated for this project"
)
CHECKS = (
    Check(
        name="Sphere in a wave: on its surface",
        kind=WAVES,
        source=f"{_BOOKS}; mesh twice as fine",
        unit="dB",
        cases=PLANE_WAVE_KA,
        run=surface_pressure,
    ),
    Check(
        name="Sphere in a wave: far field",
        kind=WAVES,
        source=_BOOKS,
        unit="dB",
        cases=PLANE_WAVE_KA,
        run=scattered,
    ),
    Check(
        name="Sphere in a wave: optical theorem",
        kind=WAVES,
        source="elementary: the section follows from the field straight ahead",
        unit="dB",
        cases=(1, 2, 3, 5, 10, 20),
        run=optical_theorem,
    ),
    Check(
        name="Sphere in a wave from the side",
        kind=WAVES,
        source=_BOOKS,
        unit="dB",
        cases=(1, 5, 10),
        run=wave_across_the_axis,
    ),
    Check(
        name="Half a ball on a wall, in a wave",
        kind=WAVES,
        source=f"{_BOOKS}; mirrored",
        unit="dB",
        cases=BOSS_KA,
        run=boss,
    ),
    Check(
        name="Sphere beside a source, on axis",
        kind=WAVES,
        source="elementary series, evaluated for this project",
        unit="dB",
        cases=BESIDE_K,
        run=beside_on_the_axis,
    ),
    Check(
        name="Sphere beside a source, off axis",
        kind=WAVES,
        source="elementary series, evaluated for this project, turned by 50 degrees",
        unit="dB",
        cases=BESIDE_K,
        run=beside_off_the_axis,
    ),
)
