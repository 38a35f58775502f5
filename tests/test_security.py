"""What a file from a stranger must not be able to do, and what the program must not reach for.

Files that a file names lie in its folder or below, links followed, unless `--allow-outside`. Every
file that is named is read by `dispersion/bounded.py`: its size is known first, pipes and devices
are refused. Limits: a design 1 MiB, a curve 4 MiB and 50 000 rows, a solid 200 000 triangles, a
measurement 32 MiB; 1000 sizes in a list or range, 10 000 candidates, 100 seats, 100 entries, 2000
points, 24 posts, 2^23 rays.
"""

import ast
import csv
import io
import os
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from dispersion.bounded import UnreadableError, bytes_of
from dispersion.driver_curve import LARGEST_CURVE, MOST_ROWS, CurveError, read_driver_curve
from dispersion.paths.freeform import MOST_TRIANGLES, FreeFormError, read_free_form
from dispersion.paths.rays import MOST_RAYS, RayError, check_rays
from studies import cli
from studies.answer.exports import csv_lines, csv_text, plain_cell
from studies.answer.report.rendering import environment_of
from studies.answer.table import Table, TableColumn
from studies.design import DesignError, design_schema, parse_design, read_design
from studies.design.reading import LARGEST_DESIGN
from studies.design.study_tables import MOST_CANDIDATES, MOST_STEPS
from studies.measured.reading import read_measurements
from studies.measured.text_files import MeasurementError
from studies.questions.posts.command import MOST_POSTS

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = ROOT / "studies" / "examples"
EXAMPLE = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")
PACKAGES = ("shapes", "dispersion", "studies")

RUN_CODE = {"pickle", "cPickle", "dill", "cloudpickle", "shelve", "marshal", "joblib", "code"}
SHELLS = {"subprocess", "pty", "commands", "multiprocessing"}
NETWORK = {"socket", "ssl", "http", "urllib", "ftplib", "smtplib", "xmlrpc", "asyncio", "requests",
           "urllib3", "httpx", "aiohttp", "webbrowser"}  # fmt: skip
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "breakpoint"}
FORBIDDEN_OF_OS = {"system", "popen", "fork", "startfile"}
CLUSTER = ROOT / "studies" / "solving" / "cluster.py"
"""One exception: `--cluster` talks to a scheduler that the user runs, through distributed."""
BENCH = {
    "studies/bench/serving.py": {"socket", "webbrowser"},
    "studies/bench/channel.py": {"asyncio"},
    "studies/bench/guard.py": {"urllib"},
}
"""The other: the bench listens on this machine, and opens a page of its own; it calls nobody. Its
tests hold who is let in (tests/unit/studies/bench)."""

PROCESSES = {
    "studies/solving/piecework.py": {"multiprocessing"},
    "studies/solving/processes.py": {"multiprocessing"},
}
"""The third: long studies begin this very program again, and speak with it through pipes that both
have from the beginning and nobody else can open."""


@cache
def trees() -> list[tuple[Path, ast.Module]]:
    paths = sorted(path for name in PACKAGES for path in (ROOT / name).rglob("*.py"))
    assert len(paths) > 100
    return [(path, ast.parse(path.read_text(encoding="utf-8"))) for path in paths]


def imported(tree: ast.Module) -> set[str]:
    """Top-level names of everything that is imported anywhere in a module."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
    return {name.partition(".")[0] for name in names}


def test_nothing_runs_code_or_shells_or_reaches_for_the_network() -> None:
    for path, tree in trees():
        allowed = (BENCH | PROCESSES).get(path.relative_to(ROOT).as_posix(), set())
        found = imported(tree) & (RUN_CODE | SHELLS | NETWORK) - allowed
        assert not found, f"{path.relative_to(ROOT)} imports {found}"


def test_only_the_cluster_module_may_use_distributed() -> None:
    users = [path for path, tree in trees() if imported(tree) & {"distributed", "dask"}]
    assert users == [CLUSTER]
    assert "can run code on its workers" in " ".join(CLUSTER.read_text(encoding="utf-8").split())


def test_nothing_evaluates_text() -> None:
    for path, tree in trees():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            called = node.func
            where = f"{path.relative_to(ROOT)}, line {node.lineno}"
            if isinstance(called, ast.Name):
                assert called.id not in FORBIDDEN_CALLS, where
            elif isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
                of_os = called.value.id == "os" and (
                    called.attr in FORBIDDEN_OF_OS or called.attr.startswith(("exec", "spawn"))
                )
                assert not of_os, where
            for keyword in node.keywords:
                if keyword.arg in ("shell", "allow_pickle", "allow_remote"):
                    assert isinstance(keyword.value, ast.Constant), where
                    assert keyword.value.value is False, where


def test_markup_is_made_of_text_that_is_ours() -> None:
    """Every place that vouches for markup, so that a new one is looked at."""
    vouching = {
        path.relative_to(ROOT).as_posix()
        for path, tree in trees()
        if "markupsafe" in imported(tree)
    }
    assert vouching == {
        "studies/questions/explore/page.py",  # plotly's own program
        "studies/answer/listening/panel.py",  # its own scripts
        "studies/answer/report/rendering.py",  # files of the package
        "studies/answer/report/report.py",  # Markup.format, which escapes; SVG by an XML library
        "studies/answer/report/sheets.py",  # names the type only, of pictures by the report
    }
    pages = sorted((ROOT / "studies").rglob("*.j2"))
    assert len(pages) >= 3
    for page in pages:
        assert not re.search(r"\|\s*safe\b|autoescape", page.read_text(encoding="utf-8")), page


# Files outside


def design_that_names(folder: Path, key: str, name: str) -> Path:
    """Write a design that takes its driver's curve or a contest's entry from a file."""
    text = EXAMPLE[: EXAMPLE.index("[[contest]]")]
    if key == "driver.curve":
        text = text.replace("[driver]", f"[driver]\ncurve = '{name}'\ncurve_beyond = 'hold'", 1)
    else:
        text += f"\n[[contest]]\nname = 'other'\ndesign = '{name}'\n"
    folder.mkdir(exist_ok=True)
    path = folder / "room.toml"
    path.write_text(text, encoding="utf-8")
    return path


def companions(folder: Path) -> None:
    folder.mkdir(exist_ok=True)
    (folder / "driver.curve").write_text("50 80\n1000 85\n20000 82\n")
    (folder / "contest[1].design").write_text(EXAMPLE, encoding="utf-8")


KEYS = ("driver.curve", "contest[1].design")


@pytest.mark.parametrize("key", KEYS)
def test_companions_stay_in_the_folder(tmp_path: Path, key: str) -> None:
    companions(tmp_path)
    (tmp_path / "in").mkdir()
    companions(tmp_path / "in" / "deeper")
    (tmp_path / "in" / "link").symlink_to(tmp_path / key)
    assert read_design(design_that_names(tmp_path / "in", key, f"deeper/{key}"))
    for name in (f"../{key}", f"deeper/../../{key}", str(tmp_path / key), "link"):
        path = design_that_names(tmp_path / "in", key, name)
        with pytest.raises(DesignError) as caught:
            read_design(path)
        message = str(caught.value)
        assert message.startswith(f"{path}: {key}: {name!r} lies outside the folder")
        assert "--allow-outside" in message
        assert "\n" not in message
        assert read_design(path, allow_outside=True).companions[0][0] == name


@pytest.mark.parametrize("key", KEYS)
def test_a_companion_that_leads_nowhere_is_named(tmp_path: Path, key: str) -> None:
    (tmp_path / "round").symlink_to(tmp_path / "about")
    (tmp_path / "about").symlink_to(tmp_path / "round")
    for name in ("round", "missing", "."):
        with pytest.raises(DesignError, match=re.escape(key)):
            read_design(design_that_names(tmp_path, key, name))


def test_every_command_that_reads_a_design_has_the_flag() -> None:
    for name, command in cli.main.commands.items():
        options = {option for one in command.params for option in one.opts}
        if "DESIGN" in {one.metavar for one in command.params}:
            assert "--allow-outside" in options, name


def test_the_flag_reaches_the_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    companions(tmp_path)
    path = design_that_names(tmp_path / "in", "driver.curve", "../driver.curve")
    refused = CliRunner().invoke(cli.main, ["section", str(path)])
    assert refused.exit_code == 2
    assert "--allow-outside" in refused.stderr
    taken = CliRunner().invoke(cli.main, ["section", str(path), "--allow-outside"])
    assert taken.exit_code == 0, taken.output


def test_an_index_stays_in_its_folder_too(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    index = tmp_path / "in" / "index.toml"
    (tmp_path / "p.txt").write_text("100 80\n200 81\n400 82\n")
    entry = 'name = "a"\ndistance = "2 m"\nheight = "1 m"\n'
    index.write_text(f'[[measurement]]\nfile = "../p.txt"\n{entry}', encoding="utf-8")
    path = EXAMPLES / "reading_room.toml"
    with pytest.raises(MeasurementError, match=r"measurement\.file: .*--allow-outside"):
        read_measurements([index], read_design(path))
    (found,) = read_measurements([index], read_design(path, allow_outside=True))
    assert found.position.name == "a"


# Sizes


def sparse(path: Path, size: int) -> Path:
    """Make a file of so many bytes that takes no space on the disk."""
    with path.open("wb") as file:
        file.truncate(size)
    return path


@pytest.mark.parametrize("kind", ["folder", "pipe", "device"])
def test_what_has_no_end_is_not_read(tmp_path: Path, kind: str) -> None:
    paths = {"folder": tmp_path, "pipe": tmp_path / "pipe", "device": Path("/dev/zero")}
    if kind == "pipe":
        os.mkfifo(paths[kind])
    with pytest.raises(UnreadableError, match="a folder or a device"):
        bytes_of(paths[kind], 10)


def test_a_size_is_bounded_before_it_is_read(tmp_path: Path) -> None:
    path = sparse(tmp_path / "huge", 2**40)
    with pytest.raises(UnreadableError, match="1048576.0 MiB, and 1 MiB is the most"):
        bytes_of(path, 2**20)
    assert len(bytes_of(sparse(path, 10), 10)) == 10
    with pytest.raises(UnreadableError):
        bytes_of(sparse(path, 11), 10)


def test_design_curve_and_solid_have_a_largest_size(tmp_path: Path) -> None:
    path = sparse(tmp_path / "huge", 2**40)
    with pytest.raises(DesignError, match=f"{LARGEST_DESIGN // 2**20} MiB is the most"):
        read_design(path)
    with pytest.raises(CurveError, match=f"{LARGEST_CURVE // 2**20} MiB is the most"):
        read_driver_curve(path)
    with pytest.raises(FreeFormError, match="MiB is the most"):
        read_free_form(path)
    with pytest.raises(DesignError, match=r"driver\.curve: huge is too large"):
        read_design(design_that_names(tmp_path, "driver.curve", "huge"))
    with pytest.raises(DesignError, match=r"contest\[1\]\.design: huge is too large"):
        read_design(design_that_names(tmp_path, "contest[1].design", "huge"))


def test_a_curve_has_a_most_of_rows(tmp_path: Path) -> None:
    path = tmp_path / "curve.txt"
    path.write_text("".join(f"{row} 80\n" for row in range(1, MOST_ROWS + 2)))
    with pytest.raises(CurveError, match=f"more than {MOST_ROWS} rows"):
        read_driver_curve(path)


def test_a_solid_has_a_most_of_triangles(tmp_path: Path) -> None:
    path = sparse(tmp_path / "many.stl", 84 + 50 * (MOST_TRIANGLES + 1))
    with path.open("r+b") as file:
        file.seek(80)
        file.write((MOST_TRIANGLES + 1).to_bytes(4, "little"))
    with pytest.raises(FreeFormError, match=f"{MOST_TRIANGLES + 1} triangles"):
        read_free_form(path)


def test_a_solid_is_read_as_stl_whatever_its_name(tmp_path: Path) -> None:
    path = tmp_path / "form.obj"
    path.write_text("mtllib /etc/passwd\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    with pytest.raises(FreeFormError, match="is no STL file"):
        read_free_form(path)


def complaint(text: str) -> str:
    with pytest.raises(DesignError) as caught:
        parse_design(text, "room.toml")
    return str(caught.value)


def with_trim(keep: str, more: str = "") -> str:
    return re.sub(r"(?m)^keep = \{.*\}$", f"keep = {keep}\n{more}", EXAMPLE)


def test_ranges_and_lists_have_an_end() -> None:
    assert "trim.keep" in complaint(with_trim("{ from = 1, to = 1e9, step = 1e-9 }"))
    assert "candidates" in complaint(with_trim("{ from = 1, to = 55, step = 0.01 }"))
    long = "[" + "20, " * (MOST_STEPS + 1) + "]"
    assert f"at most {MOST_STEPS}" in complaint(with_trim(long))
    balls = "balls_on_sale = [" + "180, " * 11 + "]"
    many = complaint(with_trim("{ from = 10, to = 55, step = 0.0455 }", balls))
    assert f"{MOST_CANDIDATES} at most" in many
    explore = "\n[explore]\nhalf_angle = [" + "45, " * (MOST_STEPS + 1) + "]\n"
    assert f"at most {MOST_STEPS}" in complaint(EXAMPLE + explore)


@pytest.mark.parametrize(
    "row",
    [
        "\n[[seats]]\nname = 'a'\near_height = '1 m'\ndistance = '2 m'\n",
        "\n[[contest]]\nname = 'a'\nreflector = { kind = 'none' }\n",
    ],
)
def test_seats_and_contests_have_an_end(row: str) -> None:
    assert "has too many entries: at most 100" in complaint(EXAMPLE + row * 101)


def test_a_profile_has_an_end() -> None:
    points = ", ".join(f"[{n / 100}, {n / 100}]" for n in range(2001))
    entry = f"[[contest]]\nname = 'a'\nreflector = {{ kind = 'turned', points = [{points}] }}\n"
    assert "has too many entries: at most 2000" in complaint(EXAMPLE + entry)


def test_posts_frequencies_and_rays_have_an_end() -> None:
    most = design_schema()["$defs"]["PostsTable"]["properties"]["count"]["maximum"]
    assert most == MOST_POSTS
    path = str(EXAMPLES / "reading_room.toml")
    for words in (
        ("posts", path, "--also", f"{MOST_POSTS + 1} x 6mm"),
        ("posts", path, "--also", "9" * 5000 + " x 6mm"),
        ("posts", path, *(("--also", "3 x 6mm") * 21)),
        ("slice", path, *(("--at", "1 kHz") * 21)),
        ("meter", path, *(("--tell", "41mm") * 13)),
        ("tolerance", path, "--samples", "3"),
        ("tolerance", path, "--samples", str(2**40)),
    ):
        result = CliRunner().invoke(cli.main, list(words))
        assert result.exit_code == 2, (words[0], words[-1][:20], result.output)
    with pytest.raises(RayError, match=str(MOST_RAYS)):
        check_rays(MOST_RAYS + 1)


def test_a_file_full_of_mistakes_gets_a_page_of_messages() -> None:
    wrong = "\n".join(f"key_{n} = 1" for n in range(20_000))
    message = complaint(f"{wrong}\n{EXAMPLE}")
    assert len(message.splitlines()) < 60
    assert "more mistakes" in message


def test_continuous_integration_pins_every_dependency_with_hashes() -> None:
    pinned = (ROOT / ".ci" / "requirements.txt").read_text(encoding="utf-8")
    entries = re.split(r"\n(?=[a-z0-9])", pinned.partition("\n\n")[2] or pinned)
    with_hash = {entry.partition("==")[0].strip() for entry in entries if "--hash=sha256:" in entry}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = {re.split(r"[<>=!~\[ ]", one)[0].lower() for one in wanted}
    assert names <= with_hash, f"pin them: {names - with_hash}"


# What spreadsheets and pages run


@pytest.mark.parametrize("words", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1\r=2"])
def test_words_are_no_formula(words: str) -> None:
    table = Table(
        "t", "T", (TableColumn("name", "name", "n"), TableColumn("n", "n", "n")), ((words, -1.5),)
    )
    (_, row) = csv.reader(io.StringIO(csv_text(table), newline=""))
    assert row == ["'" + words.replace("\r", " ").replace("\t", "\t'"), "-1.5"]


SIGNS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


@settings(max_examples=300, deadline=None)
@given(st.text("=+-@\uff1d\uff0b\uff0d\uff20\t\r\n;,\"'| \v\x85\u2028\ufeff\u202ea1.", max_size=8))
def test_no_words_break_a_row_or_begin_a_formula_for_any_reader(words: str) -> None:
    """By commas every cell comes back whole; by semicolons, tabs or lines none is a formula."""
    text = csv_lines([["name", "n"], [words, -1.5], [2, words]])
    whole = list(csv.reader(io.StringIO(text, newline="")))
    assert [len(row) for row in whole] == [2, 2, 2]
    assert whole[1][0] == whole[2][1] == plain_cell(words)
    pieces = [piece.removeprefix('"') for piece in re.split(r"[;\t]|[^\S ]", text)]
    for cell in (*whole[1], *whole[2], *pieces):
        seen = cell.strip(" \t\r\n\v\x85\u2028\ufeff\u202e")
        assert not seen.startswith(SIGNS) or re.match(r"[+-]?[\d.]+\s*[\",]|[+-]?[\d.]+$", seen), (
            cell
        )


@pytest.mark.parametrize("value", ["-1.5", "+3", "a=b", "", "cone", -1.5, None, True])
def test_numbers_and_plain_words_stay_as_they_are(value: object) -> None:
    assert plain_cell(value) is value


HOSTILE = "</script><script>alert(1)</script>'\"&<b>"


def test_data_within_a_page_cannot_end_its_script() -> None:
    context = {"data": {"name": HOSTILE}, "design": None}
    page = render_data(**context)
    assert page.count("<script") == page.count("</script>")
    assert "alert(1)</script>" not in page


def render_data(**context: object) -> str:
    """Render the line of the explorer that carries data, with the program's own environment."""
    folder = ROOT / "studies" / "questions" / "explore" / "templates"
    source = (folder / "explorer.html.j2").read_text(encoding="utf-8")
    (line,) = re.findall(r".*\| tojson.*", source)
    return environment_of("studies.questions.explore").from_string(line).render(**context)
