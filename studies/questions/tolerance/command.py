"""`roundcast tolerance`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options, solver_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class ToleranceOptions(Options):
    """What `roundcast tolerance` was asked.

    Attributes
    ----------
    samples : int
        Speakers of the batch, a power of two.
    askew : str
        "rays" or "waves": how off-centre and tilt are told.
    """

    samples: int = 32
    askew: str = "rays"


@click.command(epilog=example("tolerance mine.toml --samples 64"))
@output_options
@solver_options
@click.option(
    "--samples",
    type=int,
    default=32,
    show_default=True,
    metavar="N",
    help="Speakers of the batch, a power of two.",
)
@click.option(
    "--askew",
    type=click.Choice(("rays", "waves")),
    default="rays",
    show_default=True,
    help="How off-centre and tilt are told: rays take a second and know no interference, waves"
    " solve column and reflector with an axis each, in some minutes.",
)
def tolerance(delivery: DesignDelivery, solving: SolverOptions, samples: int, askew: str) -> None:
    """What a millimetre costs.

    Every size moved a little, alone and all at once: which one to watch, and how much a batch of
    speakers differs. Most speakers of the batch are read from the sizes moved alone, wherever that
    holds on those that were solved; --full solves every one.
    """
    from studies.answer.delivering import answer
    from studies.questions.tolerance.question import QUESTION

    answer(QUESTION, delivery, ToleranceOptions(samples=samples, askew=askew, solving=solving))
