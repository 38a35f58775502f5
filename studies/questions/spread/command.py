"""`roundcast spread`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.delivery import DesignDelivery
from studies.questions.options import example, output_options, solver_options
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class SpreadOptions(Options):
    """What `roundcast spread` was asked."""


@click.command(epilog=example("spread mine.toml"))
@output_options
@solver_options
def spread(delivery: DesignDelivery, solving: SolverOptions) -> None:
    """Where the sound of this design goes.

    Level by elevation and third octave, and the curve at each seat.
    """
    from studies.answer.delivering import answer
    from studies.questions.spread.question import QUESTION

    answer(QUESTION, delivery, SpreadOptions(solving=solving))
