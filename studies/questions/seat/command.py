"""`roundcast seat`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options, wave_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class SeatOptions(Options):
    """What `roundcast seat` was asked.

    Attributes
    ----------
    wav_length : float or None
        Length of the impulse responses, milliseconds; as long as they need if None.
    """

    wav_length: float | None = None


@click.command(epilog=example("seat mine.toml"))
@output_options
@wave_options
@click.option(
    "--wav-length",
    type=click.FloatRange(min=1.0),
    metavar="MS",
    help="Of the impulse responses, milliseconds. [default: as long as the latest bounce and the"
    " lowest frequency need, up to the next tenth of a second]",
)
def seat(delivery: DesignDelivery, solving: SolverOptions, wav_length: float | None) -> None:
    """What reaches your chair.

    Direct sound and the first bounces off floor, ceiling and walls, sitting against standing, a
    wall close behind against the free room, impulse responses as WAV, step response and group
    delay. With excursion, moving_mass and sensitivity_db in [driver], how loud it can be before the
    cone has no travel left; with apart in [room], what differs off the middle seat of two columns.

    Say in [room] of the design file how large the room is, where the column stands and what its
    surfaces absorb; without it there are floor and ceiling. Stops at first bounces: no room
    simulator. With floor = true the column is also solved standing on a hard, endless floor,
    exactly.
    """
    from studies.answer.delivering import answer
    from studies.questions.seat.question import QUESTION

    answer(QUESTION, delivery, SeatOptions(wav_length=wav_length, solving=solving))
