"""The live answer: the present design solved coarse at once, then finer while nothing changes.

One thread solves; a change stops what is running. Questions wait at their own next solve while it
is busy (`Turn`).
"""

from __future__ import annotations

import contextlib
import ctypes
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

from dispersion.bands import third_octave_centres
from dispersion.checks import problems_before
from dispersion.coverage import coverage_of_bands
from dispersion.fields import Store
from dispersion.sliding import fine_power, slide
from dispersion.solvers import solve_waves
from dispersion.stopping import StopFlag, StoppedError, stopped_by
from dispersion.waves import SharedBlocks, one_blas_thread
from studies.design import Design
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import (
    COARSE_PER_BAND,
    FINE_BY_NEED,
    Fineness,
    Solver,
    problem_of,
    run,
    scored,
)
from studies.solving.memory import Remembering

REST_S = 0.15
"""Without a change for so long, the coarse answer is made finer."""
REMEMBERED = 60 * 2**20
"""Bytes of fields that stay in memory for designs that are changed back."""


MOST_SHARED = 200 * 2**20
"""Bytes of blocks that the next design may share: the column's, while a reflector is tried."""


class Turn:
    """Whose turn it is to solve: the live answer goes first."""

    def __init__(self) -> None:
        self._free = threading.Event()
        self._free.set()

    @contextlib.contextmanager
    def first(self) -> Iterator[None]:
        """Have everybody else wait."""
        self._free.clear()
        try:
            yield
        finally:
            self._free.set()

    def wait(self, stopped: Callable[[], bool]) -> None:
        """Wait until nobody goes first, or until it is stopped."""
        while not self._free.wait(0.2) and not stopped():
            pass


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The present design solved, so far.

    Attributes
    ----------
    version : int
        Of the desk.
    design : Design
    row : Row
    stage : str
        How settled it is, in words.
    last : bool
        Whether it will not get finer.
    seconds : float
        Since the change.
    """

    version: int
    design: Design
    row: Row
    stage: str
    last: bool
    seconds: float


class Live:
    """Solves the latest design it was given, coarse first.

    Parameters
    ----------
    store : Store or None
        The ledger.
    turn : Turn
    tell : callable
        Given every answer, from the thread that solves.
    fail : callable
        Given the version and the reason where it cannot be solved.
    """

    def __init__(
        self,
        store: Store | None,
        turn: Turn,
        tell: Callable[[Answer], None],
        fail: Callable[[int, str], None],
    ) -> None:
        self._store, self._turn = Remembering(store, REMEMBERED), turn
        self._shared = SharedBlocks(MOST_SHARED)
        self._tell, self._fail = tell, fail
        self._wanted: tuple[int, Design | None, float] = (0, None, 0.0)
        self._changed = threading.Condition()
        self._over, self._begun, self._stop = False, 0, StopFlag()
        self._thread = threading.Thread(target=self._run, name="live", daemon=True)
        self._thread.start()

    def want(self, version: int, design: Design | None) -> None:
        """Solve this from now on, and drop what is running; nothing if None."""
        with self._changed:
            self._wanted = (version, design, time.perf_counter())
            self._stop.set()
            self._changed.notify_all()

    def close(self) -> None:
        """Stop solving."""
        with self._changed:
            self._over = True
            self._stop.set()
            self._changed.notify_all()
        self._thread.join(timeout=30.0)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._over or self._wanted[0] != self._begun)
                if self._over:
                    return
                version, design, since = self._wanted
                self._begun, self._stop = version, StopFlag()
            if design is None:
                continue
            try:
                with self._turn.first(), one_blas_thread(), stopped_by(self._stop) as stop:
                    self._solve(version, design, since, stop)
            except StoppedError:
                pass
            except Exception as error:  # noqa: BLE001 (a page is told; the bench goes on)
                self._fail(version, str(error) or type(error).__name__)
            give_memory_back()

    def _solve(self, version: int, design: Design, since: float, stop: StopFlag) -> None:
        solver = partial(solve_waves, store=self._store, shared=self._shared)
        for words, solve, last in STAGES:
            row = solve(design, solver)
            if not row.solved:
                self._fail(version, row.reason)
                return
            stop.check()
            self._tell(
                Answer(
                    version=version,
                    design=design,
                    row=row,
                    stage=words,
                    last=last,
                    seconds=time.perf_counter() - since,
                )
            )
            if not last:
                self._rest(version)

    def _rest(self, version: int) -> None:
        with self._changed:
            self._changed.wait_for(lambda: self._over or self._wanted[0] != version, timeout=REST_S)


def give_memory_back() -> None:
    """Hand what was freed back to the system, where its C library would keep it for each thread.

    A hundred changes would leave 1.5 GiB with glibc in place of 0.5; other libraries do without.
    """
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


def first_look(design: Design, solver: Solver) -> Row:
    """Solve a design at the middle of every third octave only: the shape of its answer."""
    assembly = design.assembly()
    centres = third_octave_centres(*design.target.band)
    problem = replace(problem_of(design, assembly), frequencies=centres)
    if refusals := problems_before(problem):
        return Row("", assembly, "; ".join(refusals))
    response = solver(problem)
    fine = fine_power(centres, problem.elevations, response.power, design.window_deg)
    coverage = coverage_of_bands(
        centres,
        problem.elevations,
        response.power,
        design.window_deg,
        design.target.band,
        slide(fine, *design.target.band),
    )
    return scored(design, assembly, response, coverage, keep_far=False)


def _settled(fineness: Fineness, design: Design, solver: Solver) -> Row:
    (row,) = run(
        design,
        [Candidate("as designed", design.assembly)],
        solver,
        fineness,
        "live",
        settle_seats=True,
    )
    return row


STAGES: tuple[tuple[str, Callable[[Design, Solver], Row], bool], ...] = (
    ("coarse: one frequency in a third octave", first_look, False),
    ("4 frequencies in a third octave", partial(_settled, COARSE_PER_BAND), False),
    (
        "every third octave within 0.05 dB of doubt, frequencies chosen by need",
        partial(_settled, FINE_BY_NEED),
        True,
    ),
)
"""How settled the answer is in words, how it is solved, and whether it is the last."""
