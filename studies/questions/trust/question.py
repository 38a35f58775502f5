"""How far each quick method can be believed: what `roundcast trust` finds, reports and draws."""

from __future__ import annotations

import functools

from dispersion.solvers import SOLVERS
from studies.answer.next_steps import then_choose
from studies.answer.question import Question
from studies.design import Design
from studies.questions.trust.command import TrustOptions
from studies.questions.trust.figures import trust_pictures
from studies.questions.trust.study import PER_BAND, Trust, spread_of_cases, trust
from studies.questions.trust.tables import trust_tables
from studies.solving.budget import Portion, Work
from studies.solving.grid import COARSE_PER_BAND
from studies.solving.session import watched


def find(design: Design, options: TrustOptions) -> Trust:
    """Compare every method with the wave solver."""
    workers, per_band = options.solving.workers, options.solving.per_band or PER_BAND
    solvers = {name: functools.partial(solver, workers=workers) for name, solver in SOLVERS.items()}
    return watched(lambda watch: trust(design, solvers, watch, per_band), options.solving)


def weigh(design: Design, options: TrustOptions) -> Work:
    """Every case by the wave solver, and the file's posts; next to them the others are nothing."""
    per_band = options.solving.per_band or PER_BAND
    cases = Portion(len(spread_of_cases(design)), per_band)
    if design.tables.posts is None:
        return (cases,)
    return (cases, Portion(1, COARSE_PER_BAND, counts=(design.tables.posts.count,)))


QUESTION = Question(
    name="trust",
    find=find,
    weigh=weigh,
    tell=trust_tables,
    draw=trust_pictures,
    next_steps=then_choose,
)
