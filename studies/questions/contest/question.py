"""Cone or dome or a curve of one's own: the functions that make up `roundcast contest`."""

from __future__ import annotations

from studies.answer.listening.panel import listening_files
from studies.answer.next_steps import CUT, TOLERANCE, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.contest.command import ContestOptions
from studies.questions.contest.figures import contest_pictures
from studies.questions.contest.study import Contest, contest
from studies.questions.contest.tables import contest_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import Progress, Solver
from studies.solving.joint import MOST_GAPS
from studies.solving.members import BUILDS
from studies.solving.session import (
    fine_of,
    ranks,
    solved,
    weighed_fine,
    weighed_per_band,
)


def find(design: Design, options: ContestOptions) -> Contest:
    """Solve every entry."""

    def study(solver: Solver, progress: Progress) -> Contest:
        fineness = fine_of(options.solving)
        return contest(design, solver, progress, fineness, ensemble=options.asks_builds)

    return solved(design, options.solving, study)


def make(found: Contest) -> dict[str, bytes]:
    """Make the page on which the entries are heard against each other."""
    return listening_files(found.design, {one.entry.name: one.row for one in found.ranked})


def weigh(design: Design, options: ContestOptions) -> Work:
    """Every entry, and what is asked of every build."""
    entries = len(design.contest_entries())
    coarse, work = (
        weighed_per_band(options.solving),
        [Portion(entries, weighed_fine(options.solving))],
    )
    if options.asks_builds:
        work += [Portion(BUILDS * entries, coarse)]
    if options.asks_builds and design.moves_plate:
        work += [Portion(entries * MOST_GAPS, coarse, ranks(options.solving))]
    return tuple(work)


QUESTION = Question(
    name="contest",
    find=find,
    weigh=weigh,
    tell=contest_tables,
    draw=contest_pictures,
    make=make,
    next_steps=then(TOLERANCE, CUT),
)
