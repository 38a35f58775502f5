"""`roundcast meter`: its options."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import click

from studies.answer.command_options import (
    example,
    metres,
    output_options,
    require_few,
    solver_options,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions

INSTRUMENTS = ("meter", "microphone")
"""Choices of `[measuring] instrument`; a test holds them against it."""
MOST_TO_TELL = 12


@dataclass(frozen=True, kw_only=True)
class MeterOptions(Options):
    """What `roundcast meter` was asked.

    Attributes
    ----------
    tell : tuple[str, ...]
        Keeps or gaps to separate, as they were written; the near-best if empty.
    question : Literal["keep", "gap"] or None
        What the readings should find out.
    instrument : str or None
        "meter" or "microphone"; as in the file if None.
    turntable : bool or None
        Whether the column stands on a turntable; as in the file if None.
    distance : str or None
        From the middle of the ring to the meter, as it was written.
    wall : str or None
        From the column's axis to the nearest wall, as it was written.
    temperature : float or None
        Of the room, degrees C; as in the file if None.
    """

    tell: tuple[str, ...] = ()
    question: Literal["keep", "gap"] | None = None
    instrument: str | None = None
    turntable: bool | None = None
    distance: str | None = None
    wall: str | None = None
    temperature: float | None = None


@click.command(epilog=example("meter mine.toml --temperature 19 --wall 2m"))
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
    "--temperature",
    type=float,
    metavar="CELSIUS",
    help="Of the room while you measure. [default: as in [measuring]; unknown, 10 to 30]",
)
@click.option(
    "--question",
    type=click.Choice(("keep", "gap")),
    help="What the readings should tell. [default: keep where the file has a ball and [trim],"
    " else gap]",
)
@click.option(
    "--tell",
    multiple=True,
    metavar="LENGTH",
    help="Keeps or gaps to tell apart, twice or more: --tell 41mm --tell 47mm."
    " [default: the near-best]",
)
def meter(
    delivery: DesignDelivery,
    solving: SolverOptions,
    tell: tuple[str, ...],
    question: Literal["keep", "gap"] | None,
    instrument: str | None,
    turntable: bool | None,
    distance: str | None,
    wall: str | None,
    temperature: float | None,
) -> None:
    """Plan what to measure: places, bands, boxes to fill in.

    Says where to stand, how low a reading is honest in your room, what it should be, which few
    readings tell the near-best apart, and after each cut when to stop. Prints sheets for A4 and
    Letter and a CSV to fill in. Order of the work: trim (or gap), meter, measure, fill in.
    """
    from studies.answer.delivering import answer
    from studies.questions.meter.question import QUESTION

    require_few("tell", tell, MOST_TO_TELL)
    for size in tell:
        metres("tell", size)
    answer(
        QUESTION,
        delivery,
        MeterOptions(
            tell=tell,
            question=question,
            instrument=instrument,
            turntable=turntable,
            distance=distance,
            wall=wall,
            temperature=temperature,
            solving=solving,
        ),
    )
