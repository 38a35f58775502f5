"""`roundcast felt`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options, solver_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class FeltOptions(Options):
    """What `roundcast felt` was asked."""


@click.command(epilog=example("felt mine.toml"))
@output_options
@solver_options
def felt(delivery: DesignDelivery, solving: SolverOptions) -> None:
    """Whether a ring of felt pays, where, and how wide.

    Tries baffle, plate and both, three widths, two thicknesses, and says what it takes.
    """
    from studies.answer.delivering import answer
    from studies.questions.felt.question import QUESTION

    answer(QUESTION, delivery, FeltOptions(solving=solving))
