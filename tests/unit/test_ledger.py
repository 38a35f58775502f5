"""The ledger: nothing lost to a kill, nothing stale or damaged believed, shared by processes."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dispersion import keys
from dispersion.air import Air
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.sources import LettingGo, Way
from dispersion.waves import WaveSettings
from shapes import Assembly, Column, Driver, TopPlate, ball_cap
from studies.ledger import Ledger, LedgerError

ROOT = Path(__file__).parents[2]
FREQUENCIES = np.array([200.0, 250.0, 315.0])
BUILT = Assembly(
    Column(0.2, 0.3), Driver(0.05, 0.065, 0.02), 0.06, ball_cap(0.18, 0.03), TopPlate(0.1, 0.015)
)
PROBLEM = Problem(BUILT, (Way("driver"),), FREQUENCIES, points=np.array([[1.0, 0.2], [2.0, 0.5]]))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "solves.sqlite"


def same(one: Response, other: Response) -> bool:
    names = ("far_by_way", "near_by_way", "power_error_db", "unknowns")
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in names)


def solved_with(path: Path, problem: Problem = PROBLEM, **how: object) -> tuple[Response, Ledger]:
    with Ledger(path) as ledger:
        return solve_waves(problem, store=ledger, **how), ledger


def test_what_is_found_is_the_same_to_the_last_bit(path: Path) -> None:
    alone = solve_waves(PROBLEM)
    first, writing = solved_with(path)
    again, reading = solved_with(path)
    assert same(alone, first)
    assert same(alone, again)
    assert (writing.found, writing.kept) == (0, 3)
    assert (reading.found, reading.kept) == (3, 0)


def test_only_what_is_missing_is_solved(path: Path) -> None:
    solved_with(path)
    more = replace(PROBLEM, frequencies=np.array([160.0, *FREQUENCIES]))
    done: list[int] = []
    response, ledger = solved_with(path, more, progress=done.append)
    assert (ledger.found, ledger.kept) == (3, 1)
    assert sum(done) == 4
    assert same(response, solve_waves(more))


@pytest.mark.parametrize(
    "other",
    [
        replace(PROBLEM, air=Air(temperature_c=21.0)),
        replace(PROBLEM, assembly=BUILT.with_gap(0.06 + 1e-12)),
        replace(PROBLEM, assembly=BUILT.with_reflector(ball_cap(0.18, 0.031))),
        replace(PROBLEM, ways=(Way("driver", lets_go=LettingGo(150.0, 0.01)),)),
        replace(PROBLEM, frequencies=FREQUENCIES * (1 + 1e-15)),
        replace(PROBLEM, points=np.array([[1.0, 0.2]])),
        replace(PROBLEM, elevations=np.linspace(-90.0, 90.0, 181)),
    ],
    ids=["air", "gap", "keep", "lets go", "frequency", "seats", "directions"],
)
def test_whatever_differs_is_another_solve(other: Problem) -> None:
    settings = WaveSettings()
    first = set(keys.solve_keys(PROBLEM, settings))
    assert not first & set(keys.solve_keys(other, settings))


def test_settings_and_code_are_part_of_the_name(monkeypatch: pytest.MonkeyPatch) -> None:
    first = keys.solve_keys(PROBLEM, WaveSettings())
    assert keys.solve_keys(PROBLEM, WaveSettings()) == first
    assert not set(keys.solve_keys(PROBLEM, WaveSettings().finer(1.5))) & set(first)
    monkeypatch.setattr(keys, "solver_version", lambda: "another")
    assert not set(keys.solve_keys(PROBLEM, WaveSettings())) & set(first)


def test_level_and_polarity_are_not_part_of_the_name() -> None:
    """They are applied to what was solved."""
    louder = replace(PROBLEM, ways=(Way("driver", level_db=-3.0, polarity=-1),))
    settings = WaveSettings()
    assert keys.solve_keys(louder, settings) == keys.solve_keys(PROBLEM, settings)


def cut_short(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def no_database(path: Path) -> None:
    path.write_bytes(b"this is no database " * 500)


def wrong_pages(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[4096:8192] = b"\xff" * 4096
    path.write_bytes(content)


@pytest.mark.parametrize("damage", [cut_short, no_database, wrong_pages])
def test_a_damaged_file_is_set_aside_and_told_of(
    path: Path, damage: Callable[[Path], None]
) -> None:
    alone, _ = solved_with(path)
    damage(path)
    told: list[str] = []
    with Ledger(path, told.append) as ledger:
        again = solve_waves(PROBLEM, store=ledger)
        assert (ledger.found, ledger.kept) == (0, 3)
    assert same(alone, again)
    assert len(told) == 1
    assert "set aside as solves.sqlite.damaged-1" in told[0]
    assert path.with_name("solves.sqlite.damaged-1").exists()
    assert solved_with(path)[1].found == 3


def test_a_flipped_bit_is_never_believed(path: Path) -> None:
    alone, _ = solved_with(path)
    with sqlite3.connect(path) as database:
        key, far = database.execute("SELECT key, far FROM solves LIMIT 1").fetchone()
        flipped = bytearray(far)
        flipped[-1] ^= 1
        database.execute("UPDATE solves SET far = ? WHERE key = ?", (bytes(flipped), key))
    database.close()
    told: list[str] = []
    with Ledger(path, told.append) as ledger:
        again = solve_waves(PROBLEM, store=ledger)
    assert same(alone, again)
    assert (ledger.found, ledger.kept) == (2, 1)
    assert len(told) == 1
    assert "damaged; it is solved again" in told[0]


def test_a_place_that_cannot_be_used_is_refused_with_a_remedy(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for place in (tmp_path / "file" / "solves.sqlite", tmp_path):
        with pytest.raises(LedgerError, match="name another place with --ledger"):
            Ledger(place)


def test_a_full_disk_costs_the_ledger_but_not_the_answer(path: Path) -> None:
    told: list[str] = []
    with Ledger(path, told.append) as ledger:
        pages = ledger._database.execute("PRAGMA page_count").fetchone()[0]
        ledger._database.execute(f"PRAGMA max_page_count = {pages + 1}")
        response = solve_waves(PROBLEM, store=ledger)
        assert ledger.kept < 3
    assert same(response, solve_waves(PROBLEM))
    assert len(told) == 1
    assert "is not kept" in told[0]


def test_pruning_drops_other_versions_first_then_what_was_not_used(path: Path) -> None:
    solved_with(path)
    with sqlite3.connect(path) as database:
        database.execute(
            "INSERT INTO solves SELECT x'00', 'old', used, unknowns, far, near, error, digest"
            " FROM solves LIMIT 1"
        )
    database.close()
    with Ledger(path) as ledger:
        assert [volume.current for volume in ledger.volumes()].count(False) == 1
        assert ledger.prune() == 1
        (volume,) = ledger.volumes()
        assert (volume.solves, volume.current) == (3, True)
        time.sleep(0.01)
    newest = replace(PROBLEM, frequencies=FREQUENCIES[:1])
    _, ledger = solved_with(path, newest)
    assert ledger.found == 1
    with Ledger(path) as ledger:
        assert ledger.prune(volume.size // 3) == 2
        size = ledger.size
    assert solved_with(path, newest)[1].found == 1
    assert size < 100_000


SOLVING = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from test_ledger import PROBLEM, replace
import numpy as np
from dispersion.solvers import solve_waves
from studies.ledger import Ledger
problem = replace(PROBLEM, frequencies=np.linspace(200.0, 400.0, 60))
with Ledger(Path({path!r})) as ledger:
    print("ready", flush=True)
    solve_waves(problem, store=ledger, workers=1)
    print(ledger.found, ledger.kept, flush=True)
"""


def start(path: Path) -> subprocess.Popen[str]:
    code = SOLVING.format(tests=str(Path(__file__).parent), path=str(path))
    return subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def rows(path: Path) -> int:
    database = sqlite3.connect(path)
    try:
        return database.execute("SELECT COUNT(*) FROM solves").fetchone()[0]
    finally:
        database.close()


def test_killed_at_any_moment_only_the_solves_in_flight_are_lost(path: Path) -> None:
    before = 0
    for reached, pause in ((0, 0.0), (3, 0.0), (9, 0.003), (20, 0.011), (33, 0.007)):
        process = start(path)
        assert process.stdout.readline() == "ready\n"
        while rows(path) < reached and process.poll() is None:
            time.sleep(0.001)
        time.sleep(pause)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        after = rows(path)
        assert after >= before
        before = after
    process = start(path)
    out, _ = process.communicate(timeout=60)
    found, kept = map(int, out.splitlines()[-1].split())
    assert found == before
    assert found + kept == 60
    assert 0 < before < 60  # the kills came in the middle of the work
    problem = replace(PROBLEM, frequencies=np.linspace(200.0, 400.0, 60))
    response, ledger = solved_with(path, problem)
    assert ledger.found == 60
    assert same(response, solve_waves(problem))


def test_two_processes_share_a_ledger(path: Path) -> None:
    both = [start(path), start(path)]
    outs = [process.communicate(timeout=60)[0] for process in both]
    assert all(process.returncode == 0 for process in both)
    for out in outs:
        found, kept = map(int, out.splitlines()[-1].split())
        assert found + kept == 60
    assert rows(path) == 60
