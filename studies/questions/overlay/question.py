"""The question of `roundcast overlay`: does a measurement agree with the model?"""

from __future__ import annotations

from dispersion.allround import Displacement
from studies.answer.next_steps import then_choose
from studies.answer.question import Question
from studies.design import Design
from studies.design.parameters import cone_loss
from studies.measured.positions import by_hung
from studies.measured.reading import read_measurements
from studies.measured.text_files import MeasurementError
from studies.questions.overlay.command import OverlayOptions
from studies.questions.overlay.figures import overlay_pictures
from studies.questions.overlay.fitted_file import fitted_files
from studies.questions.overlay.off_axis import TRIED
from studies.questions.overlay.study import Overlay, overlay
from studies.questions.overlay.tables import overlay_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import Progress, Solver
from studies.solving.session import MethodError, changes_of, solved, weighed_fine
from studies.solving.weighing import askew_work, hung_work, posts_work

WITH_FIT = 20
"""Designs that a fit solves, about, for each thing that hung over the driver."""


def find(design: Design, options: OverlayOptions) -> Overlay:
    """Read measurements and lay them over the prediction."""
    method = options.solving.method
    if options.fit and method != "waves":
        raise MethodError(
            f"--fit looks for millimetres, and --method {method} is off by more than they do:"
            " leave --method out"
        )
    if options.fit_cone:
        cone_loss(design)  # refuses a design that says what its cone takes
    measurements = read_measurements(options.files, design)

    def study(solver: Solver, progress: Progress) -> Overlay:
        return overlay(
            design,
            solver,
            progress,
            changes_of(options.solving),
            measurements=measurements,
            with_fit=options.fit,
            with_cone=options.fit_cone,
        )

    return solved(design, options.solving, study)


def make(found: Overlay) -> dict[str, bytes]:
    """Write the fitted design, where a fit was asked for."""
    return {} if found.fitted is None else fitted_files(found.fitted, found.off_axis)


def weigh(design: Design, options: OverlayOptions) -> Work:
    """The design as it is written; with a fit, those with sizes moved; under all that hung there.

    Posts and what hangs askew, if asked for.
    """
    designs = (WITH_FIT if options.fit else 1) * _states(design, options)
    around = (*posts_work(design), *askew_work(design))
    if options.fit:  # of azimuths, if there are any
        around += hung_work(design, Displacement(shift=TRIED))
    return (Portion(designs, weighed_fine(options.solving)), *around)


def _states(design: Design, options: OverlayOptions) -> int:
    """How many things hung over the driver; one where nothing can be read, which `find` tells."""
    try:
        measured = read_measurements(options.files, design)
    except MeasurementError:
        return 1
    return len(by_hung([one.position for one in measured]))


QUESTION = Question(
    name="overlay",
    find=find,
    weigh=weigh,
    tell=overlay_tables,
    draw=overlay_pictures,
    make=make,
    next_steps=then_choose,
)
