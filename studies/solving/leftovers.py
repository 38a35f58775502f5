"""What is written under the name of its process, so that the next removes what a dead one left."""

from __future__ import annotations

import contextlib
import os
import platform
import re
import shutil
from pathlib import Path


def named_after_us(prefix: str) -> str:
    """Begin a file name with a prefix, this machine and this process, for others to see its owner.

    Parameters
    ----------
    prefix : str
        What all such names begin with: `remove_what_the_dead_left` looks for it.

    Returns
    -------
    str
        "PREFIXmachine-1234-", to which more is appended.
    """
    return f"{prefix}{_machine()}-{os.getpid()}-"


def remove_what_the_dead_left(folder: Path, prefix: str) -> None:
    """Remove files and folders named after processes of this machine that are no more.

    Parameters
    ----------
    folder : Path
        Where they lie; what cannot be removed stays.
    prefix : str
        As it was given to `named_after_us`.
    """
    if os.name != "posix":  # elsewhere there is no harmless way to ask for a process
        return
    ours = f"{prefix}{_machine()}-"
    for left in folder.glob(f"{ours}*"):
        number = left.name.removeprefix(ours).partition("-")[0]
        if number.isdecimal() and not _is_alive(int(number)):
            if left.is_dir() and not left.is_symlink():
                shutil.rmtree(left, ignore_errors=True)
            else:
                with contextlib.suppress(OSError):
                    left.unlink()


def _machine() -> str:
    return re.sub(r"[^A-Za-z0-9]+", "_", platform.node())


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # another user's
        return True
    return True
