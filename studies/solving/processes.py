"""Pieces of a study side by side, in processes of their own where there are several.

More than half of a study is Python between compiled kernels (meshes, fits, scores), and an
interpreter runs one thread at a time. So whole candidates, or whole builds, go to processes. Each
has shared blocks of its own and a connection of its own to the ledger, through which it finds what
another has solved; the results are the same for any number. On two quiet cores, one after the other
and before solves became an eighth cheaper, `trim` of the example took 107 s so and 124 in threads,
its 41 heights under a plate that stays 26 and 28 s; processor time went up by a seventh, since less
is shared.

They begin when there are pieces enough to pay for it, and end with the session, when it is stopped,
and when the process that began them is gone.
"""

from __future__ import annotations

import contextlib
import os
import signal
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_EXCEPTION, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextvars import ContextVar
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dispersion.response import Response
from dispersion.stopping import Threads, current_stop
from studies.solving.leftovers import named_after_us, remove_what_the_dead_left
from studies.solving.piecework import Returned, answered, begin_here
from studies.solving.progress import kernels_are_cached

if TYPE_CHECKING:
    from studies.solving.ledger import Ledger

Solve = Callable[..., Response]
"""(problem, progress=...) -> Response, see `studies.solving.grid.Solver`."""
Advance = Callable[[int], None]
"""Called with the number of solves that were just finished, from any thread."""
Piece = Callable[..., Any]
"""(solver, advance, *item) -> result: a function of a module or `partial` of one, which is sent to
another process with all that it holds."""
Each = Callable[..., Iterable[Any]]
"""(piece, *items) -> results, in order: like `map`, with solver and advance put in front."""
LEAST_WORK = 200
"""Designs times third octaves that pay for beginning processes, which takes each of them 1.2 s: of
the example some 3 s of processor time."""
LOOK_EVERY_S = 0.1
"""How soon progress is passed on, and a stop is seen."""
HELD = ("SIGINT", "SIGTERM", "SIGHUP")
"""Signals that end the command, and so the processes, which do not answer themselves."""
BEGIN = get_context("spawn")
"""Anew, on every system alike: threads and locks do not bear to be copied."""
THEIRS = {"MALLOC_ARENA_MAX": "1", "PYTHONWARNINGS": "ignore:resource_tracker"}
"""With glibc each process would hold 400 MB more, for it would keep what is freed once for each of
its threads; and whoever is killed leaves semaphores, which are removed and no news to anybody."""
PASSING = "roundcast-solves-"
"""Begins the name of the folder, among temporary files, of a ledger that nobody keeps."""
GONE = (
    "a process that solved ended by itself, for want of memory perhaps: ask the same again with"
    " --workers 1; what was solved until then is in the ledger, if you keep one"
)
_at_hand: ContextVar[Processes | None] = ContextVar("_at_hand", default=None)


class ProcessError(ValueError):
    """A process that solved is gone; the message says what to do."""


class Processes:
    """Processes that solve pieces of a study, begun when there are enough.

    Parameters
    ----------
    count : int
        How many.
    ledger : Ledger or None
        Each opens the same file. Where there is none, it is a temporary one.
    """

    def __init__(self, count: int, ledger: Ledger | None) -> None:
        self._count, self._ledger = count, ledger
        self._executor: ProcessPoolExecutor | None = None
        self._said: set[str] = set()
        self._until_closed = contextlib.ExitStack()
        # What it begins must not be ended by a terminal that closes.
        with _signals_held(), _environment_of_theirs():
            self._counts = BEGIN.SimpleQueue()

    def close(self) -> None:
        """End them, whatever they are at."""
        self._end()
        self._until_closed.close()

    def pay_for(self, work: int) -> bool:
        """Return whether so much work is better done here than in the process that asks."""
        return self._executor is not None or work >= LEAST_WORK

    def map(
        self, piece: Piece, *items: Iterable[Any], solver: Solve, advance: Advance
    ) -> list[Any]:
        """Return the results of all pieces, in order.

        Raises
        ------
        ProcessError
            If one of the processes is gone.
        StoppedError
            If it was stopped.
        Exception
            The first that a piece raised; what has not begun then does not.
        """
        calls = [partial(answered, piece, _sent(solver), item) for item in zip(*items, strict=True)]
        futures: list[Future[Returned]] = []
        try:
            with _signals_held(), _environment_of_theirs():
                executor = self._begun()
                futures.extend(executor.submit(call) for call in calls)
            self._wait_for(futures, advance)
        except BrokenProcessPool as gone:
            self._end()
            raise ProcessError(GONE) from gone
        except ValueError:
            for future in futures:
                future.cancel()
            raise
        except BaseException:
            self._end()
            raise
        return [self._heard(future.result()) for future in futures]

    def _begun(self) -> ProcessPoolExecutor:
        if self._executor is None:
            since = time.time() if self._ledger is None else self._ledger.since
            theirs, self._ours = BEGIN.Pipe(duplex=False)
            self._executor = ProcessPoolExecutor(
                self._count,
                mp_context=BEGIN,
                initializer=begin_here,
                initargs=(self._count, self._ledger_path(), since, self._counts, theirs),
            )
        return self._executor

    def _ledger_path(self) -> Path | None:
        if self._ledger is not None:
            return self._ledger.path
        with contextlib.suppress(OSError):  # no room for it: they share nothing then
            remove_what_the_dead_left(Path(tempfile.gettempdir()), PASSING)
            folder = tempfile.TemporaryDirectory(
                prefix=named_after_us(PASSING), ignore_cleanup_errors=True
            )
            return Path(self._until_closed.enter_context(folder)) / "solves"
        return None

    def _wait_for(self, futures: Iterable[Future[Returned]], advance: Advance) -> None:
        pending = set(futures)
        while pending:
            done, pending = wait(pending, LOOK_EVERY_S, FIRST_EXCEPTION)
            while not self._counts.empty():
                advance(self._counts.get())
            current_stop().check()
            for future in done:
                future.result()

    def _heard(self, answer: Returned) -> Any:
        """Count as ours what a process found and kept, and say once what it had to say."""
        if self._ledger is not None:
            self._ledger.found += answer.found
            self._ledger.kept += answer.kept
            for sentence in answer.said:
                if sentence not in self._said:
                    self._said.add(sentence)
                    self._ledger.report(sentence)
        return answer.result

    def _end(self) -> None:
        if self._executor is not None:
            self._ours.close()  # which they see
            self._executor.shutdown(cancel_futures=True)
            self._executor = None


@contextlib.contextmanager
def processes_at_hand(count: int, ledger: Ledger | None) -> Iterator[None]:
    """Let `side_by_side` use so many processes, where the system has them."""
    try:
        processes = Processes(count, ledger)
    except (OSError, ImportError, NotImplementedError):  # no semaphores, as in some containers
        yield
        return
    token = _at_hand.set(processes)
    try:
        yield
    finally:
        _at_hand.reset(token)
        processes.close()


@contextlib.contextmanager
def side_by_side(solver: Solve, advance: Advance, *, pieces: int, work: int) -> Iterator[Each]:
    """Yield what runs pieces side by side: in processes if that pays, else in threads.

    Parameters
    ----------
    solver : callable
        What pieces are given, with one worker each if there are several.
    advance : callable
        What they are given to count with.
    pieces : int
        How many there will be.
    work : int
        Designs in all of them, times third octaves.
    """
    workers, processes = workers_of(solver), _at_hand.get()
    if workers == 1 or pieces == 1:
        yield lambda piece, *items: map(partial(piece, solver, advance), *items)
    elif processes is not None and _pays(processes, solver, work):
        yield partial(processes.map, solver=solver, advance=advance)
    else:
        with Threads(workers) as pool:
            try:
                yield lambda piece, *items: pool.map(
                    partial(piece, _alone(solver), advance), *items
                )
            except BaseException:
                pool.shutdown(cancel_futures=True)
                raise


def _pays(processes: Processes, solver: Solve, work: int) -> bool:
    """Whether processes are done sooner than threads: quick methods are not worth loading."""
    _, waves = _sent(solver)
    return waves and processes.pay_for(work) and kernels_are_cached()


def workers_of(solver: Solve) -> int:
    """How many pieces run side by side: as many as the solver was given threads.

    A cluster says how many keep all of it busy.
    """
    if isinstance(solver, partial):
        given = solver.keywords.get("workers")
    else:
        given = getattr(solver, "at_once", 1)
    return int(given or os.cpu_count() or 1)


def _alone(solver: Solve) -> Solve:
    return partial(solver, workers=1) if isinstance(solver, partial) else solver


def _sent(solver: Solve) -> tuple[Solve, bool]:
    """Return a solver without what stays in this process, and whether it solves waves."""
    if not isinstance(solver, partial):
        return solver, False
    stays = {"store", "shared"}
    goes = {key: value for key, value in solver.keywords.items() if key not in stays}
    return partial(solver.func, *solver.args, **goes), "store" in solver.keywords


@contextlib.contextmanager
def _environment_of_theirs() -> Iterator[None]:
    """Have what is begun meanwhile find `THEIRS` in its environment, where nothing else is set."""
    new = {name: value for name, value in THEIRS.items() if name not in os.environ}
    os.environ.update(new)
    try:
        yield
    finally:
        for name in new:
            del os.environ[name]


@contextlib.contextmanager
def _signals_held() -> Iterator[None]:
    """Have what is begun meanwhile never hear of signals: it ends with whoever began it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    known = {number for name in HELD if (number := getattr(signal, name, None))}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, known)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
