"""Options of a command: how to solve, and the budget. Loads nothing heavy."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from platformdirs import user_data_path


def default_ledger() -> Path:
    """Return where finished solves are kept if nobody says otherwise; no place for the homeless."""
    try:
        return user_data_path("roundcast", appauthor=False) / "ledger.sqlite"
    except RuntimeError:  # a user without a home and without a name
        return Path(os.devnull) / "ledger.sqlite"


@dataclass(frozen=True, kw_only=True)
class SolverOptions:
    """How to solve.

    Attributes
    ----------
    workers : int or None
        Threads; as many as there are processors if None.
    per_band : int or None
        Frequencies in a third-octave band, evenly spaced; chosen by need if None.
    full : bool
        Solve everything on one fine, even grid of frequencies, as a check.
    method : str
        One of `dispersion.solvers.SOLVERS`.
    finer : float
        How many times finer the wave solver's mesh is than by default.
    ledger : Path or None
        Where finished solves of the wave solver are found and kept; nowhere if None.
    no_ledger : bool
        Nowhere, whatever `ledger` says.
    cluster : str or None
        Address of a Dask scheduler whose workers solve in place of threads here.
    time_budget, memory_budget : float
        Minutes and megabytes that may be spent without asking.
    yes : bool
        Do not ask.
    watch : callable or None
        Told of (stage, done, total) solves, from any thread; a progress bar on standard error if
        None. What it raises ends the run.
    """

    workers: int | None = None
    per_band: int | None = None
    full: bool = False
    method: str = "waves"
    finer: float = 1.0
    ledger: Path | None = None
    no_ledger: bool = False
    cluster: str | None = None
    time_budget: float = 20.0
    memory_budget: float = 4000.0
    yes: bool = False
    watch: Callable[[str, int, int], None] | None = None


@dataclass(frozen=True, kw_only=True)
class Options:
    """Options of a command: those of the solver here, its own in a class that extends this one."""

    solving: SolverOptions = field(default_factory=SolverOptions)


@dataclass(frozen=True, kw_only=True)
class JudgedOptions(Options):
    """Options of a command whose candidates are asked of every driver and build.

    Attributes
    ----------
    as_written : bool
        Only the very sizes of the file: no other drivers and builds are asked.
    """

    as_written: bool = False

    @property
    def asks_builds(self) -> bool:
        """True if drivers and builds are asked: not of quick methods, whose errors are larger."""
        return self.solving.method == "waves" and not self.as_written
