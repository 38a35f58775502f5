"""Every method takes a `Problem` and returns a `Response`; all are listed in `SOLVERS`."""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from dispersion.checks import POWER_WARNING_DB
from dispersion.fields import Fields, Store, solve_fields
from dispersion.flush_driver import flush_curve, flush_driver
from dispersion.keys import solve_keys
from dispersion.paths.edges import solve_edges
from dispersion.paths.images import solve_images
from dispersion.paths.rays import solve_rays
from dispersion.problem import Problem
from dispersion.reference import Reference
from dispersion.response import Response
from dispersion.sources import Way
from dispersion.tasks import hand_out
from dispersion.waves import DEFAULT_SETTINGS, SharedBlocks, WaveSettings

Progress = Callable[[int], None]
FINER, TRIES = 1.5, 2
"""How many times finer a mesh is that mends a balance, and how often that is tried."""
ALWAYS_AFFORDED = 1500
"""Unknowns of a mended mesh that no budget feels: 144 MB; otherwise it has no more than the largest
of its study, which the budget has reckoned with."""
Sibling = tuple[Problem, Callable[[float, Fields], None]]
"""A problem that differs in how its ways move, and what is called with (frequency, fields)."""


def solve_waves(
    problem: Problem,
    settings: WaveSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    progress: Progress | None = None,
    shared: SharedBlocks | None = None,
    store: Store | None = None,
    executor: Executor | None = None,
    also: Sequence[tuple[Way, ...]] = (),
) -> Response:
    """Full wave solution by boundary elements, one frequency a task.

    Where power is off by more than `POWER_WARNING_DB` a frequency is solved again on a mesh `FINER`
    times as fine, and once more if it must be: `Response.finer` says where.

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
    executor : concurrent.futures.Executor, optional
        Where to solve, in pieces (`dispersion.tasks`), in place of `workers` threads here;
        `shared` is then not used. The result is the same.
    also : sequence of tuple of Way
        Other motions of the same ways, which will be asked for at the same frequencies: found on
        the way and kept in the store, if there is one and no `executor`.

    Raises
    ------
    ValueError
        If the wave solver refuses the problem, or a piece of it failed twice elsewhere.
    """
    kept = None if store is None else _Kept(store, problem, settings)
    fields = {} if kept is None else kept.found()
    missing = [f for f in problem.frequencies if f not in fields]
    others = [replace(problem, ways=ways) for ways in also]
    if progress is not None and fields:
        progress(len(problem.frequencies) - len(missing))
    if missing:
        siblings = [] if store is None else [(it, _Kept(store, it, settings).keep) for it in others]
        fields |= _solved(
            problem, missing, settings, workers, progress, shared, kept, executor, siblings
        )
    finer = _mended(problem, fields, settings, workers, store, executor)
    flush, *also_flush = (flush_driver(one, settings) for one in (problem, *others))
    solved = [fields[f] for f in problem.frequencies]
    return Response(
        problem=problem,
        reference=Reference(problem.ways, flush_curve(flush, store, tuple(also_flush))),
        method="waves",
        settings=settings.summary(),
        far_by_way=np.stack([each.far for each in solved], axis=1),
        near_by_way=np.stack([each.near for each in solved], axis=1),
        power_error_db=np.stack([each.power_error_db for each in solved], axis=1),
        unknowns=np.array([each.unknowns for each in solved]),
        arrived_by_way=np.stack([each.arrived for each in solved]),
        finer=np.array([finer.get(f, 1.0) for f in problem.frequencies]),
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


def _mended(
    problem: Problem,
    fields: dict[float, Fields],
    settings: WaveSettings,
    workers: int | None,
    store: Store | None,
    executor: Executor | None,
) -> dict[float, float]:
    """Solve again, in place, what is out of balance; return how many times finer, by frequency.

    Each solve is kept under the name of its own mesh: that of the coarser one stays what it is.
    """
    most = max(ALWAYS_AFFORDED, *(one.unknowns for one in fields.values()))
    finer: dict[float, float] = {}
    for tried in range(1, TRIES + 1):
        factor = FINER**tried
        off = [f for f, one in fields.items() if not _balanced(one)]
        off = [f for f in off if FINER * fields[f].unknowns <= most]
        if not off:
            break
        again, mesh = replace(problem, frequencies=np.array(off)), settings.finer(factor)
        kept = None if store is None else _Kept(store, again, mesh)
        found = {} if kept is None else kept.found()
        missing = [f for f in off if f not in found]
        if missing:
            found |= _solved(again, missing, mesh, workers, None, None, kept, executor, ())
        fields |= found
        finer |= dict.fromkeys(off, factor)
    return finer


def _balanced(fields: Fields) -> bool:
    return is_balanced(fields.power_error_db)


def is_balanced(power_error_db: np.ndarray) -> bool:
    """Whether no way's power is off by more than is promised."""
    return bool(np.all(np.abs(power_error_db) <= POWER_WARNING_DB))


def _solved(
    problem: Problem,
    frequencies: Sequence[float],
    settings: WaveSettings,
    workers: int | None,
    progress: Progress | None,
    shared: SharedBlocks | None,
    kept: _Kept | None,
    executor: Executor | None,
    siblings: Sequence[Sibling],
) -> dict[float, Fields]:
    """Fields of every frequency, each kept as soon as it is done."""

    def note(frequency: float, fields: Fields) -> None:
        if kept is not None:
            kept.keep(frequency, fields)
        if progress is not None:
            progress(1)

    if executor is not None:
        return hand_out(executor, problem, frequencies, settings, note)
    return solve_fields(problem, frequencies, settings, workers, shared, note, siblings)
