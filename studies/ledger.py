"""The ledger: every finished solve on disk at once, so that nothing is ever solved twice.

One SQLite file in write-ahead mode. A process may be killed at any moment, and two may share the
file: what was kept stays kept. Arrays are kept in numpy's own format (dtype and shape in front
of the bytes, never pickle), each row with a digest that is checked when it is read.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import sqlite3
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import Self

import numpy as np

from dispersion.keys import solver_version
from dispersion.solvers import Fields

PATIENCE_S = 30.0
"""How long to wait for another process that is writing."""
TABLE = """
CREATE TABLE IF NOT EXISTS solves (
    key BLOB PRIMARY KEY,
    version TEXT NOT NULL,
    used REAL NOT NULL,
    unknowns INTEGER NOT NULL,
    far BLOB NOT NULL,
    near BLOB NOT NULL,
    error BLOB NOT NULL,
    digest BLOB NOT NULL
) WITHOUT ROWID
"""
PARTS = ("", "-wal", "-shm")


class LedgerError(ValueError):
    """A ledger that cannot be used; the message names the file and the remedy."""


@dataclass(frozen=True)
class Volume:
    """Solves of one version of the solver: how many, bytes, first and last use (Unix time)."""

    version: str
    current: bool
    solves: int
    size: int
    first_used: float
    last_used: float


class Ledger:
    """Keeps and finds finished solves; a `dispersion.solvers.Store`.

    Parameters
    ----------
    path : Path
        Made if it is not there. A file that is damaged is set aside under another name and told
        of, and a new one begun.
    tell : callable, optional
        Called with one sentence for the user.

    Attributes
    ----------
    found, kept : int
        Solves of earlier runs, or of others, that were found; solves that were written.

    Raises
    ------
    LedgerError
        If the file cannot be opened or written.
    """

    def __init__(self, path: Path, tell: Callable[[str], None] = print) -> None:
        self.path, self._tell, self._lock = path, tell, Lock()
        self.found = self.kept = 0
        self._used: set[bytes] = set()
        self._own: set[bytes] = set()
        self._writes = True
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._open()
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise _refused(path, str(error)) from error
            self._set_aside(str(error))
        except OSError as error:
            raise _refused(path, error.strerror or str(error)) from error

    def __enter__(self) -> Self:
        """Use it, and close it afterwards."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self.close()

    def close(self) -> None:
        """Note what was used, and close the file."""
        with self._lock:
            now = time.time()
            with contextlib.suppress(sqlite3.Error):
                self._database.executemany(
                    "UPDATE solves SET used = ? WHERE key = ?", ((now, key) for key in self._used)
                )
                self._database.commit()
            self._used.clear()
            self._database.close()

    def fetch(self, key: bytes) -> Fields | None:
        """Return a solve that was kept, None if there is none or if it is damaged."""
        with self._lock:
            try:
                row = self._database.execute(
                    "SELECT far, near, error, unknowns, digest FROM solves WHERE key = ?", (key,)
                ).fetchone()
            except sqlite3.DatabaseError as error:
                self._give_up(str(error))
                return None
            if row is None:
                return None
            *blobs, unknowns, digest = row
            if _digest(key, blobs, unknowns) != digest:
                self._tell(f"{self.path}: a solve was damaged; it is solved again")
                return None
            self.found += key not in self._own
            self._used.add(key)
        far, near, error = map(_unpacked, blobs)
        return far, near, error, unknowns

    def keep(self, key: bytes, fields: Fields) -> None:
        """Write a finished solve; where that fails, say so once and go on without."""
        *arrays, unknowns = fields
        blobs = [_packed(array) for array in arrays]
        row = (key, solver_version(), time.time(), unknowns, *blobs)
        with self._lock:
            if not self._writes:
                return
            try:
                self._database.execute(
                    "INSERT OR REPLACE INTO solves VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    (*row, _digest(key, blobs, unknowns)),
                )
                self._database.commit()
                self.kept += 1
                self._own.add(key)
            except sqlite3.DatabaseError as error:
                self._give_up(str(error))

    def volumes(self) -> tuple[Volume, ...]:
        """What the file holds, by version of the solver, the latest first."""
        with self._lock:
            rows = self._database.execute(
                "SELECT version, COUNT(*), SUM(LENGTH(far) + LENGTH(near) + LENGTH(error)),"
                " MIN(used), MAX(used) FROM solves GROUP BY version ORDER BY MAX(used) DESC"
            ).fetchall()
        return tuple(Volume(row[0], row[0] == solver_version(), *row[1:]) for row in rows)

    @property
    def size(self) -> int:
        """Bytes on disk."""
        files = (self.path.with_name(self.path.name + part) for part in PARTS)
        return sum(file.stat().st_size for file in files if file.exists())

    def prune(self, most_bytes: int | None = None) -> int:
        """Drop solves of other versions, then the least recently used; return how many went.

        Parameters
        ----------
        most_bytes : int, optional
            Of arrays that may stay; left out, all of this version stay.
        """
        with self._lock:
            before = self._count()
            self._database.execute("DELETE FROM solves WHERE version != ?", (solver_version(),))
            if most_bytes is not None:
                self._database.execute(
                    "DELETE FROM solves WHERE key IN (SELECT key FROM (SELECT key,"
                    " SUM(LENGTH(far) + LENGTH(near) + LENGTH(error))"
                    " OVER (ORDER BY used DESC, key) AS total FROM solves) WHERE total > ?)",
                    (most_bytes,),
                )
            self._database.commit()
            gone = before - self._count()
            self._database.execute("VACUUM")
            self._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return gone

    def _count(self) -> int:
        return self._database.execute("SELECT COUNT(*) FROM solves").fetchone()[0]

    def _open(self) -> None:
        self._database = sqlite3.connect(self.path, timeout=PATIENCE_S, check_same_thread=False)
        try:
            (verdict,) = self._database.execute("PRAGMA quick_check(1)").fetchone()
            if verdict != "ok":
                raise sqlite3.DatabaseError(verdict)
            self._database.execute("PRAGMA journal_mode = WAL")
            self._database.execute("PRAGMA synchronous = NORMAL")
            self._database.execute(TABLE)
            self._database.commit()
            self._database.execute("SELECT key, digest FROM solves LIMIT 1")
        except BaseException:
            self._database.close()
            raise

    def _set_aside(self, reason: str) -> None:
        """Rename a damaged file and begin a new one."""
        number = 1
        while (aside := self.path.with_name(f"{self.path.name}.damaged-{number}")).exists():
            number += 1
        for part in PARTS:
            file = self.path.with_name(self.path.name + part)
            if file.exists():
                file.rename(aside.with_name(aside.name + part))
        self._tell(f"{self.path} was damaged ({reason}): set aside as {aside.name}, begun anew")
        self._open()

    def _give_up(self, reason: str) -> None:
        if self._writes:
            self._tell(f"{self.path}: {reason}; what is solved from here on is not kept")
        self._writes = False


def _refused(path: Path, reason: str) -> LedgerError:
    return LedgerError(
        f"the ledger {path} cannot be used ({reason}): name another place with --ledger, or go"
        " without by --no-ledger"
    )


def _packed(array: np.ndarray) -> bytes:
    file = io.BytesIO()
    np.lib.format.write_array(file, np.asarray(array), allow_pickle=False)
    return file.getvalue()


def _unpacked(blob: bytes) -> np.ndarray:
    return np.lib.format.read_array(io.BytesIO(blob), allow_pickle=False)


def _digest(key: bytes, blobs: Iterable[bytes], unknowns: int) -> bytes:
    digest = hashlib.blake2b(key, digest_size=16)
    for blob in blobs:
        digest.update(blob)
    digest.update(str(unknowns).encode())
    return digest.digest()
