"""What goes to the shed: what `roundcast cut` finds, tells, draws and writes."""

from __future__ import annotations

from studies.answer.next_steps import METER, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.cut.command import CutOptions
from studies.questions.cut.figures import cut_pictures
from studies.questions.cut.files import cutting_files
from studies.questions.cut.study import Cutting, cutting
from studies.questions.cut.tables import cut_tables


def find(design: Design, options: CutOptions) -> Cutting:
    """Work out all that the sheets state."""
    return cutting(design, options.papers)


QUESTION = Question(
    name="cut",
    find=find,
    tell=cut_tables,
    draw=cut_pictures,
    make=cutting_files,
    next_steps=then(METER),
)
