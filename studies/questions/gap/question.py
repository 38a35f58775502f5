"""How big a gap between baffle and top plate: the functions that make up `roundcast gap`."""

from __future__ import annotations

from pathlib import Path

from studies.answer.listening.panel import listening_files
from studies.answer.next_steps import GAP, TOLERANCE, Step, asked_of, choices
from studies.answer.question import Question
from studies.design import Design
from studies.questions.gap.command import GapOptions
from studies.questions.gap.figures import gap_pictures
from studies.questions.gap.study import GapStudy, gap
from studies.questions.gap.tables import gap_tables
from studies.solving.budget import Portion, Work
from studies.solving.ensemble import MOST_JUDGED
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.members import BUILDS
from studies.solving.session import (
    coarse_of,
    ranks,
    solved,
    weighed_fine,
    weighed_per_band,
)
from studies.solving.weighing import leaders_work


def find(design: Design, options: GapOptions) -> GapStudy:
    """Solve every plate gap."""

    def study(solver: Solver, progress: Progress) -> GapStudy:
        fineness = coarse_of(options.solving)
        return gap(design, solver, progress, fineness, ensemble=options.asks_builds)

    return solved(design, options.solving, study)


def weigh(design: Design, options: GapOptions) -> Work:
    """Every plate gap, about half a dozen again, and what is asked of every build."""
    coarse = weighed_per_band(options.solving)
    ranked, asked = ranks(options.solving), BUILDS * (MOST_JUDGED + 2)
    members = [Portion(asked, coarse, ranked)] if options.asks_builds else []
    return (
        Portion(len(design.gap_candidates()), coarse, ranked),
        *members,
        Portion(6, max(coarse, FINE_PER_BAND), ranked),
        *([Portion(1, weighed_fine(options.solving))] if ranked else []),
        *leaders_work(design),
    )


def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
    """Next the other studies that choose something, then what a millimetre costs."""
    others = (step for step in choices(design) if step != GAP)
    return asked_of(design, *others, TOLERANCE)


def make(found: GapStudy) -> dict[str, bytes]:
    """Make the page on which the best gap is heard against the file's."""
    heard = {"best gap": found.best.row}
    if found.written is not None and found.written is not found.best:
        heard["as in the file"] = found.written.row
    return listening_files(found.design, heard)


QUESTION = Question(
    name="gap",
    find=find,
    tell=gap_tables,
    draw=gap_pictures,
    make=make,
    weigh=weigh,
    next_steps=next_steps,
)
