"""Digests of the program's own code, and the folder of compiled kernels that goes by one.

numba compiles a kernel once and keeps it on disk, but looks only at the file that the kernel stands
in for changes, and not at those whose kernels and constants were compiled into it. So the kernels
of every state of the code get a folder of their own, and nobody ever has to delete one by hand.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path

PACKAGE = Path(__file__).resolve().parent
TEMPORARY = "roundcast-"
KEPT_DAYS = 60.0
"""A folder of kernels that no run has asked for in so long is removed. Whatever has loaded them
goes on with them in memory; at worst a run compiles for half a minute again."""


def code_digest(root: Path, packages: Iterable[str]) -> str:
    """SHA-256 of the names and bytes of every Python file in some packages, in hexadecimal.

    Parameters
    ----------
    root : Path
        Folder that holds the packages.
    packages : iterable of str
        Their names.
    """
    sources = sorted(path for package in packages for path in (root / package).rglob("*.py"))
    digest = hashlib.sha256()
    for path in sources:
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


@cache
def kernel_folder(chosen: str = "", package: Path = PACKAGE) -> str:
    """Folder in which numba keeps this code's compiled kernels; made if it is not there.

    Parameters
    ----------
    chosen : str
        What the user has set (NUMBA_CACHE_DIR), empty if nothing: it is left as it is.
    package : Path
        Folder of the package that holds the kernels.

    Returns
    -------
    str
        `chosen`, or `kernels-DIGEST` in the user's folder for caches, with a digest of the code and
        of where it lies; in a folder of the user's own among temporary files, if that cannot be
        made; empty, which leaves the choice to numba, if that neither.
    """
    if chosen:
        return chosen
    digest = code_digest(package.parent, [package.name])
    name = f"kernels-{hashlib.sha256(f'{package} {digest}'.encode()).hexdigest()[:16]}"
    for place in (_lasting, _temporary):
        # A folder that is no folder, a user without a home or without a name.
        with contextlib.suppress(OSError, RuntimeError):
            folder = place() / name
            folder.mkdir(parents=True, exist_ok=True)
            os.utime(folder)
            if os.access(folder, os.W_OK):
                _remove_old(folder.parent)
                return str(folder)
    return ""


def _lasting() -> Path:
    return user_cache_path("roundcast", appauthor=False)


def is_temporary(folder: Path) -> bool:
    """Return whether kernels are kept among temporary files, for want of a better place."""
    return folder.parent.name.startswith(TEMPORARY)


def _temporary() -> Path:
    """A folder of the user's own: what lies in it is run, so nobody else may write into it."""
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"{TEMPORARY}{user}"
    with contextlib.suppress(FileExistsError):
        folder.mkdir(mode=0o700)
    found = folder.lstat()
    own = stat.S_ISDIR(found.st_mode) and found.st_uid == user
    if own and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        return folder
    return Path(tempfile.mkdtemp(prefix=TEMPORARY))


def keep_kernels(config: Any) -> None:
    """Have numba (its `config`) keep what it compiles in `kernel_folder`.

    It asks where a kernel is kept as soon as it is defined, so this comes before.
    """
    config.CACHE_DIR = kernel_folder(config.CACHE_DIR)


def _remove_old(kept: Path) -> None:
    """Remove the folders of kernels that no run has asked for in `KEPT_DAYS`."""
    oldest = time.time() - 86_400.0 * KEPT_DAYS
    for folder in kept.glob("kernels-*"):
        with contextlib.suppress(OSError):
            if folder.stat().st_mtime < oldest:
                shutil.rmtree(folder, ignore_errors=True)
