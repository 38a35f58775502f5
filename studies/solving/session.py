"""Run a study: the solver that was asked for, its ledger or cluster, a progress bar."""

from __future__ import annotations

import contextlib
import functools
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from dispersion.checks import problems_before
from dispersion.solvers import SOLVERS
from dispersion.waves import SharedBlocks, WaveSettings, one_blas_thread
from studies.design import Design, DesignError, Mistake
from studies.solving.cluster import ClusterSolver, cluster_at
from studies.solving.grid import (
    CHANGES_BY_NEED,
    COARSE_BY_NEED,
    COARSE_PER_BAND,
    FINE_BY_NEED,
    FINE_PER_BAND,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    problem_of,
)
from studies.solving.ledger import Ledger
from studies.solving.ledger_file import LedgerError
from studies.solving.memory import Remembering
from studies.solving.options import SolverOptions, default_ledger
from studies.solving.processes import processes_at_hand
from studies.solving.progress import Watch, open_console

Found = TypeVar("Found")
FINE_WEIGHED = 8
"""Cost of a design solved by need, and of its 0 dB, over that of one frequency a third octave: over
four designs of 190 to 2200 unknowns it was 1.0 to 1.1 times as much."""
FULL_PER_BAND = 24
"""Frequencies in a third octave where everything is solved on an even grid, as a check."""


class MethodError(ValueError):
    """A method that cannot answer the question."""


def coarse_of(options: SolverOptions) -> Fineness:
    """How finely many candidates are compared: as asked, else by need where that is possible."""
    return _fineness(options, COARSE_BY_NEED, COARSE_PER_BAND)


def fine_of(options: SolverOptions) -> Fineness:
    """How finely few designs are solved: as asked, else by need where that is possible."""
    return _fineness(options, FINE_BY_NEED, FINE_PER_BAND)


def changes_of(options: SolverOptions) -> Fineness:
    """How finely designs are solved that differ little: as asked, else by need where possible."""
    return _fineness(options, CHANGES_BY_NEED, FINE_PER_BAND)


def weighed_per_band(options: SolverOptions) -> int:
    """How many solves in a third octave to reckon with where many candidates are compared.

    By need it is fewer.
    """
    fineness = coarse_of(options)
    return COARSE_PER_BAND if isinstance(fineness, ByNeed) else fineness


def ranks(options: SolverOptions) -> bool:
    """Whether many candidates are compared by need, and so with a shorter column."""
    return isinstance(coarse_of(options), ByNeed)


def weighed_fine(options: SolverOptions) -> int:
    """How many solves in a third octave to reckon with where few designs are solved finely."""
    fineness = fine_of(options)
    return FINE_WEIGHED if isinstance(fineness, ByNeed) else fineness


def _fineness(options: SolverOptions, by_need: ByNeed, plain: int) -> Fineness:
    if options.full:
        return FULL_PER_BAND
    if options.per_band is not None:
        return options.per_band
    # A cluster wants many frequencies at once, and the quick methods have no resonance to miss.
    return by_need if options.method == "waves" and options.cluster is None else plain


def watched(study: Callable[[Progress], Found], options: SolverOptions | None = None) -> Found:
    """Run what solves by itself; its progress goes where the options say, else to a bar."""
    with _watch_of(options or SolverOptions()) as watch, one_blas_thread():
        return study(watch)


def _watch_of(options: SolverOptions) -> contextlib.AbstractContextManager[Progress]:
    """Who is told of progress: whom the options name, else a bar on standard error."""
    if options.watch is not None:
        return contextlib.nullcontext(options.watch)
    return Watch(open_console(sys.stderr))


def solved(
    design: Design, options: SolverOptions, study: Callable[[Solver, Progress], Found]
) -> Found:
    """Run a study with the solver that was asked for; its progress as `watched`.

    Parameters
    ----------
    design : Design
    options : SolverOptions
    study : callable
        (solver, progress) -> result.

    Raises
    ------
    LedgerError
        If the ledger cannot be used.
    DesignError
        If no mesh can carry the design's band; found before anything is solved.
    MethodError
        If the method cannot be handed to a cluster, or two options contradict each other.
    ClusterError
        If the cluster cannot be used.
    ProcessError
        If a process that solved is gone.
    """
    waves = options.method == "waves"
    if options.cluster is not None and not waves:
        raise MethodError(
            f"--cluster is for the wave solver; --method {options.method} is quick enough here"
        )
    if options.full and options.per_band is not None:
        raise MethodError(
            f"--full solves {FULL_PER_BAND} frequencies a third octave, --per-band asks for"
            f" {options.per_band}: leave one of them out"
        )
    problems = problems_before(problem_of(design, design.assembly()))
    if problems:
        raise DesignError(design.path, [Mistake("target.band", problem) for problem in problems])
    workers = options.workers or os.cpu_count() or 1
    kept_in = options.ledger if waves and not options.no_ledger else None
    with contextlib.ExitStack() as open_until_done:
        store = open_until_done.enter_context(_opened(kept_in))
        solver: Solver = functools.partial(SOLVERS[options.method], workers=workers)
        if waves:
            settings = WaveSettings().finer(options.finer)
            solver = functools.partial(solver, settings=settings, store=Remembering(store))
            if options.cluster is None:
                solver = functools.partial(solver, shared=SharedBlocks())
            else:
                there = open_until_done.enter_context(cluster_at(options.cluster))
                solver = ClusterSolver(functools.partial(solver, executor=there), there.at_once)
        if options.cluster is None and workers > 1:
            open_until_done.enter_context(processes_at_hand(workers, store))
        watch = open_until_done.enter_context(_watch_of(options))
        # What is fitted between solves is small: BLAS's own threads would only spin.
        open_until_done.enter_context(one_blas_thread())
        return study(solver, watch)


@contextlib.contextmanager
def _opened(path: Path | None) -> Iterator[Ledger | None]:
    """Open a ledger, and say afterwards how much was found in it."""
    if path is None:
        yield None
        return
    console = open_console(sys.stderr)
    try:
        ledger = Ledger(path, console.print)
    except LedgerError as refused:
        # Where there is no home to write in, as in a container, nobody has asked for this place.
        if path != default_ledger() or os.access(path.parent, os.W_OK):
            raise
        console.print(f"Finished solves are not kept: {refused}.")
        yield None
        return
    with ledger:
        yield ledger
    if ledger.found:
        console.print(f"{ledger.found} of {ledger.found + ledger.kept} solves were in {path}.")
