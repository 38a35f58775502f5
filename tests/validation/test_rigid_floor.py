"""Bodies on and above a rigid floor.

Sources:
- a rigid plane is a mirror: the field above it is that of the bodies and their images (Pierce,
  Acoustics, 1.4 [from memory]). So the doubled bodies in free air must give the same.
- pulsating sphere: p = -rho a_n R^2 exp(ik(r - R)) / (r (1 - ikR)), elementary; half of it on a
  plane is the same.
- rigid sphere in a plane wave: Morse & Ingard, Theoretical Acoustics, 8.2 [from memory]; two waves,
  one the other's image, need no plane.
- pulsating sphere above a plane: multipoles about its middle and about its image's, matched on the
  sphere (addition theorem: Gaunaurd & Huang, J. Acoust. Soc. Am. 96, 2526, 1994 [from memory]; its
  coefficients are taken here by Gauss quadrature over the sphere).
- monopoles hidden inside the bodies, each with its image: elementary (see the hidden monopoles).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from bodies import (
    AIR,
    EXAMPLES,
    LEVEL_TOLERANCE_DB,
    POWER_TOLERANCE_DB,
    built,
    example,
    frequency_of,
    level,
    level_error,
    parts_of,
    sphere,
)
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.waves import (
    Drive,
    MeshSettings,
    Monopole,
    PlaneWave,
    WaveSettings,
    axial_motion,
    normal_motion,
    solve,
)
from shapes.meridian import Arc, Line, Meridian
from shapes.pieces import Piece

SAME_DB = 0.01
"""The doubled bodies are cut into the same elements, so nothing but rounding is left."""

UP = np.arange(0.0, 91.0, 3.0)
FOOT = -built().column.height
PLACES = np.array([[0.06, 0.02], [2.0, 0.3], [0.3, FOOT], [0.15, FOOT + 0.01], [1.5, FOOT + 0.4]])
HALF_BALL = Meridian((Arc((1.0, 0.0), (0.0, 1.0), (0.0, 0.0), False, "ball"),))
FOOTLESS = Meridian(tuple(p for p in built().lower.pieces if p.part != "column bottom"))
FLARED_FOOT = Meridian(
    (
        Line((0.0, 0.0), (0.3, 0.0), "bottom"),
        Line((0.3, 0.0), (0.15, 0.4), "flank"),
        Line((0.15, 0.4), (0.0, 0.4), "lid"),
    )
)


def image_of(body: Meridian, floor: float) -> Meridian:
    """Mirror image of a body of lines and arcs, its parts called "image ..."."""

    def flipped(piece: Piece) -> Piece:
        points = [name for name in ("start", "end", "centre") if hasattr(piece, name)]
        there = {name: (getattr(piece, name)[0], 2 * floor - getattr(piece, name)[1])
                 for name in points}  # fmt: skip
        if isinstance(piece, Arc):
            there["clockwise"] = not piece.clockwise
        return replace(piece, **there, part=f"image {piece.part}").reversed()

    return Meridian(tuple(flipped(piece) for piece in body.pieces[::-1]))


def joined_with_image(standing: Meridian, floor: float) -> Meridian:
    """Body that stands on the floor and its image, in one."""
    return Meridian((*image_of(standing, floor).pieces, *standing.pieces))


def driven_with_image(drive: Drive) -> Drive:
    """Axial motion of the image against that of the body."""
    images = {f"image {part}": -1.0 for part in drive.parts}
    return Drive(drive.name, drive.parts | images.keys(), drive.gradient, images)


def driver() -> Drive:
    return axial_motion("driver", built().ways[0].parts, AIR)


@pytest.mark.parametrize("frequency", [50.0, 200.0, 1e3, 4e3, 16e3])
def test_floor_is_the_doubled_assembly(frequency: float) -> None:
    lower, upper = built().bodies
    on_floor = solve((lower, upper), frequency, [driver()], AIR, floor=FOOT)
    both = (joined_with_image(FOOTLESS, FOOT), upper, image_of(upper, FOOT))
    doubled = solve(both, frequency, [driven_with_image(driver())], AIR)
    assert doubled.mesh.unknowns > 1.9 * on_floor.mesh.unknowns
    assert level_error(on_floor.far_field(UP), doubled.far_field(UP), 60.0) < SAME_DB
    near, exact = on_floor.pressure_at(PLACES), doubled.pressure_at(PLACES)
    assert np.abs(level(near) - level(exact)).max() < SAME_DB
    half = 10.0 * np.log10(2.0 * on_floor.far_power() / doubled.far_power())
    assert abs(half[0]) < SAME_DB


@pytest.mark.parametrize("m", [0, 1, 2])
def test_source_beside_a_foot_that_slants(m: int) -> None:
    """The wall meets its image at an angle: an edge, cut as finely as any other."""
    frequency, source = 1200.0, Monopole(0.25, 0.5)
    on_floor = solve([FLARED_FOOT], frequency, [source], AIR, m, floor=0.0)
    both = [joined_with_image(Meridian(FLARED_FOOT.pieces[1:]), 0.0)]
    direct, image = (
        solve(both, frequency, [source, replace(source, z=-0.25)], AIR, m).far_field(UP).T
    )
    assert level_error(on_floor.far_field(UP)[:, 0], direct + image, 60.0) < SAME_DB


@pytest.mark.parametrize("ka", [0.3, 1.0, 5.0, 15.0])
def test_half_of_a_pulsating_sphere(ka: float) -> None:
    drive = normal_motion("swelling", {"ball"}, AIR)
    solution = solve([HALF_BALL], frequency_of(ka), [drive], AIR, floor=0.0)
    exact = AIR.density * np.exp(-1j * ka) / (1.0 - 1j * ka)
    assert np.abs(level(solution.far_field(UP) / exact)).max() < LEVEL_TOLERANCE_DB
    distance = np.hypot(*PLACES[1:2].T)
    found = solution.pressure_at(PLACES[1:2])[0] * distance
    assert np.abs(level(found / exact)).max() < LEVEL_TOLERANCE_DB
    assert abs(solution.power_error_db[0]) < POWER_TOLERANCE_DB


def sphere_amplitude(ka: float, sines: np.ndarray) -> np.ndarray:
    """Far field of a rigid unit sphere in a plane wave that travels up."""
    n = np.arange(int(ka) + 30)[:, None]
    slopes = spherical_jn(n, ka, True) + 1j * spherical_yn(n, ka, True)
    terms = (2 * n + 1) * spherical_jn(n, ka, True) / slopes * eval_legendre(n, sines)
    return 1j / ka * terms.sum(axis=0)


def half_sphere_in_a_wave(ka: float, settings: WaveSettings) -> tuple[np.ndarray, np.ndarray, int]:
    """Far field found and exact, and the unknowns, of a wave that comes straight down."""
    wave = [PlaneWave(-90.0)]
    solution = solve([HALF_BALL], frequency_of(ka), wave, AIR, settings=settings, floor=0.0)
    sines = np.sin(np.radians(UP))
    exact = sphere_amplitude(ka, sines) + sphere_amplitude(ka, -sines)
    return solution.far_field(UP)[:, 0], exact, solution.mesh.unknowns


@pytest.mark.parametrize("ka", [0.5, 3.0, 10.0])
def test_half_of_a_rigid_sphere_in_a_plane_wave(ka: float) -> None:
    found, exact, _ = half_sphere_in_a_wave(ka, WaveSettings())
    assert level_error(found, exact) < LEVEL_TOLERANCE_DB


def test_order_of_convergence() -> None:
    """As without a floor: quartic elements, one order less than 5 allowed (see convergence).

    Three to five elements on the quarter circle: with more, the pair integrals' own error shows.
    """
    errors, unknowns = [], []
    for fineness in (4.0, 5.0, 8.0):
        settings = WaveSettings(MeshSettings(fineness, growth=100.0), digits=10.0)
        found, exact, count = half_sphere_in_a_wave(10.0, settings)
        errors.append(np.abs(found - exact).max() / np.abs(exact).max())
        unknowns.append(count)
    assert unknowns == [13, 17, 21]
    assert -np.polyfit(np.log(unknowns), np.log(errors), 1)[0] > 4.0


def multipoles_above_a_plane(ka: float, height: float) -> np.ndarray:
    """Far field at UP of a unit sphere that swells with a_n = 1 m/s^2, its middle that high."""
    n = np.arange(60)[:, None]
    c, weights = np.polynomial.legendre.leggauss(200)
    s = np.sqrt(1.0 - c**2)

    def hankel(x: np.ndarray, slope: bool = False) -> np.ndarray:
        return spherical_jn(n, x, slope) + 1j * spherical_yn(n, x, slope)

    # A point of the sphere's image, seen from the sphere's middle, and the image's normal there.
    z = -2.0 * height - c
    rho = np.hypot(s, z)
    along = (s * s - c * z) / rho
    across = (-c - z / rho * along) / rho
    legendre = eval_legendre(n, z / rho)
    below = eval_legendre(np.maximum(n - 1, 0), z / rho)
    slope = n * (below - z / rho * legendre) / (1.0 - (z / rho) ** 2)
    own = ka * hankel(np.array([ka]), True)
    image = (
        ka * hankel(ka * rho, True) * legendre * along + hankel(ka * rho) * slope * across
    ) / own
    # Rows: orders on the sphere; each multipole is scaled to a slope of 1 there.
    coupling = (n + 0.5) * (eval_legendre(n, c) * weights) @ image.T
    strengths = np.linalg.solve(np.eye(len(n)) + coupling, -AIR.density * (n[:, 0] == 0))
    sines = np.sin(np.radians(UP))
    phase = np.exp(-1j * ka * height * sines)
    patterns = eval_legendre(n, sines) * phase + eval_legendre(n, -sines) / phase
    return (strengths[:, None] * (-1j) ** (n + 1) / ka / own * patterns).sum(axis=0)


@pytest.mark.parametrize("height", [1.2, 1.7, 3.0])
@pytest.mark.parametrize("ka", [0.2, 1.0, 4.0, 9.0])
def test_pulsating_sphere_above_a_plane(ka: float, height: float) -> None:
    drive = normal_motion("swelling", {"ball"}, AIR)
    solution = solve([sphere()], frequency_of(ka), [drive], AIR, lifts=(height,), floor=0.0)
    exact = multipoles_above_a_plane(ka, height)
    assert level_error(solution.far_field(UP)[:, 0], exact) < LEVEL_TOLERANCE_DB
    assert abs(solution.power_error_db[0]) < POWER_TOLERANCE_DB


def hidden_with_image(source: Monopole, bodies: Sequence[Meridian], floor: float, m: int) -> Drive:
    """Drive of all surfaces that a hidden monopole and its image would pass through unchanged."""
    pair = (source, replace(source, z=2.0 * floor - source.z))

    def gradient(points, frequency: float) -> np.ndarray:
        k = 2.0 * np.pi * frequency / AIR.speed
        return sum(one.on(points, k, m)[1] for one in pair)

    return Drive("hidden", parts_of(bodies), gradient)


def exact_far(source: Monopole, floor: float, k: float, m: int) -> np.ndarray:
    return source.far(UP, k, m) + replace(source, z=2.0 * floor - source.z).far(UP, k, m)


@pytest.mark.parametrize("m", [0, 1, 3])
@pytest.mark.parametrize("frequency", [300.0, 2e3, 6e3])
def test_hidden_monopoles_in_column_and_reflector(frequency: float, m: int) -> None:
    bodies = (FOOTLESS, built().upper)
    sources = [Monopole(-0.45, 0.03), Monopole(FOOT + 0.05, 0.02), Monopole(0.0675, 0.06)]
    drives = [hidden_with_image(source, bodies, FOOT, m) for source in sources]
    # Elements of 15 mm carry the drive of a monopole a few centimetres behind the wall.
    fine = WaveSettings(MeshSettings(4.0 * AIR.speed / frequency / 0.015))
    solution = solve(bodies, frequency, drives, AIR, m, fine, floor=FOOT)
    for found, source in zip(solution.far_field(UP).T, sources, strict=True):
        exact = exact_far(source, FOOT, solution.wavenumber, m)
        assert level_error(found, exact) < LEVEL_TOLERANCE_DB


def response_on_floor(name: str, frequencies: np.ndarray, finer: float = 1.0):
    design = example(name)
    problem = Problem(built(name), design.sources(), frequencies, design.air, floor=True)
    return solve_waves(problem, WaveSettings().finer(finer) if finer > 1.0 else WaveSettings())


@pytest.mark.parametrize("name", EXAMPLES)
def test_power_in_the_half_space(name: str) -> None:
    few = np.array([100.0, 315.0, 1e3, 3150.0, 10e3, 16e3])
    assert response_on_floor(name, few).worst_power_error_db < POWER_TOLERANCE_DB


@pytest.mark.slow
@pytest.mark.parametrize("name", EXAMPLES)
def test_power_in_the_half_space_at_every_frequency(name: str) -> None:
    found = response_on_floor(name, study_frequencies(100.0, 16e3))
    assert found.worst_power_error_db < POWER_TOLERANCE_DB


@pytest.mark.parametrize("name", EXAMPLES)
def test_finer_mesh_agrees(name: str) -> None:
    few = np.array([250.0, 1500.0, 6e3, 12.5e3])
    coarse, fine = response_on_floor(name, few), response_on_floor(name, few, 2.0)
    for found, exact in zip(coarse.far_by_way, fine.far_by_way, strict=True):
        for one, other in zip(found, exact, strict=True):
            upper = coarse.problem.elevations >= 0.0
            assert level_error(one[upper], other[upper]) < LEVEL_TOLERANCE_DB
