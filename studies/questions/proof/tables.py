"""What the program is held against: value, reference, difference, limit, source, verdict."""

from __future__ import annotations

from dispersion.waves import DEFAULT_SETTINGS
from studies.answer.columns import number, text
from studies.answer.evidence import Evidence
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.questions.proof.cases.check import LEVEL_TOLERANCE_DB, Compared
from studies.questions.proof.study import UNCHECKED, Proof, Proved
from studies.questions.proof.words import answer, place_of

HOLDS, FAILS = "holds", "FAILS"
IN_FULL = "as text, so that no digit is lost"


def proof_tables(proof: Proof) -> Findings:
    """Put every check beside its reference; what fails comes first."""
    return Findings(
        command="proof",
        design=proof.design,
        answer=answer(proof),
        facts=tuple(_facts(proof)),
        tables=(_checks(proof), _unchecked(), _meshes(proof), _values(proof)),
        evidence=_evidence(proof),
    )


def _facts(proof: Proof) -> list[Fact]:
    return [
        Fact("holds", not proof.failed, "whether every check holds"),
        Fact("checks", len(proof.proved), "number of checks"),
        Fact("checks_failed", len(proof.failed), "number of checks that fail"),
        Fact("values", proof.values, "number of values compared"),
        Fact("worst_share_of_limit", proof.worst_share_of_limit, "largest difference / limit"),
    ]


def _checks(proof: Proof) -> Table:
    columns = (
        TableColumn("part", "Part:", "which part of the program is tried"),
        text("check", "check", "what the program is held against"),
        TableColumn("values", "values", "number of values compared"),
        text("where", "", "the value nearest to its limit", shown=False),
        *_numbers(),
        text("unit", "unit", "unit of the four numbers; empty for plain numbers"),
        number("share_of_limit", "", "difference over limit; above 1 the check fails", shown=False),
        text("verdict", "verdict", "whether every value is within its limit"),
        text("source", "", "who published the numbers", shown=False),
        TableColumn("source_mark", "source", "no value: place of the source's number in print"),
    )
    return Table(
        "checks",
        "What it is held against: of each check the value nearest to its limit",
        columns,
        tuple(_check_row(one) for one in proof.failures_first),
        "every single value stands in proof-values.csv",
        note_key="source",
        mark_key="source_mark",
        group_key="part",
    )


def _check_row(one: Proved) -> tuple[Value, ...]:
    case, check = one.nearest, one.check
    return (
        check.kind,
        check.name,
        one.values,
        place_of(case),
        *_four(case, case.worst),
        check.unit,
        one.share_of_limit,
        HOLDS if one.held else FAILS,
        check.source,
        None,
    )


def _unchecked() -> Table:
    columns = (
        text("what", "what", "what nothing here proves"),
        text("instead", "what stands in its place", "why, and what to do about it"),
    )
    return Table("unchecked", "What has not been checked", columns, UNCHECKED)


def _meshes(proof: Proof) -> Table:
    columns = (
        text("field", "field", "what was solved"),
        number("elements_per_wavelength", "elements per\nwavelength", "along the meridian"),
        TableColumn("unknowns", "unknowns", "size of the system"),
        number("error_percent", "error, %", "largest error of the far field / maximum, %", 4),
    )
    rows = tuple(
        (ladder.name, float(per), int(unknowns), 100.0 * float(error))
        for ladder in proof.ladders
        for per, unknowns, error in zip(
            ladder.per_wavelength, ladder.unknowns, ladder.error, strict=True
        )
    )
    return Table("meshes", "Finer and finer meshes", columns, rows, scope="data")


def _values(proof: Proof) -> Table:
    columns = (
        text("check", "check", "what the program is held against"),
        text("case", "case", "which case of it"),
        text("at", "at", "what the value is, or where it is taken"),
        number("frequency_hz", "Hz", "of solids without a size: as if of 100 mm radius, Hz"),
        *_numbers(),
        text("unit", "unit", "unit of the four numbers; empty for plain numbers"),
        number("share_of_limit", "share", "difference over limit; above 1 the check fails", 3),
    )
    rows = tuple(
        (
            one.check.name,
            case.case,
            case.at[i],
            None if case.hertz is None else float(case.hertz[i]),
            *_four(case, i),
            one.check.unit,
            float(case.share_of_limit[i]),
        )
        for one in proof.proved
        for case in one.cases
        for i in range(len(case.at))
    )
    return Table("values", "Every value", columns, rows, scope="bulk")


def _numbers() -> tuple[TableColumn, ...]:
    return (
        TableColumn("found", "found", f"by the program, {IN_FULL}", _five),
        TableColumn("known", "known", f"as published or exact, {IN_FULL}", _five),
        TableColumn("difference", "differ-\nence", f"found less known, {IN_FULL}", _two),
        TableColumn("limit", "limit", f"largest difference allowed, {IN_FULL}", _two),
    )


def _four(case: Compared, i: int) -> tuple[str, ...]:
    numbers = (case.found[i], case.known[i], case.difference[i], case.allowed[i])
    return tuple(f"{value + 0.0:.12g}" for value in numbers)


def _five(words: str) -> str:
    return f"{float(words):.5g}"


def _two(words: str) -> str:
    return f"{float(words):.2g}"


def _evidence(proof: Proof) -> Evidence | None:
    if proof.range_hz is None:
        return None
    lowest_hz, highest_hz = proof.range_hz
    return Evidence(
        method="waves",
        solved=0,
        lowest_hz=lowest_hz,
        highest_hz=highest_hz,
        unknowns_lowest=0,
        unknowns_highest=0,
        worst_power_error_db=proof.worst_power_error_db,
        settings=DEFAULT_SETTINGS.summary(),
        remarks=(
            "the same checks stand in tests/validation, with more that need other packages",
            "limits come from the digits that are printed, or from the promise of"
            f" {LEVEL_TOLERANCE_DB:g} dB; none was chosen after the result",
        ),
        account="the program's own default settings, unless a source says otherwise",
        reference="the reference of each check",
    )
