"""Filters for a window level that was made by known filters."""

import re
from dataclasses import replace

import numpy as np
import pytest
from small import small_design

from dispersion.biquads import Biquad, chain_db
from dispersion.solvers import solve_waves
from studies.answer.judging import hollow_in_words
from studies.answer.voiced import filters_table, voicing_in_words
from studies.design import Design
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import run
from studies.solving.target import score
from studies.solving.voicing import voice

RIPPLE = ((0.0, 4.0), (0.33, -2.0), (0.66, 4.0), (1.0, -4.0))


@pytest.fixture(scope="module")
def design() -> Design:
    return small_design(('judged_from = "300 Hz"', 'judged_from = "100 Hz"'))


@pytest.fixture(scope="module")
def row(design: Design) -> Row:
    (found,) = run(design, [Candidate("as designed", design.assembly)], solve_waves, 12, "one")
    return found


def with_level(row: Row, design: Design, filters: tuple[Biquad, ...], tilt: float) -> Row:
    """A row whose window level is a tilted line less what filters would add."""
    assert row.found is not None
    centres = 100.0 * 10.0 ** (np.arange(265) / 120.0)
    level = tilt * np.log2(centres / 1000.0) - chain_db(filters, centres)
    sliding = replace(
        row.coverage.sliding,
        centres=centres,
        window_level_db=level,
        sound_power_db=level - 3.0,
        deviation_db=np.full(centres.size, 0.5),
        leak=np.full(centres.size, 0.1),
    )
    coverage = replace(row.coverage, sliding=sliding)
    card = score(coverage, design.target)
    return replace(row, found=replace(row.found, coverage=coverage, scorecard=card))


def test_filters_undo_filters(row: Row, design: Design) -> None:
    made = (Biquad("high shelf", 2500.0, 9.0), Biquad("peaking", 700.0, -6.0, 1.5))
    target = design.target.model_copy(update={"wanted_tilt": -1.0})
    found = voice(with_level(row, design, made, -1.0), target)
    assert found.rms_before_db > 3.0 and found.rms_after_db < 0.3
    assert found.filters[0].kind == "high shelf" and len(found.filters) <= 4
    assert found.filters[0].gain_db == pytest.approx(9.0, abs=0.5)
    assert found.after.score < found.before.score


def test_over_a_narrow_band_filters_do_not_fight(row: Row, design: Design) -> None:
    """One octave of ripple, which a shelf of -15 dB and its neighbours used to follow."""
    target = design.target.model_copy(update={"judged_from": 7990.0})
    made = tuple(Biquad("peaking", 8000.0 * 2.0**o, g, 3.0) for o, g in RIPPLE)
    found = voice(with_level(row, design, made, 0.0), target)
    assert 0 < found.rms_after_db < 0.6 * found.rms_before_db
    assert max(abs(one.gain_db) for one in found.filters) < 8.0


def test_what_differs_between_directions_stays(row: Row, design: Design) -> None:
    found = voice(with_level(row, design, (Biquad("high shelf", 2000.0, 8.0),), 0.0), design.target)
    for name in ("coverage", "steadiness"):
        before, after = found.before.term(name), found.after.term(name)
        assert after.measured == pytest.approx(before.measured, abs=1e-9)
    table = filters_table(row, design.target)
    kinds = [one.kind for one in voice(row, design.target).filters]
    assert list(table.values("filter")) == kinds and "Web Audio" in table.caption
    words = " ".join(voicing_in_words(found))
    assert "No filter changes coverage" in words and "times the power" in words


def test_a_hollow_is_told_with_its_pitch_and_depth(row: Row, design: Design) -> None:
    """20 dB over a whole octave: less is left of it when it is read an octave wide."""
    hollow = with_level(row, design, (Biquad("peaking", 4000.0, 20.0, 0.7),), 0.0)
    (said,) = hollow_in_words(hollow, design)
    assert re.search(r"round (3\.9|4\.0|4\.1)\d? kHz", said), said
    depth = int(re.search(r"(\d+) dB below", said)[1])
    assert 14 <= depth < 20 and f"{10 ** (depth / 10):.0f}"[0] in said
    shallow = with_level(row, design, (Biquad("peaking", 4000.0, 8.0, 0.7),), 0.0)
    assert hollow_in_words(shallow, design) == []


def test_a_straight_line_needs_no_filter(row: Row, design: Design) -> None:
    flat = with_level(row, design, (), 0.0)
    found = voice(flat, design.target)
    assert found.filters == () and filters_table(flat, design.target).rows == ()
    assert voicing_in_words(found) == [
        "No filter is worth its trouble: the window level follows the wanted line."
    ]
