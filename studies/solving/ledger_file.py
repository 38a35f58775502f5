"""The file of a ledger: its tables, how it is opened and checked, what is damage and what refused.

What the rows mean is the business of `studies.solving.ledger`.
"""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

PATIENCE_S = 30.0
"""How long to wait for another process that is writing."""
LEDGER_ID = 0x726F756E
"""SQLite's application id: distinguishes a ledger from anybody else's database."""
# What is touched at every use is small and apart from what is large and never changes. A table
# `fields` is that of earlier versions, and goes with their solves.
TABLES = """
CREATE TABLE IF NOT EXISTS solves (
    id INTEGER PRIMARY KEY,
    key BLOB NOT NULL UNIQUE,
    version TEXT NOT NULL,
    size INTEGER NOT NULL,
    kept REAL NOT NULL,
    used REAL NOT NULL
);
CREATE TABLE IF NOT EXISTS arrays (
    id INTEGER PRIMARY KEY REFERENCES solves ON DELETE CASCADE,
    unknowns INTEGER NOT NULL,
    far BLOB NOT NULL,
    near BLOB NOT NULL,
    error BLOB NOT NULL,
    arrived BLOB NOT NULL,
    digest BLOB NOT NULL
);
"""
PARTS = ("", "-wal", "-shm")
DAMAGE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CONSTRAINT}
TROUBLE = (sqlite3.DatabaseError, UnicodeDecodeError)
"""The second where an error's own message holds a damaged name."""
FULL = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}
HEADER_ID = slice(68, 72)
"""Where SQLite keeps the application id in a file."""


class LedgerError(ValueError):
    """A ledger that cannot be used; the message names the file and the remedy."""


class FullDiskError(LedgerError):
    """A ledger that cannot be used because there is no room beside it."""


def opened(path: Path) -> sqlite3.Connection:
    """Connection to a sound ledger that can be written."""
    database = sqlite3.connect(path, timeout=PATIENCE_S, check_same_thread=False)
    database.text_factory = _words  # what is damaged may be no text
    try:
        _check(database, path)
        database.execute("PRAGMA synchronous = NORMAL")
        database.execute("PRAGMA foreign_keys = ON")
        _in_write_ahead_mode(database)
        # Fails here, not at the first solve, if the file cannot be written.
        database.executescript(
            f"BEGIN IMMEDIATE; PRAGMA application_id = {LEDGER_ID}; {TABLES} COMMIT;"
        )
    except BaseException:
        database.close()
        raise
    return database


def _check(database: sqlite3.Connection, path: Path) -> None:
    (verdict,) = database.execute("PRAGMA quick_check(1)").fetchone()
    if verdict != "ok":
        damage = sqlite3.DatabaseError(verdict.splitlines()[-1])
        damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        raise damage
    # In this order: another process may begin the file in between, tables and identity at once.
    (tables,) = database.execute("SELECT COUNT(*) FROM sqlite_schema").fetchone()
    (identity,) = database.execute("PRAGMA application_id").fetchone()
    if tables and identity != LEDGER_ID:
        raise _refused(path, "it is a database of something else")


def _in_write_ahead_mode(database: sqlite3.Connection) -> None:
    """Switch over; SQLite does not wait by itself where two processes do so at once."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            database.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.01)


def refuse_words(path: Path) -> None:
    """Refuse a file of plain text, a design perhaps: no ledger, however damaged."""
    if path.is_file():
        with path.open("rb") as file:
            head = file.read(4096)
        if head and b"\0" not in head and not head.startswith(b"SQLite"):
            raise _refused(path, "it is a file of text, no ledger")


def _words(raw: bytes) -> str:
    return raw.decode("utf-8", errors="replace")


def is_damage(error: Exception, path: Path) -> bool:
    """Whether an error means that the file is damaged, and not that it cannot be used just now."""
    if isinstance(error, UnicodeDecodeError):
        return True
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    # Statements that are sound meet an error only where the tables or the header are not.
    return code in DAMAGE or (code == sqlite3.SQLITE_ERROR and _says_it_is_a_ledger(path))


def _says_it_is_a_ledger(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(HEADER_ID.stop)[HEADER_ID] == LEDGER_ID.to_bytes(4, "big")
    except OSError:
        return False


@contextlib.contextmanager
def refusals(path: Path) -> Iterator[None]:
    """Turn whatever the file does not allow into a sentence with the remedy."""
    try:
        yield
    except TROUBLE as error:
        is_full = getattr(error, "sqlite_errorcode", 0) & 0xFF in FULL
        raise _refused(path, str(error), FullDiskError if is_full else LedgerError) from error
    except OSError as error:
        raise _refused(path, error.strerror or str(error)) from error


def _refused(path: Path, reason: str, kind: type[LedgerError] = LedgerError) -> LedgerError:
    return kind(
        f"the ledger {path} cannot be used ({reason}): name another place with --ledger, or solve"
        " without one (--no-ledger)"
    )


def files_of(path: Path) -> tuple[Path, ...]:
    """Return the file itself and what SQLite keeps beside it."""
    return tuple(path.with_name(path.name + part) for part in PARTS)
