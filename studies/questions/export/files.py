"""The files of an export beside its tables: a JSON document, its schema, the SOFA file.

A comment line would break plain readers of CSV, so the command's JSON document lists every file
with its SHA-256 and describes the columns. What has a place for a comment carries the mark
(program, version, fingerprint of the design). The formats bear a number: raise it, and the
schema's, when a reader of the old one would break. Band means against pyfar's third-octave
filters, a source with one echo, 400 Hz to 10 kHz: 0.06 dB apart at most at order 14, 0.23 dB at
order 6, the least that meets class 1; what the slopes allow, derived beforehand: 0.34 and 0.72 dB.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from studies.answer.exports import DECIMALS, named
from studies.answer.release import version
from studies.answer.schemas import SCHEMAS, schema_text
from studies.questions.export.sofa import sofa_bytes
from studies.questions.export.study import Directivity
from studies.questions.export.words import meaning

FORMAT = "roundcast directivity 1"


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


def directivity_document(found: Directivity) -> dict[str, Any]:
    """Everything about the far field, ready for JSON; `roundcast schema directivity` describes it.

    Levels and phases are lists of one list for each frequency or band, which holds one number for
    each elevation.
    """
    air = found.design.air
    return {
        "format": FORMAT,
        "schema": SCHEMAS["directivity"],
        "roundcast": version(),
        "design": named(found.design),
        "meaning": meaning(found),
        "air": {
            "temperature_c": air.temperature_c,
            "humidity_percent": air.humidity_percent,
            "pressure_pa": air.pressure_pa,
            "density_kg_m3": _listed(air.density),
            "speed_of_sound_m_s": _listed(air.speed),
        },
        "elevation_deg": _listed(found.directions.elevations),
        "frequency_hz": _listed(found.frequencies),
        "level_db": _listed(found.levels_db),
        "phase_deg": _listed(found.phases_deg),
        "bands": {
            "frequency_hz": _listed(found.band_centres),
            "level_db": _listed(found.band_levels_db),
        },
    }


def directivity_json(found: Directivity) -> bytes:
    """Write the document as JSON, in ASCII; the same directivity gives the same bytes."""
    return (json.dumps(directivity_document(found), allow_nan=False) + "\n").encode("ascii")


def _listed(numbers: np.ndarray | float) -> Any:
    return (np.round(numbers, DECIMALS) + 0.0).tolist()
