"""A problem cut into pieces that are solved elsewhere, by any `concurrent.futures` executor.

A piece is a few frequencies of one problem. It travels with the version of the code that made it,
and a process that runs other code refuses it, so results are those of one version. Whoever takes
a piece must come back with the very numbers that would be found here: the solver is bit for bit
the same for any number of threads and whatever blocks were kept (`dispersion.waves.sharing`), on
one kind of processor and linear algebra library.

What a large study costs, measured on two cores with other work beside, 92 frequencies a candidate:

    ==================================  ===================  ========================
    ..                                  each candidate       a million
    ==================================  ===================  ========================
    two threads here, blocks shared     0.4 to 0.7 s         5 to 8 days
    two workers of one thread           1.3 times as long    4 hours with 128 threads
    solves kept on disk                 0.77 MB              770 GB
    to the workers and back             28 kB, 0.55 MB       0.6 TB
    rows in memory                      0.09 MB              90 GB
    ==================================  ===================  ========================

So a million is cut up into design files of some thousand candidates that share column or reflector,
whose blocks a worker keeps only as long as they come near each other.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from dataclasses import dataclass, replace

import numpy as np

from dispersion.fields import Fields, solve_fields
from dispersion.keys import solver_version
from dispersion.problem import Problem
from dispersion.stopping import current_stop
from dispersion.waves import SharedBlocks, WaveSettings, one_blas_thread

Solve = Callable[[Problem, WaveSettings], Fields]
"""What solves the single frequency of a problem, in one thread."""
Solved = dict[float, Fields] | ValueError
"""Fields by frequency, or why the solver refuses."""
PIECE = 24
"""Frequencies of a piece: a third of a second or so, long against the way to another machine."""
LOOK_EVERY_S = 0.5
"""How often to look whether there is still anybody to wait for."""
TRIES = 2  # a piece that fails twice is at fault itself, not the machine it was on
_BLOCKS = SharedBlocks()
"""Of this process; two of its threads may use it at once."""


class TaskError(ValueError):
    """A piece that failed `TRIES` times; the message says how the last try ended."""


class LostError(RuntimeError):
    """Whoever should solve the pieces is gone; the message says who, and what to do."""


class OtherVersionError(RuntimeError):
    """A piece made by other code than that which should solve it."""


class DistantExecutor(Executor):
    """An executor that may be lost as a whole, with nobody left to end what it was given.

    Attributes
    ----------
    threads : int
        Of all its workers together.
    """

    threads: int

    def look(self) -> None:
        """Raise LostError if nothing will come back any more; called all the while."""


@dataclass(frozen=True, eq=False)
class Task:
    """A few frequencies of one problem, and the version of the code that cut them out.

    `solve` is what solves each; the wave solver of round bodies if None.
    """

    version: str
    problem: Problem
    frequencies: tuple[float, ...]
    settings: WaveSettings
    solve: Solve | None = None


def perform(task: Task) -> Solved:
    """Solve a piece, in one thread; return the reason, an error, if the solver refuses it.

    Raises
    ------
    OtherVersionError
        If the code here is not that which made the piece.
    """
    if task.version != solver_version():
        raise OtherVersionError(
            "another version of roundcast runs there: install the same one everywhere"
        )
    try:
        if task.solve is None:
            return solve_fields(task.problem, task.frequencies, task.settings, 1, _BLOCKS)
        with one_blas_thread():
            return {f: task.solve(_at(task.problem, f), task.settings) for f in task.frequencies}
    except ValueError as refusal:
        return refusal


def _at(problem: Problem, frequency: float) -> Problem:
    return replace(problem, frequencies=np.array([frequency]))


def hand_out(
    executor: Executor,
    problem: Problem,
    frequencies: Sequence[float],
    settings: WaveSettings,
    each: Callable[[float, Fields], None] | None = None,
    solve: Solve | None = None,
) -> dict[float, Fields]:
    """Solve a problem in pieces; one that fails is tried once more.

    Parameters
    ----------
    executor : concurrent.futures.Executor
    problem : Problem
    frequencies : sequence of float
        Hz.
    settings : WaveSettings
    each : callable, optional
        Called with (frequency, fields) for all of a piece as soon as it is back.
    solve : callable, optional
        What solves each frequency; the wave solver of round bodies if left out.

    Raises
    ------
    TaskError
        If a piece failed twice.
    LostError
        If a `DistantExecutor` was lost.
    ValueError
        If the wave solver refuses the problem.
    """
    fields: dict[float, Fields] = {}
    tasks = _cut(problem, frequencies, settings, solve)
    waiting = {executor.submit(perform, task): (task, 1) for task in tasks}
    try:
        while waiting:
            back = wait(waiting, LOOK_EVERY_S, return_when=FIRST_COMPLETED).done
            current_stop().check()
            if isinstance(executor, DistantExecutor):
                executor.look()  # before what came back is taken for failures of its own
            for future in back:
                task, tries = waiting.pop(future)
                if failure := _failure(future):
                    waiting[_again(executor, task, tries, failure)] = (task, tries + 1)
                    continue
                for frequency, found in _unless_refused(future).items():
                    fields[frequency] = found
                    if each is not None:
                        each(frequency, found)
    except LostError:  # nobody is left to call anything off
        raise
    except BaseException:
        for future in waiting:
            future.cancel()
        raise
    return fields


def _cut(
    problem: Problem,
    frequencies: Sequence[float],
    settings: WaveSettings,
    solve: Solve | None = None,
) -> Iterator[Task]:
    """Pieces of equal cost: each from all over the band, since the treble costs most."""
    version, count = solver_version(), -(-len(frequencies) // PIECE)
    for first in range(count):
        yield Task(version, problem, tuple(frequencies[first::count]), settings, solve)


def _failure(future: Future[Solved]) -> BaseException | None:
    try:
        return future.exception()
    except CancelledError as lost:  # as when the scheduler went away
        return lost


def _again(executor: Executor, task: Task, tries: int, failure: BaseException) -> Future[Solved]:
    if tries < TRIES:
        return executor.submit(perform, task)
    how = f"{type(failure).__name__}: {failure}" if str(failure) else type(failure).__name__
    raise TaskError(
        f"{len(task.frequencies)} frequencies failed {tries} times elsewhere ({how})"
    ) from failure


def _unless_refused(future: Future[Solved]) -> dict[float, Fields]:
    found = future.result()
    if isinstance(found, ValueError):
        raise found
    return found
