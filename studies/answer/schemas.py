"""The JSON Schemas of what roundcast reads and writes."""

from __future__ import annotations

import json
from importlib import resources

SCHEMAS = {"results": "results.schema.json", "directivity": "directivity.schema.json"}
"""File names in this package, by what they describe."""


def schema_text(what: str) -> str:
    """Return a JSON Schema (draft 2020-12) as text.

    Parameters
    ----------
    what : {"design", "results", "directivity"}
        The design file, the JSON document of every command, or the directivity that `roundcast
        export` writes.
    """
    if what == "design":
        from studies.design import design_schema

        return json.dumps(design_schema(), indent=1) + "\n"
    return resources.files("studies.answer").joinpath(SCHEMAS[what]).read_text(encoding="utf-8")
