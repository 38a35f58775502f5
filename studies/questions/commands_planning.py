"""What to measure, before anything is measured."""

from __future__ import annotations

from typing import Any

import click

from studies.commands.options import example, metres, output_options, require_few, solver_options

INSTRUMENTS = ("meter", "microphone")
"""Choices of `[measuring] instrument`; a test holds them against it."""

MOST_TO_TELL = 12


@click.command(epilog=example("meter mine.toml --distance 1m --wall 2m"))
@output_options
@solver_options
@click.option(
    "--instrument",
    type=click.Choice(INSTRUMENTS),
    help="A level meter with band noise, or a microphone with gated sweeps."
    " [default: as in [measuring], else meter]",
)
@click.option(
    "--turntable/--no-turntable", default=None, help="Whether the column stands on a turntable."
)
@click.option(
    "--distance",
    metavar="LENGTH",
    help="From the middle of the ring to the meter. [default: 0.5 m, microphone 1 m]",
)
@click.option(
    "--wall",
    metavar="LENGTH",
    help="From the column's axis to the nearest wall or large piece of furniture."
    " [default: 1.5 m; the ceiling stands in [room]]",
)
@click.option(
    "--question",
    type=click.Choice(("keep", "gap")),
    help="What the readings should tell. [default: keep where the file has [trim], else gap]",
)
@click.option(
    "--tell",
    multiple=True,
    metavar="LENGTH",
    help="Keeps or gaps to tell apart, twice or more: --tell 41mm --tell 47mm."
    " [default: the near-best]",
)
def meter(tell: tuple[str, ...], **given: Any) -> None:
    """Plan what to measure: places, bands, boxes to fill in.

    Says where to stand, how low a reading is honest in your room, what it should be, which few
    readings tell the near-best apart, and after each cut when to stop. Prints sheets for A4 and
    Letter and a CSV to fill in. Order of the work: trim (or gap), meter, measure, fill in.
    """
    from studies.running import answer

    require_few("tell", tell, MOST_TO_TELL)
    for size in tell:
        metres("tell", size)
    answer("meter", tell=tell, **given)
