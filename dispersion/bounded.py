"""Bytes of a file that somebody names: never more of them than such a file may have."""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from stat import S_ISREG


class UnreadableError(ValueError):
    """A file that cannot be read or is too large; the message leaves its name to the caller."""


def bytes_of(path: str | PathLike[str], largest: int) -> bytes:
    """Read a whole file, once its size is known to be bearable.

    Parameters
    ----------
    path : path
    largest : int
        Bytes that it may have.

    Raises
    ------
    UnreadableError
        With the reason and the remedy; found before any of a file that is too large is taken into
        memory. Pipes and devices, which have no end, are refused.
    """
    file = Path(path)
    try:
        about = file.stat()
        if not S_ISREG(about.st_mode):
            raise UnreadableError("cannot be read (a folder or a device): name the file itself")
        raw = b""
        if about.st_size <= largest:
            with file.open("rb") as opened:
                raw = opened.read(largest + 1)  # it may have grown
    except OSError as error:
        reason = error.strerror or str(error)
        raise UnreadableError(
            f"cannot be read ({reason}): check the name and the folder"
        ) from error
    except ValueError as error:  # a name that no file can have
        if isinstance(error, UnreadableError):
            raise
        raise UnreadableError(f"cannot be read ({error}): check the name") from error
    size = max(len(raw), about.st_size)
    if size > largest:
        raise UnreadableError(
            f"is too large: {size / 2**20:.1f} MiB, and {_in_mebibytes(largest)} is the most that"
            " is read"
        )
    return raw


def _in_mebibytes(size: int) -> str:
    return f"{size / 2**20:g} MiB"
