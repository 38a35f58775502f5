"""How much of the ball to keep: the functions that make up `roundcast trim`."""

from __future__ import annotations

from studies.answer.listening.panel import listening_files
from studies.answer.next_steps import CUT, METER, TOLERANCE, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.trim.choice import Trim
from studies.questions.trim.command import TrimOptions
from studies.questions.trim.figures import trim_pictures
from studies.questions.trim.heights import MOST_GAPS_JUDGED
from studies.questions.trim.study import trim
from studies.questions.trim.tables import trim_tables
from studies.solving.budget import Portion, Work
from studies.solving.ensemble import MOST_JUDGED
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.joint import MOST_GAPS, MOST_KEEPS
from studies.solving.members import BUILDS
from studies.solving.session import (
    coarse_of,
    ranks,
    solved,
    weighed_fine,
    weighed_per_band,
)
from studies.solving.weighing import leaders_work

COMPARED = 6
"""The file's keep, the lowest score, what the cap is compared with, the file as it is."""
STOPS = 4
"""Of the shaving, about, that are not among the heights which are judged."""


def find(design: Design, options: TrimOptions) -> Trim:
    """Solve every keep of every ball."""

    def study(solver: Solver, progress: Progress) -> Trim:
        fineness = coarse_of(options.solving)
        return trim(design, solver, progress, fineness, ensemble=options.asks_builds)

    return solved(design, options.solving, study)


def weigh(design: Design, options: TrimOptions) -> Work:
    """Every keep of every ball, the map if the plate moves, and what is asked of every build."""
    coarse, candidates = weighed_per_band(options.solving), design.trim_candidates()
    balls = len({ball for ball, _ in candidates})
    moves, judged = design.moves_plate, options.asks_builds
    ranked = ranks(options.solving)
    pairs = balls * MOST_KEEPS * MOST_GAPS if moves else 0
    gaps = len(design.gap_candidates()) if moves and judged else 0
    asked = BUILDS * (MOST_JUDGED + COMPARED + STOPS + (MOST_GAPS_JUDGED if gaps else 0))
    members = [Portion(asked, coarse, ranked)] if judged else []
    return (
        Portion(len(candidates) + pairs + gaps, coarse, ranked),
        *members,
        Portion(12, max(coarse, FINE_PER_BAND), ranked),
        *([Portion(1, weighed_fine(options.solving))] if ranked else []),
        *leaders_work(design),
    )


def make(found: Trim) -> dict[str, bytes]:
    """Make the page on which the best cap is heard against the file's and the references."""
    heard = {"best cap": found.best.row}
    if found.written is not None and found.written is not found.best:
        heard["as in the file"] = found.written.row
    return listening_files(found.design, heard | found.references)


QUESTION = Question(
    name="trim",
    find=find,
    tell=trim_tables,
    draw=trim_pictures,
    make=make,
    weigh=weigh,
    next_steps=then(METER, TOLERANCE, CUT),
)
