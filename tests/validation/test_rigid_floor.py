"""Bodies on and above a rigid floor.

Monopoles hidden inside the bodies, each with its image: elementary. Other numbers and their
sources: `studies.questions.proof.cases.floors`.
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
    level,
    level_error,
    parts_of,
)

from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.waves import (
    Drive,
    MeshSettings,
    Monopole,
    WaveSettings,
    solve,
)
from shapes.meridian import Line, Meridian
from studies.questions.proof.cases.floors import (
    SAME_DB,
    UP,
    driven_with_image,
    driver,
    half_sphere_in_a_wave,
    image_of,
    joined_with_image,
)

FOOT = -built().column.height
PLACES = np.array([[0.06, 0.02], [2.0, 0.3], [0.3, FOOT], [0.15, FOOT + 0.01], [1.5, FOOT + 0.4]])
FOOTLESS = Meridian(tuple(p for p in built().lower.pieces if p.part != "column bottom"))
FLARED_FOOT = Meridian(
    (
        Line((0.0, 0.0), (0.3, 0.0), "bottom"),
        Line((0.3, 0.0), (0.15, 0.4), "flank"),
        Line((0.15, 0.4), (0.0, 0.4), "lid"),
    )
)


@pytest.mark.parametrize("frequency", [80.0, 1.6e3, 8e3])
def test_near_field_and_power_are_those_of_the_doubled_assembly(frequency: float) -> None:
    """Between the frequencies at which `proof` holds the far field alone."""
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
    problem = Problem(
        assembly=built(name), ways=design.ways, frequencies=frequencies, air=design.air, floor=True
    )
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
