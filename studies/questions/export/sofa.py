"""An exported directivity as SOFA (AES69, convention FreeFieldDirectivityTF).

Every file is verified by sofar before it is written, read back, verified again and compared with
what went in; only then its bytes are let out. They are the same for the same input and the same
versions of sofar, netCDF and HDF5: the dates that the standard demands are fixed at `NO_DATE`,
which means that none is stated.
"""

from __future__ import annotations

import importlib.util
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from studies.answer.release import mark_of, version
from studies.questions.export.study import Directivity
from studies.questions.export.words import meaning

if TYPE_CHECKING:
    from sofar import Sofa

CONVENTION, CONVENTION_VERSION = "FreeFieldDirectivityTF", "1.1"
NO_DATE = "1970-01-01 00:00:00"
DISTANCE = 1.0
"""Nominal radius of the receivers, metres: the pressure is that of the far field."""
NOT_OURS = (
    "GLOBAL_Musician",
    "EmitterDescriptions",
    "MIDINote",
    "Description",
    "SourceTuningFrequency",
)
"""Optional attributes of the convention that are left out: most are for musical instruments."""
COMPARED = ("N", "ReceiverPosition", "Data_Real", "Data_Imag")


class SofaError(ValueError):
    """A SOFA file was asked for and cannot be written; the message gives the remedy."""


def require_sofar() -> None:
    """Make sure, before any work, that the package for SOFA files is there.

    Raises
    ------
    SofaError
        If it is not.
    """
    if importlib.util.find_spec("sofar") is None:
        raise SofaError(
            "the SOFA file needs the package sofar, which is not installed: pip install sofar (or,"
            ' in a copy of this repository, pip install ".[sofa]"), or leave that file out with'
            " --no-sofa"
        )


def sofa_bytes(found: Directivity) -> bytes:
    """Write, verify, read back and compare one SOFA file.

    Raises
    ------
    SofaError
        If sofar is not installed.
    ValueError
        From sofar, if the file does not conform to AES69.
    RuntimeError
        If what is read back is not what was written.
    """
    require_sofar()
    import sofar

    sofa = sofa_of(found)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "directivity.sofa"
        sofar.write_sofa(str(path), sofa)  # verifies first
        _compare(sofa, sofar.read_sofa(str(path), verify=True, verbose=False))
        return path.read_bytes()


def sofa_of(found: Directivity) -> Sofa:
    """Put a directivity into a SOFA object: one measurement, a receiver for each direction."""
    import sofar

    sofa = sofar.Sofa(CONVENTION, version=CONVENTION_VERSION)
    for name in NOT_OURS:
        sofa.delete(name)
    for name, words in _about(found).items():
        setattr(sofa, f"GLOBAL_{name}", words)
    sofa.SourcePosition_Reference = "Middle of the baffle's upper face, on the axis"
    sofa.SourceView_Reference = "Horizontal, towards the first post (azimuth 0)"
    sofa.SourceUp_Reference = "Along the axis, from the driver to the reflector"
    numbers, azimuths = found.directions.each()
    elevations = found.directions.elevations[numbers]
    sofa.ReceiverPosition = np.column_stack(
        (azimuths, elevations, np.full(azimuths.size, DISTANCE))
    )
    sofa.N = found.frequencies
    everywhere = found.in_directions().T[None]
    sofa.Data_Real, sofa.Data_Imag = everywhere.real.copy(), everywhere.imag.copy()
    return sofa


def _about(found: Directivity) -> dict[str, str]:
    """Global attributes of the file."""
    design = found.design
    given = {"AuthorContact": found.author, "License": found.licence}
    ways = " and ".join(way.name for way in design.ways)
    return {
        "Title": design.title,
        "Comment": " ".join(meaning(found).values()),
        "History": f"{mark_of(design)}, from {design.path.name}. Dates are not stated.",
        "Description": "Computed directivity of one loudspeaker, "
        + ("the same all round." if found.around is None else f"{_with(found)}."),
        "Origin": "Simulation",
        "SourceType": "Loudspeaker that radiates all round: driver facing up, reflector above it",
        "SourceManufacturer": "Built by its owner",
        "EmitterDescription": f"One emitter at the source for all that sounds: {ways}",
        "DatabaseName": "None",
        "ApplicationName": "roundcast",
        "ApplicationVersion": version(),
        "DateCreated": NO_DATE,
        "DateModified": NO_DATE,
        **{name: words for name, words in given.items() if words},
    }


def _with(found: Directivity) -> str:
    """What makes it differ round the column."""
    kinds = (("posts and all", found.posted), ("as it hangs", found.askew))
    return ", ".join(words for words, there in kinds if there)


def _compare(written: Sofa, read: Sofa) -> None:
    """Raise RuntimeError if what was read is not what was written."""
    for name in COMPARED:
        # Reading drops trailing dimensions of one, as it does with a single frequency.
        was, came = np.squeeze(getattr(written, name)), np.squeeze(getattr(read, name))
        if not np.array_equal(was, came):
            raise RuntimeError(f"{name} of the SOFA file is not what was written")
    for name in ("GLOBAL_Title", "GLOBAL_History", "GLOBAL_Comment"):
        if getattr(written, name) != getattr(read, name):
            raise RuntimeError(f"{name} of the SOFA file is not what was written")
