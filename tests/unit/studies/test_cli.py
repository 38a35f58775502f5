"""The command line: good and bad input, exit status, what is written and what is not."""

import contextlib
import csv
import functools
import importlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import click
import numpy as np
import pytest
import trimesh
from click.testing import CliRunner, Result
from small import every_question

from dispersion import solvers
from studies import cli
from studies.answer.charts.paper.sizes import PAPERS
from studies.answer.command_options import METHODS
from studies.answer.delivering import answer
from studies.answer.delivery import DesignDelivery
from studies.answer.printing import open_console
from studies.design import design_schema, read_design
from studies.questions.carve import question as carve_question
from studies.questions.carve.command import CarveOptions
from studies.questions.cut.command import PAPERS as PAPER_NAMES
from studies.solving import progress, session
from studies.solving.ensemble import say_so_far
from studies.solving.grid import COARSE_BY_NEED, FINE_BY_NEED, ByNeed
from studies.solving.options import SolverOptions

ROOT = Path(__file__).resolve().parents[3]
EXAMPLES = ROOT / "studies" / "examples"
PLAIN = "--per-band 4 --workers 2"
Asked = Callable[[str], tuple[Result, Path]]
"""From a command's words to what it said and the folder in which it was run."""


@pytest.fixture(autouse=True)
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Return an empty current folder."""
    monkeypatch.chdir(tmp_path)
    yield tmp_path


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli.main, list(arguments))


def write_design(*pairs: tuple[str, str], name: str = "room.toml") -> Path:
    """Write the example with a narrow band and few candidates, and whatever else is asked."""
    text = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")
    for old, new in (
        ('band = ["100 Hz", "16 kHz"]', "band = [630, 800]"),
        ("keep = { from = 15, to = 55, step = 1 }", "keep = [20, 40, 62]"),
        ("from = 50\nto = 90\nstep = 2", "from = 54\nto = 62\nstep = 4"),
        (
            'design = "reading_room_cone.toml"',
            'reflector = { kind = "cone", base_diameter = 100, half_angle = 45 }',
        ),
        *pairs,
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = Path(name)
    path.write_text(text, encoding="utf-8")
    return path


def test_methods_are_those_of_the_solvers() -> None:
    assert set(METHODS) == set(solvers.SOLVERS)


def test_papers_are_those_of_the_shed() -> None:
    assert set(PAPER_NAMES) == {*(name.lower() for name in PAPERS), "none"}


def test_a_page_names_each_paper_as_it_was_asked_for() -> None:
    papers = "--paper none --paper none"
    assert run("cut", str(write_design()), *papers.split(), "--out", "shed").exit_code == 0
    page = Path("shed", "cut.html").read_text(encoding="utf-8")
    assert f'class="asked">roundcast cut {papers}<' in page


def test_every_question_has_a_command() -> None:
    others = {"bench", "draft", "examples", "ledger", "schema"}
    assert {question.name for question in every_question()} | others == set(cli.main.commands)


def test_help_imports_nothing_heavy() -> None:
    heavy = ["numpy", "scipy", "numba", "matplotlib", "pydantic", "trimesh", "rich"]
    code = (
        "import sys, studies.cli\n"
        "try: studies.cli.main(['--help'])\n"
        f"finally: print([name for name in {heavy} if name in sys.modules])"
    )
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert out.stdout.splitlines()[-1] == "[]"
    assert "How much of the ball to keep" in out.stdout


def test_it_runs_as_a_module() -> None:
    out = subprocess.run(
        [sys.executable, "-m", "studies.cli", "--version"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=True,
    )
    assert out.stdout.startswith("roundcast ")


@pytest.mark.parametrize("command", cli.main.commands)
def test_every_command_explains_itself(command: str) -> None:
    result = run(command, "--help")
    assert result.exit_code == 0
    assert "Usage: " in result.output


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Asked:
    """What a command says of the small design, and its folder; each is run once."""

    @functools.cache
    def ask(words: str) -> tuple[Result, Path]:
        folder = tmp_path_factory.mktemp("asked")
        with contextlib.chdir(folder), pytest.MonkeyPatch.context() as patch:
            # What a first run says while it compiles is tested below.
            patch.setattr("studies.solving.progress.kernels_are_cached", lambda: True)
            command, *options = words.split()
            result = run(command, str(write_design()), *options)
        assert result.exit_code == 0, result.output
        return result, folder

    return ask


def spread_by(asked: Asked, options: str) -> dict[str, Any]:
    return json.loads(asked(f"spread --json {options}")[0].stdout)


@pytest.mark.parametrize(
    ("command", "first_words", "pictures"),
    [
        ("section", "Three gaps: plate gap 60.0 mm (2 3/8 in)", ["section"]),
        ("spread", "In the window of 1 to 19 degrees", ["curves", "coverage", "index", "polar"]),
        ("trim", "Keep ", ["section", "score", "sweep", "curves", "coverage"]),
        (
            "contest --as-written",
            ("First is ", "No difference: ", "No difference (", "Cannot be told apart "),
            ["contest", "curves", "coverage-1"],
        ),
        ("gap --as-written", "Hang the plate ", ["section", "score", "sweep", "coverage"]),
    ],
)
def test_a_command_prints_its_answer_and_writes_tables_and_pictures(
    asked: Asked,
    command: str,
    first_words: str | tuple[str, ...],
    pictures: list[str],
) -> None:
    result, there = asked(command)
    command = command.split()[0]
    title, blank, first = result.stdout.splitlines()[:3]
    assert title == read_design(there / "room.toml").title
    assert blank == ""
    assert first.startswith(first_words)
    assert result.stderr == ""
    folder = there / f"room-{command}"
    files = {path.name for path in folder.iterdir()}
    assert f"{command}.json" in files
    for picture in pictures:
        assert {f"{command}-{picture}.png", f"{command}-{picture}.svg"} <= files
    assert all(path.stat().st_size > 0 for path in folder.iterdir())
    assert {path.name for path in there.iterdir()} == {"room.toml", folder.name}


def test_carve_writes_a_design_file_that_other_commands_take() -> None:
    # As the command would, with fewer solves than it allows.
    solving = SolverOptions(no_ledger=True)
    options = CarveOptions(knots=4, solves=8, solving=solving, as_written=True)
    found = answer(carve_question.QUESTION, DesignDelivery(path=write_design()), options)
    assert found.answer[0].startswith(("The carved curve beats ", "No gain: "))
    folder = Path("room-carve")
    files = {path.name for path in folder.iterdir()}
    for picture in ("profiles", "curves", "section", "coverage"):
        assert {f"carve-{picture}.png", f"carve-{picture}.svg"} <= files
    score = json.loads((folder / "carve.json").read_text(encoding="utf-8"))["facts"]["score_db"]
    carved = str(folder / "carved.toml")
    spread = run("spread", carved, "--json", "--out", "spread")
    assert json.loads(spread.stdout)["tables"]["score"]["rows"][0]["score_db"] == score
    assert run("section", carved, "--out", "section").exit_code == 0
    explored = run("explore", carved)
    assert explored.exit_code == 2
    assert "has no single size to turn" in explored.stderr


def test_carve_refuses_limits_that_nothing_keeps() -> None:
    carve = '[carve]\ntip_clearance = "70 mm"\n\n[gap]'
    result = run("carve", str(write_design(("[gap]", carve))))
    assert result.exit_code == 2
    assert "room.toml: carve.tip_clearance: leaves no room in a plate gap of 62.0" in result.stderr
    assert {path.name for path in Path().iterdir()} == {"room.toml"}


def test_json_prints_the_document_that_is_written() -> None:
    result = run("section", str(write_design()), "--json", "--out", "there")
    assert result.exit_code == 0, result.output
    written = Path("there/section.json").read_text(encoding="utf-8")
    assert json.loads(result.stdout) == json.loads(written)


def test_tables_are_the_same_in_json_and_csv(
    asked: Asked,
) -> None:
    there = asked("trim")[1] / "room-trim"
    read = json.loads((there / "trim.json").read_text(encoding="utf-8"))
    candidates = read["tables"]["candidates"]
    assert [row["keep_mm"] for row in candidates["rows"]] == [20.0, 40.0, 62.0]
    for row in candidates["rows"]:
        assert set(row) == set(candidates["columns"])
        assert (row["score_db"] is None) == bool(row["reason"])
    keep, ball = read["facts"]["keep_mm"], read["facts"]["ball_diameter_mm"]
    assert read["facts"]["cut_off_mm"] == ball - keep
    lines = (there / "trim-candidates.csv").read_text(encoding="utf-8").splitlines()
    assert [float(row["keep_mm"]) for row in csv.DictReader(lines)] == [20.0, 40.0, 62.0]


def test_a_title_that_the_terminal_cannot_show_is_no_fault() -> None:
    path = write_design(("Reading room, 130", "Größe [bold] 130"))
    plain = CliRunner(charset="ascii")
    result = plain.invoke(cli.main, ["section", str(path)])
    assert result.exit_code == 0, result.output
    assert "Gr??e [bold] 130 mm driver" in result.stdout
    document = plain.invoke(cli.main, ["section", str(path), "--json"]).stdout
    assert json.loads(document)["design"]["title"].startswith("Größe [bold] 130")


def test_workers_do_not_change_the_result(
    asked: Asked,
) -> None:
    assert spread_by(asked, "--per-band 4 --workers 1") == spread_by(asked, PLAIN)


def test_finer_and_per_band_reach_the_solver(asked: Asked) -> None:
    plain, fine = spread_by(asked, PLAIN), spread_by(asked, "--per-band 6 --finer 2")
    size = "unknowns_per_wavelength"
    assert fine["evidence"]["settings"][size] == 2 * plain["evidence"]["settings"][size]
    assert fine["evidence"]["unknowns_lowest"] > plain["evidence"]["unknowns_lowest"]
    # Two third octaves, of 630 and of 800 Hz.
    assert plain["tables"]["score"]["rows"][0]["solves"] == 2 * 4
    assert fine["tables"]["score"]["rows"][0]["solves"] == 2 * 6
    level = "window_level_db"
    assert fine["facts"][level] == pytest.approx(plain["facts"][level], abs=0.1)


def test_frequencies_are_chosen_by_need_and_full_is_the_check(
    asked: Asked,
) -> None:
    full = spread_by(asked, "--full")
    folder = asked("spread")[1] / "room-spread"
    by_need = json.loads((folder / "spread.json").read_text(encoding="utf-8"))
    # Two third octaves at 24 each, against the ten samples that the first fit takes.
    assert full["tables"]["score"]["rows"][0]["solves"] == 2 * 24
    assert by_need["tables"]["score"]["rows"][0]["solves"] == 10
    level = "window_level_db"
    assert by_need["facts"][level] == pytest.approx(full["facts"][level], abs=0.1)
    assert "chosen by need" not in " ".join(full["evidence"]["remarks"])
    assert by_need["evidence"]["remarks"][0] == (
        "10 frequencies, chosen by need: third octaves have settled within 0.05 dB"
    )


@pytest.mark.parametrize("command", ["spread", "trim", "gap", "contest", "explore"])
@pytest.mark.parametrize(
    ("options", "few", "many"),
    [
        ([], FINE_BY_NEED, COARSE_BY_NEED),
        (["--per-band", "5"], 5, 5),
        (["--full"], 24, 24),
        (["--method", "edges"], 12, 4),
        (["--method", "edges", "--per-band", "6"], 6, 6),
    ],
)
def test_how_finely_is_asked_reaches_the_study(
    command: str, options: list[str], few: object, many: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []

    def study(
        design: object, solver: object, watch: object, per_band: object, **more: object
    ) -> None:
        asked.append(per_band)
        raise click.ClickException("that is all")

    question = importlib.import_module(f"studies.questions.{command}.question")
    monkeypatch.setattr(question, command, study)
    run(command, str(write_design()), "--yes", *options)
    assert asked == [few if command in ("spread", "contest") else many]


def test_a_band_that_has_not_settled_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    # No doubt is less than 0.01 dB, and the first ten frequencies are all that may be solved.
    monkeypatch.setattr(session, "FINE_BY_NEED", ByNeed(0.005, 24))
    monkeypatch.setattr("dispersion.settling.MOST_FOR_BANDS", 10)
    result = run("spread", str(write_design()))
    assert result.exit_code == 0
    said = " ".join(result.stdout.split())
    assert (
        "10 frequencies, chosen by need: third octaves have settled within 0.005 dB,"
        " but for 630 Hz (0.01 dB), 800 Hz (0.01 dB)"
    ) in said


def test_draft_writes_a_design_that_can_be_asked() -> None:
    result = run("draft", "--driver", "130mm", "--ball", "7 1/4 in", "--gap", "60mm")
    assert result.exit_code == 0, result.output
    assert "Wrote design.toml" in result.output
    design = read_design("design.toml")
    assert design.ball.diameter == pytest.approx(0.18415)
    assert run("section", "design.toml").exit_code == 0


def test_draft_takes_column_height_and_title() -> None:
    options = [
        "--column",
        "220 mm",
        "--height",
        "1.1 m",
        "--title",
        "Hall [left]",
        "--to",
        "a.toml",
    ]
    result = run("draft", "--driver", "130mm", "--ball", "180mm", "--gap", "60mm", *options)
    assert result.exit_code == 0, result.output
    design = read_design("a.toml")
    assert design.title == "Hall [left]"
    assert design.assembly().column.width == pytest.approx(0.22)
    assert design.assembly().column.height == pytest.approx(1.1)
    assert run("section", "a.toml").stdout.startswith("Hall [left]\n")


def test_draft_overwrites_only_when_forced() -> None:
    Path("design.toml").write_text("mine")
    sizes = ["--driver", "130mm", "--ball", "180mm", "--gap", "60mm"]
    result = run("draft", *sizes)
    assert result.exit_code == 2
    assert "design.toml exists already" in result.stderr
    assert Path("design.toml").read_text() == "mine"
    assert run("draft", *sizes, "--force").exit_code == 0
    assert read_design("design.toml").ball.diameter == pytest.approx(0.18)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        (["130", "180mm", "60mm"], ("--driver", "no unit", "'180 mm'")),
        (["130mm", "180 furlongs", "60mm"], ("--ball", "unknown unit", "'180 mm'")),
        (["130mm", "180mm", "6mm"], ("gap 6.0 mm", "would")),
        (["130m", "180mm", "60mm"], ("driver", "did you mean 130.0 mm?")),
    ],
)
def test_draft_names_the_number_that_does_not_fit(sizes: list[str], words: tuple[str, ...]) -> None:
    driver, ball, gap = sizes
    result = run("draft", "--driver", driver, "--ball", ball, "--gap", gap)
    assert result.exit_code == 2
    assert all(word in result.stderr for word in words), result.stderr
    assert list(Path().iterdir()) == []


def test_examples_are_copied_and_never_overwritten() -> None:
    assert run("examples", "here").exit_code == 0
    installed = {path.name for path in EXAMPLES.glob("*.toml")}
    assert {path.name for path in Path("here").glob("*.*")} == installed
    for path in (EXAMPLES / "measured").iterdir():
        assert Path("here/measured", path.name).read_bytes() == path.read_bytes()
    Path("here/reading_room.toml").write_text("mine")
    result = run("examples", "here")
    assert result.exit_code == 0
    assert "reading_room.toml exists already: left alone" in result.output
    assert Path("here/reading_room.toml").read_text() == "mine"


def test_schema_is_that_of_the_design_file() -> None:
    assert json.loads(run("schema").stdout) == json.loads(json.dumps(design_schema()))


BAD_DESIGNS = [
    ("broken TOML", ("plate_gap = 60 ", "plate_gap = = 60 "), ("line 7", "double quotes")),
    ("unknown key", ("thickness = 15", "thicknes = 15"), ("plate.thicknes", "mean thickness?")),
    ("no unit", ('unit = "mm"  ', "# "), ("has no unit", 'unit = "mm"')),
    (
        "wrong unit",
        ("thickness = 15", 'thickness = "15 yd"'),
        ("plate.thickness", "unknown unit 'yd'", "'180 mm'"),
    ),
    ("negative", ("proud = 3 ", "proud = -3 "), ("driver.proud", "negative")),
    ("millimetres as metres", ("height = 900", 'height = "900 m"'), ("column.height", "900 mm?")),
    ("keep above ball", ("keep = 44 ", "keep = 190 "), ("reflector.keep", "keep less")),
    ("cap above gap", ("keep = 44 ", "keep = 66 "), ("reflector", "plate gap larger")),
    ("tip in driver", ("excursion = 4 ", "excursion = 30 "), ("reflector", "keep less")),
    ("cap wider than plate", ("[plate]\ndiameter = 200", "[plate]\ndiameter = 140"), ("plate",)),
    (
        "profile crosses itself",
        ("[[0, 0], [6, 3], [20, 14]", "[[0, 0], [60, 3], [5, 30], [5, 1]"),
        ("contest[2].reflector", "meets itself", "in order from tip"),
    ),
    (
        "profile off the axis",
        ("[[0, 0], [6, 3]", "[[2, 0], [6, 3]"),
        ("contest[2].reflector", "axis"),
    ),
    ("empty range", ("keep = [20, 40, 62]", "keep = []"), ("trim.keep", "too few")),
    ("upside down range", ("from = 54", "from = 64"), ("gap.from", "swap")),
    (
        "window upside down",
        ("# window = [0, 20]", "window = [20, 0]"),
        ("target.window", "lower angle first"),
    ),
    ("curve missing", ("recess = 0", 'curve = "mine.txt"'), ("driver.curve", "mine.txt")),
]


@pytest.mark.parametrize("command", ["section", "trim"])
@pytest.mark.parametrize(("case", "change", "words"), BAD_DESIGNS, ids=[c[0] for c in BAD_DESIGNS])
def test_a_mistake_in_the_file_is_named_and_nothing_written(
    command: str, case: str, change: tuple[str, str], words: tuple[str, ...]
) -> None:
    path = write_design(change)
    result = run(command, str(path))
    assert result.exit_code == 2, result.output
    assert "room.toml" in result.stderr
    assert all(word in result.stderr for word in words), result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""
    assert [file.name for file in Path().iterdir()] == ["room.toml"]


def test_an_unreadable_curve_is_named() -> None:
    Path("mine.txt").write_text("100 Hz is loud\n")
    path = write_design(("recess = 0", 'curve = "mine.txt"'))
    result = run("spread", str(path))
    assert result.exit_code == 2
    assert "driver.curve" in result.stderr
    assert "mine.txt" in result.stderr


def test_a_band_above_what_the_mesh_can_carry_is_refused_at_once() -> None:
    path = write_design(
        ("band = [630, 800]", "band = [100, 20000]"),
        ("width = 200\nheight", "width = 1900\nheight"),
    )
    for command in ("spread", "trim", "contest", "gap"):
        result = run(command, str(path))
        assert result.exit_code == 2
        assert "room.toml: target.band" in result.stderr
        assert "end the band below" in result.stderr
    assert [file.name for file in Path().iterdir()] == ["room.toml"]


@pytest.mark.parametrize(("command", "table"), [("trim", "trim"), ("gap", "gap")])
def test_a_question_that_the_file_does_not_ask(command: str, table: str) -> None:
    text = write_design(('hold = "nothing"', 'hold = "plate gap"')).read_text(encoding="utf-8")
    before, _, after = text.partition(f"[{table}]")
    following = after[after.index("\n[") :]
    Path("room.toml").write_text(before + following.lstrip("\n"), encoding="utf-8")
    result = run(command, "room.toml")
    assert result.exit_code == 2
    assert f"room.toml: {table}: the file has no [{table}] table" in result.stderr


def test_without_a_file_it_says_how_to_get_one() -> None:
    result = run("trim")
    assert result.exit_code == 2
    assert "Missing argument 'DESIGN'. No file yet? `roundcast draft`" in result.stderr


@pytest.mark.parametrize("command", sorted(q.name for q in every_question() if q.name != "proof"))
def test_a_missing_file_is_named(command: str) -> None:
    result = run(command, "nothing.toml", *(["sheet.csv"] if command == "overlay" else []))
    assert result.exit_code == 2
    assert "nothing.toml: cannot be read" in result.stderr
    assert list(Path().iterdir()) == []


def test_a_folder_that_cannot_be_written_is_refused_before_any_work(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = write_design()
    monkeypatch.setitem(solvers.SOLVERS, "waves", lambda *a, **k: pytest.fail("solved"))
    result = run("trim", str(path), "--out", "room.toml/results")
    assert result.exit_code == 2
    assert "is a file, not a folder: name another with --out" in result.stderr


@pytest.mark.parametrize(
    "options",
    [["--per-band", "3"], ["--workers", "0"], ["--method", "guess"], ["--finer", "0.5"], ["--no"]],
)
def test_wrong_options_have_status_2(options: list[str]) -> None:
    result = run("spread", str(write_design()), *options)
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def interrupting(after: int) -> Callable[..., object]:
    """Solver that is interrupted after some solves, as by Ctrl-C."""
    count = 0

    def solve(*arguments: object, **options: object) -> object:
        nonlocal count
        count += 1
        if count > after:
            raise KeyboardInterrupt
        return solvers.solve_waves(*arguments, **options)

    return solve


def test_interrupting_a_run_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_design()
    monkeypatch.setitem(solvers.SOLVERS, "waves", interrupting(after=1))
    result = run("trim", str(path))
    assert result.exit_code == 130
    assert "Interrupted" in result.stderr
    assert [file.name for file in Path().iterdir()] == ["room.toml"]


def test_interrupting_the_writing_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    path, written = write_design(), []

    def interrupted(file: Path, content: bytes) -> None:
        written.append(file)
        with file.open("wb") as half:
            half.write(content[:10])
        if len(written) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(Path, "write_bytes", interrupted)
    result = run("spread", str(path), "--per-band", "4")
    assert result.exit_code == 130
    assert len(written) == 2
    assert [file.name for file in Path().iterdir()] == ["room.toml"]


def test_a_fault_of_the_program_is_told_without_a_traceback(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = write_design()

    def broken(*arguments: object, **options: object) -> None:
        raise RuntimeError("the kettle is on fire")

    monkeypatch.setitem(solvers.SOLVERS, "waves", broken)
    result = run("spread", str(path))
    assert result.exit_code == 1
    assert "a fault in roundcast, not in your design" in result.stderr
    assert "the kettle is on fire" in result.stderr
    assert "Traceback" not in result.output
    assert [file.name for file in Path().iterdir()] == ["room.toml"]
    debugged = run("--debug", "spread", str(path))
    assert isinstance(debugged.exception, RuntimeError)


class Screen:
    """Text stream that takes itself for a terminal."""

    def __init__(self, terminal: bool) -> None:
        self.text, self.terminal = "", terminal

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        """Nothing waits."""

    def isatty(self) -> bool:
        return self.terminal


def watch_for(
    seconds: float, screen: Screen, monkeypatch: pytest.MonkeyPatch, *, cached: bool, begun: bool
) -> str:
    """Return what a run of some seconds shows if patience lasts 0.2 s."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(progress, "PATIENCE_S", 0.2)
    monkeypatch.setattr(progress, "kernels_are_cached", lambda: cached)
    with progress.Watch(open_console(screen)) as watch:
        if begun:
            watch("keep heights", 1, 10)
        time.sleep(seconds)
    return screen.text


def test_a_short_run_shows_no_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    assert watch_for(0.0, Screen(True), monkeypatch, cached=False, begun=False) == ""


def test_a_long_run_shows_stage_and_share(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = watch_for(0.6, Screen(True), monkeypatch, cached=True, begun=True)
    assert "keep heights" in shown
    assert "10 %" in shown
    assert progress.COMPILING not in shown


@pytest.mark.parametrize("terminal", [True, False])
def test_what_is_known_so_far_is_said_to_a_terminal_only(
    terminal: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    screen, row = Screen(terminal), SimpleNamespace(name="keep 45.0 mm")
    with progress.Watch(open_console(screen)) as watch:
        say_so_far(watch, row)
    said = "So far, by the very sizes of the file alone: keep 45.0 mm. Now 24 drivers and builds"
    assert (said in " ".join(screen.text.split())) is terminal
    say_so_far(lambda stage, done, total: None, row)
    say_so_far(None, row)


def test_compiling_is_told_once_even_without_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = watch_for(0.6, Screen(False), monkeypatch, cached=False, begun=False)
    assert shown == f"{progress.COMPILING}\n"


def test_nothing_is_said_of_compiling_once_a_solve_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    assert watch_for(0.6, Screen(False), monkeypatch, cached=False, begun=True) == ""


def test_own_errors_are_the_users_and_others_are_faults() -> None:
    with pytest.raises(click.ClickException) as refused:
        cli._refuse(ValueError("numpy says no"))
    assert refused.value.exit_code == 1
    with pytest.raises(click.ClickException) as refused:
        cli._refuse(PermissionError(13, "Permission denied", "a.toml"))
    assert refused.value.exit_code == 2


def test_rays_posts_and_trust_answer() -> None:
    path = write_design()
    for command, extra in (
        ("rays", ("--rays", "4096")),
        ("posts", ("--also", "4 x 12mm", "--estimate")),
        ("trust", ("--per-band", "4")),
    ):
        result = run(command, str(path), "--out", command, "--json", *extra)
        assert result.exit_code == 0, result.output
        document = json.loads(result.stdout)
        assert document["command"] == command
        assert list(Path(command).glob("*.png"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("rays", "--rays", "0"), "0 rays show nothing"),
        (("rays", "--shift", "5"), "--shift: the length '5' has no unit"),
        (("rays", "--shift", "300mm"), "--shift: 50 mm off the axis at most"),
        (("slice", "--at", "40 kHz"), "--at: 40 kHz is outside 20 Hz to 20 kHz"),
        (("posts", "--also", "many"), 'write count x diameter, such as "4 x 12mm"'),
        (("posts", "--also", "3 x 12"), "has no unit"),
    ],
)
def test_quick_commands_refuse_in_words(arguments: tuple[str, ...], said: str) -> None:
    command, *extra = arguments
    result = run(command, str(write_design()), "--out", "out", *extra)
    assert result.exit_code == 2
    assert said in result.output
    assert not Path("out").exists()


@pytest.mark.parametrize("method", ["edges", "rays", "images"])
def test_spread_by_a_quick_method_says_how_far_to_believe_it(method: str) -> None:
    result = run("spread", str(write_design()), "--method", method, "--out", "out")
    assert result.exit_code == 0, result.output
    assert f"method {method}" in result.output
    assert ("rods that reflect" in result.output) == (method == "rays")


def write_stl(path: Path, radius: float, keep_open: bool = False, inside_out: bool = False) -> None:
    """Write a cone that hangs from z = 0, as tall as its base is wide."""
    mesh = trimesh.creation.cone(radius=radius, height=radius)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi, (1.0, 0.0, 0.0)))
    if keep_open:
        mesh.update_faces(np.arange(len(mesh.faces)) > 0)
    if inside_out:
        mesh.invert()
    mesh.export(path)


@pytest.mark.parametrize(
    ("radius", "how", "said"),
    [
        (30.0, {"keep_open": True}, "the surface is open"),
        (30.0, {"inside_out": True}, "inside out"),
        (90_000.0, {}, "the unit is probably another one"),
        (70.0, {}, "gap"),
    ],
)
def test_stl_is_refused_with_its_remedy(radius: float, how: dict[str, bool], said: str) -> None:
    write_stl(Path("form.stl"), radius, **how)
    result = run("rays", str(write_design()), "--rays", "4096", "--stl", "form.stl", "--out", "out")
    assert result.exit_code == 2
    assert said in result.output
    assert not Path("out").exists()


def test_stl_that_fits_is_traced() -> None:
    write_stl(Path("form.stl"), 40.0)
    result = run("rays", str(write_design()), "--rays", "4096", "--stl", "form.stl", "--out", "out")
    assert result.exit_code == 0, result.output
    assert "every ray is accounted for" in result.output


HOMELESS = """
import logging, sys, studies.cli as cli
from pathlib import Path
from studies.solving import session
from studies.solving.options import default_ledger
@cli.main.command()
def quiet():
    logging.getLogger("trimesh").warning("broken normals", exc_info=True)
    with session._opened(default_ledger()) as ledger:
        print(ledger)
cli.main(["quiet"])
"""


def test_without_a_home_nothing_fails_and_what_libraries_log_is_not_told() -> None:
    nowhere = {"HOME": os.devnull, "PYTHONPATH": str(ROOT)}
    ran = subprocess.run(
        [sys.executable, "-c", HOMELESS], env=nowhere, capture_output=True, text=True, cwd="/"
    )
    assert (ran.returncode, ran.stdout) == (0, "None\n")
    assert " ".join(ran.stderr.split()).startswith("Finished solves are not kept: the ledger /dev")
    assert ran.stderr.count(".") < 8
    assert "Traceback" not in ran.stderr


def test_a_ledger_that_was_asked_for_must_be_usable() -> None:
    result = run("spread", str(write_design()), "--ledger", f"{os.devnull}/mine.sqlite")
    assert result.exit_code == 2
    assert "name another place with --ledger" in result.stderr
