"""Laws that hold for any solids: energy, reciprocity, still air.

Sources: elementary. Energy: what a driver does on the air arrives far away. Reciprocity: source and
receiver may change places (Rayleigh, The Theory of Sound, 294 [from memory]). Still air: a wave so
long that nothing moves has p = 1 on every surface.
"""

import numpy as np
import pytest
from bodies import AIR, EXAMPLES, LEVEL_TOLERANCE_DB, POWER_TOLERANCE_DB, built, example, level

from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.waves import Monopole, PlaneWave, ring_kernels, solve

INSIDE_THE_GAP, BESIDE, BELOW, ABOVE = (0.06, 0.02), (0.15, 0.03), (0.4, -0.6), (0.05, 0.5)
QUADRATURE = 1e-3
"""What integrals good to five digits leave of p = 1."""

PLACES = [(INSIDE_THE_GAP, BESIDE), (BESIDE, BELOW), (BELOW, ABOVE), (INSIDE_THE_GAP, ABOVE)]


@pytest.mark.parametrize("name", EXAMPLES)
def test_power_that_leaves_the_driver_arrives(name: str) -> None:
    """At every frequency of a study from 100 Hz to 16 kHz, four in a third-octave band."""
    design, frequencies = example(name), study_frequencies(100.0, 16e3)
    response = solve_waves(Problem(built(name), design.sources(), frequencies, design.air))
    assert response.worst_power_error_db < POWER_TOLERANCE_DB


@pytest.mark.parametrize("m", [0, 1, 4])
@pytest.mark.parametrize("frequency", [200.0, 1e3, 4e3, 16e3])
def test_source_and_receiver_change_places(frequency: float, m: int) -> None:
    """Each order by itself: rings of sources and receivers that go as cos(m phi)."""
    k = 2.0 * np.pi * frequency / AIR.speed
    for a, b in PLACES:
        sources = [Monopole(z, r) for r, z in (a, b)]
        solution = solve(built().bodies, frequency, sources, AIR, m)
        scattered = solution.pressure_at(np.array([a, b]))
        direct = ring_kernels(a, b, k, m)[0] / (2.0 * np.pi)
        there, back = scattered[1, 0] + direct, scattered[0, 1] + direct
        # Where the solids all but silence the direct sound, what is left is small by itself.
        loud = max(abs(there), 10.0 ** (-30.0 / 20.0) * max(abs(direct), abs(scattered).max()))
        assert abs(there - back) < (10.0 ** (LEVEL_TOLERANCE_DB / 20.0) - 1.0) * loud


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("frequency", [0.01, 0.1, 1.0])
def test_still_air(name: str, frequency: float) -> None:
    """p = exp(ikz), and what solids 0.9 m deep scatter of it is no more than that phase again."""
    solution = solve(built(name).bodies, frequency, [PlaneWave(90.0), PlaneWave(-90.0)], AIR)
    away = np.abs(solution.pressure - 1.0).max()
    assert away < 2.0 * solution.wavenumber * 0.9 + QUADRATURE
    assert np.abs(level(solution.pressure)).max() < LEVEL_TOLERANCE_DB
