"""`roundcast explore`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import (
    as_written_option,
    example,
    output_options,
    solver_options,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import JudgedOptions, SolverOptions


@dataclass(frozen=True, kw_only=True)
class ExploreOptions(JudgedOptions):
    """What `roundcast explore` was asked."""


@click.command(epilog=example("explore mine.toml"))
@output_options
@solver_options
@as_written_option
def explore(delivery: DesignDelivery, solving: SolverOptions, as_written: bool) -> None:
    """Walk through two sizes at once with sliders.

    Solves up to 200 pairs (keep by plate gap, half angle by plate gap) and writes one page that
    works without a network: two sliders change the section, the coverage, the curve at the seat and
    the score at once; the best and the nearly best pairs are outlined on a map that can be clicked.
    Of the leading pairs the best has the least regret over drivers and builds which the file may
    stand for.
    """
    from studies.answer.delivering import answer
    from studies.questions.explore.question import QUESTION

    answer(QUESTION, delivery, ExploreOptions(solving=solving, as_written=as_written))
