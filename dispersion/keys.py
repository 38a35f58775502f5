"""Names for finished solves: the same name, the same numbers; anything that differs, another name.

A name is a digest of everything that a result of the wave solver depends on, the code included,
and of nothing else: what a crossover or a driver's curve makes of it is applied afterwards. Any
change in `shapes` or `dispersion`, of a comment even, makes all kept solves stale: that is safe,
and costs a solve more. So does another processor, whose vectors are of another width, and another
linear algebra library: both round otherwise in the last bits. A solve in 361 directions takes 8.4
kB and is found in 0.13 ms.
"""

import hashlib
from collections.abc import Callable, Hashable, Iterator
from dataclasses import fields, is_dataclass
from functools import cache, lru_cache
from pathlib import Path

import numpy as np
from llvmlite import binding

from dispersion.code_version import code_digest
from dispersion.problem import Problem
from shapes.assembly import Assembly

PACKAGES = ("shapes", "dispersion")


@cache
def solver_version() -> str:
    """Digest of the code of geometry and acoustics: other code finds no old result."""
    return code_digest(Path(__file__).resolve().parent.parent, PACKAGES)


@cache
def arithmetic() -> str:
    """Name what rounds: processor, its vector instructions, and the linear algebra library."""
    has = sorted(name for name, there in binding.get_host_cpu_features().items() if there)
    linear_algebra = np.show_config(mode="dicts")["Build Dependencies"]["blas"]
    return " ".join(
        (binding.get_host_cpu_name(), *has, linear_algebra["name"], linear_algebra["version"])
    )


def solve_keys(problem: Problem, settings: object, also: tuple[object, ...] = ()) -> list[bytes]:
    """Name the solve of every frequency of a problem.

    Parameters
    ----------
    problem : Problem
    settings : WaveSettings
    also : tuple
        What else was asked for: words, numbers, dataclasses of them.

    Returns
    -------
    list of bytes
        One SHA-256 digest for each frequency: of geometry, floor, moving parts, air, walls,
        directions, points, settings, version of the code, and the frequency itself, all to the last
        bit.

    Raises
    ------
    TypeError
        If anything of it is of a kind that cannot be written as bytes to the last bit.
    """
    ways = tuple(
        (built.name, built.parts, built.effective_radius, way.lets_go)
        for built, way in zip(problem.assembly.ways, problem.ways, strict=True)
    )
    heard = (problem.elevations, problem.points, *also)
    air = (problem.air, problem.absorbing_air)
    rest = _digest((solver_version(), arithmetic(), problem.floor_z, ways, air, settings))
    common = hashlib.sha256(_geometry(problem.assembly) + rest + b"".join(_bytes_of(heard)))
    return [
        # What takes nothing at a frequency makes no difference there.
        _with(common, _digest(problem.walls.taking(frequency, problem.air)), float(frequency))
        for frequency in problem.frequencies
    ]


@lru_cache(maxsize=1024)
def _digest(value: Hashable) -> bytes:
    """Digest of what is mostly the same in the next problem, or at the next frequency."""
    return hashlib.sha256(b"".join(_bytes_of(value))).digest()


@lru_cache(maxsize=256)
def _geometry(assembly: Assembly) -> bytes:
    """Digest of the meridians: asked for at every round of the same assembly."""
    return hashlib.sha256(b"".join(_bytes_of(assembly.placed_bodies))).digest()


def naming(whole: object) -> Callable[[float], bytes]:
    """Return what names the solves of anything that holds all they depend on but the code.

    Raises
    ------
    TypeError
        As `solve_keys`.
    """
    common = hashlib.sha256(b"".join(_bytes_of((solver_version(), arithmetic(), whole))))
    return lambda frequency: _with(common, b"", float(frequency))


def _bytes_of(value: object) -> Iterator[bytes]:
    """Every number and word of a value, each with its kind and place, so that no two are alike."""
    if isinstance(value, np.generic):
        value = value.item()
    if is_dataclass(value):
        yield f"{type(value).__name__}(".encode()
        for one in fields(value):
            yield f"{one.name}=".encode()
            yield from _bytes_of(getattr(value, one.name))
        yield b")"
    elif isinstance(value, tuple):
        yield f"{len(value)}(".encode()
        for one in value:
            yield from _bytes_of(one)
        yield b")"
    elif isinstance(value, np.ndarray):
        yield f"{value.shape}".encode()
        yield np.ascontiguousarray(value, dtype=float).tobytes()
    elif isinstance(value, float):
        yield b"f" + np.float64(value).tobytes()
    elif isinstance(value, complex):
        yield b"c" + np.complex128(value).tobytes()
    elif value is None or isinstance(value, str | int):
        yield f"{value!r},".encode()
    else:
        raise TypeError(f"no name can be made of a {type(value).__name__}")


def _with(common: "hashlib._Hash", more: bytes, frequency: float) -> bytes:
    one = common.copy()
    one.update(more + b"".join(_bytes_of(frequency)))
    return one.digest()
