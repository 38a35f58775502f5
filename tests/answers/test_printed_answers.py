"""Answers that need no wave solver are printed as they were: of the examples, and of mistakes.

The kept texts are the program's own; they guard against changes that nobody meant. After one that
is meant: `python tests/answers/test_printed_answers.py` writes them anew;
git shows what changed.
"""

import contextlib
import os
import tempfile
from pathlib import Path

import compare
import pytest
from click.testing import CliRunner

from studies.cli import main

ROOT = Path(__file__).resolve().parents[2]
KEPT = Path(__file__).parent / "printed"
ASKED = {
    **{f"section-{example}": f"section quick/{example}.toml" for example in compare.EXAMPLES},
    "spread-by-images": "spread quick/reading_room.toml --method images --per-band 4",
    "no-design": "trim missing.toml",
    "no-unit": "rays quick/reading_room.toml --shift 3",
    "mistakes-in-a-design": "trim broken.toml",
}


def printed(words: str) -> str:
    """Ask in the current folder."""
    result = CliRunner().invoke(main, [*words.split(), "--out", "out"])
    return f"$ roundcast {words}\nstatus {result.exit_code}\n{result.stdout}{result.stderr}"


@pytest.fixture(scope="module")
def designs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("designs")
    compare.prepare(ROOT, folder)
    return folder


@pytest.mark.parametrize("name", ASKED)
def test_it_is_printed_as_it_was(name: str, designs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(designs)
    assert printed(ASKED[name]) == (KEPT / f"{name}.txt").read_text(encoding="utf-8")


def keep() -> None:
    """Write every kept text anew."""
    os.environ["ROUNDCAST_LEDGER"] = "solves.sqlite"
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        compare.prepare(ROOT, Path(folder))
        for name, words in ASKED.items():
            (KEPT / f"{name}.txt").write_text(printed(words), encoding="utf-8")


if __name__ == "__main__":
    keep()
