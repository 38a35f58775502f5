"""Pieces side by side in processes: the same results, and what happens when one is gone."""

import errno
import multiprocessing
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from pieces import ended, refused, slow, told
from small import small_design

from dispersion.problem import Problem
from dispersion.solvers import solve_waves
from dispersion.stopping import StopFlag, StoppedError, stopped_by
from studies.solving import processes
from studies.solving.budget import PROCESS_MB
from studies.solving.candidates import Candidate
from studies.solving.grid import COARSE_BY_NEED, run
from studies.solving.ledger import Ledger
from studies.solving.memory import Remembering
from studies.solving.processes import ProcessError, Processes, side_by_side, workers_of

KEEPS = np.linspace(0.02, 0.036, 9)


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Processes]:
    with Ledger(tmp_path_factory.mktemp("two") / "solves") as ledger:
        both = Processes(2, ledger)
        mapped(both, told)
        yield both
        both.close()


def mapped(both: Processes, piece: object, count: int = 9) -> tuple[list, list[int]]:
    counted: list[int] = []
    solver = partial(solve_waves, workers=2)
    found = both.map(piece, range(count), solver=solver, advance=counted.append)
    return found, counted


def test_pieces_come_back_in_order_from_elsewhere_and_are_counted(two: Processes) -> None:
    found, counted = mapped(two, told)
    assert [number for number, *_ in found] == list(range(9))
    assert {workers for _, workers, _ in found} == {1}
    assert os.getpid() not in {process for *_, process in found}
    assert sum(counted) == 9


def test_what_a_piece_refuses_is_raised_here_and_the_others_go_on(two: Processes) -> None:
    with pytest.raises(ValueError, match="no 3"):
        mapped(two, refused)
    assert len(mapped(two, told)[0]) == 9


def test_candidates_are_the_same_to_the_last_bit(two: Processes, tmp_path: Path) -> None:
    """Solved in two processes, which share a ledger, and by one thread here."""
    design = small_design()
    candidates = [Candidate(f"{k}", partial(design.trimmed, 0.18, k)) for k in KEEPS]
    store = Remembering(Ledger(tmp_path / "solves"))
    alone = run(design, candidates, partial(solve_waves, workers=1), COARSE_BY_NEED, "here")
    solver = partial(solve_waves, workers=2, store=store)
    token = processes._at_hand.set(two)
    apart = run(design, candidates, solver, COARSE_BY_NEED, "apart", keep_far=True)
    processes._at_hand.reset(token)
    assert [row.score for row in apart] == [row.score for row in alone]
    for one, other in zip(apart, alone, strict=True):
        np.testing.assert_array_equal(one.window_curve_db, other.window_curve_db)
        assert one.assembly == other.assembly
        np.testing.assert_array_equal(one.response.alone, other.response.alone)
    assert two._ledger.kept > 9
    assert two._ledger.found == 0
    if sys.platform == "linux":
        for process in two._executor._processes:
            assert PROCESS_MB / 1.5 < peak_mb(process) < 1.5 * PROCESS_MB, "as is reckoned"


def peak_mb(process: int) -> float:
    """Most memory that a process held at once, MB, as Linux says."""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) * 1024 / 1e6


@pytest.mark.parametrize("piece", [slow, ended])
def test_a_run_that_is_stopped_or_loses_a_process_ends_and_leaves_none(piece: object) -> None:
    others = set(multiprocessing.active_children())
    both, stop, began = Processes(2, None), StopFlag(), time.monotonic()
    if piece is slow:
        threading.Timer(2.0, stop.set).start()
    with stopped_by(stop), pytest.raises((StoppedError, ProcessError)) as raised:
        mapped(both, piece)
    assert raised.type is (StoppedError if piece is slow else ProcessError)
    assert time.monotonic() - began < 20.0
    assert len(mapped(both, told)[0]) == 9, "it can be asked again"
    both.close()
    assert set(multiprocessing.active_children()) <= others


def test_few_pieces_stay_here() -> None:
    solver = partial(solve_waves, workers=2)
    with side_by_side(solver, int, pieces=3, work=3) as each:
        found = list(each(told, range(3)))
    assert {process for *_, process in found} == {os.getpid()}
    both = Processes(2, None)
    assert not both.pay_for(processes.LEAST_WORK - 1)
    assert both.pay_for(processes.LEAST_WORK)


def test_without_workers_of_its_own_a_solver_counts_as_one() -> None:
    def solver(problem: Problem) -> None: ...

    assert workers_of(solver) == 1
    assert workers_of(partial(solver, workers=3)) == 3


def test_a_passing_ledger_of_the_dead_is_removed_by_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes.tempfile, "tempdir", str(tmp_path))
    alive = Processes(2, None)
    kept = alive._ledger_path().parent
    dead = kept.rename(str(kept).replace(f"-{os.getpid()}-", f"-{2**22 + 1}-"))
    (dead / "solves").write_text("")
    again = alive._ledger_path().parent
    Processes(2, None)._ledger_path()
    assert not dead.exists(), "no system has so many processes"
    assert again.is_dir()
    alive.close()
    assert not again.exists()


def test_where_temporary_files_have_no_room_nothing_is_shared(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def full(**_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(processes.tempfile, "TemporaryDirectory", full)
    assert Processes(2, None)._ledger_path() is None


def test_whoever_is_killed_leaves_no_warning() -> None:
    """Of semaphores, by the process that removes them."""
    begin = "import os, signal; from studies.solving.processes import Processes; "
    end = "Processes(2, None); os.kill(os.getpid(), signal.SIGKILL)"
    killed = subprocess.run([sys.executable, "-c", begin + end], capture_output=True, check=False)
    assert killed.returncode == -signal.SIGKILL
    assert killed.stderr == b""
