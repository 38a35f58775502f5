"""Choosing well: the unbeaten set against its definition, word for word."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from studies.answer.charts.choosing import choosing_figure
from studies.answer.unbeaten import unbeaten_table
from studies.solving.candidates import Row, Solved
from studies.solving.choosing import NOISE_DB, choices, unbeaten
from studies.solving.target import Scorecard, Term


def offering(coverage: float, steadiness: float, residue: float, boost: float = 0.0) -> Row:
    """Row with these three, the default weights, and a boost that only the score sees."""
    terms = (
        Term("coverage", coverage, 2.0),
        Term("steadiness", steadiness, 1.0),
        Term("residue", residue, 0.5),
        Term("boost", boost, 0.1),
    )
    return Row(
        f"{coverage} {steadiness} {residue}",
        found=Solved(
            SimpleNamespace(
                problem=SimpleNamespace(frequencies=[0.0] * 4),
                solved_frequencies=[0.0] * 40,
                settling=None,
            ),
            SimpleNamespace(centres=[1000.0]),
            Scorecard(terms, 0.2, 0.5),
            np.zeros(4),
        ),
    )


# Steps of 0.02 dB round a few values: differences fall below, on and above the tolerance.
figures = st.integers(0, 12).map(lambda n: 0.02 * n)
offers = st.lists(st.tuples(figures, figures, figures), min_size=1, max_size=12)


def beats(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Whether one beats the other: all three count downwards."""
    gains = [theirs - own for own, theirs in zip(one, other, strict=True)]
    worse = any(gain < -NOISE_DB for gain in gains)
    better = any(gain > NOISE_DB for gain in gains)
    return not worse and better and sum(one) < sum(other)


@given(offers)
def test_unbeaten_is_what_nobody_beats(found: list[tuple[float, ...]]) -> None:
    expected = tuple(
        place for place, own in enumerate(found) if not any(beats(other, own) for other in found)
    )
    assert unbeaten([offering(*offer) for offer in found]) == expected


@given(offers)
def test_somebody_is_always_left(found: list[tuple[float, ...]]) -> None:
    assert unbeaten([offering(*offer) for offer in found])


def test_noise_does_not_count() -> None:
    # Worse by 0.04 dB in one and better by 1 dB in the others: noise does not save it.
    assert unbeaten([offering(5, 1, 1), offering(4, 0, 1.04)]) == (1,)
    # Better by 0.04 dB in everything: no difference that counts.
    assert unbeaten([offering(5, 1, 1), offering(4.96, 0.96, 0.96)]) == (0, 1)


def test_what_was_not_solved_is_passed_over() -> None:
    rows = [Row("failed", reason="does not fit"), offering(5, 1, 1)]
    assert unbeaten(rows) == (1,)
    assert unbeaten(rows[:1]) == ()


def test_the_table_shows_a_choice_that_is_beaten() -> None:
    chosen, other, last = offering(5, 1, 1), offering(4, 0.5, 0.5, 90.0), offering(9, 2, 2, 90.0)
    table = unbeaten_table([chosen, other, last])
    assert table.values("candidate") == (chosen.name, other.name)
    assert table.values("standing") == ("chosen for its boost, else beaten", "")
    assert table.values("coverage_db") == pytest.approx((5, 4))
    assert table.values("score_db") == pytest.approx((chosen.score, other.score))
    assert table.values("solves") == (40, 40)
    picked = unbeaten_table([chosen, other, last], chosen=other)
    assert picked.values("standing") == ("chosen",)


def test_the_chart_numbers_the_chosen_and_the_best_in_each_thing() -> None:
    rows = [offering(5, 1, 1), offering(3, 2, 2), offering(6, 0.5, 1.5), offering(9, 3, 3, 5)]
    figure = choosing_figure("A title", choices(rows))
    axes = figure.axes[0]
    assert [text.get_text() for text in axes.texts] == ["1", "2", "3"]
    told = {text.get_text() for text in figure.legends[0].get_texts()}
    assert told == {
        "beaten",
        "unbeaten",
        f"1  {rows[1].name}: chosen by the score, best coverage",
        f"2  {rows[2].name}: steadiest",
        f"3  {rows[0].name}: least residue",
    }
    high, low = axes.get_xlim()
    assert low < 3
    assert high > 9
    assert axes.get_ylim()[0] > axes.get_ylim()[1]
