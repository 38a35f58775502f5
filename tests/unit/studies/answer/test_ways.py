"""Remarks on a driver's ways: what adds up too far, what has no crossover, what cannot be rigid."""

import re
from pathlib import Path

from shapes.lengths import written_in
from studies.answer.ways import ways_remarks
from studies.design import parse_design
from studies.solving.grid import problem_of

TALL = Path(__file__).resolve().parents[3] / "data" / "tall_build.toml"
CROSSOVER = re.compile(r"(?m)^crossover = .*$")


def remarks(*crossovers: str) -> tuple[str, ...]:
    """Of the tall build, with the crossovers of driver and tweeter replaced, if any are given."""
    text, new = TALL.read_text("utf-8"), iter(crossovers)
    design = parse_design(CROSSOVER.sub(lambda old: next(new, old[0]), text), TALL)
    with written_in(design.unit):
        return ways_remarks(problem_of(design, design.assembly(), 4))


def test_a_usual_crossover_needs_no_remark() -> None:
    assert remarks() == ()


def test_ways_without_crossover_double_the_pressure_and_the_cone_plays_to_the_end() -> None:
    """Two equal drives in phase: 20 lg 2 = 6.0 dB. A cone of 5 1/2 in: 400 m/s over it, 2.9 kHz."""
    none, together, rigid = remarks("", "")
    assert "no crossover" in none and "[driver] and [tweeter]" in none
    assert "+6.0 dB over the louder" in together
    assert "a cone 5 1/2 in across" in rigid
    assert 'lets_go = { above = "2.9 kHz", down_to = "1 27/32 in" } below [driver]' in rigid


def test_two_filters_that_overlap_widely_are_named() -> None:
    """First order filters add up to one where they meet, and to two far inside of both."""
    usual, low, high = (
        f'crossover = {{ kind = "butterworth", order = 1, frequency = "{hertz} Hz" }}'
        for hertz in (2500, 16000, 100)
    )
    assert not any("together" in one for one in remarks(usual, usual))
    assert any("check order, frequency" in one for one in remarks(low, high))
