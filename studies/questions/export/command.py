"""`roundcast export`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options, solver_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions


@dataclass(frozen=True, kw_only=True)
class ExportOptions(Options):
    """What `roundcast export` was asked.

    Attributes
    ----------
    elevation_step : float
        Degrees between elevations.
    azimuth_step : float
        Degrees between azimuths of the SOFA file.
    no_sofa : bool
        Leave the SOFA file out.
    author : str
        Whom the SOFA file names to contact.
    licence : str
        What the SOFA file says others may do with it.
    """

    elevation_step: float = 2.5
    azimuth_step: float = 10.0
    no_sofa: bool = False
    author: str = ""
    licence: str = ""


@click.command(epilog=example("export mine.toml --azimuth-step 5"))
@output_options
@solver_options
@click.option(
    "--elevation-step",
    type=float,
    default=2.5,
    show_default=True,
    metavar="DEG",
    help="Between elevations: a multiple of 0.5 that goes into 90.",
)
@click.option(
    "--azimuth-step",
    type=float,
    default=10.0,
    show_default=True,
    metavar="DEG",
    help="Between azimuths of the SOFA file, where the pattern is repeated all round.",
)
@click.option(
    "--no-sofa", is_flag=True, help="Leave the SOFA file out, which needs the package sofar."
)
@click.option("--author", default="", metavar="WORDS", help="Whom the SOFA file names to contact.")
@click.option(
    "--licence",
    default="",
    metavar="WORDS",
    help="What the SOFA file says others may do with it. [default: that they must ask]",
)
def export(
    delivery: DesignDelivery,
    solving: SolverOptions,
    elevation_step: float,
    azimuth_step: float,
    no_sofa: bool,
    author: str,
    licence: str,
) -> None:
    """Hand the directivity to other programs, in open formats.

    Complex pressure by frequency and direction as SOFA (AES69, FreeFieldDirectivityTF), CSV and
    JSON, with all that it takes to get pascals. For room simulation, for plots of your own.
    """
    from studies.answer.delivering import answer
    from studies.questions.export.question import QUESTION

    answer(
        QUESTION,
        delivery,
        ExportOptions(
            elevation_step=elevation_step,
            azimuth_step=azimuth_step,
            no_sofa=no_sofa,
            author=author,
            licence=licence,
            solving=solving,
        ),
    )
