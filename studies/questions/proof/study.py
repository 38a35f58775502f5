"""Is the program right? Everything it can be held against without a design, and what it cannot."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from importlib import metadata
from pathlib import Path

import numpy as np

from dispersion.keys import solver_version
from dispersion.waves import DEFAULT_SETTINGS, one_blas_thread
from studies.questions.proof.cases.check import Check, Compared
from studies.questions.proof.cases.checks import FAMILIES
from studies.questions.proof.cases.meshes import LADDERS, MeshLadder
from studies.solving.grid import Progress

BUILT_ON = ("numpy", "scipy", "numba")
DEFAULT_ELEMENTS = DEFAULT_SETTINGS.mesh.unknowns_per_wavelength / 4.0
"""Elements per wavelength of the default mesh, away from edges."""

UNCHECKED = (
    (
        "Any real speaker",
        "nobody has published a measured comparison of cap, cone and curve on one driver: plan"
        " readings of your own with `roundcast meter`, and lay them over the model with"
        " `roundcast overlay`",
    ),
    (
        "Break-up of real cones",
        "cone and dome move as one piece, or let go smoothly above a frequency that you give",
    ),
    (
        "Surfaces that give or absorb",
        "everything is hard: foam, felt, panels that shake and the losses of a narrow gap are not"
        " in the model",
    ),
    (
        "Posts above c / gap",
        "with three or more modes across the gap the estimate is unchecked; below, it was held"
        " against another solver in a few cases (tests that need the test extra)",
    ),
    (
        "Columns that are not round",
        "square and hexagonal ones count as round ones of equal area; how far that is off is not"
        " known",
    ),
    (
        "Reflectors off the centre or tilted",
        "told by rays only: the wave solver needs one axis",
    ),
    (
        "Quick methods on a whole speaker",
        "held against the wave solver only, by `roundcast trust`; their building blocks are above",
    ),
    (
        "Rooms",
        "first bounces are geometry; no measured room has been compared",
    ),
    (
        "Three-dimensional comparison",
        "cap and cone against bempp-cl; and pistons against beamshapes, echoes against echosms,"
        " images against pyroomacoustics, air against pyfar: tests that need the test extra"
        " (`pytest`, `pytest -m slow`), not run here",
    ),
    (
        "Books that were not opened again",
        "sources marked [from memory] were not looked up; where a series was evaluated for this"
        " project, the formula is published, not its digits",
    ),
    (
        "Whether even all round sounds better",
        "not agreed; you set the window and the weights",
    ),
)
"""What nothing here proves, and what stands in its place."""


@dataclass(frozen=True)
class Program:
    """What a proof is about, where other findings have a design.

    Attributes
    ----------
    title : str
    path : Path
        What was tried, in place of a design file.
    text : str
        On what it ran.
    fingerprint : str
        SHA-256 of the code of geometry and acoustics.
    """

    title: str
    path: Path
    text: str
    fingerprint: str


@dataclass(frozen=True, eq=False)
class Proved:
    """One check, and what came of each of its cases."""

    family: str
    check: Check
    cases: tuple[Compared, ...]

    @property
    def held(self) -> bool:
        """Tell whether every value is within its limit."""
        return all(case.held for case in self.cases)

    @property
    def values(self) -> int:
        """How many values were compared."""
        return sum(len(case.at) for case in self.cases)

    @property
    def nearest(self) -> Compared:
        """The case with the value nearest to its limit, or farthest beyond it."""
        return max(self.cases, key=lambda case: case.share_of_limit.max())


@dataclass(frozen=True, eq=False)
class Proof:
    """What was tried, and how it came out.

    Attributes
    ----------
    design : Program
    proved : tuple of Proved
        In the order of print.
    ladders : tuple of MeshLadder
        Fields on finer and finer meshes.
    """

    design: Program
    proved: tuple[Proved, ...]
    ladders: tuple[MeshLadder, ...]

    @property
    def failed(self) -> tuple[Proved, ...]:
        """Checks that do not hold."""
        return tuple(one for one in self.proved if not one.held)

    @property
    def values(self) -> int:
        """How many values were compared in all."""
        return sum(one.values for one in self.proved)


def prove(
    progress: Progress,
    workers: int | None = None,
    families: Mapping[str, tuple[Check, ...]] = FAMILIES,
) -> Proof:
    """Run every check.

    Parameters
    ----------
    progress : callable
        Called with (stage, done, total) cases.
    workers : int, optional
        Threads; as many as there are processors when left out. The result does not depend on it.
    families : mapping of str to tuple of Check
        What is run; everything when left out.

    Returns
    -------
    Proof
    """
    asked = [(name, check) for name, checks in families.items() for check in checks]
    tasks: list[Callable[[], Compared]] = [
        partial(check.run, case) for _, check in asked for case in check.cases
    ]
    found = iter(_all_of(tasks, progress, workers or os.cpu_count() or 1))
    proved = tuple(
        Proved(name, check, tuple(next(found) for _ in check.cases)) for name, check in asked
    )
    ladders = tuple(climb(case) for climb, case in LADDERS)
    return Proof(_program(), proved, ladders)


def _all_of(
    tasks: list[Callable[[], Compared]], progress: Progress, workers: int
) -> list[Compared]:
    """Results in the order of the tasks; the first error stops everything."""
    with one_blas_thread(), ThreadPoolExecutor(workers) as pool:
        waiting = [pool.submit(task) for task in tasks]
        try:
            for done, future in enumerate(as_completed(waiting), start=1):
                future.result()
                progress("checking", done, len(tasks))
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
        return [future.result() for future in waiting]


def error_by_frequency(proof: Proof) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Collect, by family, the frequencies (Hz) and the largest difference (dB) at each."""
    errors: dict[str, dict[float, float]] = {}
    for one in proof.proved:
        for case in one.cases:
            if case.hertz is None or one.check.unit != "dB":
                continue
            family = errors.setdefault(one.family, {})
            for hertz, off in zip(case.hertz.round(3), np.abs(case.difference), strict=True):
                family[float(hertz)] = max(family.get(float(hertz), 0.0), float(off))
    return {
        name: tuple(np.array(sorted(family.items())).T) for name, family in errors.items() if family
    }


def _program() -> Program:
    ran_on = [f"Python {platform.python_version()}", *(_named(name) for name in BUILT_ON)]
    path = Path("the code of shapes and dispersion")
    return Program("What the program is held against", path, "\n".join(ran_on), solver_version())


def _named(package: str) -> str:
    return f"{package} {metadata.version(package)}"
