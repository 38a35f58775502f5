"""What to build: by the wave solver."""

from __future__ import annotations

from typing import Any

import click

from studies.commands.options import example, output_options, solver_options, wave_options


@click.command(epilog=example("spread mine.toml"))
@output_options
@solver_options
def spread(**given: Any) -> None:
    """Where the sound of this design goes.

    Level by elevation and third octave, and the curve at each seat.
    """
    from studies.running import answer

    answer("spread", **given)


@click.command(epilog=example("trim mine.toml --out answers"))
@output_options
@solver_options
def trim(**given: Any) -> None:
    """How much of the ball to keep, and how to shave it.

    Tries every height, and every ball on sale where the file lists several.
    """
    from studies.running import answer

    answer("trim", **given)


@click.command(epilog=example("contest mine.toml"))
@output_options
@solver_options
def contest(**given: Any) -> None:
    """Cone or dome or a curve of your own.

    Same column, same driver, same scale, absolute level.
    """
    from studies.running import answer

    answer("contest", **given)


@click.command(epilog=example("gap mine.toml"))
@output_options
@solver_options
def gap(**given: Any) -> None:
    """How big a gap between baffle and top plate.

    Sweeps it: notches, choking, a recommended gap and the post length that follows.
    """
    from studies.running import answer

    answer("gap", **given)


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
def tolerance(**given: Any) -> None:
    """What a millimetre costs.

    Every size moved a little, alone and all at once: which one to watch, and how much a batch of
    speakers differs.
    """
    from studies.running import answer

    answer("tolerance", **given)


@click.command(epilog=example("carve mine.toml --solves 480"))
@output_options
@wave_options
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
def carve(**given: Any) -> None:
    """Search a reflector's curve of your own.

    A smooth profile within what your workshop can make, held against the best cap and the best
    cone; the result is a design file. A run that was stopped goes on where it was.
    """
    from studies.running import answer

    answer("carve", **given)


@click.command(epilog=example("explore mine.toml"))
@output_options
@solver_options
def explore(**given: Any) -> None:
    """Walk through two sizes at once with sliders.

    Solves up to 200 pairs (keep by plate gap, half angle by plate gap) and writes one page that
    works without a network.
    """
    from studies.running import answer

    answer("explore", **given)
