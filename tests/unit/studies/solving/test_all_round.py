"""Who leads with posts, or as it hangs askew, and from how far off on."""

from dataclasses import dataclass

import pytest
from small import small_design

from studies.answer.standing import askew_in_words, posts_in_words
from studies.solving.all_round import ScoreChanges


@dataclass(frozen=True, eq=False)
class Row:
    """What of a row is looked at."""

    assembly: str
    score: float
    solved: bool = True


FIRST, SECOND, THIRD = Row("first", 1.0), Row("second", 1.2), Row("third", 1.9)
UNKNOWN = Row("unknown", 1.1)
ROWS = [FIRST, SECOND, THIRD, UNKNOWN]


def test_the_best_is_the_lowest_with_the_changes() -> None:
    found = ScoreChanges({"first": 0.5, "second": 0.1, "third": -0.1})
    assert found.best(ROWS, FIRST) == (SECOND, pytest.approx(0.2))
    assert found.best(ROWS, UNKNOWN) is None
    assert found.most_db == 0.5


def test_overtaken_where_changes_that_grow_as_the_square_meet() -> None:
    """1 + 0.1 x^2 = 1.2 + 0.02 x^2 at x = sqrt(0.2 / 0.08)."""
    found = ScoreChanges({"first": 0.1, "second": 0.02, "third": 0.0})
    over = found.overtaken(ROWS, FIRST)
    assert over.row is SECOND
    assert over.times == pytest.approx((0.2 / 0.08) ** 0.5)
    assert ScoreChanges({"first": 0.0, "second": 0.1}).overtaken(ROWS, FIRST) is None
    assert ScoreChanges({"first": 0.01, "second": 0.0}).overtaken(ROWS, FIRST) is None, "sqrt(20)"


def test_in_words() -> None:
    design = small_design(("[air]", "[askew]\nshift = 2\n\n[air]"))

    def said(changes: dict[str, float]) -> str:
        found = ScoreChanges(changes)
        return askew_in_words("keep", found, ROWS, FIRST, lambda row: row.assembly, design)[0]

    assert "leads among them up to 1.6 times as far off" in said({"first": 0.1, "second": 0.02})
    assert "then second would" in said({"first": 0.1, "second": 0.02})
    assert "second leads by 0.30 dB" in said({"first": 0.5, "second": 0.0})
    assert "would lead among them up to 3 times" in said({"first": 0.0, "second": 0.0})
    assert askew_in_words("keep", None, ROWS, FIRST, str, design) == []
    moved = ScoreChanges({"first": 0.5, "second": 0.1})
    (line,) = posts_in_words("gap", moved, ROWS, FIRST, lambda row: row.assembly)
    assert "leading gaps (2)" in line
    assert "second leads by 0.20 dB" in line
