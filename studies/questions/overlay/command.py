"""`roundcast overlay`: its options."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from studies.answer.command_options import example, output_options, solver_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class OverlayOptions(Options):
    """What `roundcast overlay` was asked.

    Attributes
    ----------
    files : tuple[Path, ...]
        What was measured: a filled-in sheet, or an index of curves.
    fit : bool
        Whether several sizes are fitted to the readings.
    fit_cone : bool
        Whether what the cone takes is fitted along with them.
    """

    files: tuple[Path, ...]
    fit: bool = False
    fit_cone: bool = False


@click.command(epilog=example("overlay mine.toml mine-meter/meter-to-fill.csv"))
@output_options
@click.argument(
    "files", metavar="FILES...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option(
    "--fit",
    is_flag=True,
    help="Find the sizes that fit the readings best, each with its 95 % interval, and write"
    " fitted.toml, a new design with them; takes some minutes more.",
)
@click.option(
    "--fit-cone",
    is_flag=True,
    help="As --fit, and find as well what the cone takes of the sound above where it lets go.",
)
@solver_options
def overlay(
    delivery: DesignDelivery,
    solving: SolverOptions,
    files: tuple[Path, ...],
    fit: bool,
    fit_cone: bool,
) -> None:
    """Does your measurement bear the model out?

    FILES are what you measured: the sheet of `roundcast meter` with its readings filled in (CSV),
    or an index (TOML) that says where each curve was measured, a curve being a text file of Hz
    and dB. See measured/index.toml among the files of `roundcast examples`.

    Level and, from three positions on, the driver's own curve are removed; what is left is held
    against what model and meter may be off by, and sizes are moved one at a time to see which
    would explain it.

    With --fit the sizes that are hard to measure (effective diameter, driver proud height, plate
    gap, keep, where the cone lets go) are fitted together. Measure at several heights first:
    angles that the fit has not seen are held against it, and it says which sizes the readings
    cannot tell. Read over the bare column and again under the uncut cap, knobs untouched, they tell
    most (`roundcast meter` makes that sheet; "hung" in it or in an index says which is which): both
    are one fit, with depth of the cone and dust cap. A place with readings at three azimuths or
    more tells how far off the centre reflector and plate hang, and to which side. What the cone
    takes of the treble nobody knows beforehand: --fit-cone finds it, with its doubt, and writes it
    into the new file. Your design file is never touched.
    """
    from studies.answer.delivering import answer
    from studies.questions.overlay.question import QUESTION

    asked = OverlayOptions(files=files, fit=fit or fit_cone, fit_cone=fit_cone, solving=solving)
    answer(QUESTION, delivery, asked)
