"""Findings to files: documented, finite, complete or not there at all."""

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from dispersion.solvers import solve_waves
from studies.answer.exports import (
    csv_files,
    csv_text,
    document,
    json_text,
)
from studies.answer.table import Fact, Findings, Table, TableColumn
from studies.answer.writing import write_files
from studies.design import parse_design
from studies.questions.section.tables import section_tables
from studies.questions.spread.study import spread
from studies.questions.spread.tables import spread_tables

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"


@pytest.fixture(scope="module")
def findings() -> Findings:
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    narrow = text.replace('band = ["100 Hz", "16 kHz"]', "band = [630, 800]")
    return spread_tables(spread(parse_design(narrow, path), solve_waves, fineness=4))


def odd_table() -> Table:
    columns = (
        TableColumn("name", "name", "what it is"),
        TableColumn("size_mm", "size", "size, mm"),
        TableColumn("fits", "fits", "whether it fits"),
        TableColumn("count", "count", "how many"),
    )
    rows = (
        ("plain", 0.1 + 0.2, True, 3),
        ("lacking", None, None, None),
        ("endless, or no number", math.inf, False, 0),
        ('quoted "so"', math.nan, True, 1),
    )
    return Table("odd", "Odd values", columns, rows)


def test_json_has_documented_columns_and_finite_numbers(findings: Findings) -> None:
    read = json.loads(json_text(findings))
    assert read["command"] == "spread"
    assert read["design"]["title"] == findings.design.title
    assert read["design"]["fingerprint"] == findings.design.fingerprint
    assert read["roundcast"]
    assert set(read["facts"]) == set(read["fact_descriptions"])
    assert read["tables"]["bands"]["rows"]
    for table in read["tables"].values():
        assert all(table["columns"].values())
        for row in table["rows"]:
            assert set(row) == set(table["columns"])
    evidence = read["evidence"]
    assert evidence["method"] == "waves"
    assert evidence["unknowns_highest"] >= evidence["unknowns_lowest"] > 0
    assert evidence["settings"]["unknowns_per_wavelength"] > 0


def test_json_refuses_nothing_and_nulls_what_is_no_number(findings: Findings) -> None:
    facts = (Fact("limit_hz", math.nan, "a limit, Hz"), Fact("margin_db", math.inf, "a margin, dB"))
    read = document(replace(findings, facts=facts, tables=(odd_table(),)))
    assert read["facts"] == {"limit_hz": None, "margin_db": None}
    assert [row["size_mm"] for row in read["tables"]["odd"]["rows"]] == [0.3, None, None, None]
    assert [row["fits"] for row in read["tables"]["odd"]["rows"]] == [True, None, False, True]


def test_csv_reads_back_and_is_empty_where_there_is_no_number() -> None:
    rows = list(csv.DictReader(io.StringIO(csv_text(odd_table()))))
    assert [row["size_mm"] for row in rows] == ["0.3", "", "", ""]
    assert [row["fits"] for row in rows] == ["true", "", "false", "true"]
    assert rows[2]["name"] == "endless, or no number"
    assert rows[3]["name"] == 'quoted "so"'


def test_long_tables_go_to_csv_only(findings: Findings, tmp_path: Path) -> None:
    write_files(tmp_path, csv_files(findings))
    written = {path.name for path in tmp_path.iterdir()}
    assert {"spread-bands.csv", "spread-curves.csv"} <= written
    assert "curves" not in document(findings)["tables"]
    lines = (tmp_path / "spread-curves.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(lines))
    frequencies = findings.table("curves").values("frequency_hz")
    assert [float(row["frequency_hz"]) for row in rows] == pytest.approx(frequencies, abs=1e-6)


def test_the_same_findings_give_the_same_bytes(findings: Findings) -> None:
    files = csv_files(findings)
    assert csv_files(findings) == files
    assert json_text(findings, files) == json_text(findings, files)


def test_section_has_no_evidence_to_show() -> None:
    path = EXAMPLES / "reading_room.toml"
    design = parse_design(path.read_text(encoding="utf-8"), path)
    assert document(section_tables(design))["evidence"] is None
