"""What is kept on disk, and how to shrink it."""

from __future__ import annotations

import sys
from pathlib import Path

from studies.answer.printing import print_table
from studies.questions.ledger.tables import ledger_table
from studies.solving.ledger import Ledger, LedgerError
from studies.solving.progress import open_console


def show_ledger(path: Path, prune: bool = False, most_mb: int | None = None) -> None:
    """Print what a ledger holds, after shrinking it if asked.

    Raises
    ------
    LedgerError
        If there is none, or it cannot be used.
    """
    if not path.exists():
        raise LedgerError(f"there is no ledger at {path} yet: the first solve begins it")
    console = open_console(sys.stdout)
    with Ledger(path, console.print) as ledger:
        if prune:
            gone = ledger.prune(None if most_mb is None else most_mb * 10**6)
            console.print(f"{gone} solves dropped.")
        print_table(console, ledger_table(ledger.volumes()))
        console.print(f"{path}: {ledger.size / 1e6:.1f} MB on disk")
