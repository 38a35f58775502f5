"""What the ledger holds."""

from __future__ import annotations

from datetime import datetime

from studies.answer.columns import number, text
from studies.answer.table import Table, TableColumn
from studies.solving.ledger import Volume


def ledger_table(volumes: tuple[Volume, ...]) -> Table:
    """One row for each version of the solver, the latest first."""
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
