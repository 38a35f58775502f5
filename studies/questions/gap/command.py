"""`roundcast gap`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options, solver_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class GapOptions(Options):
    """What `roundcast gap` was asked."""


@click.command(epilog=example("gap mine.toml"))
@output_options
@solver_options
def gap(delivery: DesignDelivery, solving: SolverOptions) -> None:
    """How big a gap between baffle and top plate.

    Sweeps it: notches, choking, a recommended gap and the post length that follows.
    """
    from studies.answer.delivering import answer
    from studies.questions.gap.question import QUESTION

    answer(QUESTION, delivery, GapOptions(solving=solving))
