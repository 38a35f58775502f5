"""What a millimetre costs: what `roundcast tolerance` finds, reports and draws."""

from __future__ import annotations

from dispersion.allround import Displacement
from studies.answer.next_steps import CUT, METER, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.tolerance.command import ToleranceOptions
from studies.questions.tolerance.figures import tolerance_pictures
from studies.questions.tolerance.study import MOST_JUDGED, Tolerance, tolerance
from studies.questions.tolerance.tables import tolerance_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import Progress, Solver
from studies.solving.members import BUILDS
from studies.solving.session import changes_of, ranks, solved, weighed_per_band
from studies.solving.weighing import hung_work


def find(design: Design, options: ToleranceOptions) -> Tolerance:
    """Move every size a little, alone and all at once."""

    def study(solver: Solver, progress: Progress) -> Tolerance:
        return tolerance(
            design,
            solver,
            progress,
            changes_of(options.solving),
            samples=options.samples,
            askew_solved=options.askew == "waves" and options.solving.method == "waves",
        )

    return solved(design, options.solving, study)


def weigh(design: Design, options: ToleranceOptions) -> Work:
    """About eight sizes and six unknowns moved both ways, some in every build, and the batch.

    By need few of the batch are solved.
    """
    per_band = weighed_per_band(options.solving)
    ranked = ranks(options.solving)
    moved = Portion(30 + (1 + MOST_JUDGED) * BUILDS, per_band, ranked)
    portions = (moved, Portion(options.samples, per_band, ranked))
    if options.askew == "rays":
        return portions
    allowed = design.tables.tolerance
    cases = (Displacement(shift=allowed.off_centre), Displacement(tilt=allowed.tilt))
    return sum((hung_work(design, hung) for hung in cases), start=portions)


QUESTION = Question(
    name="tolerance",
    find=find,
    tell=tolerance_tables,
    draw=tolerance_pictures,
    weigh=weigh,
    next_steps=then(CUT, METER),
)
