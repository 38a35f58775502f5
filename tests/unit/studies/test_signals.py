"""Signals while the command runs: how soon it ends, with which status, and what it says."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from studies.signals import PATIENCE_S, WORDS

ROOT = Path(__file__).resolve().parents[3]
EXAMPLE = ROOT / "studies" / "examples" / "reading_room.toml"
SOON_S = 2.0
"""Required of Ctrl-C, whatever is being solved."""
COMMAND = """
import click, sys, time
from studies import cli
from studies.entry import enter
@click.command()
def work():
    {work}
cli.main.add_command(work)
sys.argv = ["roundcast", "work"]
enter()
"""
SLEEPING = "print('ready', flush=True); time.sleep(60.0)"
COMMANDS = ("spread", "trim", "seat", "slice", "export", "contest", "cut", "posts", "rays")
DEAF = """words = ["ready"]
    while True:
        try:
            while words: print(words.pop(), flush=True)
            time.sleep(60.0)
        except KeyboardInterrupt: pass
"""
SOLVING = """
    from pathlib import Path
    from dispersion.fields import solve_fields
    from dispersion.waves import WaveSettings
    from studies.design import read_design
    from studies.solving.grid import problem_of
    design = read_design(Path({path!r}))
    problem = problem_of(design, design.assembly())
    solve_fields(problem, [100.0], WaveSettings(), 1)
    print("ready", flush=True)
    solve_fields(problem, [16000.0] * 8, WaveSettings().finer(6.0), 2)
"""


def started(*words: str, folder: Path = ROOT) -> subprocess.Popen[str]:
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    path = {"PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, *words], text=True, cwd=folder, env=os.environ | path, **streams
    )


def at_work(work: str) -> subprocess.Popen[str]:
    process = started("-c", COMMAND.format(work=work))
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def ended(process: subprocess.Popen[str]) -> tuple[float, int, str]:
    """How long it took from here, the status, and what it said on standard error."""
    start = time.monotonic()
    _, said = process.communicate(timeout=60.0)
    return time.monotonic() - start, process.returncode, said


@pytest.mark.parametrize(("name", "status"), [("SIGINT", 130), ("SIGTERM", 143), ("SIGHUP", 129)])
def test_a_signal_ends_the_command_with_its_status(name: str, status: int) -> None:
    process = at_work(SLEEPING)
    process.send_signal(getattr(signal, name))
    assert ended(process)[1:] == (status, f"\n{WORDS}\n")


def test_what_does_not_listen_is_ended_soon() -> None:
    process = at_work(DEAF)
    process.send_signal(signal.SIGINT)
    seconds, *told = ended(process)
    assert PATIENCE_S - 0.5 < seconds < SOON_S
    assert told == [130, f"\n{WORDS}\n"]


def test_a_second_time_it_ends_at_once() -> None:
    process = at_work(DEAF)
    process.send_signal(signal.SIGINT)
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    seconds, *told = ended(process)
    assert seconds < 0.5
    assert told == [130, ""]


def test_a_signal_that_is_ignored_stays_ignored() -> None:
    # As nohup has it.
    work = "os.kill(os.getpid(), signal.SIGHUP); print('ready', flush=True)"
    ignore = "import os, signal; signal.signal(signal.SIGHUP, signal.SIG_IGN)"
    process = started("-c", ignore + COMMAND.format(work=work))
    assert ended(process)[1:] == (0, "")


def test_a_large_mesh_is_stopped_between_rows_of_elements() -> None:
    process = at_work(SOLVING.format(path=str(EXAMPLE)))
    time.sleep(0.5)
    process.send_signal(signal.SIGINT)
    seconds, *told = ended(process)
    assert seconds < 0.7 * PATIENCE_S  # in good order, not because patience was at an end
    assert told == [130, f"\n{WORDS}\n"]


SEEDS = [
    pytest.param(seed, marks=pytest.mark.slow if seed < 3 else pytest.mark.long)
    for seed in range(12)
]


@pytest.mark.parametrize("seed", SEEDS)
def test_any_command_ends_soon_at_any_moment(seed: int, tmp_path: Path) -> None:
    draw = random.Random(seed)
    command = draw.choice(COMMANDS)
    begin = f"import sys; sys.argv = ['roundcast', {command!r}, {str(EXAMPLE)!r}]"
    process = started("-c", f"{begin}; from studies.entry import enter; enter()", folder=tmp_path)
    time.sleep(draw.choice([0.4, 0.6, 1.0, 1.5, 2.5, 4.0, 8.0]) * draw.uniform(0.7, 1.3))
    if process.poll() is None:
        process.send_signal(signal.SIGINT)
    seconds, status, said = ended(process)
    assert seconds < SOON_S + 0.5  # beside other tests
    assert status in (0, 130)
    assert "Traceback" not in said
    assert not list(tmp_path.rglob(".unfinished*"))


if os.name == "nt":
    pytestmark = pytest.mark.skip("signals of another kind")
