"""`roundcast felt`: its options."""

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
class FeltOptions(JudgedOptions):
    """What `roundcast felt` was asked."""


@click.command(epilog=example("felt mine.toml"))
@output_options
@solver_options
@as_written_option
def felt(delivery: DesignDelivery, solving: SolverOptions, as_written: bool) -> None:
    """Whether a ring of felt pays, where, and how wide.

    Tries baffle, plate and both, three widths, two thicknesses, and says what it takes.
    """
    from studies.answer.delivering import answer
    from studies.questions.felt.question import QUESTION

    answer(QUESTION, delivery, FeltOptions(solving=solving, as_written=as_written))
