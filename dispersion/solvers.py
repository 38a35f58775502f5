"""Every method takes a `Problem` and returns a `Response`; all are listed in `SOLVERS`."""

from collections.abc import Callable, Sequence
from typing import Protocol

import numpy as np

from dispersion.coverage import mean_square
from dispersion.keys import solve_keys
from dispersion.paths.edges import solve_edges
from dispersion.paths.images import solve_images
from dispersion.paths.rays import solve_rays
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.sources import Way
from dispersion.waves import (
    DEFAULT_SETTINGS,
    Drive,
    SharedBlocks,
    WaveSettings,
    WaveSolution,
    axial_motion,
    sweep,
)
from shapes.assembly import DrivenWay

Progress = Callable[[int], None]
Fields = tuple[np.ndarray, np.ndarray, np.ndarray, int]
"""Of one frequency: far (W, E) and near (W, P) field of each way over its own 0 dB, power error
(W,) in dB, unknowns."""


class Store(Protocol):
    """Where finished solves are kept, by the names of `dispersion.keys`; used from any thread."""

    def fetch(self, key: bytes) -> Fields | None:
        """Return what was kept under a name, None if there is nothing."""

    def keep(self, key: bytes, fields: Fields) -> None:
        """Keep a finished solve."""


def solve_waves(
    problem: Problem,
    settings: WaveSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    progress: Progress | None = None,
    shared: SharedBlocks | None = None,
    store: Store | None = None,
) -> Response:
    """Full wave solution by boundary elements, one frequency a task.

    Parameters
    ----------
    problem : Problem
    settings : WaveSettings
    workers : int, optional
        Threads; as many as there are processors when left out. The result is the same for any
        number.
    progress : callable, optional
        Called with 1 for every frequency done.
    shared : SharedBlocks, optional
        Where the blocks of column and reflector are kept for other problems that hold the same;
        the result does not change by a bit.
    store : Store, optional
        Where finished solves are found, and kept as soon as each is done.
    """
    kept = None if store is None else _Kept(store, problem, settings)
    fields = {} if kept is None else kept.found()
    missing = [f for f in problem.frequencies if f not in fields]
    if progress is not None and fields:
        progress(len(problem.frequencies) - len(missing))
    if missing:
        fields |= _solved(problem, missing, settings, workers, progress, shared, kept)
    far, near, error, unknowns = zip(*(fields[f] for f in problem.frequencies), strict=True)
    return Response(
        problem,
        "waves",
        settings.summary(),
        np.stack(far, axis=1),
        np.stack(near, axis=1),
        np.stack(error, axis=1),
        np.array(unknowns),
    )


SOLVERS: dict[str, Callable[..., Response]] = {
    "waves": solve_waves,
    "edges": solve_edges,
    "rays": solve_rays,
    "images": solve_images,
}


class _Kept:
    """A store as one problem sees it: by frequency."""

    def __init__(self, store: Store, problem: Problem, settings: WaveSettings) -> None:
        keys = solve_keys(problem, settings)
        self._store, self._keys = store, dict(zip(problem.frequencies, keys, strict=True))

    def found(self) -> dict[float, Fields]:
        every = ((frequency, self._store.fetch(key)) for frequency, key in self._keys.items())
        return {frequency: fields for frequency, fields in every if fields is not None}

    def keep(self, frequency: float, fields: Fields) -> None:
        self._store.keep(self._keys[frequency], fields)


def _solved(
    problem: Problem,
    frequencies: Sequence[float],
    settings: WaveSettings,
    workers: int | None,
    progress: Progress | None,
    shared: SharedBlocks | None,
    kept: _Kept | None,
) -> dict[float, Fields]:
    """Fields of every frequency, each kept as soon as it is done."""
    drives = [
        _drive(built, way, problem)
        for built, way in zip(problem.assembly.ways, problem.ways, strict=True)
    ]

    def relative(solution: WaveSolution) -> Fields:
        result = _relative_fields(solution, problem)
        if kept is not None:
            kept.keep(solution.frequency, result)
        if progress is not None:
            progress(1)
        return result

    bodies, lifts = zip(*problem.assembly.placed_bodies, strict=True)
    fields = sweep(
        bodies,
        frequencies,
        drives,
        problem.air,
        settings=settings,
        workers=workers,
        each=relative,
        lifts=lifts,
        shared=shared,
    )
    return dict(zip(frequencies, fields, strict=True))


def _drive(built: DrivenWay, way: Way, problem: Problem) -> Drive:
    weight = None
    if way.lets_go is not None:
        lets_go, radius = way.lets_go, built.effective_radius

        def weight(r: np.ndarray, frequency: float) -> np.ndarray:
            return lets_go.weight(r, frequency, radius)

    return axial_motion(built.name, built.parts, problem.air, weight=weight)


def _relative_fields(solution: WaveSolution, problem: Problem) -> Fields:
    """Fields of each way over its own 0 dB, (W, E) and (W, P), and the power balance (W,)."""
    air, k = problem.air, solution.wavenumber
    reference = air.density * solution.volume_acceleration() / (2.0 * np.pi)
    far = solution.far_field(problem.elevations).T
    distance = np.hypot(*problem.points.T)
    near = solution.pressure_at(problem.points).T * (distance * np.exp(-1j * k * distance))
    radiated = mean_square(np.abs(far) ** 2, problem.elevations)
    radiated *= 4.0 * np.pi / (2.0 * air.density * air.speed)
    error = 10.0 * np.log10(radiated / solution.driven_power())
    scale = 1.0 / reference[:, None]
    return far * scale, near * scale, error, solution.mesh.unknowns
