"""`roundcast spread`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options, solver_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class SpreadOptions(Options):
    """What `roundcast spread` was asked."""


@click.command(epilog=example("spread mine.toml"))
@output_options
@solver_options
def spread(delivery: DesignDelivery, solving: SolverOptions) -> None:
    """Where the sound of this design goes.

    Level by elevation and third octave, and the curve at each seat; of a coaxial driver, with which
    delay and polarity its ways add best.

    0 dB is this very driver, all its ways together, flush in an endless baffle, on axis, at the
    same distance: a curve shows what column and reflector do to the driver's own. A band value is
    the mean of |p|^2 over the exact third octave (IEC 61260-1), over that of the driver alone.
    """
    from studies.answer.delivering import answer
    from studies.questions.spread.question import QUESTION

    answer(QUESTION, delivery, SpreadOptions(solving=solving))
