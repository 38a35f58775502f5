"""What `roundcast proof` says and writes; a broken solver is found out.

That every check holds: `tests/validation/test_every_check.py`.
"""

import csv
import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result

from dispersion.waves import WaveSolution
from studies import cli
from studies.questions.proof import question
from studies.questions.proof.cases import standards
from studies.questions.proof.cases.check import REST, WAVES, compare, compare_levels
from studies.questions.proof.cases.meshes import MeshLadder
from studies.questions.proof.cases.sphere_sources import CHECKS as SPHERE_CHECKS
from studies.questions.proof.page import PAGE, refreshed, rows_on
from studies.questions.proof.study import FAMILIES, Program, Proof, Proved, prove
from studies.questions.proof.tables import proof_tables

FEW = {"sources on a sphere": SPHERE_CHECKS[-2:], "air and bands": standards.CHECKS}
PROGRAM = Program("tried", Path("code"), "", "")
LADDERS = tuple(
    MeshLadder(
        str(power), np.array([1.0, 4.0]), np.array([10, 40]), 0.01 * np.array([1.0, 0.25**power])
    )
    for power in (3, 5)
)


def silent(stage: str, done: int, total: int) -> None:
    assert done <= total


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli.main, ["proof", *arguments])


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Few checks and an empty current folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(question, "prove", lambda watch, workers: prove(watch, workers, FEW))
    return tmp_path


def test_it_prints_and_writes(few: Path) -> None:
    result = run()
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[2].startswith("All 10 checks hold: ")
    assert "What has not been checked" in lines
    assert any(line.startswith("Any real speaker") for line in lines)
    folder = few / "roundcast-proof"
    written = {path.name for path in folder.iterdir()}
    assert {f"proof-{name}.{kind}" for name in ("frequency", "mesh") for kind in ("png", "svg")} | {
        f"proof-{name}.csv" for name in ("checks", "unchecked", "meshes", "values")
    } | {"proof.html", "proof.json"} == written
    page = (folder / "proof.html").read_text(encoding="utf-8")
    assert "Pulsating sphere" in page
    assert page.count("<svg") == 2


def test_its_document_keeps_the_schema_and_every_digit(few: Path) -> None:
    result = run("--json", "--out", "there", "--workers", "2")
    read = json.loads(result.stdout)
    schema = json.loads(files("studies.answer").joinpath("results.schema.json").read_text())
    jsonschema.validate(read, schema)
    assert read["facts"]["holds"] is True
    rows = list(csv.DictReader((few / "there" / "proof-values.csv").open(encoding="utf-8")))
    assert len(rows) == read["facts"]["values"]
    weights = [row for row in rows if row["check"] == "Weights of the sound power"]
    assert [float(row["known"]) for row in weights[:2]] == [0.000604486, 0.004730189]
    assert all(float(row["limit"]) == 1e-9 for row in weights)


def test_workers_do_not_change_it() -> None:
    one, two = (proof_tables(prove(silent, count, FEW)) for count in (1, 3))
    assert [table.rows for table in one.tables] == [table.rows for table in two.tables]


def test_a_broken_solver_is_found_out(few: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = WaveSolution.far_power
    monkeypatch.setattr(WaveSolution, "far_power", lambda self: 1.1 * whole(self))
    result = run()
    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    assert lines[2].startswith("2 of 10 checks FAIL: Pulsating sphere; Oscillating sphere.")
    first = next(line for line in lines if line.endswith("(1)"))
    assert first.startswith("Pulsating sphere")
    assert "FAILS" in first
    read = json.loads((few / "roundcast-proof" / "proof.json").read_text(encoding="utf-8"))
    assert read["facts"]["holds"] is False
    assert read["facts"]["checks_failed"] == 2


def test_a_far_field_too_loud_by_a_tenth_fails_every_check_of_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole = WaveSolution.far_field
    monkeypatch.setattr(WaveSolution, "far_field", lambda self, *given: 1.1 * whole(self, *given))
    for name in ("sphere met by waves", "echoes in water", "on a floor"):
        for check in FAMILIES[name]:
            if "far field" in check.name or "Echo" in check.name or "pulsating" in check.name:
                assert not check.run(check.cases[0]).held, check.name


def test_a_value_beyond_its_limit_or_not_there_fails() -> None:
    assert compare("case", "ab", [1.0, 2.0], [1.0, 2.1], 0.11).held
    assert not compare("case", "ab", [1.0, 2.0], [1.0, 2.1], 0.09).held
    assert not compare("case", "a", [np.nan], [1.0], 1.0).held
    assert compare("case", "ab", [1.0, 2.0], [1.0, 2.1], 0.09).worst == 1
    with pytest.raises(ValueError, match="case: 1 names, 2 found"):
        compare("case", "a", [1.0, 2.0], [1.0, 2.0], 1.0)


def test_levels_count_where_it_is_loud() -> None:
    known = np.array([1.0, 0.1, 0.01])
    compared = compare_levels("case", "abc", known * [1.0, 1.0, 2.0], known)
    assert compared.at == ("a", "b")
    assert compared.held


def test_every_check_has_a_source_and_a_name_of_its_own() -> None:
    checks = [check for family in FAMILIES.values() for check in family]
    assert len({check.name for check in checks}) == len(checks)
    assert all(check.source and check.cases for check in checks)
    assert {check.kind for check in checks} >= {WAVES, REST}


def test_charts_show_the_largest_difference_at_each_frequency() -> None:
    check = SPHERE_CHECKS[0]
    cases = tuple(
        compare(name, "abc", [0.01, -0.04, 0.02], np.zeros(3), 0.1, hertz)
        for name, hertz in (("high", 500.0), ("low", 100.0))
    )
    louder = compare("again", "a", [0.07], [0.0], 0.1, 100.0)
    no_pitch = compare("no pitch", "a", [0.09], [0.0], 0.1)
    proof = Proof(PROGRAM, (Proved("balls", check, (*cases, louder, no_pitch)),), LADDERS)
    [(name, (frequencies, off))] = proof.errors_by_frequency.items()
    assert name == "balls"
    assert frequencies.tolist() == [100.0, 500.0]
    assert off.tolist() == [0.07, 0.04]
    assert proof.range_hz == (100.0, 500.0)
    assert proof.worst_power_error_db == 0.0


def test_the_guide_falls_as_theory_promises() -> None:
    """From twice the largest error, with the fifth power of the elements per wavelength."""
    along, error_db = Proof(PROGRAM, (), LADDERS).expected_fall
    assert along.tolist() == [1.0, 4.0]
    start = 2.0 * 20.0 * np.log10(1.01)
    assert error_db == pytest.approx([start, start / 4.0**5])
    assert Proof(PROGRAM, (), LADDERS).orders == pytest.approx((3.0, 5.0))


def test_only_the_two_parts_of_the_page_are_written() -> None:
    ours = PAGE.read_text(encoding="utf-8")
    check = SPHERE_CHECKS[-1]
    compared = compare("ka 1", "ab", [1.0, 3.14159265], [1.0, 3.1], 0.05)
    rounding = compare("ka 1", "ab", [1.0, 2.0], [1.0, 2.0 + 1e-15], 0.05)
    proof = Proof(PROGRAM, tuple(Proved("a", check, (c,)) for c in (compared, rounding)), LADDERS)
    page = refreshed(ours, proof)
    near, exact = rows_on(page)
    assert list(near.values())[:6] == [check.name, "2", "3.1416", "3.1", "0.042", "0.05 dB"]
    assert list(exact.values())[2:6] == ["1", "1", "< 5e-04", "0.05 dB"]
    before, _, after = ours.partition(f"| {rows_on(ours)[0]['check']}")
    assert page.startswith(before)
    assert page.endswith(after.partition("<!-- end of checks -->")[2])
