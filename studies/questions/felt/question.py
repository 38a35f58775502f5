"""Whether a ring of felt pays: the functions that make up `roundcast felt`."""

from __future__ import annotations

from studies.answer.next_steps import CUT, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.felt.command import FeltOptions
from studies.questions.felt.felted_file import felted_files
from studies.questions.felt.figures import felt_pictures
from studies.questions.felt.study import PLACES, SHARES, THICKNESSES, FeltStudy, felt
from studies.questions.felt.tables import felt_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.members import BUILDS
from studies.solving.session import MethodError, coarse_of, ranks, solved, weighed_per_band


def find(design: Design, options: FeltOptions) -> FeltStudy:
    """Solve every ring; MethodError if the method knows no felt."""
    method = options.solving.method
    if method != "waves":
        raise MethodError(f"--method {method} takes every surface as hard: leave it out")

    def study(solver: Solver, progress: Progress) -> FeltStudy:
        fineness = coarse_of(options.solving)
        return felt(design, solver, progress, fineness, ensemble=options.asks_builds)

    return solved(design, options.solving, study)


def weigh(design: Design, options: FeltOptions) -> Work:
    """Every ring, the design without, about half a dozen again, and the best in every build."""
    coarse, rings = (
        weighed_per_band(options.solving),
        len(PLACES) * len(SHARES) * len(THICKNESSES[design.unit]),
    )
    ranked = ranks(options.solving)
    members = BUILDS * (1 + len(PLACES)) * options.asks_builds
    return (
        Portion(rings + 1, coarse, ranked),
        *([Portion(members, coarse, ranked)] if members else []),
        Portion(6, max(coarse, FINE_PER_BAND), ranked),
    )


QUESTION = Question(
    name="felt",
    find=find,
    tell=felt_tables,
    draw=felt_pictures,
    make=felted_files,
    weigh=weigh,
    next_steps=then(CUT),
)
