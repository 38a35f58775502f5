"""A Dask distributed scheduler, as an executor for the solver: `--cluster ADDRESS`.

The scheduler and its workers are the user's own, on machines that trust each other: whoever can
reach a scheduler can run code on its workers. The library looks after workers that die (what they
had is solved by another) and `dispersion.tasks` after pieces that fail. Of a scheduler that dies it
says nothing to whoever waits: so we look, and end the study, of which the ledger has what is done.
"""

from __future__ import annotations

import contextlib
import logging
import re
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from dispersion.keys import solver_version
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.tasks import DistantExecutor, LostError

if TYPE_CHECKING:
    from distributed import Client

Found = TypeVar("Found")
PATIENCE_S = 8.0
"""How long a scheduler may take to answer, in all."""
WITHOUT_WORKERS_S = 60.0
"""How long to wait for a worker to come back after the last has gone."""
LOOK_AGAIN_S = 2.0
GOODBYE_S = 1.0
ADDRESS = re.compile(r"tcp://(?:\[[0-9A-Fa-f:.]+\]|[^\s:/\[\]@]+):(\d{1,5})")
HIGHEST_PORT = 65_535
INSTALL = "pip install distributed"
KEPT = (
    "what was solved until then is in the ledger: start the cluster and ask the same again, or"
    " leave out --cluster"
)


class ClusterError(ValueError):
    """A scheduler that cannot be used; the message names it and the remedy."""


class Cluster(DistantExecutor):
    """Workers elsewhere.

    Parameters
    ----------
    client : distributed.Client
    address : str
    threads : int
        Of all workers together.
    patience_s, without_workers_s : float
        How long the scheduler may stay silent, and be without workers, before it counts as lost.
    """

    def __init__(
        self,
        client: Client,
        address: str,
        threads: int,
        patience_s: float = PATIENCE_S,
        without_workers_s: float = WITHOUT_WORKERS_S,
    ) -> None:
        self.threads, self._client, self._address = threads, client, address
        self._executor = client.get_executor(pure=False)
        self._patience_s, self._without_workers_s = patience_s, without_workers_s
        self._lock = threading.Lock()
        self._looked = self._seen_workers = time.monotonic()
        self._lost = ""

    @property
    def at_once(self) -> int:
        """Problems to work on side by side: their pieces keep every thread busy, no more."""
        return 2 + self.threads // 2

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Give the workers a call; see `concurrent.futures.Executor`."""
        try:
            return _within(self._patience_s, lambda: self._executor.submit(fn, *args, **kwargs))
        except Exception as error:
            raise self._lose("takes nothing any more") from error

    def look(self) -> None:
        """Raise LostError if the scheduler has gone, or its workers for too long."""
        with self._lock:  # the others wait for what the first one sees
            if self._client.status != "running":
                self._lost = "has gone"
            elif not self._lost and time.monotonic() - self._looked > LOOK_AGAIN_S:
                self._lost = self._what_is_lost()
                self._looked = time.monotonic()
        if self._lost:
            raise self._lose(self._lost)

    def _what_is_lost(self) -> str:
        try:
            workers = _within(self._patience_s, self._client.nthreads)
        except Exception as error:  # noqa: BLE001 - of the library, of its transport, of ours
            return f"answers no more ({type(error).__name__})"
        if workers:
            self._seen_workers = time.monotonic()
        silent = time.monotonic() - self._seen_workers
        if silent > self._without_workers_s:
            return f"has been without workers for {silent:.0f} s"
        return ""

    def _lose(self, what: str) -> LostError:
        self._lost = what
        return LostError(f"the scheduler at {self._address} {what}; {KEPT}")


@dataclass(frozen=True, eq=False)
class ClusterSolver:
    """The wave solver on a cluster, for `studies.solving.grid.run`."""

    solve: Callable[..., Response]
    at_once: int

    def __call__(
        self,
        problem: Problem,
        progress: Callable[[int], None] | None = None,
        **how: Any,
    ) -> Response:
        """Solve one problem; `how` takes the place of what the solver was given before."""
        return self.solve(problem, progress=progress, **how)


@contextlib.contextmanager
def cluster_at(address: str, patience_s: float = PATIENCE_S) -> Iterator[Cluster]:
    """Connect to a scheduler that is running.

    Parameters
    ----------
    address : str
        Such as ``tcp://192.0.2.7:8786``.
    patience_s : float
        How long to wait for an answer.

    Raises
    ------
    ClusterError
        If that is no address, the package is missing, nothing answers, there are no workers, or
        one of them runs other code than this; and if the scheduler is lost later on.
    """
    _require_address(address)
    try:
        import distributed
    except ImportError as missing:
        raise ClusterError(
            f"--cluster needs the package distributed, which is not installed: {INSTALL}"
        ) from missing
    for name in ("distributed", "asyncio", "tornado"):
        # Whatever goes wrong is told once, in our own words.
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    with _connected(distributed.Client, address, patience_s) as client:
        cluster = Cluster(client, address, _threads(client, address, patience_s), patience_s)
        try:
            yield cluster
        except LostError as lost:
            raise ClusterError(str(lost)) from lost


def _require_address(address: str) -> None:
    found = ADDRESS.fullmatch(address)
    if found is None or not 0 < int(found[1]) <= HIGHEST_PORT:
        raise ClusterError(
            f"--cluster {address!r} is no address of a scheduler: write it as the scheduler shows"
            " it when it starts, such as tcp://192.0.2.7:8786"
        )


@contextlib.contextmanager
def _connected(make: Callable[..., Client], address: str, patience_s: float) -> Iterator[Client]:
    def connect() -> Client:
        return make(address, timeout=0.7 * patience_s, set_as_default=False)

    try:
        client = _within(patience_s, connect)
    except Exception as silence:
        raise ClusterError(
            f"no scheduler answers at {address}: start one (dask scheduler) and workers"
            f" (dask worker {address}), look at address and firewall, or leave out --cluster"
        ) from silence
    try:
        yield client
    finally:
        # One that has gone need not be told good-bye, and would not hear it.
        with contextlib.suppress(Exception):
            _within(2.0 * GOODBYE_S, lambda: client.close(timeout=GOODBYE_S))


def _threads(client: Client, address: str, patience_s: float) -> int:
    """Threads of all workers, each of which must run this very code."""
    try:
        threads = _within(patience_s, client.nthreads)
        if not threads:
            raise ClusterError(f"the scheduler at {address} has no workers: dask worker {address}")
        versions = _within(patience_s, lambda: client.run(solver_version, on_error="return"))
    except ClusterError:
        raise
    except Exception as silence:
        raise ClusterError(
            f"the scheduler at {address} or a worker of it does not answer"
            f" ({type(silence).__name__}): start both anew, or leave out --cluster"
        ) from silence
    for worker, version in versions.items():
        if version != solver_version():
            raise ClusterError(
                f"worker {worker} has another version of roundcast or none: install this one"
                " there, and start the worker anew"
            )
    return sum(threads.values())


def _within(limit_s: float, call: Callable[[], Found]) -> Found:
    """Return what a call returns, or raise TimeoutError; it may then go on, in a thread of its own.

    The library's own time limits end when its event loop does.
    """
    future: Future[Found] = Future()

    def run() -> None:
        try:
            future.set_result(call())
        except BaseException as error:  # noqa: BLE001 - the caller raises it
            future.set_exception(error)

    threading.Thread(target=run, daemon=True).start()
    return future.result(limit_s)
