"""`roundcast trim`: its options."""

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
class TrimOptions(JudgedOptions):
    """What `roundcast trim` was asked."""


@click.command(epilog=example("trim mine.toml --out answers"))
@output_options
@solver_options
@as_written_option
def trim(delivery: DesignDelivery, solving: SolverOptions, as_written: bool) -> None:
    """How much of the ball to keep, after what can be undone.

    Tries every height, and every ball on sale where the file lists several; with hold = "nothing"
    each at its best gap out of [gap]. The few that may be chosen are asked of 24 drivers and builds
    that the file may stand for: the choice has the least to regret, and every comparison says
    whether it is real, probable, cannot be told apart, or no difference.

    \b
    score = 2 coverage + steadiness + 0.5 residue + 0.1 boost
    coverage    rms of the level over the window's directions about its mean
    steadiness  rms of window level less sound power about its own straight slope
    residue     what a one-octave equaliser leaves of the window level, peaks doubled
    boost       what that equaliser must lift in the treble

    All in dB; less is better. The weights are yours ([target] in the design file). Every term is
    printed for every candidate; one that cannot be built is a row with its reason.
    """  # noqa: D301 (click reads the backspace)
    from studies.answer.delivering import answer
    from studies.questions.trim.question import QUESTION

    answer(QUESTION, delivery, TrimOptions(solving=solving, as_written=as_written))
