"""Frequencies side by side: found, solved here or elsewhere, kept, and mended if out of balance."""

import os
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.fields import Fields, Store
from dispersion.keys import solve_keys
from dispersion.problem import Problem
from dispersion.solvers import ALWAYS_AFFORDED, FINER, TRIES, is_balanced
from dispersion.stopping import Threads
from dispersion.tasks import DistantExecutor, Solve, hand_out
from dispersion.waves import DEFAULT_SETTINGS, WaveSettings, one_blas_thread


@dataclass(frozen=True, kw_only=True)
class Solving:
    """How frequencies are solved, and where.

    Attributes
    ----------
    settings : WaveSettings
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with 1 for every frequency done.
    store : Store, optional
        Where finished solves are found, and kept as soon as each is done.
    executor : concurrent.futures.Executor, optional
        Where to solve (`dispersion.tasks`), in place of threads here; the result is the same.
    """

    settings: WaveSettings = DEFAULT_SETTINGS
    workers: int | None = None
    progress: Callable[[int], None] | None = None
    store: Store | None = None
    executor: Executor | None = None

    @property
    def at_once(self) -> int:
        """Frequencies to work on side by side."""
        if isinstance(self.executor, DistantExecutor):
            return self.executor.threads
        return self.workers or os.cpu_count() or 1


HERE = Solving()


def solve_each(
    problem: Problem, solve: Solve, also: tuple[object, ...], how: Solving
) -> tuple[list[Fields], np.ndarray]:
    """Solve each frequency of a problem.

    Parameters
    ----------
    problem : Problem
    solve : callable
        (problem of a single frequency, settings) -> Fields; it travels to other machines, so it is
        a function of a module, or a `functools.partial` of one.
    also : tuple
        What `solve` depends on besides, as for `dispersion.keys.solve_keys`.
    how : Solving

    Returns
    -------
    fields : list of F Fields
    finer : (F,) array
        How many times finer than asked for the mesh of each was.

    Raises
    ------
    ValueError
        If the wave solver refuses the problem, or a piece of it failed twice elsewhere.
    """

    def one(number: int) -> tuple[Fields, float]:
        alone = replace(problem, frequencies=problem.frequencies[number : number + 1])
        found = mended(partial(_solved_or_kept, alone, solve, also, how), how.settings)
        if how.progress is not None:
            how.progress(1)
        return found

    # The highest frequency costs most: started first, no worker ends up waiting for it.
    order = np.argsort(problem.frequencies)[::-1].tolist()
    with one_blas_thread(), Threads(how.at_once) as pool:
        found = dict(zip(order, pool.map(one, order), strict=True))
    fields, finer = zip(*(found[number] for number in range(len(order))), strict=True)
    return list(fields), np.array(finer)


def mended(solve: Callable[[WaveSettings], Fields], settings: WaveSettings) -> tuple[Fields, float]:
    """Solve, and where power is out of balance again on a finer mesh, as `solve_waves` does.

    Returns
    -------
    found, finer
        The last that was solved, and how many times finer its mesh was than asked for.
    """
    found, finer = solve(settings), 1.0
    for tried in range(1, TRIES + 1):
        if is_balanced(found.power_error_db) or FINER * found.unknowns > ALWAYS_AFFORDED:
            break
        finer = FINER**tried
        found = solve(settings.finer(finer))
    return found, finer


def _solved_or_kept(
    alone: Problem, solve: Solve, also: tuple[object, ...], how: Solving, settings: WaveSettings
) -> Fields:
    """Fields at the single frequency of a problem: out of the store, or solved and kept there."""
    (name,), store = solve_keys(alone, settings, also), how.store
    found = None if store is None else store.fetch(name)
    if found is None:
        found = _solved(alone, solve, how.executor, settings)
        if store is not None:
            store.keep(name, found)
    return found


def _solved(
    alone: Problem, solve: Solve, executor: Executor | None, settings: WaveSettings
) -> Fields:
    if executor is None:
        return solve(alone, settings)
    frequency = float(alone.frequencies[0])
    return hand_out(executor, alone, [frequency], settings, solve=solve)[frequency]
