"""Findings to files: documented, finite, complete or not there at all."""

import csv
import io
import json
import math
import os
from dataclasses import replace
from pathlib import Path

import pytest

from dispersion.solvers import solve_waves
from studies.answer import exports
from studies.answer.exports import (
    ExportError,
    all_or_nothing,
    csv_files,
    csv_text,
    document,
    json_text,
    make_folder,
    require_folder,
    write_files,
    write_text,
)
from studies.answer.table import Fact, Findings, Table, TableColumn
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


def test_a_file_is_replaced_whole_or_left_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    write_text(path, "old\n")

    def interrupted(source: object, target: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(exports.os, "replace", interrupted)
        with pytest.raises(KeyboardInterrupt):
            write_text(path, "new\n")
    assert path.read_text() == "old\n"
    assert [file.name for file in tmp_path.iterdir()] == ["a.csv"]


def test_what_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match=r"missing.*cannot be written \(No such file"):
        write_text(tmp_path / "missing" / "a.csv", "text")
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(ExportError, match="is a file, not a folder: name another with --out"):
        require_folder(blocked / "results")
    with pytest.raises(ExportError, match="cannot be written"):
        make_folder(blocked / "results")


def test_a_folder_that_does_not_exist_yet_is_fine(tmp_path: Path) -> None:
    require_folder(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission_is_refused(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(ExportError, match="no permission to write there"):
        require_folder(tmp_path / "results")


def test_all_files_arrive_together(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "results"
    with all_or_nothing(folder) as stage:
        (stage / "a.txt").write_text("a")
        (stage / "b.txt").write_text("b")
        assert not (folder / "a.txt").exists()
    assert sorted(file.name for file in folder.iterdir()) == ["a.txt", "b.txt"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_an_interruption_leaves_no_file_and_no_new_folder(
    tmp_path: Path, error: type[BaseException]
) -> None:
    with pytest.raises(error), all_or_nothing(tmp_path / "new" / "results") as stage:
        (stage / "a.txt").write_text("half")
        raise error
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_leaves_an_old_folder_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("old")
    with pytest.raises(KeyboardInterrupt), all_or_nothing(tmp_path) as stage:
        (stage / "a.txt").write_text("new")
        raise KeyboardInterrupt
    assert [(file.name, file.read_text()) for file in tmp_path.iterdir()] == [("a.txt", "old")]


def test_a_full_disk_is_told_as_such(tmp_path: Path) -> None:
    with (
        pytest.raises(ExportError, match=r"results cannot be written \(No space left"),
        all_or_nothing(tmp_path / "results"),
    ):
        raise OSError(28, "No space left on device")


def test_section_has_no_evidence_to_show() -> None:
    path = EXAMPLES / "reading_room.toml"
    design = parse_design(path.read_text(encoding="utf-8"), path)
    assert document(section_tables(design))["evidence"] is None
