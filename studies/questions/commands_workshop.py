"""What goes to the shed."""

from __future__ import annotations

from typing import Any

import click

from studies.commands.options import example, output_options

PAPERS = ("a4", "letter", "a3", "tabloid", "a2", "none")
"""Names in `studies.shed.paper.PAPERS`; a test holds them against it."""


@click.command(epilog=example("cut mine.toml --paper a3"))
@output_options
@click.option(
    "--paper",
    "papers",
    type=click.Choice(PAPERS),
    multiple=True,
    help="Paper of the sheets, may be repeated; none makes outlines and solids only."
    " [default: a4 and letter]",
)
def cut(papers: tuple[str, ...], **given: Any) -> None:
    """Print what goes to the shed, at true scale.

    Trim card, templates, drill plan, gap gauge and lists for A4 and Letter; STL, 3MF, DXF and SVG
    of the reflector, GLB of the whole.
    """
    from studies.running import answer

    answer("cut", papers=[name for name in papers or PAPERS[:2] if name != "none"], **given)
