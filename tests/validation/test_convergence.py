"""Order of convergence on a smooth body, and the example designs on finer meshes.

Source: theory of Galerkin boundary elements (Sauter & Schwab, Boundary Element Methods, 2011, ch. 4
[from memory]). Quartic elements carry a smooth surface pressure to O(h^5); the far field is an
integral of it, and converges at least as fast (for exact integrals up to O(h^9)). The rules for the
integrals over pairs of elements are fixed; near 1e-4 of the maximum their error begins to show, and
flattens the slope. Orders found: 4.8 to 6.3; one less than 5 is
allowed for that.
"""

import numpy as np
import pytest
from bodies import (
    AIR,
    EXAMPLES,
    LEVEL_TOLERANCE_DB,
    built,
    frequency_of,
    hidden,
    level_error,
    sphere,
    spheroid,
)
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from dispersion.waves import MeshSettings, Monopole, PlaneWave, WaveSettings, axial_motion, solve

ELEVATIONS = np.arange(-90.0, 91.0, 3.0)
LEAST_ORDER = 4.0
UNKNOWNS_PER_WAVELENGTH = (4.0, 5.0, 6.0, 8.0, 10.0, 12.0)


def settings(unknowns_per_wavelength: float) -> WaveSettings:
    """Elements that follow the wavelength alone, azimuth sums to ten digits."""
    return WaveSettings(MeshSettings(unknowns_per_wavelength, growth=100.0), digits=10.0)


def sphere_amplitude(ka: float) -> np.ndarray:
    """Far field of a rigid unit sphere in a plane wave that travels up (see the sphere's tests)."""
    n = np.arange(int(ka) + 30)
    slopes = spherical_jn(n, ka, True) + 1j * spherical_yn(n, ka, True)
    weights = (2 * n + 1) * spherical_jn(n, ka, True) / slopes
    sines = np.sin(np.radians(ELEVATIONS))
    return 1j / ka * np.sum(weights[:, None] * eval_legendre(n[:, None], sines), axis=0)


def order_of(errors: list[float], unknowns: list[int]) -> float:
    """Slope of the error over the mean size of the elements."""
    return float(np.polyfit(-np.log(unknowns), np.log(errors), 1)[0])


@pytest.mark.parametrize("ka", [6.0, 15.0])
def test_order_for_a_scattered_wave(ka: float) -> None:
    exact = sphere_amplitude(ka)
    errors, unknowns = [], []
    for fineness in UNKNOWNS_PER_WAVELENGTH:
        wave = [PlaneWave(90.0)]
        solution = solve([sphere()], frequency_of(ka), wave, AIR, settings=settings(fineness))
        found = solution.far_field(ELEVATIONS)[:, 0]
        errors.append(np.abs(found - exact).max() / np.abs(exact).max())
        unknowns.append(solution.mesh.unknowns)
    assert order_of(errors, unknowns) > LEAST_ORDER


@pytest.mark.parametrize("m", [0, 2])
def test_order_for_a_radiated_wave(m: int) -> None:
    """A monopole hidden in a spheroid: the drive, quartic too, limits the order to 5."""
    bodies, ka = [spheroid(1.0, 0.5)], 15.0
    source = Monopole(0.2, 0.1)
    errors, unknowns = [], []
    for fineness in UNKNOWNS_PER_WAVELENGTH:
        drive = [hidden(source, bodies, m)]
        solution = solve(bodies, frequency_of(ka), drive, AIR, m, settings(fineness))
        exact = source.far(ELEVATIONS, ka, m)
        error = np.abs(solution.far_field(ELEVATIONS)[:, 0] - exact).max()
        errors.append(error / np.abs(exact).max())
        unknowns.append(solution.mesh.unknowns)
    assert order_of(errors, unknowns) > LEAST_ORDER


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("frequency", [250.0, 1e3, 4e3, 8e3, 16e3])
def test_default_mesh_of_the_examples(name: str, frequency: float) -> None:
    """The examples' own ways: the default mesh against one four times as fine."""
    assembly = built(name)
    drives = [axial_motion(way.name, way.parts, AIR) for way in assembly.ways]
    found, fine = (
        solve(assembly.bodies, frequency, drives, AIR, settings=choice).far_field(ELEVATIONS)
        for choice in (WaveSettings(), WaveSettings().finer(4.0))
    )
    for w in range(len(drives)):
        assert level_error(found[:, w], fine[:, w]) < LEVEL_TOLERANCE_DB
