"""What the ledger of finished solves holds, and how to shrink it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from studies.answer.columns import number, text
from studies.answer.printing import print_table
from studies.answer.table import Table, TableColumn
from studies.solving.ledger import Ledger, Volume, prune_without_room
from studies.solving.ledger_file import FullDiskError, LedgerError
from studies.solving.progress import open_console


def show_ledger(path: Path, *, prune: bool = False, most_mb: int | None = None) -> None:
    """Print what a ledger holds, after shrinking it if asked.

    Parameters
    ----------
    path : Path
    prune : bool
        Drop the solves of other versions of the solver first.
    most_mb : int, optional
        With `prune`: drop the least recently used as well until no more megabytes are left.

    Raises
    ------
    LedgerError
        If there is none, or it cannot be used.
    """
    if not path.exists():
        raise LedgerError(f"there is no ledger at {path} yet: the first solve begins it")
    console = open_console(sys.stdout)
    if prune:
        gone = _pruned(path, console.print, None if most_mb is None else most_mb * 10**6)
        console.print(f"{gone} solves dropped.")
    with Ledger(path, console.print) as ledger:
        print_table(console, ledger_table(ledger.volumes()))
        console.print(f"{path}: {ledger.size / 1e6:.1f} MB on disk")


def _pruned(path: Path, report: Callable[[str], None], most_bytes: int | None) -> int:
    try:
        with Ledger(path, report) as ledger:
            return ledger.prune(most_bytes)
    except FullDiskError:  # for which it was asked, perhaps
        return prune_without_room(path, most_bytes)


def ledger_table(volumes: tuple[Volume, ...]) -> Table:
    """Return a table with a row for each version of the solver, the latest first."""
    columns = (
        text("version", "version of\nthe solver", "digest of its code"),
        text("standing", "", "whether this version can still use them"),
        TableColumn("solves", "solves", "frequencies of designs that are kept"),
        number("size_mb", "MB", "their arrays, MB", 1),
        text("first_kept", "first kept", "date"),
        text("last_used", "last used", "date"),
    )
    rows = tuple(
        (
            volume.version[:12],
            "in use" if volume.current else "of another version",
            volume.solves,
            volume.size / 1e6,
            _day(volume.first_kept),
            _day(volume.last_used),
        )
        for volume in volumes
    )
    return Table("ledger", "Finished solves", columns, rows)


def _day(seconds: float) -> str:
    return datetime.fromtimestamp(seconds).strftime("%Y-%m-%d %H:%M")
