"""What a design looks like, and whether all clears: what makes up `roundcast section`."""

from __future__ import annotations

from pathlib import Path

from studies.answer.next_steps import SPREAD, Step, asked_of, choices
from studies.answer.picture import section_pictures
from studies.answer.question import Question
from studies.design import Design
from studies.questions.section.command import SectionOptions
from studies.questions.section.tables import section_tables


def find(design: Design, options: SectionOptions) -> Design:
    """Return the design as it is: there is nothing to solve."""
    return design


def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
    """Next where the sound goes, then the studies that choose something."""
    return asked_of(design, SPREAD, *choices(design))


QUESTION = Question(
    name="section",
    find=find,
    tell=section_tables,
    draw=section_pictures,
    next_steps=next_steps,
)
