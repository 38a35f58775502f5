"""Why the sound goes where it goes: what `roundcast rays` finds, reports and draws."""

from __future__ import annotations

from dispersion.paths.freeform import read_free_form
from studies.answer.next_steps import then_choose
from studies.answer.question import Question
from studies.design import Design
from studies.questions.rays.command import RaysOptions
from studies.questions.rays.figures import rays_pictures
from studies.questions.rays.study import RayStudy, ray_study
from studies.questions.rays.tables import rays_tables


def find(design: Design, options: RaysOptions) -> RayStudy:
    """Trace rays, through a reflector from an STL file if one is named."""
    form = None if options.stl is None else read_free_form(options.stl, options.stl_unit)
    return ray_study(
        design,
        rays=options.rays,
        workers=options.solving.workers,
        shift=options.shift,
        tilt=options.tilt,
        free_form=form,
    )


QUESTION = Question(
    name="rays", find=find, tell=rays_tables, draw=rays_pictures, next_steps=then_choose
)
