"""Streams that are closed, full, or no longer read; and names that terminals obey."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from studies.answer.command_options import visible
from studies.answer.next_steps import command_line

ROOT = Path(__file__).resolve().parents[3]
EXAMPLE = ROOT / "studies" / "examples" / "reading_room.toml"
pytestmark = pytest.mark.skipif(os.name == "nt", reason="a shell of another kind")


def run(words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    path = {"PYTHONPATH": str(ROOT)}
    # Once: the folder of a clone may be called so too.
    line = words.replace("roundcast", f"{sys.executable} -m studies.cli", 1)
    return subprocess.run(
        ["bash", "-c", line], cwd=folder, env=os.environ | path, capture_output=True, text=True
    )


@pytest.mark.parametrize("closed", [">&-", "<&- >&- 2>&-"])
def test_closed_streams_hinder_nothing(closed: str, tmp_path: Path) -> None:
    ran = run(f"roundcast section {EXAMPLE} --out out {closed}", tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert (tmp_path / "out" / "section.json").exists()


@pytest.mark.parametrize("form", ["--json", ""])
def test_a_reader_who_has_seen_enough_is_no_fault(form: str, tmp_path: Path) -> None:
    line = f"roundcast section {EXAMPLE} {form} --out out | head -c 10; exit ${{PIPESTATUS[0]}}"
    ran = run(line, tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert (tmp_path / "out" / "section.json").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_what_is_full_is_named(tmp_path: Path) -> None:
    ran = run(f"roundcast section {EXAMPLE} --out out > /dev/full", tmp_path)
    assert ran.returncode == 2
    assert ran.stderr.strip() == "Error: standard output is full: No space left on device"


def test_names_that_a_terminal_would_obey_are_written_out(tmp_path: Path) -> None:
    name = "a\x1b[31mb\u202ec.toml"
    (tmp_path / name).write_text(EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "reading_room_cone.toml").write_bytes(
        (EXAMPLE.parent / "reading_room_cone.toml").read_bytes()
    )
    for line in (
        f"roundcast section $'{name}' --out $'o\x1b[2J'",
        f"roundcast section $'no{name}'",
    ):
        ran = run(line, tmp_path)
        assert not {"\x1b", "\u202e"} & {*ran.stdout, *ran.stderr}
        assert "\\x1b[31mb\\u202ec.toml" in ran.stdout + ran.stderr


def test_a_file_named_like_an_option_is_suggested_as_a_file() -> None:
    assert command_line("trim", Path("-rf.toml")) == "roundcast trim ./-rf.toml"
    assert visible("plain, \u00e4 \u05d0\n") == "plain, \u00e4 \u05d0\n"
