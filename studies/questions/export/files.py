"""The files of an export beside its tables: bytes by name."""

from __future__ import annotations

from studies.answer.schemas import SCHEMAS, schema_text
from studies.questions.export.plain import directivity_json
from studies.questions.export.sofa import sofa_bytes
from studies.questions.export.study import Directivity


def directivity_files(found: Directivity) -> dict[str, bytes]:
    """Make the JSON document with its schema and, if it is wanted, the SOFA file.

    Returns
    -------
    dict of str to bytes
        ``export-directivity.json``, ``directivity.schema.json``, ``export-directivity.sofa``.
    """
    files = {
        "export-directivity.json": directivity_json(found),
        SCHEMAS["directivity"]: schema_text("directivity").encode("utf-8"),
    }
    if found.as_sofa:
        files["export-directivity.sofa"] = sofa_bytes(found)
    return files
