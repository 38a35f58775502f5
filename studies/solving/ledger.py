"""The ledger: every finished solve on disk at once, so that nothing is ever solved twice.

One SQLite file in write-ahead mode. A process may be killed at any moment, and several may share
the file: what was kept stays kept. Arrays are kept in numpy's own format (dtype and shape in front
of the bytes, never pickle), each row with a digest that is checked when it is read.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import sqlite3
import time
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import Any, Self, TypeVar

import numpy as np
from numpy.lib.format import (
    dtype_to_descr,
    read_array_header_1_0,
    read_magic,
    write_array_header_1_0,
)

from dispersion import keys
from dispersion.fields import Fields
from studies.solving.ledger_file import (
    LEDGER_ID,
    PATIENCE_S,
    TABLES,
    TROUBLE,
    LedgerError,
    files_of,
    is_damage,
    opened,
    refusals,
    refuse_words,
)

Found = TypeVar("Found")
FETCH = """
SELECT far, near, error, arrived, unknowns, digest, kept FROM solves JOIN arrays USING (id)
WHERE key = ?
"""
TOO_MUCH = """
DELETE FROM solves WHERE id IN (
    SELECT id FROM (SELECT id, SUM(size) OVER (ORDER BY used DESC, id DESC) AS total FROM solves)
    WHERE total > ?
)
"""
STAY = """
SELECT id, key, version, size, kept, used FROM (
    SELECT *, SUM(size) OVER (ORDER BY used DESC, id DESC) AS total
    FROM solves WHERE version = :version)
WHERE :most IS NULL OR total <= :most
"""
LATEST, LARGEST = 1e11, 10**12
"""Unix time, s, and bytes of a solve, beyond which a row is damaged."""
UNSOUND = f"""
DELETE FROM solves WHERE typeof(key) != 'blob' OR typeof(version) != 'text'
    OR typeof(size) != 'integer' OR size NOT BETWEEN 0 AND {LARGEST}
    OR typeof(kept) != 'real' OR kept NOT BETWEEN 0 AND {LATEST}
    OR typeof(used) != 'real' OR used NOT BETWEEN 0 AND {LATEST}
"""


@dataclass(frozen=True, kw_only=True)
class Volume:
    """All solves that one version of the solver left in a ledger.

    Attributes
    ----------
    version : str
        Digest of the solver's code.
    current : bool
        True for the version that runs now; solves of others are never found.
    solves : int
        Solves of one design at one frequency.
    size : int
        Bytes of their arrays.
    first_kept, last_used : float
        Unix time, s.
    """

    version: str
    current: bool
    solves: int
    size: int
    first_kept: float
    last_used: float


class Ledger:
    """Keeps and finds finished solves; a `dispersion.solvers.Store`.

    Parameters
    ----------
    path : Path
        Made if it is not there. A file that is damaged is renamed, which is reported, and a new
        one begun.
    report : callable, optional
        Called with one sentence for the user.
    since : float, optional
        Unix time, s, at which the run began that it belongs to; now if left out.

    Attributes
    ----------
    since : float
        Unix time, s, at which the run began.
    found, kept : int
        Solves of earlier runs that were found; solves that were written.

    Raises
    ------
    LedgerError
        If the file cannot be opened or written, or is something else than a ledger.
    """

    def __init__(
        self, path: Path, report: Callable[[str], None] = print, since: float | None = None
    ) -> None:
        self.path, self.report, self._lock = path, report, Lock()
        self.found = self.kept = 0
        self.since = time.time() if since is None else since
        self._used: set[bytes] = set()
        self._writes = self._is_sound = True
        with refusals(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            refuse_words(path)
            self._open()

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
            uses = ((time.time(), key) for key in self._used)
            with contextlib.suppress(sqlite3.Error), self._database:
                self._database.executemany("UPDATE solves SET used = ? WHERE key = ?", uses)
            self._used.clear()
            self._database.close()

    def fetch(self, key: bytes) -> Fields | None:
        """Return a solve that was kept, None if there is none or if it is damaged."""
        with self._lock:
            try:
                row = self._database.execute(FETCH, (key,)).fetchone()
                if row is None:
                    return None
                *blobs, unknowns, digest, kept = row
                kinds = {*map(type, blobs)} == {bytes} and isinstance(unknowns, int)
                if not kinds or _digest(key, blobs, unknowns) != digest:
                    self._drop(key)
                    return None
            except TROUBLE as error:
                self._failed(error)
                return None
            self.found += kept < self.since
            self._used.add(key)
        far, near, power_error, arrived = map(_unpacked, blobs)
        return Fields(far, near, power_error, unknowns, arrived)

    def keep(self, key: bytes, fields: Fields) -> None:
        """Write a finished solve; where that fails, say so once and go on without."""
        far, near, power_error, unknowns, arrived = fields
        blobs = [_packed(array) for array in (far, near, power_error, arrived)]
        row: tuple[int | bytes, ...] = (unknowns, *blobs, _digest(key, blobs, unknowns))
        with self._lock:
            if not self._writes:
                return
            try:
                self._write(key, sum(map(len, blobs)), row)
            except TROUBLE as error:
                self._failed(error)
            else:
                self.kept += 1

    def volumes(self) -> tuple[Volume, ...]:
        """Return what the file holds by version of the solver, the last used first."""
        rows = self._or_begun_anew(
            lambda: self._database.execute(
                "SELECT version, COUNT(*), SUM(size), MIN(kept), MAX(used)"
                " FROM solves GROUP BY version ORDER BY MAX(used) DESC, version"
            ).fetchall()
        )
        return tuple(
            Volume(
                version=version,
                current=version == keys.solver_version(),
                solves=solves,
                size=size,
                first_kept=first_kept,
                last_used=last_used,
            )
            for version, solves, size, first_kept, last_used in rows
        )

    @property
    def size(self) -> int:
        """Bytes on disk."""
        return sum(file.stat().st_size for file in files_of(self.path) if file.exists())

    def prune(self, most_bytes: int | None = None) -> int:
        """Drop solves of other versions, then the least recently used; return how many went.

        Parameters
        ----------
        most_bytes : int, optional
            Of arrays that may stay; left out, all of this version stay.

        Raises
        ------
        LedgerError
            If it cannot be written, or another process will not let go of it.
        FullDiskError
            If there is no room, see `prune_without_room`.
        """
        return self._or_begun_anew(lambda: self._pruned(most_bytes))

    def _pruned(self, most_bytes: int | None) -> int:
        before = self._database.total_changes
        with self._database:
            gone = self._database.execute(
                "DELETE FROM solves WHERE version != ?", (keys.solver_version(),)
            ).rowcount
            if most_bytes is not None:
                gone += self._database.execute(TOO_MUCH, (most_bytes,)).rowcount
        if self._database.total_changes != before:
            self._database.execute("VACUUM")
        self._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return gone

    def _or_begun_anew(self, use: Callable[[], Found]) -> Found:
        """Use the file; where it is damaged, a new one in its place."""
        with self._lock, refusals(self.path):
            try:
                return use()
            except TROUBLE as error:
                if not is_damage(error, self.path):
                    raise
                self._database.close()
                self._set_aside(str(error))
            return use()

    def _write(self, key: bytes, size: int, row: tuple[int | bytes, ...]) -> None:
        now = time.time()
        with self._database:  # both rows or, after an error, none
            solve = self._database.execute(
                "INSERT OR REPLACE INTO solves (key, version, size, kept, used)"
                " VALUES (?, ?, ?, ?, ?)",
                (key, keys.solver_version(), size, now, now),
            )
            self._database.execute(
                "INSERT INTO arrays VALUES (?, ?, ?, ?, ?, ?, ?)", (solve.lastrowid, *row)
            )

    def _tell_unsound(self) -> None:
        if self._is_sound:
            self.report(f"{self.path}: not all of it is sound; what is damaged is solved again")
        self._is_sound = False

    def _drop(self, key: bytes) -> None:
        self._tell_unsound()
        with self._database:
            self._database.execute("DELETE FROM solves WHERE key = ?", (key,))

    def _open(self) -> None:
        try:
            self._database = opened(self.path)
            with self._database:
                unsound = self._database.execute(UNSOUND).rowcount
        except TROUBLE as error:
            if not is_damage(error, self.path):
                raise
            self._set_aside(str(error))
        else:
            if unsound:
                self._tell_unsound()

    def _set_aside(self, reason: str) -> None:
        """Rename a damaged file and begin a new one."""
        number = 1
        while (aside := self.path.with_name(f"{self.path.name}.damaged-{number}")).exists():
            number += 1
        for file, away in zip(files_of(self.path), files_of(aside), strict=True):
            if file.exists():
                file.rename(away)
        self.report(f"{self.path} was damaged ({reason}): set aside as {aside.name}, begun anew")
        self._database = opened(self.path)

    def _failed(self, error: Exception) -> None:
        """Begin a new file where this one is damaged; where it cannot be written, do without."""
        if is_damage(error, self.path):
            self._used.clear()
            self._database.close()
            try:
                self._open()  # which may be sound again: another process may have begun it anew
                return
            except (*TROUBLE, OSError, LedgerError) as another:
                error = another
        if self._writes:
            self.report(
                f"the ledger {self.path} cannot be used any more ({error}): what is solved from"
                " here on is not kept; make room, or name another place with --ledger"
            )
        self._writes = False


def prune_without_room(path: Path, most_bytes: int | None = None) -> int:
    """Do what `Ledger.prune` does where the disk is full: in memory, then in a file anew.

    Were it killed in between, finished solves would be lost, and solved again.

    Raises
    ------
    LedgerError
        If the file cannot be read, or another process will not let go of it.
    """
    with (
        refusals(path),
        closing(sqlite3.connect(path, timeout=PATIENCE_S)) as source,
        closing(sqlite3.connect(":memory:")) as left,
    ):
        source.execute("PRAGMA locking_mode = EXCLUSIVE")  # or an index of its log is written
        (before,) = source.execute("SELECT COUNT(*) FROM solves").fetchone()
        left.executescript(f"PRAGMA application_id = {LEDGER_ID}; {TABLES}")
        asked = {"version": keys.solver_version(), "most": most_bytes}
        stay = source.execute(STAY, asked).fetchall()
        if len(stay) == before:
            return 0
        left.executemany("INSERT INTO solves VALUES (?, ?, ?, ?, ?, ?)", stay)
        for id_, *_ in stay:
            arrays = source.execute("SELECT * FROM arrays WHERE id = ?", (id_,)).fetchone()
            left.execute("INSERT INTO arrays VALUES (?, ?, ?, ?, ?, ?, ?)", arrays)
        left.commit()
        source.close()
        for file in files_of(path):
            file.unlink(missing_ok=True)
        with closing(sqlite3.connect(path)) as anew:
            anew.execute("PRAGMA journal_mode = OFF")
            left.backup(anew)
    return before - len(stay)


def _packed(array: np.ndarray) -> bytes:
    """An array as an .npy file holds it, in its layout; thousands begin with the same bytes."""
    array = np.asarray(array)
    by_columns = array.flags.fnc
    beginning = _beginning(array.dtype, array.shape, by_columns)
    return beginning + array.tobytes("F" if by_columns else "C")


def _unpacked(blob: bytes) -> np.ndarray:
    end = 10 + int.from_bytes(blob[8:10], "little")
    shape, by_columns, kind = _described(blob[:end])
    return np.frombuffer(blob, kind, offset=end).reshape(shape, order="F" if by_columns else "C")


@lru_cache(maxsize=256)
def _beginning(kind: np.dtype[Any], shape: tuple[int, ...], by_columns: bool) -> bytes:
    described = {"descr": dtype_to_descr(kind), "fortran_order": by_columns, "shape": shape}
    file = io.BytesIO()
    write_array_header_1_0(file, described)
    return file.getvalue()


@lru_cache(maxsize=256)
def _described(beginning: bytes) -> tuple[tuple[int, ...], bool, np.dtype[Any]]:
    file = io.BytesIO(beginning)
    read_magic(file)
    return read_array_header_1_0(file)


def _digest(key: bytes, blobs: Iterable[bytes], unknowns: int) -> bytes:
    digest = hashlib.blake2b(key, digest_size=16)
    for blob in blobs:
        digest.update(len(blob).to_bytes(8, "little"))
        digest.update(blob)
    digest.update(str(unknowns).encode())
    return digest.digest()
