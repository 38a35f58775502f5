"""Streams that are closed, full, or read by somebody who has seen enough."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
EXAMPLE = ROOT / "studies" / "examples" / "reading_room.toml"
pytestmark = pytest.mark.skipif(os.name == "nt", reason="a shell of another kind")


def run(words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    path = {"PYTHONPATH": str(ROOT)}
    line = words.replace("roundcast", f"{sys.executable} -m studies.cli")
    return subprocess.run(
        ["bash", "-c", line], cwd=folder, env=os.environ | path, capture_output=True, text=True
    )


@pytest.mark.parametrize("closed", [">&-", "<&- >&- 2>&-"])
def test_closed_streams_hinder_nothing(closed: str, tmp_path: Path) -> None:
    ran = run(f"roundcast section {EXAMPLE} --out out {closed}", tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert (tmp_path / "out" / "section.json").exists()


def test_a_reader_who_has_seen_enough_is_no_fault(tmp_path: Path) -> None:
    line = f"roundcast section {EXAMPLE} --json --out out | head -c 10; exit ${{PIPESTATUS[0]}}"
    ran = run(line, tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert (tmp_path / "out" / "section.json").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_what_is_full_is_named(tmp_path: Path) -> None:
    ran = run(f"roundcast section {EXAMPLE} --out out > /dev/full", tmp_path)
    assert ran.returncode == 2
    assert ran.stderr.strip() == "Error: standard output is full: No space left on device"
