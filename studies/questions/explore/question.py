"""Two sizes at once: the functions that make up `roundcast explore`."""

from __future__ import annotations

from studies.answer.next_steps import CUT, TOLERANCE, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.explore.command import ExploreOptions
from studies.questions.explore.page import explore_files
from studies.questions.explore.study import Explore, explore, knobs_of
from studies.questions.explore.tables import explore_tables
from studies.solving.budget import Portion, Work
from studies.solving.ensemble import MOST_JUDGED
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.members import BUILDS
from studies.solving.session import coarse_of, ranks, solved, weighed_per_band


def find(design: Design, options: ExploreOptions) -> Explore:
    """Solve every pair of sizes."""

    def study(solver: Solver, progress: Progress) -> Explore:
        fineness = coarse_of(options.solving)
        return explore(design, solver, progress, fineness, ensemble=options.asks_builds)

    return solved(design, options.solving, study)


def weigh(design: Design, options: ExploreOptions) -> Work:
    """Every pair, what is asked of every build, and about a dozen again."""
    knob, gap = knobs_of(design)
    coarse = weighed_per_band(options.solving)
    ranked, asked = ranks(options.solving), BUILDS * (MOST_JUDGED + 2)
    members = [Portion(asked, coarse, ranked)] if options.asks_builds else []
    return (
        Portion(len(knob.sizes) * len(gap.sizes), coarse, ranked),
        *members,
        Portion(12, max(coarse, FINE_PER_BAND), ranked),
    )


QUESTION = Question(
    name="explore",
    find=find,
    tell=explore_tables,
    make=explore_files,
    weigh=weigh,
    next_steps=then(TOLERANCE, CUT),
)
