"""The wave inside and round the ring: what `roundcast slice` finds, reports and draws."""

from __future__ import annotations

from dataclasses import replace

from studies.answer.next_steps import then_choose
from studies.answer.question import Question
from studies.design import Design
from studies.questions.slice.command import SliceOptions
from studies.questions.slice.figures import slice_files, slice_pictures
from studies.questions.slice.ringing import where_they_ring
from studies.questions.slice.slices import Slices
from studies.questions.slice.study import by_number, sharp_resonances, slice_study
from studies.questions.slice.tables import slices_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import FINE_PER_BAND, Progress
from studies.solving.session import watched


def find(design: Design, options: SliceOptions) -> Slices:
    """Solve the field in a slice, and find where the design rings."""
    workers, finer = options.solving.workers, options.solving.finer

    def study(watch: Progress) -> Slices:
        resonances = sharp_resonances(design, workers, watch, finer)
        at = (*options.at, *by_number(design, resonances, options.resonances))
        slices = slice_study(design, at, workers, watch, finer)
        places = where_they_ring(design, resonances, workers, watch, finer)
        return replace(slices, resonances=resonances, places=places)

    return watched(study, options.solving)


def weigh(design: Design, options: SliceOptions) -> Work:
    """The resonances; the slices themselves are a few frequencies."""
    return (Portion(1, FINE_PER_BAND),)


QUESTION = Question(
    name="slice",
    find=find,
    weigh=weigh,
    tell=slices_tables,
    draw=slice_pictures,
    make=slice_files,
    next_steps=then_choose,
)
