"""Levels at positions: by need what a fine grid finds, and what is tried begins where it is told.

The fine grid is the source: 36 even frequencies in a third octave, with no narrow resonance there.
"""

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from studies.design import Design, parse_design
from studies.measured.positions import Position
from studies.measured.reading import read_measurements
from studies.questions.overlay.study import overlay
from studies.solving.grid import CHANGES_BY_NEED, as_expected
from studies.solving.memory import Remembering
from studies.solving.predicting import predict

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
PLACES = (Position("seated", 2.0, 1.15), Position("steep", 0.8, 1.7))
WAVES = partial(solve_waves, shared=SharedBlocks(), store=Remembering(None))


def example(band: str = "[500, 800]") -> Design:
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    return parse_design(text.replace('["100 Hz", "16 kHz"]', band), path)


def test_levels_by_need_are_those_of_a_fine_grid() -> None:
    design = example()
    need, fine = (
        predict(design, design.assembly(), PLACES, WAVES, fineness)
        for fineness in (CHANGES_BY_NEED, 36)
    )
    assert need.centres == pytest.approx(fine.centres)
    assert need.level_db == pytest.approx(fine.level_db, abs=0.01)
    settling = need.response.settling
    assert len(settling.frequencies) < 20 and settling.settled.all()


def test_what_is_tried_begins_where_it_is_told() -> None:
    design = example()
    begin = np.geomspace(446.0, 892.0, 13)
    moved = design.assembly().with_gap(0.061)
    found = predict(design, moved, PLACES, WAVES, CHANGES_BY_NEED, settled=1, begin=begin)
    assert set(begin) <= set(found.response.solved_frequencies)


@pytest.mark.parametrize(("solves", "expected"), [([3, 4], 10), ([8, 9], 10), ([], 0), ([2], -1)])
def test_progress_passes_on_as_much_as_was_expected(solves: list[int], expected: int) -> None:
    passed: list[int] = []
    with as_expected(passed.append, expected) as count:
        for each in solves:
            count(each)
    assert sum(passed) == max(expected, 0) and min(passed) >= 0


@pytest.mark.slow
def test_the_overlay_by_need_is_that_of_a_full_grid() -> None:
    """The same sizes would explain most, by the same changes; residuals agree within 0.1 dB rms.

    Up to 4 kHz, against 12 in a third octave: what is read by need at sharper resonances is held
    against finer grids in `tests/validation/test_by_need.py`.
    """
    design = example("[400, 4000]")
    measured = read_measurements((EXAMPLES / "measured" / "index.toml",), design)
    need, full = (
        overlay(design, WAVES, None, fineness, measurements=measured)
        for fineness in (CHANGES_BY_NEED, 12)
    )
    named = ({one.dimension.name: one.rms_db for one in it.best_by_size} for it in (need, full))
    assert next(named) == pytest.approx(next(named), abs=0.1)
    first, its = need.best_by_size[0], full.best_by_size[0]
    assert (first.dimension.name, first.change) == (its.dimension.name, its.change)
    assert need.comparison.rms_db == pytest.approx(full.comparison.rms_db, abs=0.1)
