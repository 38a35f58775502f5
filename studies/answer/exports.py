"""Findings to files: a CSV file for each table, one JSON document for all of it.

Keys carry their units and are described in the JSON document. Numbers that do not exist (not
computed, infinite) are null in JSON and empty in CSV. A file appears complete or not at all.

Every file can be traced to its design. CSV has no place for a comment that all readers pass over,
so the JSON document beside it lists every file of the folder with its SHA-256, and the columns of
every CSV file; formats that have such a place carry the mark of `studies.answer.release` as well.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import json
import math
import os
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from studies.answer.evidence import Evidence
from studies.answer.release import version
from studies.answer.table import Findings, Subject, Table

FORMAT = "roundcast results 1"
"""Kind and generation of the document; `roundcast schema results` describes it."""
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the beginning of a formula, and runs."""
DECIMALS = 6
"""Decimals kept of every number: a millionth of its unit."""


class ExportError(ValueError):
    """A folder or file that cannot be written; the message names it."""


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
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(column.key for column in table.columns)
    for row in table.rows:
        writer.writerow(_cell(value) for value in row)
    return text.getvalue()


def plain_cell(value: Any) -> Any:
    """Return a value that no spreadsheet runs as a formula.

    Words that begin like a formula get an apostrophe in front; numbers stay what they are.
    """
    if not isinstance(value, str):
        return value
    words = value.replace("\r", " ")  # begins a row, for most readers
    if not value.startswith(FORMULA_SIGNS):
        return words
    try:
        float(value)
    except ValueError:
        return f"'{words}"
    return words


def csv_files(findings: Findings) -> dict[str, bytes]:
    """Write every table as the bytes of a CSV file, by file name."""
    return {
        _csv_name(findings, table): csv_text(table).encode("utf-8") for table in findings.tables
    }


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a folder, which is made if need be: all of them or none.

    Raises
    ------
    ExportError
        If the folder cannot be written; it is then as it was.
    """
    with all_or_nothing(folder) as stage:
        for name, content in files.items():
            (stage / name).write_bytes(content)


def write_text(path: Path, text: str) -> Path:
    """Write a file, complete or not at all.

    Raises
    ------
    ExportError
        If it cannot be written.
    """
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        unfinished.write_text(text, encoding="utf-8", newline="")
        unfinished.replace(path)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
    return path


def require_folder(folder: Path) -> None:
    """Make sure, before any work, that a folder can be made or written into.

    Raises
    ------
    ExportError
        If it cannot.
    """
    existing = folder.absolute()
    while not existing.exists() and existing != existing.parent:
        existing = existing.parent
    if not existing.is_dir():
        raise ExportError(f"{folder}: {existing} is a file, not a folder: name another with --out")
    if not os.access(existing, os.W_OK | os.X_OK):
        raise ExportError(f"{folder}: no permission to write there: name another with --out")


def make_folder(folder: Path) -> None:
    """Make a folder, unless it is there.

    Raises
    ------
    ExportError
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refused(folder, error) from error


@contextlib.contextmanager
def all_or_nothing(folder: Path) -> Iterator[Path]:
    """Collect files beside a folder, and move them into it once all of them are there.

    Yields
    ------
    Path
        An empty folder to write into. If anything goes wrong it is removed with all it holds.

    Raises
    ------
    ExportError
        If the folder cannot be written.
    """
    try:
        new = _missing(folder)
        folder.mkdir(parents=True, exist_ok=True)
        stage = tempfile.TemporaryDirectory(prefix=".unfinished-", dir=folder)
    except OSError as error:
        raise _refused(folder, error) from error
    try:
        with stage as name:
            yield Path(name)
            for file in sorted(Path(name).iterdir()):
                file.replace(folder / file.name)
    except BaseException as error:
        for made in new:
            with contextlib.suppress(OSError):
                made.rmdir()
        if isinstance(error, OSError):
            raise _refused(folder, error) from error
        raise


def _missing(folder: Path) -> list[Path]:
    """Folders that will have to be made, innermost first."""
    return [part for part in (folder, *folder.parents) if not part.exists()]


def _refused(path: Path, error: OSError) -> ExportError:
    reason = error.strerror or str(error)
    return ExportError(f"{path} cannot be written ({reason}): name another place")


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


def _cell(value: Any) -> Any:
    cleaned = plain_cell(_clean(value))
    if isinstance(cleaned, bool):
        return "true" if cleaned else "false"
    return "" if cleaned is None else cleaned
