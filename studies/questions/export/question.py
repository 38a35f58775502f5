"""The directivity for other programs: what `roundcast export` finds, reports, draws and writes."""

from __future__ import annotations

from dataclasses import replace

from studies.answer.question import Question
from studies.design import Design
from studies.questions.export.command import ExportOptions
from studies.questions.export.figures import directivity_pictures
from studies.questions.export.files import directivity_files
from studies.questions.export.sofa import require_sofar
from studies.questions.export.study import Directions, Directivity, directivity
from studies.questions.export.tables import directivity_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import FINE_PER_BAND, ByNeed, Fineness, Progress, Solver
from studies.solving.session import MethodError, fine_of, solved
from studies.solving.weighing import askew_work, posts_work

EVERY_WAY = 12
"""Cost of settling every direction, over that of one frequency a third octave."""
FAR_WITHIN = 0.1
"""Doubt of the far field at single frequencies, over its rms value in the band. The examples then
take 286, 189 and 211 solves. A trial with seats and images among the points, 249, 212 and 161
solves, was off by 0.2, 0.1 and 0.5 per cent (rms over directions and frequencies), 8, 4 and 10 at
worst. Where band values in the window alone settle (62 to 86 solves) it is 3 to 4 per cent (rms),
30 in the worst band and direction."""


def find(design: Design, options: ExportOptions) -> Directivity:
    """Solve the far field; MethodError if the method knows no phase."""
    if options.solving.method == "rays":
        raise MethodError("--method rays knows no phase: take waves, edges or images")
    if not options.no_sofa:
        require_sofar()

    def study(solver: Solver, progress: Progress) -> Directivity:
        return directivity(
            design,
            solver,
            progress,
            in_every_direction(fine_of(options.solving)),
            directions=Directions(options.elevation_step, options.azimuth_step),
            as_sofa=not options.no_sofa,
            author=options.author,
            licence=options.licence,
        )

    return solved(design, options.solving, study)


def in_every_direction(asked: Fineness) -> Fineness:
    """Return it with every direction to settle where frequencies are chosen by need."""
    return replace(asked, far_within=FAR_WITHIN) if isinstance(asked, ByNeed) else asked


def weigh(design: Design, options: ExportOptions) -> Work:
    """The design in every direction; posts and what hangs askew at the same frequencies."""
    fineness = in_every_direction(fine_of(options.solving))
    even = FINE_PER_BAND if isinstance(fineness, ByNeed) else fineness
    round_too = (*posts_work(design, 1, even), *askew_work(design, 1, even))
    around = () if options.no_sofa else round_too
    of_round = EVERY_WAY if isinstance(fineness, ByNeed) and not around else even
    return (Portion(1, of_round), *around)


QUESTION = Question(
    name="export",
    find=find,
    weigh=weigh,
    tell=directivity_tables,
    draw=directivity_pictures,
    make=directivity_files,
)
