"""`roundcast rays`: its options."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from studies.answer.command_options import (
    Refusal,
    as_metres,
    example,
    output_options,
    some_solver_options,
    workers_option,
)
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options, SolverOptions

MOST_SHIFT = 0.05
"""Largest shift of [askew] in a design file, m."""


@dataclass(frozen=True, kw_only=True)
class RaysOptions(Options):
    """What `roundcast rays` was asked.

    Attributes
    ----------
    rays : int
        Rays that are counted.
    shift : float
        Reflector and plate off the axis, towards the first post, m.
    tilt : float
        Reflector and plate askew, degrees, down on the side of the first post.
    stl : Path or None
        A reflector of any form in place of the design's.
    stl_unit : str
        Unit of the STL file's numbers.
    """

    rays: int = 2**19
    shift: float = 0.0
    tilt: float = 0.0
    stl: Path | None = None
    stl_unit: str = "mm"


@click.command(epilog=example("rays mine.toml --shift 3mm --tilt 1"))
@output_options
@some_solver_options(workers_option)
@click.option(
    "--rays",
    type=int,
    default=2**19,
    show_default=True,
    metavar="N",
    help="Rays that are counted.",
)
@click.option(
    "--shift",
    callback=as_metres,
    metavar="LENGTH",
    help="Reflector and plate off the axis, towards the first post: 3mm.",
)
@click.option(
    "--tilt",
    type=click.FloatRange(-30.0, 30.0),
    default=0.0,
    metavar="DEG",
    help="Reflector and plate askew, down on the side of the first post.",
)
@click.option(
    "--stl",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A reflector of any form in place of the design's: watertight, its base at z = 0, its tip"
    " hanging down.",
)
@click.option(
    "--stl-unit",
    type=click.Choice(("mm", "cm", "m", "in")),
    default="mm",
    show_default=True,
    help="Unit of the STL file's numbers.",
)
def rays(
    delivery: DesignDelivery,
    solving: SolverOptions,
    rays: int,
    shift: float | None,
    tilt: float,
    stl: Path | None,
    stl_unit: str,
) -> None:
    """Why the sound goes where it goes.

    Rays through the section, where the energy goes and over which surfaces, and which paths make
    the notches. In the time of a click.
    """
    if abs(shift or 0.0) > MOST_SHIFT:
        raise Refusal("--shift: 50 mm off the axis at most, else it is another design")
    from studies.answer.delivering import answer
    from studies.questions.rays.question import QUESTION

    answer(
        QUESTION,
        delivery,
        RaysOptions(
            rays=rays, shift=shift or 0.0, tilt=tilt, stl=stl, stl_unit=stl_unit, solving=solving
        ),
    )
