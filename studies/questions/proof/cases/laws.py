"""Laws that hold for any solids: energy, reciprocity, still air.

Sources: elementary. Energy: what a driver does on the air arrives far away. Reciprocity: source and
receiver may change places (Rayleigh, The Theory of Sound, 294 [from memory]). Still air: a wave so
long that nothing moves has p = 1 on every surface.
"""

from __future__ import annotations

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.walls import RIGID_WALLS, Walls
from dispersion.waves import Monopole, PlaneWave, ring_kernels, solve
from studies.questions.proof.cases.check import (
    LEVEL_TOLERANCE_DB,
    POWER_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    level,
)
from studies.questions.proof.cases.solids import AIR, EXAMPLES, built, example

INSIDE_THE_GAP, BESIDE, BELOW, ABOVE = (0.06, 0.02), (0.15, 0.03), (0.4, -0.6), (0.05, 0.5)

QUADRATURE = 1e-3
"""What integrals good to five digits leave of p = 1."""

PLACES = [(INSIDE_THE_GAP, BESIDE), (BESIDE, BELOW), (BELOW, ABOVE), (INSIDE_THE_GAP, ABOVE)]


def power_balance(name: str) -> Compared:
    """Power far away over the power that the driver gives off, four pitches in a third octave."""
    design, frequencies = example(name), study_frequencies(100.0, 16e3)
    problem = Problem(
        assembly=built(name), ways=design.ways, frequencies=frequencies, air=design.air
    )
    response = solve_waves(problem, workers=1)
    error = np.abs(response.power_error_db).max(axis=0)
    at = [f"{f:.0f} Hz" for f in frequencies]
    return compare(name, at, error, np.zeros(len(at)), POWER_TOLERANCE_DB, frequencies)


def places_exchanged(case: tuple[float, int], walls: Walls = RIGID_WALLS) -> Compared:
    """Pressure from a to b less that from b to a, as a share of it."""
    frequency, m = case
    k = 2.0 * np.pi * frequency / AIR.speed
    off = []
    for a, b in PLACES:
        sources = [Monopole(z, r) for r, z in (a, b)]
        solution = solve(built().bodies, frequency, sources, AIR, m, walls=walls)
        scattered = solution.pressure_at(np.array([a, b]))
        direct = ring_kernels(a, b, k, m)[0] / (2.0 * np.pi)
        there, back = scattered[1, 0] + direct, scattered[0, 1] + direct
        # Where the solids all but silence the direct sound, what is left is small by itself.
        quiet = 10.0 ** (-30.0 / 20.0) * max(abs(direct), abs(scattered).max())
        off.append(level(1.0 + abs(there - back) / max(abs(there), quiet)))
    at = ("gap to beside", "beside to below", "below to above", "gap to above")
    case_name = f"{frequency:g} Hz, order {m}"
    return compare(case_name, at, off, np.zeros(4), LEVEL_TOLERANCE_DB, frequency)


def still_air(case: tuple[str, float]) -> Compared:
    """P = exp(ikz), and what solids 0.9 m deep scatter of it is no more than that phase again."""
    name, frequency = case
    solution = solve(built(name).bodies, frequency, [PlaneWave(90.0), PlaneWave(-90.0)], AIR)
    away = np.abs(solution.pressure - 1.0).max()
    allowed = 2.0 * solution.wavenumber * 0.9 + QUADRATURE
    return compare(f"{name}, {frequency:g} Hz", ["farthest from 1"], 1.0 + away, 1.0, allowed)


POWER_BALANCE = Check(
    name="Power of the examples arrives",
    kind=WAVES,
    source="elementary: energy is kept",
    unit="dB",
    cases=EXAMPLES,
    run=power_balance,
)
CHECKS = (
    POWER_BALANCE,
    Check(
        name="Source and listener exchanged",
        kind=WAVES,
        source="reciprocity: Rayleigh, The Theory of Sound, 294 [from memory]",
        unit="dB",
        cases=tuple((frequency, m) for frequency in (200.0, 1e3, 4e3, 16e3) for m in (0, 1, 4)),
        run=places_exchanged,
    ),
    Check(
        name="Still air round the examples",
        kind=WAVES,
        source="elementary: a wave so long that nothing moves has p = 1 everywhere",
        cases=tuple((name, frequency) for name in EXAMPLES for frequency in (0.01, 0.1, 1.0)),
        run=still_air,
    ),
)
