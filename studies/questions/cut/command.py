"""`roundcast cut`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options

PAPERS = ("a4", "letter", "a3", "tabloid", "a2", "none")
"""Names in `studies.answer.charts.paper.sizes.PAPERS`; a test holds them against it."""


@dataclass(frozen=True, kw_only=True)
class CutOptions(Options):
    """What `roundcast cut` was asked.

    Attributes
    ----------
    papers : tuple[str, ...]
        Paper of the sheets; with none only outlines and solids are made.
    """

    papers: tuple[str, ...] = ("a4", "letter")


@click.command(epilog=example("cut mine.toml --paper a3"))
@output_options
@click.option(
    "--paper",
    "papers",
    type=click.Choice(PAPERS),
    multiple=True,
    default=("a4", "letter"),
    help="Paper of the sheets, may be repeated; none makes outlines and solids only."
    " [default: a4 and letter]",
)
def cut(delivery: DesignDelivery, papers: tuple[str, ...]) -> None:
    """Print what goes to the shed, at true scale.

    Trim card, templates, drill plan and gap gauge for A4 and Letter, and lists to print; STL, 3MF,
    DXF and SVG of the reflector, GLB of the whole. Print at 100 per cent, and measure the bar
    and the square on every sheet before you trust a template. [build] in the design file names
    materials, wall, kerf, spigot hole and the like.
    """
    from studies.answer.delivering import answer
    from studies.questions.cut.question import QUESTION

    sheets = tuple(name for name in papers if name != "none")
    answer(QUESTION, delivery, CutOptions(papers=sheets))
