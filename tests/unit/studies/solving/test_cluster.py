"""A real scheduler and two worker processes on this machine, which are killed; and none at all."""

import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from small import small_design

from dispersion.allround import STRAIGHT, Solving, solve_leaning
from dispersion.allround.by_frequency import HERE
from dispersion.solvers import solve_waves
from dispersion.stopping import StopFlag, StoppedError, stopped_by
from dispersion.tasks import LostError
from studies.design import Design, parse_design
from studies.questions.carve.command import carve
from studies.solving.candidates import Candidate, Row
from studies.solving.cluster import Cluster, ClusterError, ClusterSolver, cluster_at
from studies.solving.grid import problem_of, run
from studies.solving.ledger import Ledger

ROOT = Path(__file__).resolve().parents[4]
distributed = pytest.importorskip("distributed")
from distributed.protocol import deserialize, serialize  # noqa: E402


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
def scheduling(tmp_path: Path) -> Iterator[tuple[str, subprocess.Popen]]:
    contact = tmp_path / "scheduler.json"
    process = started(
        *("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"),
        *("--no-dashboard", "--no-show", "--scheduler-file", str(contact)),
    )
    yield address_in(contact), process
    process.kill()
    process.wait()


@pytest.fixture
def scheduler(scheduling: tuple[str, subprocess.Popen]) -> str:
    return scheduling[0]


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
    with Ledger(tmp_path / "one.sqlite") as one:
        run(asked, candidates(asked)[:1], partial(solve_waves, store=one), 4, "one of them")
        of_0_db = one.kept - 28
    killed = []

    def kill_one(stage: str, done: int, total: int) -> None:
        if not killed and done > total // 4:
            killed.append(done)
            os.kill(workers[0].pid, signal.SIGKILL)

    with cluster_at(scheduler) as there, Ledger(tmp_path / "l.sqlite") as ledger:
        assert there.threads == 2
        solver = partial(solve_waves, executor=there, store=ledger)
        rows = run(asked, candidates(asked), ClusterSolver(solver, 3), 4, "there", kill_one)
        assert ledger.kept == 12 * 28 + of_0_db
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


SEEDS = [
    pytest.param(seed, marks=pytest.mark.slow if seed < 3 else pytest.mark.long)
    for seed in range(10)
]


@pytest.mark.parametrize("seed", SEEDS)
def test_whatever_dies_at_any_moment_nothing_hangs_and_what_is_done_is_kept(
    seed: int,
    scheduling: tuple[str, subprocess.Popen],
    workers: list[subprocess.Popen],
    tmp_path: Path,
) -> None:
    address, process = scheduling
    draw = random.Random(seed)
    killed, after_s = draw.choice([[process], workers[:1], workers]), draw.uniform(0.0, 3.0)
    asked, kept_in = design(), tmp_path / "l.sqlite"
    tried = candidates(asked)[::2]
    threading.Timer(after_s, lambda: [one.kill() for one in killed]).start()
    start, rows = time.monotonic(), ()
    try:
        with cluster_at(address) as there, Ledger(kept_in) as ledger:
            there._without_workers_s = 5.0
            solver = partial(solve_waves, executor=there, store=ledger)
            rows = run(asked, tried, ClusterSolver(solver, 3), 4, "there")
    except ClusterError as gone:
        assert address in str(gone)
        assert len(killed) == 2 or killed == [process]
    assert time.monotonic() - start < 60.0
    with Ledger(kept_in) as ledger:
        resumed = run(asked, tried, partial(solve_waves, store=ledger), 4, "here")
    alone = run(asked, tried, solve_waves, 4, "here")
    for found in (rows, resumed):
        assert all(same(one, other) for one, other in zip(found, alone, strict=False))


@pytest.mark.parametrize(
    "address",
    ["", "127.0.0.1:8786", "tcp://x", "tcp://a:99999", "tcp://a:0", "http://a:80", "tcp://a:1/x"],
)
def test_what_is_no_address_is_refused_before_anything_is_connected(address: str) -> None:
    refused = pytest.raises(ClusterError, match="is no address of a scheduler: write it as")
    with refused, cluster_at(address):
        pass


@pytest.mark.parametrize("answer", [None, b"HTTP/1.1 200 OK\r\n\r\nhello", bytes(64), b"\xff" * 64])
def test_a_server_of_something_else_is_refused_in_time(
    answer: bytes | None, capfd: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            connection, _ = server.accept()
            connection.sendall(answer or b"")
            time.sleep(2.0)

        threading.Thread(target=serve, daemon=True).start()
        address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        start = time.monotonic()
        with pytest.raises(ClusterError, match="no scheduler answers"), cluster_at(address, 0.5):
            pass
    assert time.monotonic() - start < 1.5
    assert capfd.readouterr().err == ""


class NeverDone:
    """A client whose workers never come back with anything."""

    def __init__(self, status: str = "running", threads: int = 2) -> None:
        self.status, self.threads = status, threads

    def nthreads(self) -> dict[str, int]:
        return {"one": self.threads} if self.threads else {}

    def get_executor(self, pure: bool) -> SimpleNamespace:
        return SimpleNamespace(submit=lambda *_: Future())


class Silent(NeverDone):
    """One whose scheduler does not answer."""

    def nthreads(self) -> dict[str, int]:
        time.sleep(1.0)
        return {}


@pytest.mark.parametrize(
    ("client", "why"),
    [
        (NeverDone("closed"), "has gone"),
        (NeverDone("connecting"), "has gone"),
        (NeverDone(threads=0), "has been without workers for"),
        (Silent(), r"answers no more \(TimeoutError\)"),
    ],
)
def test_a_study_ends_when_nothing_will_come_back(
    client: NeverDone, why: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("studies.solving.cluster.LOOK_AGAIN_S", 0.0)
    there = Cluster(client, "tcp://a:1", 2, patience_s=0.1, without_workers_s=0.0)
    asked = design()
    with pytest.raises(LostError, match=f"tcp://a:1 {why}.*is in the ledger"):
        run(
            asked,
            candidates(asked)[:2],
            ClusterSolver(partial(solve_waves, executor=there), 2),
            4,
            "",
        )


def test_a_study_on_a_cluster_is_stopped_like_any_other() -> None:
    flag, asked = StopFlag(), design()
    there = Cluster(NeverDone(), "tcp://a:1", 2)
    threading.Timer(0.2, flag.set).start()
    with stopped_by(flag), pytest.raises(StoppedError):
        solve_waves(problem_of(asked, asked.assembly()), executor=there)


class ByPost(ThreadPoolExecutor):
    """Gets its work as another machine does, in bytes."""

    def submit(self, what: Callable, /, *given: object, **named: object) -> Future:
        what, given = deserialize(*serialize((what, given)))
        return super().submit(what, *given, **named)


def test_what_has_two_axes_is_solved_there_too() -> None:
    asked = small_design()
    problem = replace(
        problem_of(asked, asked.assembly()), frequencies=np.array([800.0]), elevations=np.zeros(1)
    )
    with ByPost(1) as post:
        here, there = (
            solve_leaning(problem, STRAIGHT, np.zeros(1), how)
            for how in (HERE, Solving(executor=post))
        )
    assert np.array_equal(there.pressure, here.pressure)


def test_carve_asks_a_cluster_too_and_checks_there_on_a_finer_mesh() -> None:
    assert "cluster" in {option.name for option in carve.params}
    asked: list[dict[str, object]] = []
    there = ClusterSolver(lambda problem, **how: asked.append(how), 2)
    partial(there, settings="finer")(None)
    assert asked == [{"progress": None, "settings": "finer"}]
