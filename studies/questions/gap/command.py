"""`roundcast gap`: its options."""

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
class GapOptions(JudgedOptions):
    """What `roundcast gap` was asked."""


@click.command(epilog=example("gap mine.toml"))
@output_options
@solver_options
@as_written_option
def gap(delivery: DesignDelivery, solving: SolverOptions, as_written: bool) -> None:
    """How big a gap between baffle and top plate.

    Sweeps it: notches, air load, a recommended gap and the post length that follows. The few gaps
    that may be chosen are asked of 24 drivers and builds that the file may stand for: the choice
    has the least to regret.
    """
    from studies.answer.delivering import answer
    from studies.questions.gap.question import QUESTION

    answer(QUESTION, delivery, GapOptions(solving=solving, as_written=as_written))
