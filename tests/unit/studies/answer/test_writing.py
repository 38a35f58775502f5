"""Files appear complete or not at all; a set of files all together, whenever it is killed."""

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from studies.answer import writing
from studies.answer.writing import (
    ExportError,
    all_or_nothing,
    make_folder,
    require_folder,
    write_files,
    write_text,
)
from studies.solving.leftovers import named_after_us

ROOT = Path(__file__).resolve().parents[4]


def test_a_file_is_replaced_whole_or_left_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    write_text(path, "old\n")

    def interrupted(source: object, target: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(writing.os, "replace", interrupted)
        with pytest.raises(KeyboardInterrupt):
            write_text(path, "new\n")
    assert path.read_text() == "old\n"
    assert [file.name for file in tmp_path.iterdir()] == ["a.csv"]


def test_what_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match=r"missing.*cannot be written \(No such file"):
        write_text(tmp_path / "missing" / "a.csv", "text")
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(ExportError, match="is a file, not a folder: name another with --out"):
        require_folder(blocked / "results")
    with pytest.raises(ExportError, match="cannot be written"):
        make_folder(blocked / "results")


def test_a_folder_that_does_not_exist_yet_is_fine(tmp_path: Path) -> None:
    require_folder(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission_is_refused(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(ExportError, match="no permission to write there"):
        require_folder(tmp_path / "results")


def test_all_files_arrive_together(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "results"
    with all_or_nothing(folder) as stage:
        (stage / "a.txt").write_text("a")
        (stage / "b.txt").write_text("b")
        assert not (folder / "a.txt").exists()
    assert sorted(file.name for file in folder.iterdir()) == ["a.txt", "b.txt"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_an_interruption_leaves_no_file_and_no_new_folder(
    tmp_path: Path, error: type[BaseException]
) -> None:
    with pytest.raises(error), all_or_nothing(tmp_path / "new" / "results") as stage:
        (stage / "a.txt").write_text("half")
        raise error
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_leaves_an_old_folder_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("old")
    with pytest.raises(KeyboardInterrupt), all_or_nothing(tmp_path) as stage:
        (stage / "a.txt").write_text("new")
        raise KeyboardInterrupt
    assert [(file.name, file.read_text()) for file in tmp_path.iterdir()] == [("a.txt", "old")]


def test_a_full_disk_is_told_as_such(tmp_path: Path) -> None:
    with (
        pytest.raises(ExportError, match=r"results cannot be written \(No space left"),
        all_or_nothing(tmp_path / "results"),
    ):
        raise OSError(28, "No space left on device")


def test_a_folder_in_the_place_of_a_file_is_seen_before_anything_is_moved(tmp_path: Path) -> None:
    (tmp_path / "b.csv").mkdir()
    (tmp_path / "a.csv").write_text("old")
    with pytest.raises(ExportError, match=r"b\.csv is a folder where a file must go: move it"):
        write_files(tmp_path, {"a.csv": b"new", "b.csv": b"new"})
    assert (tmp_path / "a.csv").read_text() == "old"
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.csv", "b.csv"]


def test_a_signal_among_the_moves_waits_and_the_document_is_moved_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    moved, replace = [], Path.replace

    def interrupted(source: Path, target: Path) -> Path:
        moved.append(target.name)
        os.kill(os.getpid(), signal.SIGINT)
        return replace(source, target)

    monkeypatch.setattr(Path, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_files(tmp_path, dict.fromkeys(("a.csv", "b.json", "c.png"), b"new"))
    assert moved == ["a.csv", "c.png", "b.json"]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.csv", "b.json", "c.png"]


def test_what_the_dead_left_is_removed_and_what_the_living_write_stays(tmp_path: Path) -> None:
    dead = subprocess.run(["true"], check=True) and 2**22 + 7  # above the highest process number
    mine, elsewhere = (
        named_after_us(writing.UNFINISHED),
        f"{writing.UNFINISHED}another_machine-{dead}-x",
    )
    gone = mine.replace(str(os.getpid()), str(dead))
    for name in (f"{gone}abc", f"{mine}abc", elsewhere):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a.csv").write_text("half")
    (tmp_path / f"{gone}mine.toml").write_text("half")
    write_files(tmp_path, {"a.csv": b"new"})
    assert {file.name for file in tmp_path.iterdir()} == {"a.csv", f"{mine}abc", elsewhere}


WRITING = """
import hashlib, json, sys
from pathlib import Path
from studies.answer.writing import write_files
for number in range(10**6):
    files = {f"{name}.csv": f"{number}".encode() for name in range(30)}
    sums = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    write_files(Path(sys.argv[1]), files | {"it.json": json.dumps(sums).encode()})
    print("written", flush=True)
"""


@pytest.mark.parametrize("times", [3, pytest.param(50, marks=pytest.mark.slow)])
def test_killed_among_the_moves_the_document_tells_what_belongs_to_it(
    times: int, tmp_path: Path
) -> None:
    draw, mixed = random.Random(times), 0
    for _ in range(times):
        words, path = (sys.executable, "-c", WRITING, str(tmp_path)), {"PYTHONPATH": str(ROOT)}
        process = subprocess.Popen(words, stdout=subprocess.PIPE, env=os.environ | path)
        process.stdout.readline()  # the first set is whole
        time.sleep(draw.uniform(0.0, 0.05))
        process.kill()
        process.wait()
        sums = json.loads((tmp_path / "it.json").read_text())
        contents = {name: (tmp_path / name).read_bytes() for name in sums}
        numbers = {name: int(content) for name, content in contents.items()}
        own = {n for n, c in contents.items() if hashlib.sha256(c).hexdigest() == sums[n]}
        of_set = {numbers[name] for name in own}
        later = {number for name, number in numbers.items() if name not in own}
        assert len(of_set) <= 1 and len(later) <= 1
        assert not of_set or not later or later == {of_set.pop() + 1}
        mixed += bool(later)
    assert mixed or times < 50  # the window was hit
    write_files(tmp_path, {"it.json": b"{}"})
    assert not list(tmp_path.glob(".unfinished*"))
