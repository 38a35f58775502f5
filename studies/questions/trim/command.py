"""`roundcast trim`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.delivery import DesignDelivery
from studies.questions.options import example, output_options, solver_options
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class TrimOptions(Options):
    """What `roundcast trim` was asked."""


@click.command(epilog=example("trim mine.toml --out answers"))
@output_options
@solver_options
def trim(delivery: DesignDelivery, solving: SolverOptions) -> None:
    """How much of the ball to keep, and how to shave it.

    Tries every height, and every ball on sale where the file lists several.
    """
    from studies.answer.delivering import answer
    from studies.questions.trim.question import QUESTION

    answer(QUESTION, delivery, TrimOptions(solving=solving))
