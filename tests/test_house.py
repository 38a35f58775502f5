"""The picture of the house in DEVELOPERS.md, kept true."""

import ast
import importlib
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FLOORS = {"shapes": set(), "dispersion": {"shapes"}, "studies": {"shapes", "dispersion"}}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "dispersion",
    "shapes",
    "studies",
    "tests",
}


LEFT_OPEN = re.compile(r"\b(TO" + r"DO|FIX" + r"ME|XX" + r"X)\b")


def modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def imported(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module)
    return names


def imported_at_load(path: Path) -> set[str]:
    names = set()
    for node in ast.parse(path.read_text()).body:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module)
    return names


@pytest.mark.parametrize("package", FLOORS)
def test_imports_go_one_way(package: str) -> None:
    allowed = FLOORS[package] | {package}
    for path in modules(package):
        reached = {name.split(".")[0] for name in imported(path)} & set(FLOORS)
        assert reached <= allowed, f"{path.relative_to(ROOT)} imports {reached - allowed}"


def test_numba_stays_in_its_rooms() -> None:
    users = {
        path.parent.relative_to(ROOT).as_posix()
        for package in FLOORS
        for path in modules(package)
        if any(name.split(".")[0] == "numba" for name in imported(path))
    }
    assert users == {"dispersion/paths", "dispersion/waves"}


def test_geometry_and_acoustics_draw_nothing() -> None:
    for package in ("shapes", "dispersion"):
        for path in modules(package):
            assert not any(name.startswith("matplotlib") for name in imported(path)), path


def test_charts_load_no_solver() -> None:
    code = "import sys, studies.charts; print(*sorted(sys.modules))"
    out = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT
    ).stdout.split()
    assert not {"numba", "dispersion.solvers", "dispersion.waves"} & set(out)


def test_command_line_loads_nothing_heavy() -> None:
    heavy = {"numpy", "scipy", "numba", "matplotlib", "pydantic", "trimesh"}
    code = "import sys, studies.cli; print(*sorted({n.split('.')[0] for n in sys.modules}))"
    out = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT
    ).stdout.split()
    assert not heavy & set(out)


@pytest.mark.parametrize("package", ["shapes", "dispersion.waves", "studies.design"])
def test_every_public_name_exists(package: str) -> None:
    module = importlib.import_module(package)
    assert module.__all__
    for name in module.__all__:
        assert getattr(module, name) is not None


def test_top_level_is_the_fixed_one() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if tracked.returncode != 0:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_developers_page_names_every_room() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    for package in FLOORS:
        for path in modules(package):
            if path.name == "__init__.py" or path.parent.name in {
                "charts",
                "commands",
                "design",
                "examples",
                "pages",
                "pictures",
                "shed",
                "tables",
            }:
                continue
            assert path.name in page, f"DEVELOPERS.md does not mention {path.relative_to(ROOT)}"
    for name in set(re.findall(r"\b([a-z_]+\.py)\b", page)):
        assert list(ROOT.rglob(name)), f"DEVELOPERS.md names {name}, which does not exist"


def test_readme_names_every_command_and_no_other() -> None:
    from studies.cli import main

    readme = (ROOT / "README.md").read_text()
    missing = [name for name in main.commands if f"roundcast {name}" not in readme]
    assert not missing, "README.md says nothing of these commands"
    named = set(
        re.findall(r"roundcast ([a-z]+)", "\n".join(re.findall(r"```.*?```", readme, re.S)))
    )
    assert {"trim"} <= named
    assert named <= set(main.commands)


def test_no_leftovers_in_the_code() -> None:
    for package in (*FLOORS, "tests"):
        for path in modules(package):
            text = path.read_text()
            assert not LEFT_OPEN.search(text), path
            assert "pickle" not in imported_at_load(path), path
