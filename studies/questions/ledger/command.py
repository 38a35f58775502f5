"""`roundcast ledger`: its options."""

from __future__ import annotations

from pathlib import Path

import click

from studies.answer.command_options import Refusal, example, ledger_option


@click.command(epilog=example("ledger --prune --most 500"))
@ledger_option
@click.option("--prune", is_flag=True, help="Drop the solves of other versions, shrink the file.")
@click.option(
    "--most",
    type=click.IntRange(min=0),
    metavar="MB",
    help="With --prune: drop the least recently used as well until no more than this is left.",
)
def ledger(ledger: Path, prune: bool, most: int | None) -> None:
    """Show how many finished solves are kept, and shrink them.

    Every finished solve is kept at once, in one file among your programs' data. A run that was
    stopped, even by pulling the plug, goes on where it was. Another version of the solver, another
    mesh, air, gap, processor or linear algebra library never finds an old result. Deleting the
    file does no harm: what is missing is solved again.
    """
    from studies.questions.ledger.tables import show_ledger

    if most is not None and not prune:
        raise Refusal("--most goes with --prune")
    show_ledger(ledger, prune=prune, most_mb=most)
