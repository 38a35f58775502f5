"""Where compiled kernels are kept: a folder of their own for every state of the code."""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from dispersion import code_version
from dispersion.code_version import KEPT_DAYS, is_temporary, kernel_folder

ROOT = Path(__file__).resolve().parents[3]
LONGEST = "from dispersion.waves.pairs import new_scratch; print(new_scratch().azimuth.shape[1])"


@pytest.fixture
def caches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Folder in place of the user's own for caches."""
    place = tmp_path / "caches"
    monkeypatch.setattr(code_version, "user_cache_path", lambda *_, **__: place)
    kernel_folder.cache_clear()
    yield place
    kernel_folder.cache_clear()


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """A small package with a kernel."""
    place = tmp_path / "sound"
    (place / "waves").mkdir(parents=True)
    (place / "waves" / "rings.py").write_text("PI = 3\n")
    return place


def test_other_code_has_another_folder(caches: Path, package: Path) -> None:
    first = kernel_folder("", package)
    assert Path(first).is_dir()
    assert Path(first).parent == caches
    kernel_folder.cache_clear()
    assert kernel_folder("", package) == first
    (package / "waves" / "rings.py").write_text("PI = 3.1\n")
    kernel_folder.cache_clear()
    assert kernel_folder("", package) != first
    assert len(list(caches.iterdir())) == 2


def test_what_the_user_has_set_stays(caches: Path) -> None:
    assert kernel_folder("/somewhere/else") == "/somewhere/else"
    assert not caches.exists()


@pytest.mark.parametrize("why", ["a file in its place", "nothing may be written", "no home"])
def test_where_no_folder_can_be_made_temporary_files_hold_the_kernels(
    why: str, caches: Path, package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    access, temporary = os.access, tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    if why == "a file in its place":
        caches.write_text("")
    elif why == "nothing may be written":  # for root, too, who may write anywhere
        monkeypatch.setattr(os, "access", lambda f, how: caches not in f.parents and access(f, how))
    else:

        def homeless(*_: object, **__: object) -> Path:
            raise RuntimeError("Could not determine home directory.")

        monkeypatch.setattr(code_version, "user_cache_path", homeless)
    folder = Path(kernel_folder("", package))
    assert folder.is_dir()
    assert folder.parent.parent == temporary
    assert folder.parent.stat().st_mode & 0o777 == 0o700
    assert is_temporary(folder)


def test_kernels_are_not_run_from_where_others_may_write(
    caches: Path, package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    caches.write_text("")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    planted = tmp_path / f"roundcast-{os.getuid()}"
    planted.mkdir()
    planted.chmod(0o777)
    folder = Path(kernel_folder("", package))
    assert is_temporary(folder)
    assert folder.parent != planted


def test_without_any_place_numba_chooses(
    caches: Path, package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    caches.write_text("")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "nowhere"))
    assert kernel_folder("", package) == ""


def test_only_folders_that_nobody_has_asked_for_in_long_are_removed(
    caches: Path, package: Path
) -> None:
    ages = {"kernels-old": KEPT_DAYS + 1.0, "kernels-new": KEPT_DAYS - 1.0, "else": 1000.0}
    for name, days in ages.items():
        (caches / name).mkdir(parents=True)
        (caches / name / "kept").write_text("")
        then = time.time() - 86_400.0 * days
        os.utime(caches / name, (then, then))
    mine = Path(kernel_folder("", package))
    assert {path.name for path in caches.iterdir()} == {"kernels-new", "else", mine.name}
    os.utime(mine, (0.0, 0.0))
    kernel_folder.cache_clear()
    kernel_folder("", package)
    assert mine.is_dir()


def test_a_constant_changed_in_another_file_reaches_a_compiled_kernel(tmp_path: Path) -> None:
    """Compiled `pairs.new_scratch` holds the LONGEST_RULE of `rings.py`."""
    for name in ("shapes", "dispersion"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    there = {key: value for key, value in os.environ.items() if not key.startswith("NUMBA_")}
    there |= {"PYTHONPATH": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "caches")}

    def longest() -> int:
        ran = subprocess.run(
            [sys.executable, "-c", LONGEST],
            check=True, capture_output=True, text=True, cwd=tmp_path, env=there,
        )  # fmt: skip
        return int(ran.stdout)

    rings = tmp_path / "dispersion" / "waves" / "rings.py"
    text = rings.read_text()
    assert "LONGEST_RULE = 800" in text
    assert longest() == 800
    rings.write_text(text.replace("LONGEST_RULE = 800", "LONGEST_RULE = 801"))
    assert longest() == 801
