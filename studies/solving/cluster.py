"""A Dask distributed scheduler, as an executor for the solver: `--cluster ADDRESS`.

The scheduler and its workers are the user's own, on machines that trust each other: whoever can
reach a scheduler can run code on its workers. The library looks after workers that die (what they
had is solved by another) and `dispersion.tasks` after pieces that fail.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dispersion.keys import solver_version
from dispersion.problem import Problem
from dispersion.response import Response

if TYPE_CHECKING:
    from distributed import Client

PATIENCE_S = 10.0
INSTALL = "pip install distributed"


class ClusterError(ValueError):
    """A scheduler that cannot be used; the message names it and the remedy."""


@dataclass(frozen=True, eq=False)
class Cluster:
    """Workers elsewhere.

    Attributes
    ----------
    executor : concurrent.futures.Executor
    threads : int
        Of all workers together.
    """

    executor: Executor
    threads: int

    @property
    def at_once(self) -> int:
        """Problems to work on side by side: their pieces keep every thread busy, no more."""
        return 2 + self.threads // 2


@dataclass(frozen=True, eq=False)
class ClusterSolver:
    """The wave solver on a cluster, for `studies.solving.grid.run`."""

    solve: Callable[..., Response]
    at_once: int

    def __call__(self, problem: Problem, progress: Callable[[int], None] | None = None) -> Response:
        """Solve one problem."""
        return self.solve(problem, progress=progress)


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
        If the package is missing, nothing answers, there are no workers, or one of them runs
        other code than this.
    """
    try:
        from distributed import Client
    except ImportError as missing:
        raise ClusterError(
            f"--cluster needs the package distributed, which is not installed: {INSTALL}"
        ) from missing
    try:
        client = Client(address, timeout=patience_s, set_as_default=False)
    except (OSError, ValueError, TypeError) as silence:
        raise ClusterError(
            f"no scheduler answers at {address}: start one (dask scheduler) and workers"
            f" (dask worker {address}), look at address and firewall, or leave out --cluster"
        ) from silence
    with client:
        yield Cluster(client.get_executor(pure=False), _threads(client, address))


def _threads(client: Client, address: str) -> int:
    """Threads of all workers, each of which must run this very code."""
    threads = client.nthreads()
    if not threads:
        raise ClusterError(f"the scheduler at {address} has no workers: dask worker {address}")
    for worker, version in client.run(_version, on_error="return").items():
        if version != solver_version():
            raise ClusterError(
                f"worker {worker} has another version of roundcast or none: install this one"
                " there, and start the worker anew"
            )
    return sum(threads.values())


def _version() -> str:
    return solver_version()
