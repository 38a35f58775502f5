"""Files that a file names: beside it or below, unless the user allows more.

A design may come from anybody. Whoever asks a question about it should not thereby open files
from all over the disk, the start of which a message might show. Where a design's text is written
into another folder, the files that it names come along, under plain names.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from studies.design.design import Design

FLAG = "--allow-outside"


class OutsideError(ValueError):
    """A file named by another that lies outside of its folder; the message holds the remedy."""


def file_beside(folder: Path, name: str, allow_outside: bool = False) -> Path:
    """Return the path of a file that another file names.

    Parameters
    ----------
    folder : Path
        Of the file that names it.
    name : str
        As written there.
    allow_outside : bool
        Whether it may lie anywhere.

    Raises
    ------
    OutsideError
        If it lies outside of the folder once links are followed, and that is not allowed.
    """
    path = folder / name
    if allow_outside:
        return path
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError) as error:  # links in a circle, a name with a NUL
        raise OutsideError(f"{name!r} cannot be read ({error}): correct the name") from None
    if not inside:
        raise OutsideError(
            f"{name!r} lies outside the folder of the file that names it: copy it there, or, if"
            f" you trust that file, allow it with {FLAG}"
        )
    return path


def names_beside(design: Design, own: str) -> dict[str, str]:
    """Choose a file name for every file that a design names, to copy them into one folder.

    Parameters
    ----------
    design : Design
    own : str
        Name of the design's own file in that folder.

    Returns
    -------
    dict of str to str
        By the name as written in the design: a file name without a folder, no two the same.
    """
    beside: dict[str, str] = {}
    for name, _ in design.companions:
        plain = PurePosixPath(name.replace("\\", "/")).name
        while plain in (own, *beside.values()) and name not in beside:
            plain = f"other_{plain}"
        beside.setdefault(name, plain)
    return beside


def files_beside(design: Design, beside: Mapping[str, str]) -> dict[str, bytes]:
    """Read the files that a design names: bytes by the file name that `names_beside` chose."""
    return {plain: (design.path.parent / name).read_bytes() for name, plain in beside.items()}


def rename(node: Any, renamed: Mapping[str, str]) -> None:
    """Replace old file names by new ones wherever they are values of a TOML document.

    Parameters
    ----------
    node : dict or list
        The document or a part of it; changed in place.
    renamed : mapping of str to str
        New name by old name.
    """
    pairs = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in list(pairs):
        if isinstance(value, dict | list):
            rename(value, renamed)
        elif isinstance(value, str) and renamed.get(value, value) != value:
            node[key] = renamed[value]
