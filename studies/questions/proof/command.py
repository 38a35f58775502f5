"""`roundcast proof`: its options."""

from __future__ import annotations

import click

from studies.answer.command_options import (
    example,
    some_solver_options,
    workers_option,
    writing_options,
)
from studies.answer.delivery import Delivery
from studies.solving.options import SolverOptions


@click.command(epilog=example("proof"))
@writing_options
@some_solver_options(workers_option)
@click.pass_context
def proof(context: click.Context, delivery: Delivery, solving: SolverOptions) -> None:
    """Is the program right? Needs no design.

    Holds it against published numbers and exact fields: value, reference, difference, limit and
    source of each, and what has not been checked. Files go to the folder roundcast-proof. If a
    check fails the exit status is 1.
    """
    from studies.questions.proof.question import show_proof

    if not show_proof(delivery, solving.workers):
        context.exit(1)
