"""Which version this is, and the mark that it leaves in files."""

from __future__ import annotations

from importlib import metadata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from studies.answer.table import Subject


def version() -> str:
    """Version of the installed program."""
    try:
        return metadata.version("roundcast")
    except metadata.PackageNotFoundError:
        return "not installed"


def mark_of(design: Subject) -> str:
    """One line of plain ASCII that ties a file to its design, for formats that take a comment."""
    return f"roundcast {version()}, design SHA-256 {design.fingerprint}"
