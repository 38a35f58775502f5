"""`roundcast slice`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import (
    as_hertz,
    budget_options,
    example,
    finer_option,
    output_options,
    require_few,
    some_solver_options,
    workers_option,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions

MOST_AT_ONCE = 20


@dataclass(frozen=True, kw_only=True)
class SliceOptions(Options):
    """What `roundcast slice` was asked.

    Attributes
    ----------
    at : tuple[float, ...]
        Frequencies, Hz; about 500 Hz, 2 kHz and 8 kHz if nothing is asked for.
    resonances : tuple[int, ...]
        Numbers of sharp resonances to look at as well, from 1 for the lowest.
    """

    at: tuple[float, ...] = ()
    resonances: tuple[int, ...] = ()


@click.command("slice", epilog=example("slice mine.toml --at 3.15kHz --at 5kHz"))
@output_options
@click.option(
    "--at",
    callback=as_hertz,
    multiple=True,
    metavar="FREQUENCY",
    help='Such as "2 kHz"; may be repeated. [default: 500 Hz, 2 kHz and 8 kHz]',
)
@click.option(
    "--resonance",
    "resonances",
    type=click.IntRange(min=1),
    multiple=True,
    metavar="NUMBER",
    help="Of the list of sharp resonances, which `roundcast spread` has too; may be repeated.",
)
@some_solver_options(workers_option, finer_option, *budget_options)
def slice_(
    delivery: DesignDelivery,
    solving: SolverOptions,
    at: tuple[float, ...],
    resonances: tuple[int, ...],
) -> None:
    """Show the wave inside and round the ring.

    The pressure in a slice through the axis, still and as a looping animation; where each sharp
    resonance sits.
    """
    from studies.answer.delivering import answer
    from studies.questions.slice.question import QUESTION

    require_few("at", (*at, *resonances), MOST_AT_ONCE)
    options = SliceOptions(at=at, resonances=resonances, solving=solving)
    answer(QUESTION, delivery, options)
