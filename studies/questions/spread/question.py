"""Where the sound of a design goes: the functions that make up `roundcast spread`."""

from __future__ import annotations

from pathlib import Path

from studies.answer.next_steps import RAYS, Step, asked_of, choices
from studies.answer.question import Question
from studies.design import Design
from studies.questions.spread.command import SpreadOptions
from studies.questions.spread.figures import spread_pictures
from studies.questions.spread.study import Spread, spread
from studies.questions.spread.tables import spread_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import Progress, Solver
from studies.solving.session import fine_of, solved, weighed_fine
from studies.solving.weighing import askew_work, posts_work


def find(design: Design, options: SpreadOptions) -> Spread:
    """Solve the design as it is written."""

    def study(solver: Solver, progress: Progress) -> Spread:
        return spread(design, solver, progress, fine_of(options.solving))

    return solved(design, options.solving, study)


def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
    """Next the studies that choose something, then why it is so."""
    return asked_of(design, *choices(design), RAYS)


def weigh(design: Design, options: SpreadOptions) -> Work:
    """The design as it is written; posts and what hangs askew, if they are asked for."""
    as_hung = askew_work(design, compared=False)
    return (Portion(1, weighed_fine(options.solving)), *posts_work(design), *as_hung)


QUESTION = Question(
    name="spread",
    find=find,
    weigh=weigh,
    tell=spread_tables,
    draw=spread_pictures,
    next_steps=next_steps,
)
