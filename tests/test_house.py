"""The picture of the project in DEVELOPERS.md, kept true: who imports whom, and what lies where."""

import ast
import importlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FLOORS = {"shapes": set(), "dispersion": {"shapes"}, "studies": {"shapes", "dispersion"}}
TOWER = ("signals", "design", "measured", "solving", "answer", "questions", "bench", "cli", "entry")
"""Parts of studies: each may import itself and what stands before it."""
WITHIN = ("study", "words", "tables", "figures", "question")
"""Modules of one question, likewise; whatever else a question holds is free."""
STANDARD = {"command", *WITHIN}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "dispersion",
    "shapes",
    "studies",
    "tests",
}
LINES = {"README.md": 200, "DEVELOPERS.md": 300}
COMPUTING = re.compile(
    r"np\.(average|convolve|cumsum|diff|dot|einsum|exp|fft|gradient|hypot|interp|linalg|log\w*"
    r"|\w*mean|\w*median|percentile|prod|quantile|sqrt|\w*std|\w*sum|trapezoid|\w*var)\b"
)
"""What figures leave to the result; the rest of numpy lays out, picks, finds ends of an axis."""
LEFT_OPEN = re.compile(r"\b(TO" + r"DO|FIX" + r"ME|XX" + r"X)\b")
FENCES = {
    "numba": r"dispersion/(waves|allround|paths)/\w+\.py",
    "matplotlib": r"studies/(answer/(charts/(\w+/)?\w+|picture)|questions/\w+/(\w+_)?figures)\.py",
    "click": r"studies/(cli|answer/command_options|(questions/\w+|bench)/command|bench/asking)\.py",
    "rich": r"studies/(answer/printing|solving/progress)\.py",
    "starlette": r"studies/bench/(app|guard)\.py",
    "uvicorn": r"studies/bench/serving\.py",
}


def modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def every_module() -> list[Path]:
    return [path for package in FLOORS for path in modules(package)]


def imports_of(body: list[ast.stmt] | Iterator[ast.AST]) -> set[str]:
    names = set()
    for node in body:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def imported(path: Path) -> set[str]:
    """Names that a module imports anywhere, packages' members included."""
    return imports_of(ast.walk(ast.parse(path.read_text())))


def imported_at_load(path: Path) -> set[str]:
    return imports_of(ast.parse(path.read_text()).body)


def loaded_by(module: str) -> set[str]:
    code = f"import sys, {module}; print(*sorted(sys.modules))"
    command = [sys.executable, "-c", code]
    return set(
        subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT).stdout.split()
    )


@pytest.mark.parametrize("package", FLOORS)
def test_imports_go_one_way(package: str) -> None:
    allowed = FLOORS[package] | {package}
    for path in modules(package):
        reached = {name.split(".")[0] for name in imported(path)} & set(FLOORS)
        assert reached <= allowed, f"{path.relative_to(ROOT)} imports {reached - allowed}"


@pytest.mark.parametrize("part", TOWER)
def test_each_part_of_studies_rests_on_those_before_it(part: str) -> None:
    paths = modules(f"studies/{part}") or [ROOT / "studies" / f"{part}.py"]
    allowed = {*TOWER[: TOWER.index(part) + 1], "examples"}
    for path in paths:
        reached = {name.split(".")[1] for name in imported(path) if name.startswith("studies.")}
        assert reached <= allowed, f"{path.relative_to(ROOT)} imports {reached - allowed}"


def test_the_tower_is_all_of_studies() -> None:
    there = {path.relative_to(ROOT / "studies").parts[0] for path in modules("studies")}
    assert {name.removesuffix(".py") for name in there} == {*TOWER, "examples", "__init__"}


def test_a_question_imports_no_question() -> None:
    for path in (ROOT / "studies" / "questions").glob("*/**/*.py"):
        own = path.relative_to(ROOT / "studies" / "questions").parts[0]
        reached = {
            name.split(".")[2]
            for name in imported(path)
            if name.startswith("studies.questions.") and name.count(".") > 2
        }
        assert reached <= {own}, f"{path.relative_to(ROOT)}: {reached}"


def test_study_words_tables_figures_rest_on_each_other_in_this_order() -> None:
    for path in (ROOT / "studies" / "questions").glob("*/*.py"):
        if path.stem not in WITHIN:
            continue
        later = {
            f"studies.questions.{path.parent.name}.{name}"
            for name in WITHIN[WITHIN.index(path.stem) + 1 :]
        }
        assert not later & imported(path), path.relative_to(ROOT)


@pytest.mark.parametrize("library", FENCES)
def test_each_library_stays_where_it_belongs(library: str) -> None:
    users = {
        path.relative_to(ROOT).as_posix()
        for path in every_module()
        if any(name.split(".")[0] == library for name in imported(path))
    }
    strayed = {user for user in users if not re.fullmatch(FENCES[library], user)}
    assert users and not strayed


def test_figures_compute_nothing() -> None:
    for path in (ROOT / "studies" / "questions").glob("*/*figures.py"):
        assert not COMPUTING.findall(path.read_text()), path.relative_to(ROOT)
        assert not any(name.startswith("scipy") for name in imported(path)), path.relative_to(ROOT)


def test_figures_load_no_solver() -> None:
    found = loaded_by("studies.answer.picture")
    assert "matplotlib" in found
    assert not {"numba", "dispersion.solvers", "dispersion.waves"} & found


def test_command_line_loads_nothing_heavy() -> None:
    heavy = {"numpy", "scipy", "numba", "matplotlib", "pydantic", "trimesh"}
    assert not heavy & {name.split(".")[0] for name in loaded_by("studies.cli")}


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


def lie_in_folders() -> dict[str, set[str]]:
    """Modules by folder; of a question's folder only those that not every question may have."""
    found: dict[str, set[str]] = {}
    for path in every_module():
        folder = path.parent.relative_to(ROOT).as_posix()
        usual = STANDARD if re.fullmatch(r"studies/questions/\w+", folder) else set()
        found.setdefault(folder, set()).update({path.stem} - usual - {"__init__"})
    return {folder: stems for folder, stems in found.items() if stems}


def test_developers_page_names_every_module_where_it_lies() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([\w/]+)/` \| ([\w ]+) \|", page, re.M)
    assert {folder: set(names.split()) for folder, names in rows} == lie_in_folders()


@pytest.mark.parametrize("page", LINES)
def test_pages_stay_short_and_name_files_that_exist(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    assert len(text.splitlines()) <= LINES[page]
    links = r"`([\w/]+/[\w.]+\.(?:py|md|toml|png))`|\]\(([\w/]+\.\w+)\)"
    for name in map("".join, re.findall(links, text)):
        assert "NAME" in name or (ROOT / name).exists(), f"{page} names {name}, which is not there"


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
    for path in [*every_module(), *modules("tests")]:
        text = path.read_text()
        assert not LEFT_OPEN.search(text), path
        assert "pickle" not in imported_at_load(path), path
