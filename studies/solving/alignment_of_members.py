"""Whether a delay that gains for one file gains in every driver and build it may stand for.

Delay and polarity are factors of what each way radiates: both timings are read from one solve of
each member, an octave either way of the crossover. That filters and ways may have another phase
than the file says no member knows: a measurement at the crossover has the last word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from shapes.assembly import Assembly
from studies.design import Design
from studies.solving.alignment import OCTAVES, Alignment, gain_in
from studies.solving.candidates import Candidate
from studies.solving.grid import Progress, Solver, built, counted, problem_of, work_of
from studies.solving.members import Build, Motion, members, ways_of, with_cone
from studies.solving.processes import Advance, side_by_side
from studies.solving.verdicts import Lead, compared_over

PER_OCTAVE = 12
"""Frequencies at which the sums are compared, evenly: of the coaxial example, its tweeter 0.1 ms
late, twice as many move the mean gain of 0.83 dB by 0.03 dB."""
STAGE = "how the ways add, whatever you do not know"


def lead_of_best(
    design: Design,
    assembly: Assembly,
    found: Alignment,
    solver: Solver,
    progress: Progress | None = None,
) -> Lead:
    """Compare the best timing with the written one over the ensemble.

    Parameters
    ----------
    design : Design
    assembly : Assembly
        As the file has it.
    found : Alignment
        Of that design.
    solver : callable
        The wave solver.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.
    """
    kinds = members(design)
    steps = np.linspace(-OCTAVES, OCTAVES, round(2.0 * OCTAVES * PER_OCTAVE) + 1)
    frequencies = found.crossing_hz * 2.0**steps
    count = sum(len(moves) for _, moves in kinds)
    advance = counted(progress, STAGE, count * len(frequencies))
    of_build = partial(
        _of_build, design=design, assembly=assembly, found=found, frequencies=frequencies
    )
    with side_by_side(solver, advance, pieces=len(kinds), work=work_of(design, count)) as each:
        gains = list(each(of_build, *zip(*kinds, strict=True)))
    return compared_over(np.concatenate(gains))


def _of_build(
    solver: Solver,
    advance: Advance,
    build: Build,
    moves: Sequence[Motion],
    *,
    design: Design,
    assembly: Assembly,
    found: Alignment,
    frequencies: np.ndarray,
) -> np.ndarray:
    """Gain in each motion of one build, dB; nan where it cannot be built."""
    row = built(Candidate("", partial(build.of, assembly)))
    if row.reason:
        return np.full(len(moves), np.nan)
    there = with_cone(design, build)
    problem = replace(problem_of(there, row.assembly), frequencies=frequencies)
    ways = [ways_of(there, move) for move in moves]
    gains = []
    for n, own in enumerate(ways):
        response = solver(replace(problem, ways=own), progress=advance, also=ways[n + 1 :])
        gains.append(gain_in(found, response, design.window_deg))
    return np.array(gains)
