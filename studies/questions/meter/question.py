"""The question of `roundcast meter`: what to measure, and where."""

from __future__ import annotations

from pathlib import Path

from shapes.lengths import parse_length
from studies.answer.next_steps import Step, command_line
from studies.answer.question import Question
from studies.design import Design
from studies.questions.meter.command import MeterOptions
from studies.questions.meter.figures import meter_pictures
from studies.questions.meter.files import TO_FILL, meter_files
from studies.questions.meter.open_question import Kind
from studies.questions.meter.study import (
    FIRST_TO_FILL,
    Meter,
    fit_option,
    hangs,
    meter,
    with_options,
)
from studies.questions.meter.tables import meter_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import FINE_PER_BAND, Progress, Solver
from studies.solving.members import BUILDS
from studies.solving.session import MethodError, coarse_of, ranks, solved, weighed_per_band
from studies.solving.weighing import askew_work, posts_work

A_DOZEN = 12
"""Designs whose readings are predicted, about: as written, candidates and cuts."""


def find(design: Design, options: MeterOptions) -> Meter:
    """Plan what to measure; MethodError if it is not the wave solver that is asked."""
    if options.solving.method != "waves":
        raise MethodError(
            f"--method {options.solving.method}: readings near the column can only be told by the"
            " wave solver, so leave the option out"
        )
    kind: Kind | None = "plate gap" if options.question == "gap" else options.question
    with_instrument = with_options(design, _instrument(options))

    def study(solver: Solver, progress: Progress) -> Meter:
        return meter(
            with_instrument,
            solver,
            progress,
            coarse_of(options.solving),
            question=kind,
            among=[parse_length(size) for size in options.tell],
        )

    return solved(with_instrument, options.solving, study)


def _instrument(options: MeterOptions) -> dict[str, str | bool | float]:
    """Keys of the measuring table that options replace."""
    given = {
        "instrument": options.instrument,
        "turntable": options.turntable,
        "distance": options.distance,
        "wall": options.wall,
        "temperature": options.temperature,
    }
    return {key: value for key, value in given.items() if value is not None}


def weigh(design: Design, options: MeterOptions) -> Work:
    """Every keep of the file's ball or every plate gap, and a dozen again in every build."""
    coarse = weighed_per_band(options.solving)
    around = (*posts_work(design), *askew_work(design))
    if options.tell:
        told = 1 + len(options.tell)
        return (
            Portion(told, FINE_PER_BAND),
            Portion(BUILDS * told, coarse, ranks(options.solving)),
            *around,
        )
    trim, gap = design.tables.trim, design.tables.gap
    if options.question != "gap" and trim is not None and design.ball is not None:
        tried = len({keep for _, keep in design.trim_candidates()})
    else:
        tried = 3 if gap is None else len(design.gap_candidates())
    return (
        Portion(tried + BUILDS * A_DOZEN, coarse, ranks(options.solving)),
        Portion(A_DOZEN, max(coarse, FINE_PER_BAND)),
        *around,
    )


def next_steps(design: Design, folder: Path) -> tuple[Step, ...]:
    """Next the measurement, laid over the prediction; first that which finds the driver."""
    filled_in = command_line("overlay", design.path, folder / TO_FILL)
    later = (filled_in, "once its readings are filled in")
    if design.known is not None or not hangs(design.assembly()):
        return (later,)
    first = f"{command_line('overlay', design.path, folder / FIRST_TO_FILL)} {fit_option(design)}"
    return (first, "finds your driver, once its readings are filled in"), later


QUESTION = Question(
    name="meter",
    find=find,
    tell=meter_tables,
    draw=meter_pictures,
    make=meter_files,
    weigh=weigh,
    next_steps=next_steps,
)
