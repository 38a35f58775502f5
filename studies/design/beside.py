"""Files that a file names: beside it or below, unless the user allows more.

A design may come from anybody. Whoever asks a question about it should not thereby open files
from all over the disk, the start of which a message might show.
"""

from __future__ import annotations

from pathlib import Path

FLAG = "--allow-outside"


class OutsideError(ValueError):
    """A file named by another that lies outside of its folder; the message holds the remedy."""


def file_beside(folder: Path, name: str, allow_outside: bool = False) -> Path:
    """Path of a file that another file names.

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
