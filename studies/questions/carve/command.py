"""`roundcast carve`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import (
    as_written_option,
    example,
    output_options,
    wave_options,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import JudgedOptions, SolverOptions


@dataclass(frozen=True, kw_only=True)
class CarveOptions(JudgedOptions):
    """What `roundcast carve` was asked.

    Attributes
    ----------
    knots : int
        Knots of the curve, tip and rim included.
    solves : int
        Solves that the search may spend.
    """

    knots: int = 5
    solves: int = 240


@click.command(epilog=example("carve mine.toml --solves 480"))
@output_options
@wave_options
@as_written_option
@click.option(
    "--knots",
    type=click.IntRange(min=3, max=9),
    default=5,
    show_default=True,
    metavar="N",
    help="Of the curve, tip and rim included; more need more solves.",
)
@click.option(
    "--solves",
    type=click.IntRange(min=120, max=5000),
    default=240,
    show_default=True,
    metavar="N",
    help="Solves that the search may spend; few make a poor cap and cone to compare with.",
)
def carve(
    delivery: DesignDelivery, solving: SolverOptions, as_written: bool, knots: int, solves: int
) -> None:
    """Search a reflector's curve of your own.

    A smooth profile within what your workshop can make ([carve] in the design file: largest
    diameter and height, smallest radius a tool or printer can follow, undercut or not, tip
    clearance), held against the best cap and the best cone, each at its best gap out of [gap]. It
    claims no gain that is not borne by drivers and builds which the file may stand for. The result
    is a design file, carved.toml, which every other command takes. A run that was
    stopped goes on where it was.
    """
    from studies.answer.delivering import answer
    from studies.questions.carve.question import QUESTION

    options = CarveOptions(knots=knots, solves=solves, as_written=as_written, solving=solving)
    answer(QUESTION, delivery, options)
