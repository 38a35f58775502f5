"""The bench without a browser: design, questions, files, what is dropped, what is found again."""

import io
import json
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from small import small_design
from starlette.testclient import TestClient

from studies import cli
from studies.answer.exports import FORMAT
from studies.bench.app import MOST_JSON, app_of
from studies.bench.asking import OFFERED, AskError, ask, offered
from studies.bench.folder import Folder
from studies.bench.live import Answer, Live, Turn
from studies.bench.live_view import answer_view
from studies.bench.pace import Pace
from studies.bench.running import BEGUN
from studies.bench.workbench import AT_ONCE_IN_WORDS, Workbench
from studies.measured.text_files import LARGEST_FILE
from studies.questions import COMMANDS
from studies.solving.budget import Cost
from studies.solving.options import SolverOptions

PATIENCE_S = 120.0
TEXT = small_design(('[[contest]]\nname = "cone"\ndesign = "reading_room_cone.toml"\n', "")).text
SOLVING = SolverOptions(no_ledger=True, yes=True, workers=1)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workbench]:
    monkeypatch.chdir(tmp_path)
    made = Workbench(Path(), SOLVING)
    yield made
    made.close()


@pytest.fixture
def page(bench: Workbench) -> TestClient:
    return TestClient(app_of(bench), raise_server_exceptions=False)


def until(done: Callable[[], Any]) -> Any:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if found := done():
            return found
        time.sleep(0.02)
    pytest.fail("waited too long")


def finished(bench: Workbench, number: int) -> dict[str, Any]:
    over = ("done", "failed", "ended")
    until(lambda: bench.runs.run(number).state in over)
    return bench.runs.run(number).shown()


def test_three_sizes_make_a_design_that_is_solved(bench: Workbench, page: TestClient) -> None:
    given = {"driver": "7", "ball": "7", "gap": "3 1/2", "unit": "in"}
    shown = page.post("/do/draft", json=given).json()
    assert shown["mistakes"] == [] and shown["name"] == "mine.toml" and not shown["saved"]
    assert 'unit = "in"' in shown["text"] and shown["section"]["gap"] == pytest.approx(88.9)
    marks = [field["mark"] for field in shown["groups"][0]["fields"]]
    assert "given" in marks


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"driver": "7", "ball": "7"}, "--gap: is missing"),
        ({"driver": "seven", "ball": "7", "gap": "3"}, "--driver"),
        ({"driver": "7", "ball": "1/2", "gap": "3"}, "ball"),
    ],
)
def test_sizes_that_do_not_fit_are_named(page: TestClient, given: dict, words: str) -> None:
    answer = page.post("/do/draft", json={"unit": "in", **given})
    assert answer.status_code == 422 and words in answer.json()["refused"]


def test_edit_save_and_open_again(bench: Workbench, page: TestClient, tmp_path: Path) -> None:
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    shown = page.post(
        "/do/edit", json={"key": "reflector.keep", "action": "set", "value": "30"}
    ).json()
    assert shown["undo"] and not shown["saved"]
    assert page.post("/do/save", json={"name": "mine"}).json()["saved"]
    saved = (tmp_path / "mine.toml").read_text(encoding="utf-8")
    assert saved == TEXT.replace("keep = 44 ", "keep = 30 ")
    (tmp_path / "other.toml").write_text(TEXT)
    refused = page.post("/do/save", json={"name": "other.toml"})
    assert refused.status_code == 422 and "already" in refused.json()["refused"]
    assert (tmp_path / "other.toml").read_text() == TEXT
    assert page.post("/do/open", json={"name": "other.toml"}).json()["text"] == TEXT
    assert page.get("/design").text == TEXT


@pytest.mark.parametrize("name", ["spread", pytest.param("trim", marks=pytest.mark.slow)])
def test_a_question_gives_the_bytes_of_its_command(
    bench: Workbench, page: TestClient, tmp_path: Path, name: str
) -> None:
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    page.post("/do/save", json={"name": "mine.toml"})
    run = page.post("/do/ask", json={"name": name}).json()
    found = finished(bench, run["number"])
    assert found["state"] == "done", found["message"]
    result = CliRunner().invoke(cli.main, [name, "mine.toml", "--out", "by-command"])
    assert result.exit_code == 0, result.output
    names = {file.name for file in (tmp_path / "by-command").iterdir()}
    assert names == set(found["files"]) and f"{name}.html" in names
    for name in names:
        own = page.get(f"/answers/{run['number']}/{name}").content
        assert own == (tmp_path / "by-command" / name).read_bytes(), name
    archive = zipfile.ZipFile(io.BytesIO(page.get(f"/answers/{run['number']}").content))
    assert set(archive.namelist()) == names


@pytest.mark.parametrize(
    ("name", "facts", "line"),
    [
        ("gap", {"plate_gap_mm": 70.0}, 'plate_gap = "70 mm" '),
        (
            "trim",
            {"plate_gap_mm": 64.0, "keep_mm": 41.5, "ball_diameter_mm": 180.0},
            'keep = "41.5 mm" ',
        ),
        ("trim", {"plate_gap_mm": 64.0, "keep_mm": 41.5, "ball_diameter_mm": 200.0}, None),
        ("trim", {"plate_gap_mm": None, "keep_mm": 41.5, "ball_diameter_mm": 180.0}, None),
    ],
)
def test_what_an_answer_chose_is_put_into_the_design(
    tmp_path: Path, monkeypatch: Any, name: str, facts: dict, line: str | None
) -> None:
    folder = tmp_path / f"mine-{name}"
    folder.mkdir()
    (folder / f"{name}.html").touch()
    document = {"format": FORMAT, "command": name, "design": {}, "answer": [], "facts": facts}
    (folder / f"{name}.json").write_text(json.dumps(document))
    monkeypatch.chdir(tmp_path)
    bench = Workbench(Path(), SOLVING)
    try:
        client = TestClient(app_of(bench))
        client.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
        (run,) = bench.runs.shown()
        assert run["chooses"]
        answer = client.post("/do/adopt", json={"number": run["number"]})
        if line is None:
            assert answer.status_code == 422 and "the answer" in answer.json()["refused"]
        else:
            new = answer.json()["text"]
            assert line in new and len(new.splitlines()) == len(TEXT.splitlines())
    finally:
        bench.close()


def test_answers_are_found_again_and_never_written_over(
    bench: Workbench, page: TestClient, tmp_path: Path
) -> None:
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    folders = []
    for _ in range(2):
        run = page.post("/do/ask", json={"name": "section"}).json()
        folders.append(finished(bench, run["number"])["folder"])
    assert folders == ["mine-section", "mine-section-2"]
    again = Workbench(Path(), SOLVING)
    try:
        shown = again.runs.shown()
        assert [run["folder"] for run in shown] == folders[::-1]
        assert all(run["state"] == "done" and run["answer"] for run in shown)
    finally:
        again.close()


def test_what_a_killed_bench_had_begun_is_offered_again(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.chdir(tmp_path)
    begun = {"name": "section", "design": "mine.toml", "text": TEXT,
             "choice": {"options": {}, "files": []}}  # fmt: skip
    (tmp_path / BEGUN).write_text(json.dumps([begun, {"name": 3}]))
    bench = Workbench(Path(), SOLVING)
    try:
        assert bench.state()["unfinished"] == [{"name": "section", "design": "mine.toml"}]
        run = bench.again(0)
        assert finished(bench, run["number"])["state"] == "done"
        assert bench.state()["unfinished"] == []
        assert not (tmp_path / BEGUN).exists()
    finally:
        bench.close()


def test_a_run_is_stopped_and_the_next_begins(bench: Workbench, page: TestClient) -> None:
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    run = page.post("/do/ask", json={"name": "trim"}).json()
    page.post("/do/cancel", json={"number": run["number"]})
    assert finished(bench, run["number"])["state"] == "ended"
    after = page.post("/do/ask", json={"name": "section"}).json()
    assert finished(bench, after["number"])["state"] == "done"
    assert not Path("mine-trim").exists()


def test_every_question_of_a_design_is_offered_without_paths() -> None:
    offering = {one["name"]: one for one in offered()}
    assert tuple(offering) == OFFERED
    with_design = {
        command.name
        for command in COMMANDS
        if "DESIGN" in {param.metavar for param in command.params}
    }
    assert with_design - set(OFFERED) == {"rays", "trust"}  # reasons, not answers
    for one in offering.values():
        names = {option["name"] for option in one["options"]}
        assert not names & {
            "out",
            "ledger",
            "cluster",
            "allow_outside",
            "workers",
            "yes",
            "per_band",
        }


@pytest.mark.parametrize(
    ("name", "options", "files", "words"),
    [
        ("trim", {"out": "/tmp"}, [], "no option 'out'"),
        ("trim", {"ledger": "/tmp/a"}, [], "no option 'ledger'"),
        ("tolerance", {"samples": "many"}, [], "samples"),
        ("posts", {"also": "--out=/tmp"}, [], "--also"),
        ("overlay", {}, ["../secret.csv"], "no such file"),
        ("overlay", {}, [], "choose what was measured"),
        ("ledger", {}, [], "no question"),
        ("meter", {"distance": "x" * 201}, [], "too long"),
    ],
)
def test_questions_are_refused_in_the_words_of_the_command(
    tmp_path: Path, name: str, options: dict, files: list, words: str
) -> None:
    with pytest.raises(AskError, match=words):
        ask(name, tmp_path / "mine.toml", options, files, Folder(tmp_path))


def test_the_cost_of_every_question_is_known_beforehand(page: TestClient, tmp_path: Path) -> None:
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    (tmp_path / "readings.csv").write_text("frequency,level\n500,1\n", encoding="utf-8")
    said = {}
    cost = ask("spread", Path("mine.toml"), {}, [], Folder(tmp_path)).cost(small_design())
    assert cost is not None and type(cost.seconds) is float  # what the page is told is JSON
    for name in OFFERED:
        given = {"name": name, "files": ["readings.csv"] if name == "overlay" else []}
        said[name] = page.post("/do/cost", json=given).json()["words"]
    at_once = {name for name, words in said.items() if words == AT_ONCE_IN_WORDS}
    assert at_once == {"cut", "section"}  # which solve nothing
    assert all("min" in words for name, words in said.items() if name not in at_once)


def test_what_is_left_is_told_for_all_stages_together() -> None:
    """Cost 100 s and 50 solves: after 20 s and 10 of them 80 s are left, whatever the stage has."""
    now = [0.0]
    pace = Pace(Cost(designs=5, solves=50, seconds=100.0, megabytes=500.0), lambda: now[0])
    assert pace.left_s == 100.0
    now[0] = 20.0
    pace.note("first", 10, 12)
    assert pace.left_s == pytest.approx(80.0) and pace.share == pytest.approx(0.2)
    pace.wait(lambda: now.__setitem__(0, now[0] + 50.0))  # for the live answer: does not count
    assert pace.left_s == pytest.approx(80.0)
    pace.note("second", 10, 10)  # ten more at once, from the ledger: 30 left at 1 s each
    assert pace.left_s == pytest.approx(30.0)


def test_what_is_left_is_at_least_that_of_the_stage() -> None:
    now = [0.0]
    pace = Pace(Cost(designs=1, solves=10, seconds=5.0, megabytes=500.0), lambda: now[0])
    pace.note("only", 0, 40)
    now[0] = 8.0
    pace.note("only", 20, 40)
    assert pace.late and pace.left_s == pytest.approx(8.0)


def test_messages_and_files_have_an_end(page: TestClient, tmp_path: Path) -> None:
    assert page.post("/do/text", content=b" " * (MOST_JSON + 1)).status_code == 413
    assert page.put("/files/big.txt", content=b" " * (LARGEST_FILE + 1)).status_code == 413
    for wrong in (b"", b"[]", b"[" * 10_000, b'{"text": 3}'):
        assert page.post("/do/text", content=wrong).status_code == 400
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_served_by_a_path(bench: Workbench, page: TestClient, tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("secret")
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    run = page.post("/do/ask", json={"name": "section"}).json()
    finished(bench, run["number"])
    for path in (
        f"/answers/{run['number']}/..%2Fsecret.txt",
        f"/answers/{run['number']}/%2e%2e/secret.txt",
        "/answers/99/section.html",
        "/static/..%2Fapp.py",
        "/static/bench.html.j2",
        "/files/..%2Fsecret.txt",
        "/secret.txt",
    ):
        answer = page.get(path)
        assert answer.status_code in (404, 405) and "secret" not in answer.text, path
    assert page.put("/files/..%2Fover.txt", content=b"x").status_code in (404, 422)


def test_a_change_drops_what_runs_and_the_last_design_has_the_last_word() -> None:
    told: list[Answer] = []
    live = Live(None, Turn(), told.append, lambda version, reason: pytest.fail(reason))
    keeps = range(20, 40)
    try:
        for version, keep in enumerate(keeps, start=1):
            sides = ('shape = "round"', 'shape = "square"')
            design = small_design(("keep = 44 ", f"keep = {keep} "), sides)
            live.want(version, design)
        until(lambda: told and told[-1].last)
    finally:
        live.close()
    assert told[-1].version == len(keeps)
    assert [one.version for one in told] == sorted(one.version for one in told)
    stages = [one.stage for one in told if one.version == len(keeps)]
    assert len(stages) == 3 and stages[0].startswith("coarse")
    reflector = told[-1].row.assembly.reflector
    assert reflector is not None and reflector.height == pytest.approx(39e-3)
    assert "sides count as round, within 0.3 dB" in answer_view(told[-1])["stage"]


def test_pinned_and_present_are_compared_in_words(bench: Workbench, page: TestClient) -> None:
    def settled() -> bool:
        live = bench.state()["live"]
        return live.get("version") == bench.desk.version and bool(live.get("last"))

    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    until(settled)
    assert page.post("/do/pin", json={"on": True}).json()["difference"].startswith("No difference")
    page.post("/do/edit", json={"key": "reflector.keep", "action": "set", "value": "20"})
    until(settled)
    words = bench.state()["live"]["difference"]
    assert "the pinned design" in words and "dB" in words
    page.post("/do/edit", json={"key": "target.wanted_tilt", "action": "set", "value": "-1"})
    until(settled)
    assert "cannot be compared" in bench.state()["live"]["difference"]


def test_a_design_in_inches_is_told_in_inches_first(bench: Workbench, page: TestClient) -> None:
    given = {"driver": "7", "ball": "7", "gap": "3 1/2", "unit": "in"}
    shown = page.post("/do/draft", json=given).json()
    assert "plate gap 3 1/2 in (88.9 mm)" in shown["words"][0]
    assert shown["section"]["gap_words"] == "3 1/2 in (88.9 mm)"


def test_every_message_is_numbered_and_the_state_says_how_many_came_before(
    bench: Workbench, page: TestClient
) -> None:
    before = bench.state()["told"]
    page.post("/do/text", json={"text": TEXT, "name": "mine.toml"})
    assert bench.state()["told"] > before
