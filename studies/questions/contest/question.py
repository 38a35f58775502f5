"""Cone or dome or a curve of one's own: the functions that make up `roundcast contest`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from studies.answer.listening.panel import listening_files
from studies.answer.next_steps import CUT, TOLERANCE, Step, command_line
from studies.answer.question import Question
from studies.design import Design
from studies.questions.contest.chosen_file import chosen_files, chosen_name
from studies.questions.contest.command import ContestOptions
from studies.questions.contest.figures import contest_pictures
from studies.questions.contest.study import Contest, contest
from studies.questions.contest.tables import contest_tables
from studies.solving.budget import Portion, Work
from studies.solving.contestants import BESIDE, FINALISTS, most_solves
from studies.solving.grid import Progress, Solver
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
    """Make the winner's design file, and the page on which the entries are heard."""
    heard = listening_files(found.design, {one.entry.name: one.row for one in found.ranked})
    return heard | chosen_files(found)


def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
    """Next what a millimetre of the winner costs, and its sheets."""
    won = folder / chosen_name(design)
    return tuple((command_line(name, won), about) for name, about in (TOLERANCE, CUT))


def weigh(design: Design, options: ContestOptions) -> Work:
    """Every entry, the sizes and gaps among which it chooses, a few of them in every build."""
    entries = design.contest_entries()
    fine = Portion(len(entries), weighed_fine(options.solving))
    if not options.asks_builds:
        return (fine,)
    coarse, ranked = weighed_per_band(options.solving), ranks(options.solving)
    best = replace(entries[0], stays=False, hold="nothing")
    tried = sum(most_solves(design, entry) for entry in (best, *entries))
    judged = 1 + (1 + FINALISTS + BESIDE) * len(entries)
    return fine, Portion(tried + BUILDS * judged, coarse, ranked)


QUESTION = Question(
    name="contest",
    find=find,
    weigh=weigh,
    tell=contest_tables,
    draw=contest_pictures,
    make=make,
    next_steps=next_steps,
)
