"""A real scheduler and two worker processes on this machine; one of them is killed."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.solvers import solve_waves
from studies.design import Design, parse_design
from studies.solving.candidates import Candidate, Row
from studies.solving.cluster import ClusterError, ClusterSolver, cluster_at
from studies.solving.grid import run
from studies.solving.ledger import Ledger

ROOT = Path(__file__).resolve().parents[4]
distributed = pytest.importorskip("distributed")


def design() -> Design:
    path = ROOT / "studies" / "examples" / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    return parse_design(text.replace('band = ["100 Hz", "16 kHz"]', "band = [1000, 4000]"), path)


def candidates(design: Design) -> list[Candidate]:
    keeps = np.linspace(0.020, 0.045, 12)
    return [Candidate(f"{keep}", partial(design.trimmed, 0.18, keep)) for keep in keeps]


def started(*words: str) -> subprocess.Popen:
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.Popen([sys.executable, "-m", *words], env=environment, stderr=subprocess.PIPE)


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[str]:
    contact = tmp_path / "scheduler.json"
    process = started(
        *("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"),
        *("--no-dashboard", "--no-show", "--scheduler-file", str(contact)),
    )
    yield address_in(contact)
    process.kill()
    process.wait()


def address_in(contact: Path) -> str:
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        if contact.exists() and (text := contact.read_text()):
            return json.loads(text)["address"]
        time.sleep(0.05)
    raise AssertionError("the scheduler did not start")


@pytest.fixture
def workers(scheduler: str, tmp_path: Path) -> Iterator[list[subprocess.Popen]]:
    words = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(tmp_path))
    processes = [started("distributed.cli.dask_worker", scheduler, *words) for _ in range(2)]
    with distributed.Client(scheduler, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60.0)
    yield processes
    for process in processes:
        process.kill()
        process.wait()


def same(one: Row, other: Row) -> bool:
    pairs = ((r.response.near_by_way, r.window_curve_db, r.coverage.level_db) for r in (one, other))
    return all(np.array_equal(a, b) for a, b in zip(*pairs, strict=True))


@pytest.mark.slow
def test_a_worker_killed_in_the_middle_changes_no_bit(
    scheduler: str, workers: list[subprocess.Popen], tmp_path: Path
) -> None:
    asked, here = design(), solve_waves
    alone = run(asked, candidates(asked), here, 4, "here")
    killed = []

    def kill_one(stage: str, done: int, total: int) -> None:
        if not killed and done > total // 4:
            killed.append(done)
            os.kill(workers[0].pid, signal.SIGKILL)

    with cluster_at(scheduler) as there, Ledger(tmp_path / "l.sqlite") as ledger:
        assert there.threads == 2
        solver = partial(solve_waves, executor=there.executor, store=ledger)
        rows = run(asked, candidates(asked), ClusterSolver(solver, 3), 4, "there", kill_one)
        assert ledger.kept == 12 * 28
    assert killed
    assert workers[0].wait(10.0) == -signal.SIGKILL
    assert workers[1].poll() is None
    assert [row.name for row in rows] == [row.name for row in alone]
    assert all(row.solved for row in rows)
    assert all(same(one, other) for one, other in zip(rows, alone, strict=True))


@pytest.mark.slow
def test_a_scheduler_without_workers_is_refused(scheduler: str) -> None:
    refused = pytest.raises(ClusterError, match=f"no workers: dask worker {scheduler}")
    with refused, cluster_at(scheduler):
        pass


def test_a_scheduler_that_is_not_there_is_refused_with_the_remedy() -> None:
    refused = pytest.raises(ClusterError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9")
    with refused, cluster_at("tcp://127.0.0.1:9", patience_s=0.5):
        pass


def test_without_the_package_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    refused = pytest.raises(ClusterError, match=r"pip install distributed")
    with refused, cluster_at("tcp://127.0.0.1:9"):
        pass
