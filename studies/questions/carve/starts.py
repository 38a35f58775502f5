"""Where the search begins: the best cap and the best cone within the limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from shapes.reflectors import Reflector, ReflectorError, ball_cap, cone
from studies.questions.carve.bench import Bench
from studies.questions.carve.curves import LEAST_SHARE, Numbers

MOST_SCANNED = 9
"""Sizes that are solved over the whole range, and again round the best of them."""
_SHARES = np.linspace(LEAST_SHARE, 1.0, 86)


def scan_caps(bench: Bench) -> None:
    """Every keep of the design's ball; where it has none, of whatever ball there may be."""
    ball, highest = bench.design.ball, bench.limits.largest_height
    if ball is not None:
        _scan(bench, "caps", lambda height: ball_cap(ball.diameter, height), _SHARES * highest)
    else:
        _scan_slope_and_size(
            bench, "caps", lambda radius, height: ball_cap(height + radius**2 / height, height)
        )


def scan_cones(bench: Bench) -> None:
    """Every slope, then every size."""
    _scan_slope_and_size(bench, "cones", lambda radius, height: cone(radius, height=height))


def _scan_slope_and_size(
    bench: Bench, stage: str, shape: Callable[[float, float], Reflector]
) -> None:
    """Every height on the largest base, then the best of them made smaller as a whole."""
    radius, highest = bench.limits.largest_diameter / 2.0, bench.limits.largest_height
    height = _scan(bench, stage, partial(shape, radius), _SHARES * highest)
    if height is not None:
        # Not lower than the curves of the search may be: they begin at the best of these.
        shares = _SHARES[_SHARES * height >= LEAST_SHARE * highest]
        _scan(bench, stage, lambda share: shape(share * radius, share * height), shares)


def _scan(
    bench: Bench, stage: str, shape: Callable[[float], Reflector], sizes: Numbers
) -> float | None:
    """Solve a few sizes over all that keep the limits, then a few round the best; return it."""
    left = [float(size) for size in sizes if _fits(bench, shape, size)]
    scores: dict[float, float] = {}
    count = max(1, min(MOST_SCANNED, bench.solves // 16))
    for _ in range(2 if left else 0):
        # The outermost say least, so that the steps begin and end inside.
        for at in np.linspace(0, len(left) - 1, count + 2).round().astype(int)[1:-1]:
            if left[at] not in scores:
                scores[left[at]] = bench.solve(stage, shape(left[at]))
        left = _between_neighbours(left, scores)
    return min(scores, key=scores.__getitem__, default=None)


def _between_neighbours(sizes: Sequence[float], scores: dict[float, float]) -> list[float]:
    """Sizes from the one tried below the best to the one tried above it."""
    tried = [-math.inf, *sorted(scores), math.inf]
    at = tried.index(min(scores, key=scores.__getitem__))
    return [size for size in sizes if tried[at - 1] <= size <= tried[at + 1]]


def _fits(bench: Bench, shape: Callable[[float], Reflector], size: float) -> bool:
    try:
        return bench.missed_by(shape(size)) == 0.0
    except ReflectorError:
        return False
