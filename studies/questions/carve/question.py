"""A curve of one's own: what `roundcast carve` finds, reports, draws and writes."""

from __future__ import annotations

import functools
from pathlib import Path

from dispersion.waves import WaveSettings
from studies.answer.next_steps import Step, command_line
from studies.answer.question import Question
from studies.design import Design
from studies.questions.carve.carved_file import carve_files, carved_name
from studies.questions.carve.command import CarveOptions
from studies.questions.carve.figures import carve_pictures
from studies.questions.carve.study import (
    CHECK_FINER,
    CHECK_PER_BAND,
    FINALISTS,
    KINDS,
    Carved,
    carve,
)
from studies.questions.carve.tables import carve_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.members import BUILDS
from studies.solving.session import coarse_of, ranks, solved, weighed_per_band


def find(design: Design, options: CarveOptions) -> Carved:
    """Search a curve with the wave solver: its error is what the gain is held to."""
    finest = WaveSettings().finer(options.solving.finer).finer(CHECK_FINER)

    def study(solver: Solver, progress: Progress) -> Carved:
        checker = functools.partial(solver, settings=finest)
        return carve(
            design,
            solver,
            progress,
            coarse_of(options.solving),
            checker=checker,
            knots=options.knots,
            solves=options.solves,
            ensemble=options.asks_builds,
        )

    return solved(design, options.solving, study)


def weigh(design: Design, options: CarveOptions) -> Work:
    """The search, the finalists in every build, and three of them again on a finer mesh."""
    coarse, ranked = weighed_per_band(options.solving), ranks(options.solving)
    members = BUILDS * len(KINDS) * FINALISTS * options.asks_builds
    return (
        *([Portion(members, coarse, ranked)] if members else []),
        Portion(options.solves, coarse, ranked),
        Portion(len(KINDS) * FINALISTS, max(coarse, FINE_PER_BAND)),
        Portion(len(KINDS), max(coarse, CHECK_PER_BAND)),
    )


def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
    """Next the section of what was carved."""
    return ((command_line("section", folder / carved_name(design)), "of the carved curve"),)


QUESTION = Question(
    name="carve",
    find=find,
    tell=carve_tables,
    draw=carve_pictures,
    make=carve_files,
    weigh=weigh,
    next_steps=next_steps,
)
