"""Monopoles hidden inside the solids: an exact field for any shape, edges and several bodies.

Source: elementary (the method of manufactured solutions). A monopole inside a rigid body sends out
exp(ikR) / (4 pi R); surfaces that move with its dp/dn radiate just that field, at every frequency,
irregular ones included. For those: Burton & Miller, Proc. R. Soc. A 323, 201 (1971); a body that is
not convex as the proper test: Marburg & Amini, J. Comput. Acoust. 13, 21-45 (2005).

The drive reaches the solver by its values at the nodes, quartic between them. That carries a
piston's motion exactly, but a monopole's field only to a few thousandths of the maximum at the
default mesh (worse where the monopole lies nearer to the wall than elements are long).
The field of what the quartics leave out is known: by reciprocity with the plane wave that
arrives from there, whose pressure on the rigid solids is p,

    F = -(1 / 4 pi) int q p dS .

The tests at the default mesh add it; those on finer meshes, which carry the drive, do without.
Found at the default mesh: within 0.02 dB.
"""

import numpy as np
import pytest
from bodies import (
    AIR,
    LEVEL_TOLERANCE_DB,
    built,
    frequency_of,
    hidden,
    level_error,
    sphere,
)
from scipy.special import jn_zeros

from dispersion.waves import Monopole, PlaneWave, WaveSettings, WaveSolution, solve
from dispersion.waves.elements import basis

ELEVATIONS = np.arange(-90.0, 91.0, 3.0)
BODIES = built().bodies
ON_AXIS = (Monopole(-0.3), Monopole(-0.05), Monopole(0.045))
OFF_AXIS = (
    Monopole(-0.45, 0.03),
    Monopole(-0.03, 0.058),
    Monopole(-0.02, 0.08),
    Monopole(0.05, 0.03),
    Monopole(0.0675, 0.09),
)
"""Mid-column, under the frame, behind the baffle's edge, in the cap, in the plate's rim."""

MOST_LEFT_OUT = 0.1
"""Share of the field that the correction may carry: its own error is a small part of that."""


def in_air(frequency: float) -> float:
    return 2.0 * np.pi * frequency / AIR.speed


def left_out(sources, solution: WaveSolution, waves: np.ndarray) -> np.ndarray:
    """Far field (D, W) of the drive that the quartics leave out; `waves` (E, P, D) is p."""
    shape = basis(9)
    at = solution.mesh.at(shape.points)
    m, k = solution.order, solution.wavenumber
    exact = np.stack([source.on(at, k, m)[1] for source in sources], axis=-1)
    carried = np.einsum("qp,epw->eqw", shape.values, solution.gradient[:, :, : len(sources)])
    area = 2.0 * np.pi * at.r * at.jacobian * shape.weights
    pressure = np.einsum("qp,epd->eqd", shape.values, waves)
    return -np.einsum("eq,eqw,eqd->dw", area, exact - carried, pressure) / (4.0 * np.pi)


def radiated(sources, frequency: float, m: int) -> tuple[np.ndarray, np.ndarray]:
    """Far field (D, W) of the solids that move like the sources, and the part that was added."""
    drives = [hidden(source, BODIES, m) for source in sources]
    # Waves that come from each elevation: they travel the other way, half a turn round.
    arriving = [PlaneWave(-elevation) for elevation in ELEVATIONS]
    solution = solve(BODIES, frequency, [*drives, *arriving], AIR, m)
    pressure = solution.pressure[solution.mesh.nodes]
    added = left_out(sources, solution, (-1.0) ** m * pressure[:, :, len(sources) :])
    return solution.far_field(ELEVATIONS)[:, : len(sources)] + added, added


@pytest.mark.parametrize("m", [0, 1, 3])
@pytest.mark.parametrize("frequency", [200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4])
def test_default_mesh(frequency: float, m: int) -> None:
    sources = ON_AXIS + OFF_AXIS if m == 0 else OFF_AXIS
    found, added = radiated(sources, frequency, m)
    tried = 0
    for w, source in enumerate(sources):
        exact = source.far(ELEVATIONS, in_air(frequency), m)
        if np.abs(added[:, w]).max() < MOST_LEFT_OUT * np.abs(exact).max():
            tried += 1
            assert level_error(found[:, w], exact) < LEVEL_TOLERANCE_DB
    assert tried >= 4


@pytest.mark.parametrize("m", [0, 2])
@pytest.mark.parametrize("frequency", [200.0, 1e3, 4e3])
def test_mesh_that_carries_the_drive(frequency: float, m: int) -> None:
    """No correction: four times as fine, deep sources only (they lie farther in than elements)."""
    sources = (Monopole(-0.05), Monopole(-0.03, 0.058), Monopole(0.045, 0.01))
    sources = sources if m == 0 else sources[1:]
    drives = [hidden(source, BODIES, m) for source in sources]
    solution = solve(BODIES, frequency, drives, AIR, m, WaveSettings().finer(4.0))
    found = solution.far_field(ELEVATIONS)
    for w, source in enumerate(sources):
        exact = source.far(ELEVATIONS, in_air(frequency), m)
        assert level_error(found[:, w], exact) < LEVEL_TOLERANCE_DB


def cylinder_resonances(low: float, high: float) -> list[float]:
    """Interior resonances in Hz with p = 0 on the wall, of the column as a plain cylinder."""
    axial = np.pi * np.arange(1, 60) / 0.9
    found = AIR.speed / (2.0 * np.pi) * np.hypot(jn_zeros(0, 8)[:, None] / 0.1, axial)
    return sorted(found[(found > low) & (found < high)])


@pytest.mark.parametrize(("low", "high", "step"), [(1300.0, 1500.0, 1.0), (3040.0, 3140.0, 0.5)])
def test_irregular_frequencies_of_the_column(low: float, high: float, step: float) -> None:
    """Column with its driver, which is not convex: the error keeps steady through its resonances.

    The first of the two equations alone, tried in these very sweeps, errs by up to 1.8 and 6.3 dB,
    over several hertz at each resonance; the driver's hollow shifts them only a little.
    """
    assert len(cylinder_resonances(low, high)) >= 3
    column, source = BODIES[:1], Monopole(-0.05)
    errors = []
    for frequency in np.arange(low, high, step):
        drive = hidden(source, column, 0)
        solution = solve(column, frequency, [drive], AIR)
        exact = source.far(ELEVATIONS, in_air(frequency))
        found = solution.far_field(ELEVATIONS)[:, 0]
        assert level_error(found, exact) < LEVEL_TOLERANCE_DB
        errors.append(np.abs(found - exact).max() / np.abs(exact).max())
    assert max(errors) < 2.0 * np.median(errors)


@pytest.mark.parametrize(
    "ka", [3.141593, 4.493409, 5.763459, 6.283185, 9.424778, 2.081576, 5.940370]
)
def test_irregular_frequencies_of_a_sphere(ka: float) -> None:
    """Zeros of j_n and of its derivative: interior resonances of the unit ball.

    One inner point would cure a sphere as well, so the column is the harder test.
    """
    solution = solve([sphere()], frequency_of(ka), [hidden(Monopole(0.2), [sphere()], 0)], AIR)
    exact = Monopole(0.2).far(ELEVATIONS, ka)
    assert level_error(solution.far_field(ELEVATIONS)[:, 0], exact) < LEVEL_TOLERANCE_DB
