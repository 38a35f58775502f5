"""`roundcast section`: its options."""

from __future__ import annotations

from dataclasses import dataclass

import click

from studies.answer.command_options import example, output_options
from studies.answer.delivery import DesignDelivery
from studies.solving.options import Options


@dataclass(frozen=True, kw_only=True)
class SectionOptions(Options):
    """What `roundcast section` was asked."""


@click.command(epilog=example("section mine.toml"))
@output_options
def section(delivery: DesignDelivery) -> None:
    """Draw the section, its three gaps and all clearances.

    Solves nothing, so it comes at once.
    """
    from studies.answer.delivering import answer
    from studies.questions.section.question import QUESTION

    answer(QUESTION, delivery, SectionOptions())
