"""Findings to files: a CSV file for each table, one JSON document for all of it.

Keys carry their units and are described in the JSON document. Numbers that do not exist (not
computed, infinite) are null in JSON and empty in CSV.

Every file can be traced to its design. CSV has no place for a comment that all readers pass over,
so the JSON document beside it lists every file of the folder with its SHA-256, and the columns of
every CSV file; formats that have such a place carry the mark of `studies.answer.release` as well.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

from studies.answer.evidence import Evidence
from studies.answer.release import version
from studies.answer.table import Findings, Subject, Table

FORMAT = "roundcast results 1"
"""Kind and generation of the document; `roundcast schema results` describes it."""
ENDS_A_CELL = frozenset(',;\t"\r\n\v\f\x1c\x1d\x1e\x85\u2028\u2029')
"""What ends a cell or a row for one reader or another."""
FORMULA = re.compile(
    r"(^|[;\t\n\v\f\x1c-\x1e\x85\u2028\u2029])"
    r"(?=[\s\x00-\x1f\ufeff\u200b-\u200f\u202a-\u202e]*[=+\-@\uff1d\uff0b\uff0d\uff20])"
)
"""Where a spreadsheet may take what follows for a formula, and run it.

At the beginning, or after what one with another separator takes for the end of a cell; a sign in
any width, past blanks and marks that are not seen.
"""
DECIMALS = 6
"""Decimals kept of every number: a millionth of its unit."""


def named(design: Subject) -> dict[str, str]:
    """Return title, file and fingerprint of a design, as every JSON document names it."""
    return {
        "title": design.title,
        "file": str(design.path),
        "fingerprint": design.fingerprint,
    }


def document(findings: Findings, files: Mapping[str, bytes] | None = None) -> dict[str, Any]:
    """Everything that was found, ready for JSON.

    Parameters
    ----------
    findings : Findings
    files : mapping of str to bytes, optional
        What is written beside the document, by file name.

    Returns
    -------
    dict
        ``format``, ``roundcast`` (version), ``command``, ``design`` (title, file, fingerprint),
        ``answer`` (sentences), ``facts`` (single numbers) with ``fact_descriptions``, ``tables``
        (by name: title, ``columns`` with a description for each key, ``rows``), ``evidence``,
        ``cautions``, ``files`` (by name: ``sha256``, and ``columns`` of CSV files). Tables that
        are long are left to their CSV files.
    """
    return {
        "format": FORMAT,
        "roundcast": version(),
        "command": findings.command,
        "design": named(findings.design),
        "answer": list(findings.answer),
        "facts": {fact.key: _clean(fact.value) for fact in findings.facts},
        "fact_descriptions": {fact.key: fact.description for fact in findings.facts},
        "tables": {t.name: _table(t) for t in findings.tables if t.scope != "bulk"},
        "evidence": _evidence(findings.evidence),
        "cautions": list(findings.cautions),
        "files": _listed(findings, files or {}),
    }


def json_text(findings: Findings, files: Mapping[str, bytes] | None = None) -> str:
    """Write findings as JSON text, see `document`; in ASCII, so that any pipe carries it."""
    return json.dumps(document(findings, files), indent=1, allow_nan=False) + "\n"


def csv_text(table: Table) -> str:
    """Write a table as CSV: a line of keys, then one line for each row.

    Words that a spreadsheet would run as a formula get an apostrophe in front (`plain_cell`);
    numbers are written as they are. The JSON document holds all words unchanged.
    """
    return csv_lines([[column.key for column in table.columns], *table.rows])


def csv_lines(rows: Iterable[Iterable[Any]]) -> str:
    """Write rows of words and numbers as CSV.

    Words that hold what some reader takes for the end of a cell or a row are quoted.
    """
    return "".join(",".join(_quoted(_cell(value)) for value in row) + "\n" for row in rows)


def plain_cell(value: Any) -> Any:
    """Return a value that no spreadsheet runs as a formula.

    Words get an apostrophe wherever a reader may see a formula begin (`FORMULA`); numbers stay what
    they are.
    """
    if not isinstance(value, str):
        return value
    words = value.replace("\r", " ")  # begins a row, for most readers
    try:
        float(words)
    except ValueError:
        return FORMULA.sub(r"\1'", words)
    return words


def csv_files(findings: Findings) -> dict[str, bytes]:
    """Write every table as the bytes of a CSV file, by file name."""
    return {
        _csv_name(findings, table): csv_text(table).encode("utf-8") for table in findings.tables
    }


def _csv_name(findings: Findings, table: Table) -> str:
    return f"{findings.command}-{table.name}.csv"


def _listed(findings: Findings, files: Mapping[str, bytes]) -> dict[str, Any]:
    tables = {_csv_name(findings, table): table for table in findings.tables}
    listed: dict[str, Any] = {}
    for name, content in files.items():
        listed[name] = {"sha256": hashlib.sha256(content).hexdigest()}
        if name in tables:
            listed[name]["columns"] = _columns(tables[name])
    return listed


def _columns(table: Table) -> dict[str, str]:
    return {column.key: column.description for column in table.columns}


def _table(table: Table) -> dict[str, Any]:
    return {
        "title": table.title,
        "columns": _columns(table),
        "rows": [
            {key: _clean(value) for key, value in record.items()} for record in table.records()
        ],
    }


def _evidence(evidence: Evidence | None) -> dict[str, Any] | None:
    if evidence is None:
        return None
    return {
        "method": evidence.method,
        "designs_solved": evidence.solved,
        "lowest_hz": _clean(evidence.lowest_hz),
        "highest_hz": _clean(evidence.highest_hz),
        "unknowns_lowest": evidence.unknowns_lowest,
        "unknowns_highest": evidence.unknowns_highest,
        "worst_power_error_db": _clean(evidence.worst_power_error_db),
        "settings": {key: _clean(value) for key, value in evidence.settings.items()},
        "remarks": list(evidence.remarks),
    }


def _clean(value: Any) -> Any:
    """Round a number to `DECIMALS`; None for one that is not finite."""
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None
    return value


def _cell(value: Any) -> str:
    cleaned = plain_cell(_clean(value))
    if isinstance(cleaned, bool):
        return "true" if cleaned else "false"
    return "" if cleaned is None else str(cleaned)


def _quoted(cell: str) -> str:
    doubled = cell.replace('"', '""')
    return f'"{doubled}"' if ENDS_A_CELL.intersection(cell) else cell
