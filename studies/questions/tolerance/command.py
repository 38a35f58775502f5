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
    batch_per_band : int
        Frequencies in a third-octave band for the batch.
    """

    samples: int = 32
    batch_per_band: int = 12


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
    "--batch-per-band",
    type=click.IntRange(min=4, max=96),
    default=12,
    show_default=True,
    metavar="N",
    help="Frequencies in a third octave for the batch; 4 is quicker, and can be off by tenths.",
)
def tolerance(
    delivery: DesignDelivery, solving: SolverOptions, samples: int, batch_per_band: int
) -> None:
    """What a millimetre costs.

    Every size moved a little, alone and all at once: which one to watch, and how much a batch of
    speakers differs.
    """
    from studies.answer.delivering import answer
    from studies.questions.tolerance.question import QUESTION

    answer(
        QUESTION,
        delivery,
        ToleranceOptions(samples=samples, batch_per_band=batch_per_band, solving=solving),
    )
