"""Frequencies chosen by need against an even grid of 96 in a third octave."""

from functools import partial

import numpy as np
import pytest
from bodies import EXAMPLES, example

from dispersion.bands import band_means
from dispersion.curves import WITHIN
from dispersion.elevations import level_db
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from studies.design import Design, parse_design
from studies.questions.export.question import FAR_WITHIN, in_every_direction
from studies.questions.export.study import directivity
from studies.questions.seat.study import seat
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import COARSE_BY_NEED, FINE_BY_NEED, run
from studies.solving.shaving import cut_candidate
from studies.solving.target import NO_DIFFERENCE_DB

CONVERGED_DB = 0.1
"""Bands that every second of 96 frequencies gives alike are those that 96 can judge."""


def of_every(step: int, row: Row) -> np.ndarray:
    """Levels of the window in third octaves, dB, of every so many of the frequencies solved."""
    kept = slice(None, None, step)
    power, alone = 10.0 ** (0.1 * row.window_curve_db), np.abs(row.response.alone) ** 2
    frequencies = row.response.problem.frequencies
    return level_db(band_means(frequencies[kept], power[kept], alone[kept])[1])


@pytest.mark.parametrize(
    "name",
    [
        # Two at every change; before a release the third too.
        pytest.param(name, marks=pytest.mark.long if "cone" in name else pytest.mark.slow)
        for name in EXAMPLES
    ],
)
def test_bands_settled_by_need_are_those_of_a_fine_even_grid(name: str) -> None:
    """The examples as written, all 23 third octaves from 100 Hz to 16 kHz.

    Settled within 0.3 dB, one standard deviation, a band in 23 may be off by 0.6 dB.
    """
    design = example(name)
    solver = partial(solve_waves, shared=SharedBlocks())
    few, fine, even = (
        run(design, [Candidate("as written", design.assembly)], solver, fineness, "one")[0]
        for fineness in (COARSE_BY_NEED, FINE_BY_NEED, 96)
    )
    judge = even.coverage.window_level_db
    assert of_every(1, even) == pytest.approx(judge)
    converged = np.abs(of_every(2, even) - judge) < CONVERGED_DB
    assert len(judge) == 23
    assert np.count_nonzero(converged) >= 20
    for row, most_db in ((few, 0.6), (fine, 0.3)):
        assert row.response.settling.settled.all()
        assert row.solves < even.solves / 20
        assert np.abs(row.coverage.window_level_db - judge)[converged].max() < most_db
        assert row.score == pytest.approx(even.score, abs=0.05)


def in_band(design: Design, low: float, high: float) -> Design:
    """Return a design whose target is another band."""
    told = 'band = ["100 Hz", "16 kHz"]'
    assert told in design.text
    return parse_design(design.text.replace(told, f"band = [{low}, {high}]"), design.path)


JUDGED = (3150.0, 4000.0)
"""Hz; third octaves of the first example in which an even grid can judge: at 6.6 kHz leaving out
every second of 96 frequencies changes the pressure by more than itself."""


@pytest.mark.slow
def test_seats_by_need_are_those_of_a_fine_even_grid() -> None:
    """Levels, bounces and impulse responses of all seats against 96 in a third octave, splined."""
    design = in_band(example("reading_room"), *JUDGED)
    solver = partial(solve_waves, shared=SharedBlocks())
    few, even = (seat(design, solver, fineness=fineness) for fineness in (FINE_BY_NEED, 96))
    assert few.curves.worst_error < WITHIN
    assert even.curves.worst_error < WITHIN
    solved = len(few.curves.response.solved_frequencies)
    assert solved < len(even.curves.response.solved_frequencies) / 3
    for one, other in zip(few.listeners, even.listeners, strict=True):
        for mine, its in zip(one.arrivals, other.arrivals, strict=True):
            assert mine.level_db == pytest.approx(its.level_db, abs=0.05)
        assert one.behind_db == pytest.approx(other.behind_db, abs=0.05)
        off = one.impulse.whole - other.impulse.whole
        # The curves' errors in time: 0.5 per cent of the energy's root.
        assert np.linalg.norm(off) < 5e-3 * np.linalg.norm(other.impulse.whole)


@pytest.mark.slow
def test_directions_by_need_are_those_of_a_fine_even_grid() -> None:
    """Every frequency and direction of an export, where levels are within 20 dB of the largest."""
    design = in_band(example("reading_room"), 5000.0, 8000.0)
    solver = partial(solve_waves, shared=SharedBlocks())
    by_need = in_every_direction(FINE_BY_NEED)
    few, even = (directivity(design, solver, None, fineness) for fineness in (by_need, 24))
    assert few.frequencies == pytest.approx(even.frequencies)
    foretold = few.row.response.settling.foretold
    assert foretold.max() <= FAR_WITHIN
    size = np.sqrt(np.mean(np.abs(even.pressure) ** 2, axis=0))
    size = np.maximum(size, 0.1 * size.max())
    off = np.abs(few.pressure - even.pressure) / size
    assert off.max() < 2.0 * FAR_WITHIN
    assert np.sqrt(np.mean(off**2)) < 0.01


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in EXAMPLES if "cone" not in name])
def test_caps_read_between_few_are_chosen_as_on_a_fine_even_grid(name: str) -> None:
    """Five caps by need, most of their frequencies read between neighbours, against 24 a band.

    An even grid of 24 is itself off by up to 0.12 dB of score at a sharp resonance, see
    `dispersion.settling`. Every second cap keeps it short.
    """
    design = example(name)
    (ball, *_), keeps = {ball for ball, _ in design.trim_candidates()}, 1e-3 * np.arange(22, 32, 2)
    solver = partial(solve_waves, shared=SharedBlocks())
    caps = [cut_candidate(design, ball, keep) for keep in keeps]
    read = run(design, caps, solver, COARSE_BY_NEED, "read")
    even = run(design, caps, solver, 24, "even")
    assert sum(row.solves for row in read) < 0.12 * sum(row.solves for row in even)
    scores, judge = (np.array([row.score for row in rows]) for rows in (read, even))
    # What is reported as no difference must hold between the two ways.
    assert np.sqrt(np.mean((scores - judge) ** 2)) < 0.5 * NO_DIFFERENCE_DB
    assert judge[scores.argmin()] < judge.min() + NO_DIFFERENCE_DB
