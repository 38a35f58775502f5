"""Where an answer goes, and in which form. Loads nothing heavy."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """Where an answer goes, and in which form.

    Attributes
    ----------
    out : Path or None
        Folder for the results; named after the design and the command if None.
    as_json : bool
        Print the JSON document in place of tables.
    dated : bool
        Put today's date on the page; otherwise the same input gives the same bytes.
    asked : str
        The options that change the answer, as on the command line.
    """

    out: Path | None = None
    as_json: bool = False
    dated: bool = False
    asked: str = ""


@dataclass(frozen=True, kw_only=True)
class DesignDelivery(Delivery):
    """Where an answer about a design file goes, in which form, and which file it is.

    Attributes
    ----------
    path : Path
        The design file.
    allow_outside : bool
        Whether files that the design names may lie outside of its folder.
    """

    path: Path
    allow_outside: bool = False
