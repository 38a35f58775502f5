"""The page of proof: everything holds, a broken solver is found out, the documentation is true."""

import csv
import json
import re
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result

from dispersion.waves import WaveSolution
from studies import cli
from studies.questions.proof import question
from studies.questions.proof.cases import laws, meshes, monopoles, rings, standards, volumes
from studies.questions.proof.cases.check import REST, WAVES, Check, compare, compare_levels
from studies.questions.proof.cases.checks import FAMILIES
from studies.questions.proof.cases.sphere_sources import CHECKS as SPHERE_CHECKS
from studies.questions.proof.study import DEFAULT_ELEMENTS, UNCHECKED, error_by_frequency, prove
from studies.questions.proof.tables import proof_tables

ROOT = Path(__file__).resolve().parents[4]
FEW = {"sources on a sphere": SPHERE_CHECKS[-2:], "air and bands": standards.CHECKS}
SLOW_TO_COMPILE = (*monopoles.CHECKS, *laws.CHECKS, *rings.CHECKS)


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
    assert len({check.name for check in checks}) == len(checks) > 50
    assert all(check.source and check.cases for check in checks)
    assert {check.kind for check in checks} >= {WAVES, REST}


def test_charts_show_each_frequency_once() -> None:
    proof = prove(silent, 2, FEW)
    frequencies, off = error_by_frequency(proof)["sources on a sphere"]
    assert len(frequencies) == 5
    assert np.all(np.diff(frequencies) > 0)
    assert np.all((off >= 0) & (off < 0.1))
    assert DEFAULT_ELEMENTS == 1.5
    assert len(proof.ladders) == len(meshes.LADDERS)


def documented() -> dict[str, list[str]]:
    """Rows of the table in DEVELOPERS.md, by the name of the check."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = page.partition("## What has been proved\n")[2].partition("\n## ")[0]
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in section.splitlines()
        if line.startswith("| ") and not line.startswith("| check")
    ]
    return {name: cells for name, *cells in rows}


def test_the_documentation_names_every_check_and_what_is_unchecked() -> None:
    checks = [check for family in FAMILIES.values() for check in family]
    assert list(documented()) == [check.name for check in checks]
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for what, _ in UNCHECKED:
        assert what in page, what


QUICK = [
    check
    for family in FAMILIES.values()
    for check in family
    if check not in SLOW_TO_COMPILE and not re.search("side|beside|Echo|mirrored|drawn", check.name)
]


@pytest.mark.parametrize("check", QUICK, ids=lambda check: check.name)
def test_the_documentation_is_true(check: Check) -> None:
    assert as_documented(check)


@pytest.mark.slow
@pytest.mark.parametrize(
    "check",
    [c for family in FAMILIES.values() for c in family if c not in QUICK],
    ids=lambda check: check.name,
)
def test_the_rest_of_the_documentation_is_true(check: Check) -> None:
    assert as_documented(check)


def as_documented(check: Check) -> bool:
    """Tell whether a row has the count, the limit and the source, and what was found there."""
    values, found, known, difference, limit, source = documented()[check.name]
    cases = [check.run(case) for case in check.cases]
    worst = max(cases, key=lambda case: case.share_of_limit.max())
    assert int(values) == sum(len(case.at) for case in cases)
    assert limit == f"{worst.allowed[worst.worst]:.2g} {check.unit}".strip()
    assert source == check.source
    assert known in {f"{value:.5g}" for case in cases for value in case.known}
    assert float(found) - float(known) == pytest.approx(
        float(difference), abs=1e-4 * abs(float(known)) + 0.05 * abs(float(difference))
    )
    # Two digits are printed, and the last bits differ from machine to machine.
    share = abs(float(difference)) / float(limit.split()[0])
    return share == pytest.approx(worst.share_of_limit.max(), rel=0.1, abs=0.01)


def test_solids_are_what_the_handbook_says() -> None:
    assert all(check.run(None).held for check in volumes.CHECKS)
