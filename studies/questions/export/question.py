"""The directivity for other programs: what `roundcast export` finds, reports, draws and writes."""

from __future__ import annotations

from studies.answer.question import Question
from studies.design import Design
from studies.questions.export.command import ExportOptions
from studies.questions.export.figures import directivity_pictures
from studies.questions.export.files import directivity_files
from studies.questions.export.sofa import require_sofar
from studies.questions.export.study import Directions, Directivity, directivity
from studies.questions.export.tables import directivity_tables
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.session import MethodError, solved


def find(design: Design, options: ExportOptions) -> Directivity:
    """Solve the far field; MethodError if the method knows no phase or no reflector."""
    method = options.solving.method
    if method in ("rays", "images"):
        raise MethodError(
            f"--method {method} knows {'no phase' if method == 'rays' else 'no reflector'}: take"
            " waves or edges"
        )
    if not options.no_sofa:
        require_sofar()

    def study(solver: Solver, progress: Progress) -> Directivity:
        return directivity(
            design,
            solver,
            progress,
            options.solving.per_band or FINE_PER_BAND,
            directions=Directions(options.elevation_step, options.azimuth_step),
            as_sofa=not options.no_sofa,
            author=options.author,
            licence=options.licence,
        )

    return solved(design, options.solving, study)


QUESTION = Question(
    name="export",
    find=find,
    tell=directivity_tables,
    draw=directivity_pictures,
    make=directivity_files,
)
