"""Which version this is, and the mark that it leaves in files."""

from __future__ import annotations

from importlib import metadata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from studies.answer.table import Subject


def version() -> str:
    """Return the version of the installed program, "not installed" in a bare checkout."""
    try:
        return metadata.version("roundcast")
    except metadata.PackageNotFoundError:
        return "not installed"


def mark_of(design: Subject) -> str:
    """Return the comment that a file carries where its format takes one.

    One line of ASCII: version of the program and fingerprint of the design.
    """
    return f"roundcast {version()}, design SHA-256 {design.fingerprint}"
