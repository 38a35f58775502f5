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
from studies.solving.session import MethodError, coarse_of, ranks, solved, weighed_per_band


def find(design: Design, options: FeltOptions) -> FeltStudy:
    """Solve every ring; MethodError if the method knows no felt."""
    method = options.solving.method
    if method != "waves":
        raise MethodError(f"--method {method} takes every surface as hard: leave it out")

    def study(solver: Solver, progress: Progress) -> FeltStudy:
        return felt(design, solver, progress, coarse_of(options.solving))

    return solved(design, options.solving, study)


def weigh(design: Design, options: FeltOptions) -> Work:
    """Every ring, the design without, and about half a dozen again."""
    coarse, rings = (
        weighed_per_band(options.solving),
        len(PLACES) * len(SHARES) * len(THICKNESSES[design.unit]),
    )
    ranked = ranks(options.solving)
    return (Portion(rings + 1, coarse, ranked), Portion(6, max(coarse, FINE_PER_BAND), ranked))


QUESTION = Question(
    name="felt",
    find=find,
    tell=felt_tables,
    draw=felt_pictures,
    make=felted_files,
    weigh=weigh,
    next_steps=then(CUT),
)
