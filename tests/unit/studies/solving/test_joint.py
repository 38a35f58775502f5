"""The ridge of a made-up map is found where the map has it."""

import math

import pytest

from studies.solving.joint import Pair, best_gap_for, thinned

MM = 1e-3
ROOM = 34.0


def pair(keep: float, gap: float) -> Pair:
    off = abs(gap - keep - ROOM)
    score = 4.0 + 0.02 * off**2 if gap - keep > 20.0 else math.inf
    return Pair(0.18, keep * MM, gap * MM, score)


PAIRS = [pair(keep, gap) for keep in range(15, 56, 5) for gap in (50, 56, 62, 68, 72, 78, 84, 90)]
GAPS = [gap * MM for gap in range(50, 91, 2)]


@pytest.mark.parametrize("keep", [18.0, 26.0, 33.0, 44.0, 52.0])
def test_every_keep_hangs_on_the_ridge(keep: float) -> None:
    found = best_gap_for(PAIRS, 0.18, keep * MM, GAPS)
    assert found / MM == pytest.approx(keep + ROOM, abs=2.0)


def test_where_the_ridge_lies_outside_the_nearest_gap_is_taken() -> None:
    low = [gap for gap in GAPS if gap <= 60 * MM]
    assert best_gap_for(PAIRS, 0.18, 35 * MM, low) == low[-1]


def test_few_sizes_keep_both_ends() -> None:
    sizes = [float(n) for n in range(41)]
    few = thinned(sizes, 9)
    assert len(few) == 9
    assert few[0] == 0.0 and few[-1] == 40.0
    assert thinned([1.0, 2.0], 9) == [1.0, 2.0]
