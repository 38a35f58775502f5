"""Names for finished solves: the same name, the same numbers; anything that differs, another name.

A name is a digest of everything that a result of the wave solver depends on, the code included,
and of nothing else: what a crossover or a driver's curve makes of it is applied afterwards.
"""

import hashlib
from functools import cache
from pathlib import Path

import numpy as np

from dispersion.problem import Problem

FLOORS = ("shapes", "dispersion")


@cache
def solver_version() -> str:
    """Digest of the code of geometry and acoustics, so that a change of code finds no old result."""
    root = Path(__file__).resolve().parent.parent
    sources = sorted(path for floor in FLOORS for path in (root / floor).rglob("*.py"))
    digest = hashlib.sha256()
    for path in sources:
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def solve_keys(problem: Problem, settings: object) -> list[bytes]:
    """Name the solve of every frequency of a problem.

    Parameters
    ----------
    problem : Problem
    settings : WaveSettings
        With a repr that tells every number.

    Returns
    -------
    list of bytes
        One SHA-256 digest for each frequency: of geometry, moving parts, air, directions, points,
        settings, version of the code, and the frequency itself, all to the last bit.
    """
    ways = [
        (built.name, built.parts, built.effective_radius, way.lets_go)
        for built, way in zip(problem.assembly.ways, problem.ways, strict=True)
    ]
    told = (solver_version(), problem.assembly.placed_bodies, ways, problem.air, settings)
    common = hashlib.sha256(repr(told).encode())
    for array in (problem.elevations, problem.points):
        common.update(repr(array.shape).encode())
        common.update(np.ascontiguousarray(array, dtype=float).tobytes())
    return [_with_frequency(common, frequency) for frequency in problem.frequencies]


def _with_frequency(common: "hashlib._Hash", frequency: float) -> bytes:
    one = common.copy()
    one.update(np.float64(frequency).tobytes())
    return one.digest()
