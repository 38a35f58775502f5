"""A newcomer's three tasks, as DEVELOPERS.md has them: each patch applied to a copy, and tried.

What they add is not part of roundcast. They show how it is done, and that it still is done so.
"""

import csv
import json
import math
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent
PATCHES = ROOT / "tests" / "newcomer"
TASKS = ("shape", "measure", "command")
HEADINGS = {task: f"## How to add a {task}\n" for task in TASKS}
HEADINGS["shape"] = "## How to add a reflector shape\n"
TESTS = {
    "shape": ("tests/unit/shapes/test_reflectors.py", "tests/unit/studies/design/test_design.py"),
    "measure": (
        "tests/unit/dispersion/test_coverage.py",
        "tests/unit/studies/answer/test_tables.py::test_spread_shows_every_band_and_seat",
    ),
    "command": (
        "tests/unit/studies/questions/test_wavelengths.py",
        "tests/unit/studies/answer/test_next_steps.py",
        "tests/unit/studies/test_cli.py::test_every_question_has_a_command",
        "tests/test_security.py::test_every_command_that_reads_a_design_has_the_flag",
    ),
}
MOST_FILES = 5
"""Besides tests: more for one command, and what changes together does not live together."""
DESIGN = """
title = "A newcomer's"
unit = "mm"
plate_gap = 60
column = { width = 200, height = 900 }
driver = { effective_diameter = 104, frame_diameter = 130, cone_depth = 22 }
reflector = { REFLECTOR }
plate = { diameter = 200, thickness = 15 }
target = { band = [1000, 4000], window = [0, 20] }
"""
CONE = 'kind = "cone", base_diameter = 80, half_angle = 45'
OGIVE = 'kind = "ogive", base_diameter = 70, height = 40'


def patch_of(task: str) -> Path:
    return PATCHES / f"{task}.patch"


def applied(task: str, folder: Path, *, only_tried: bool = False) -> subprocess.CompletedProcess:
    """Apply a patch by whatever there is to apply it."""
    if git := shutil.which("git"):
        how = [git, "apply", *(["--check"] if only_tried else [])]
    elif tool := shutil.which("patch"):
        how = [tool, "-p1", "--force", *(["--dry-run"] if only_tried else []), "--input"]
    else:
        pytest.skip("neither git nor patch is here")
    # A folder inside somebody's clone is no part of that clone.
    alone = {**os.environ, "GIT_CEILING_DIRECTORIES": str(folder.parent)}
    command = [*how, str(patch_of(task))]
    return subprocess.run(command, cwd=folder, env=alone, capture_output=True, text=True)


def touched(task: str) -> set[str]:
    return set(re.findall(r"^\+\+\+ b/(.+)$", patch_of(task).read_text(encoding="utf-8"), re.M))


def section_of(task: str) -> str:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return page.partition(HEADINGS[task])[2].partition("\n## ")[0].replace("NAME", "wavelengths")


@pytest.mark.parametrize("task", TASKS)
def test_every_patch_still_applies(task: str) -> None:
    tried = applied(task, ROOT, only_tried=True)
    assert tried.returncode == 0, tried.stderr + tried.stdout


@pytest.mark.parametrize("task", TASKS)
def test_a_task_takes_few_files(task: str) -> None:
    assert len([path for path in touched(task) if not path.startswith("tests/")]) <= MOST_FILES


@pytest.mark.parametrize("task", TASKS)
def test_the_words_name_every_file_that_is_touched_and_no_other(task: str) -> None:
    words = section_of(task)
    assert f"`{task}.patch`" in words
    for path in touched(task):
        assert f"`{path}`" in words, f"{path} is changed, and DEVELOPERS.md does not say so"
    for path in re.findall(r"`([a-z_/]+\.(?:py|md))`", words):
        assert (ROOT / path).exists() or path in touched(task), f"there is no {path}"


@pytest.mark.parametrize("task", TASKS)
def test_the_words_name_what_is_there(task: str) -> None:
    code = "\n".join(
        path.read_text(encoding="utf-8")
        for folder in ("shapes", "dispersion", "studies", "tests")
        for path in (ROOT / folder).rglob("*.py")
        if path != Path(__file__)
    )
    for name in re.findall(r"`@?(\w+)(?:\(\))?`", section_of(task)):
        assert re.search(rf"\b{name}\b", code), f"there is no {name}"


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """Return a copy of what git knows here, without caches."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    try:
        known = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    copy = tmp_path / "roundcast"
    for name in filter(None, known.split("\0")):
        if (ROOT / name).is_file():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, copy / name)
    return copy


def run(checkout: Path, *words: str) -> str:
    """Run a module in the copy, with nothing of the original in reach."""
    there = {**os.environ, "PYTHONPATH": str(checkout)}
    command = [sys.executable, "-m", *words]
    done = subprocess.run(command, cwd=checkout, env=there, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def answered(checkout: Path, reflector: str, command: str, *options: str) -> tuple[Any, Path]:
    """Ask the copy about a small design: the JSON document, and the folder of its files."""
    design, out = checkout.parent / "design.toml", checkout.parent / command
    design.write_text(DESIGN.replace("REFLECTOR", reflector), encoding="utf-8")
    words = ("studies.cli", command, str(design), "--json", "--out", str(out), *options)
    return json.loads(run(checkout, *words)), out


def use_the_shape(checkout: Path) -> None:
    document, _ = answered(checkout, OGIVE, "section")
    sizes = {row["name"]: row["length_mm"] for row in document["tables"]["reflector"]["rows"]}
    # The centre lies level with a vertical rim: (R - b)^2 + h^2 = R^2, here b = 35 and h = 40.
    assert sizes["curve radius"] == pytest.approx((35**2 + 40**2) / (2 * 35), abs=1e-6)


def use_the_measure(checkout: Path) -> None:
    document, out = answered(checkout, CONE, "spread", "--method", "images", "--per-band", "4")
    with (out / "spread-elevations.csv").open(encoding="utf-8", newline="") as file:
        levels = {
            (float(row["frequency_hz"]), float(row["elevation_deg"])): float(row["level_db"])
            for row in csv.DictReader(file)
        }
    for row in document["tables"]["bands"]["rows"]:
        # Directivity index: level of the best direction less that of the spherical mean.
        best_db = row["di_best_db"] + row["sound_power_db"]
        there = (row["frequency_hz"], row["loudest_elevation_deg"])
        assert levels[there] == pytest.approx(best_db, abs=2e-6)


def use_the_command(checkout: Path) -> None:
    document, out = answered(checkout, CONE, "wavelengths")
    (row,) = [row for row in document["tables"]["bands"]["rows"] if row["frequency_hz"] == 1000]
    # Speed of sound in dry air at 20 degrees, elementary; moist air is 0.1 per cent quicker.
    speed = 331.3 * math.sqrt(1 + 20 / 273.15)
    assert row["plate_gap_wavelengths"] == pytest.approx(1000 * 0.06 / speed, rel=3e-3)
    assert row["base_diameter_wavelengths"] == pytest.approx(1000 * 0.08 / speed, rel=3e-3)
    assert (out / "wavelengths-sizes.svg").stat().st_size > 0


USE: dict[str, Callable[[Path], None]] = {
    "shape": use_the_shape,
    "measure": use_the_measure,
    "command": use_the_command,
}


@pytest.mark.slow
@pytest.mark.parametrize("tasks", [*((task,) for task in TASKS), TASKS], ids="-".join)
def test_each_task_is_done_by_its_patch_and_all_by_all(
    checkout: Path, tasks: tuple[str, ...]
) -> None:
    for task in tasks:
        done = applied(task, checkout)
        assert done.returncode == 0, done.stderr + done.stdout
    for task in tasks:
        USE[task](checkout)
    run(checkout, "ruff", "check", "--no-cache", ".")
    run(checkout, "ruff", "format", "--no-cache", "--check", ".")
    # Together they must pass what holds for all code; what each does has been tested alone.
    own = TESTS[tasks[0]] if len(tasks) == 1 else ()
    run(checkout, "pytest", "-n", "0", "-q", "tests/test_house.py", *own)
