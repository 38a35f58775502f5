"""`roundcast contest`: its options."""

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
class ContestOptions(JudgedOptions):
    """What `roundcast contest` was asked."""


@click.command(epilog=example("contest mine.toml"))
@output_options
@solver_options
@as_written_option
def contest(delivery: DesignDelivery, solving: SolverOptions, as_written: bool) -> None:
    """Cone or dome or a curve of your own.

    Same column, same driver, same scale, absolute level. Each entry chooses its gap out of [gap],
    a cone its slope and base (half angles of 20 to 75 degrees), a cap its keep out of [trim] and
    its ball, unless plate_gap or hold of its [[contest]] says what stays; with --as-written all
    are as the file has them. What is chosen at an end of what was tried is said. The winner is
    written as a design file.
    """
    from studies.answer.delivering import answer
    from studies.questions.contest.question import QUESTION

    answer(QUESTION, delivery, ContestOptions(solving=solving, as_written=as_written))
