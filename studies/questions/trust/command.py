"""`roundcast trust`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import (
    budget_options,
    example,
    output_options,
    per_band_option,
    some_solver_options,
    workers_option,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class TrustOptions(Options):
    """What `roundcast trust` was asked."""


@click.command(epilog=example("trust mine.toml"))
@output_options
@some_solver_options(per_band_option, workers_option, *budget_options)
def trust(delivery: DesignDelivery, solving: SolverOptions) -> None:
    """How far each quick method can be believed.

    Holds every method against the wave solver, for this design and a spread of caps, cones and
    gaps round it.
    """
    from studies.answer.delivering import answer
    from studies.questions.trust.question import QUESTION

    answer(QUESTION, delivery, TrustOptions(solving=solving))
