"""What reaches the chair: what `roundcast seat` finds, reports, draws and writes."""

from __future__ import annotations

from studies.answer.next_steps import CUT, METER, then
from studies.answer.question import Question
from studies.design import Design
from studies.questions.seat.command import SeatOptions
from studies.questions.seat.figures import seat_pictures
from studies.questions.seat.study import SeatStudy, seat
from studies.questions.seat.tables import seat_tables
from studies.questions.seat.wav import seat_files
from studies.solving.budget import Portion, Work
from studies.solving.grid import Progress, Solver
from studies.solving.session import fine_of, solved, weighed_fine
from studies.solving.weighing import askew_work, posts_work


def find(design: Design, options: SeatOptions) -> SeatStudy:
    """Find what reaches the seats, with the wave solver: phases count."""
    length = None if options.wav_length is None else 1e-3 * options.wav_length

    def study(solver: Solver, progress: Progress) -> SeatStudy:
        return seat(design, solver, progress, fine_of(options.solving), length)

    return solved(design, options.solving, study)


def weigh(design: Design, options: SeatOptions) -> Work:
    """The design in free air and on the floor, and bounces that pass the column.

    Posts and what hangs askew, if asked for.
    """
    around = (*posts_work(design), *askew_work(design))
    return (Portion(2, weighed_fine(options.solving)), Portion(1, 1, passed=True), *around)


QUESTION = Question(
    name="seat",
    find=find,
    weigh=weigh,
    tell=seat_tables,
    draw=seat_pictures,
    make=seat_files,
    next_steps=then(METER, CUT),
)
