"""For other programs."""

from __future__ import annotations

from typing import Any

import click

from studies.commands.options import example, output_options, solver_options


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
def export(**given: Any) -> None:
    """Hand the directivity to other programs, in open formats.

    Complex pressure by frequency and direction as SOFA (AES69, FreeFieldDirectivityTF), CSV and
    JSON, with all that it takes to get pascals. For room simulation, for plots of your own.
    """
    from studies.running import answer

    answer("export", **given)
