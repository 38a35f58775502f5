"""The directivity for other programs: directions, tables, JSON, schemas, and the command."""

import csv
import hashlib
import io
import json
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator, ValidationError

from dispersion.solvers import solve_waves
from studies import cli
from studies.answer import schemas
from studies.answer.exports import csv_files, document, json_text
from studies.answer.schemas import schema_text
from studies.answer.table import Findings
from studies.design import parse_design
from studies.questions.draft.command import SCHEMAS as SCHEMA_NAMES
from studies.questions.export import sofa, study
from studies.questions.export.files import directivity_files, directivity_json
from studies.questions.export.study import Directions, Directivity, DirectivityError, directivity
from studies.questions.export.tables import directivity_tables
from studies.questions.export.words import meaning
from studies.questions.posts.study import estimated
from studies.questions.posts.tables import posts_tables
from studies.questions.section.tables import section_tables

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
EXAMPLE = EXAMPLES / "reading_room.toml"
NARROW = EXAMPLE.read_text(encoding="utf-8").replace(
    'band = ["100 Hz", "16 kHz"]', "band = [630, 800]"
)


@pytest.fixture(scope="module")
def found() -> Directivity:
    design = parse_design(NARROW, EXAMPLE)
    return directivity(design, solve_waves, fineness=4, directions=Directions(5.0, 30.0))


@pytest.fixture(scope="module")
def findings(found: Directivity) -> Findings:
    return directivity_tables(found)


def validator(what: str) -> Draft202012Validator:
    schema = json.loads(schema_text(what))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def rows_of(name: str, files: dict[str, bytes]) -> list[dict[str, float]]:
    read = csv.DictReader(io.StringIO(files[name].decode("utf-8")))
    return [{key: float(value) for key, value in row.items()} for row in read]


def test_directions_go_ring_by_ring_with_each_pole_once() -> None:
    directions = Directions(30.0, 90.0)
    numbers, azimuths = directions.each()
    assert directions.elevations.tolist() == [-90, -60, -30, 0, 30, 60, 90]
    assert numbers.size == azimuths.size == directions.count == 5 * 4 + 2
    assert numbers.tolist() == [0, *(ring for ring in range(1, 6) for _ in range(4)), 6]
    assert azimuths.tolist() == [0, *(5 * [0, 90, 180, 270]), 0]


@pytest.mark.parametrize("step", [0.5, 2.5, 7.5, 90.0])
def test_horizon_and_poles_are_always_among_the_elevations(step: float) -> None:
    elevations = Directions(step).elevations
    assert {-90.0, 0.0, 90.0} <= set(elevations.tolist())
    assert np.diff(elevations) == pytest.approx(step)


@pytest.mark.parametrize("step", [0.0, -5.0, 0.25, 0.7, 4.0, 60.0, 180.0, float("nan")])
def test_elevation_steps_that_do_not_fit(step: float) -> None:
    with pytest.raises(DirectivityError, match=r"--elevation-step .* goes into 90"):
        Directions(elevation_step=step)


@pytest.mark.parametrize("step", [0.0, -10.0, 7.0, 720.0, float("nan"), float("inf")])
def test_azimuth_steps_that_do_not_close(step: float) -> None:
    with pytest.raises(DirectivityError, match=r"--azimuth-step .* goes into 360"):
        Directions(azimuth_step=step)


def test_a_file_too_large_is_refused_before_anything_is_solved() -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("solved")

    design, fine = parse_design(NARROW, EXAMPLE), Directions(0.5, 0.25)
    with pytest.raises(DirectivityError, match="larger --azimuth-step"):
        directivity(design, never, fineness=96, directions=fine)


def test_pressure_is_the_solved_one_with_time_counted_the_other_way(found: Directivity) -> None:
    response = found.row.response
    at = [list(response.problem.elevations).index(e) for e in found.directions.elevations]
    assert np.array_equal(found.pressure, np.conj(response.far[:, at]))
    assert np.array_equal(found.band_levels_db, found.row.coverage.level_db[:, at])


def test_csv_gives_the_pressure_back(found: Directivity, findings: Findings) -> None:
    files = csv_files(findings)
    rows = rows_of("export-directivity.csv", files)
    assert list(rows[0]) == ["frequency_hz", "elevation_deg", "level_db", "phase_deg"]
    assert len(rows) == found.frequencies.size * found.directions.elevations.size
    told = np.array(
        [10.0 ** (r["level_db"] / 20.0) * np.exp(1j * np.radians(r["phase_deg"])) for r in rows]
    ).reshape(found.pressure.shape)
    # Six decimals of level and phase: 1e-6 / 2 dB and degrees.
    assert np.abs(told / found.pressure - 1.0).max() < 0.5e-6 * (np.log(10) / 20 + np.pi / 180)
    bands = rows_of("export-bands.csv", files)
    assert list(bands[0]) == ["frequency_hz", "elevation_deg", "level_db"]
    assert [row["level_db"] for row in bands] == pytest.approx(
        found.band_levels_db.ravel(), abs=5.1e-7
    )


def test_every_csv_column_is_described_beside_it(findings: Findings) -> None:
    files = csv_files(findings)
    listed = document(findings, files)["files"]
    for name, content in files.items():
        heading = content.decode("utf-8").splitlines()[0].split(",")
        assert list(listed[name]["columns"]) == heading
        assert all(listed[name]["columns"].values())


def test_the_values_to_check_with_are_those_of_the_files(findings: Findings) -> None:
    rows = rows_of("export-directivity.csv", csv_files(findings))
    places = {(row["frequency_hz"], row["elevation_deg"]): row for row in rows}
    checked = findings.table("check").records()
    assert [row["elevation_deg"] for row in checked[:4]] == [-30.0, 0.0, 30.0, 90.0]
    for row in checked:
        same = places[round(row["frequency_hz"], 6), row["elevation_deg"]]
        assert row["level_db"] == pytest.approx(same["level_db"], abs=1e-6)
        assert row["phase_deg"] == pytest.approx(same["phase_deg"], abs=1e-6)
        assert abs(complex(row["real"], row["imag"])) == pytest.approx(
            10.0 ** (row["level_db"] / 20.0)
        )


def test_every_file_says_up_to_where_what_has_sides_counts_as_round(found: Directivity) -> None:
    built = found.row.assembly
    boards = replace(built, column=replace(built.column, sides=6))
    assert "equal area" not in meaning(found)["origin"]
    said = meaning(replace(found, row=replace(found.row, drawn=boards)))["origin"]
    assert "equal area is within 0.3 dB up to" in said


def test_what_lies_between_the_elevations_is_told(found: Directivity) -> None:
    assert Directions().every == 5
    assert replace(found, directions=Directions(0.5)).between_db == pytest.approx(0.0)
    fine, coarse = (replace(found, directions=Directions(step)) for step in (5.0, 45.0))
    assert np.all(fine.between_db < coarse.between_db)
    level = found.row.coverage.level_db[0]
    lines = np.interp(found.row.coverage.elevations, [-90.0, 0.0, 90.0], level[[0, 180, 360]])
    strong = level > level.max() - 20.0
    rms = np.sqrt(np.mean((lines - level)[strong] ** 2))
    assert replace(found, directions=Directions(90.0)).between_db[0] == pytest.approx(rms)


def test_json_says_the_same_and_meets_its_schema(found: Directivity) -> None:
    told = json.loads(directivity_json(found))
    validator("directivity").validate(told)
    assert told["design"]["fingerprint"] == found.design.fingerprint
    assert told["frequency_hz"] == pytest.approx(found.frequencies, abs=1e-6)
    assert np.allclose(told["level_db"], found.levels_db, rtol=0.0, atol=1e-6)
    assert np.allclose(told["phase_deg"], found.phases_deg, rtol=0.0, atol=1e-6)
    assert np.allclose(told["bands"]["level_db"], found.band_levels_db, rtol=0.0, atol=1e-6)
    assert told["air"]["density_kg_m3"] == pytest.approx(found.design.air.density, abs=1e-6)


def spoilt(told: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    """Return a copy with one value replaced, or left out if it is None."""
    copy = deepcopy(told)
    *way, last = path
    inside = copy
    for step in way:
        inside = inside[step]
    if value is None:
        del inside[last]
    else:
        inside[last] = value
    return copy


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), "something else"),
        (("meaning", "pascals"), None),
        (("design", "fingerprint"), "abc"),
        (("level_db", 0, 0), "loud"),
        (("phase_deg", 0, 0), 540.0),
        (("air", "extra"), 1),
    ],
)
def test_other_documents_do_not_meet_the_schema_of_directivity(
    found: Directivity, path: tuple[Any, ...], value: Any
) -> None:
    told = json.loads(directivity_json(found))
    with pytest.raises(ValidationError):
        validator("directivity").validate(spoilt(told, path, value))


def test_documents_of_commands_meet_the_schema_of_results(findings: Findings) -> None:
    design = findings.design
    posts = posts_tables(estimated(design))
    for told in (findings, section_tables(design), posts):
        document = json.loads(json_text(told, csv_files(told)))
        assert not list(validator("results").iter_errors(document))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), None),
        (("design", "fingerprint"), "0" * 63),
        (("answer",), []),
        (("facts", "frequencies"), [8]),
        (("tables", "check", "rows", 0, "level_db"), {"db": 1}),
        (("evidence", "designs_solved"), -1),
        (("files", "export-bands.csv", "sha256"), None),
        (("anything",), 1),
    ],
)
def test_other_documents_do_not_meet_the_schema_of_results(
    findings: Findings, path: tuple[Any, ...], value: Any
) -> None:
    told = json.loads(json_text(findings, csv_files(findings)))
    with pytest.raises(ValidationError):
        validator("results").validate(spoilt(told, path, value))


def test_every_schema_can_be_printed() -> None:
    assert set(SCHEMA_NAMES) == {"design", *schemas.SCHEMAS}
    for name in SCHEMA_NAMES:
        printed = run("schema", name)
        assert printed.exit_code == 0
        assert printed.output == schema_text(name)
        Draft202012Validator.check_schema(json.loads(printed.output))
    assert run("schema").output == schema_text("design")


def test_the_schema_travels_with_the_document(found: Directivity) -> None:
    files = directivity_files(replace(found, as_sofa=False))
    told = json.loads(files["export-directivity.json"])
    assert files[told["schema"]].decode("utf-8") == schema_text("directivity")
    assert not any(name.endswith(".sofa") for name in files)


def test_without_the_sofa_file_no_azimuth_is_solved(
    found: Directivity, monkeypatch: pytest.MonkeyPatch
) -> None:
    design = parse_design(NARROW.replace("[target]", '[target]\nposts = "solved"'), EXAMPLE)

    def refuse(*given: object) -> None:
        raise AssertionError("posts were solved")

    monkeypatch.setattr(study, "run", lambda *given, **named: (found.row,))
    monkeypatch.setattr(study, "solve_posts", refuse)
    told = directivity(design, solve_waves, fineness=4, as_sofa=False)
    assert told.around is None and not told.posted
    assert any("in the SOFA file only" in words for words in meaning(told).values())
    with pytest.raises(AssertionError, match="posts were solved"):
        directivity(design, solve_waves, fineness=4)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli.main, list(arguments))


@pytest.fixture
def design_file(tmp_path: Path) -> Path:
    text = NARROW.replace('design = "reading_room_cone.toml"', 'reflector = { kind = "none" }')
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_command_writes_all_of_it_and_lists_it(design_file: Path, tmp_path: Path) -> None:
    pytest.importorskip("sofar")
    out = tmp_path / "out"
    asked = ("export", str(design_file), "--out", str(out), "--per-band", "4", "--json")
    result = run(*asked, "--elevation-step", "15")
    assert result.exit_code == 0, result.output
    written = {path.name: path.read_bytes() for path in out.iterdir()}
    told = json.loads(written["export.json"])
    assert result.stdout.encode("ascii") == written.pop("export.json")
    assert {"export-directivity.sofa", "export-directivity.json", "export-bands.csv"} <= set(
        written
    )
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in written.items()}
    assert {name: listed["sha256"] for name, listed in told["files"].items()} == digests
    validator("results").validate(told)
    marked = told["design"]["fingerprint"].encode("ascii")
    # The standard's file is compressed inside, but for its attributes.
    for name, content in written.items():
        if not name.endswith((".csv", ".schema.json")):
            assert marked in content, name


def test_a_plain_installation_is_told_what_to_do(
    design_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sofa.importlib.util, "find_spec", lambda name: None)
    result = run("export", str(design_file), "--out", str(tmp_path / "out"))
    assert result.exit_code == 2
    assert "pip install sofar" in result.output
    assert "--no-sofa" in result.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--method", "rays"), "knows no phase"),
        (("--elevation-step", "7"), "--elevation-step 7"),
        (("--azimuth-step", "0"), "--azimuth-step 0"),
    ],
)
def test_what_cannot_be_exported_is_refused(
    design_file: Path, tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    result = run("export", str(design_file), "--out", str(tmp_path / "out"), *options)
    assert result.exit_code == 2
    assert words in result.output
    assert not (tmp_path / "out").exists()
