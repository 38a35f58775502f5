"""What reaches the ways of a driver, and how two ways add, against closed forms.

- Butterworth: S. Butterworth, Experimental Wireless 7, 536 (1930) [from memory]. Linkwitz-Riley:
  S. H. Linkwitz, J. Audio Eng. Soc. 24, 2 (1976) [from memory].
- A way that is held back by t turns by omega t: with its like it adds up to 2 |cos(omega t / 2)|.
- Two points a height d apart, met at an elevation e, are d sin e / c apart in time, and a delay of
  the upper one makes up for it.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from dispersion.air import Air
from dispersion.sources import Crossover, Way
from studies.questions.proof.cases.check import REST, Check, Compared, compare
from studies.solving.alignment import align

# Crossovers

CORNER = 2500.0
RATIO = np.geomspace(0.02, 50.0, 101)
FREQUENCIES = CORNER * RATIO
FILTER_ROUNDING = 1e-9


def both_sides(
    kind: Literal["butterworth", "linkwitz-riley"], order: int
) -> tuple[np.ndarray, np.ndarray]:
    """Responses of the low and the high side at `FREQUENCIES`."""
    low, high = Crossover(kind, order, CORNER, "low"), Crossover(kind, order, CORNER, "high")
    return low.response(FREQUENCIES), high.response(FREQUENCIES)


def butterworth(order: int) -> Compared:
    """Power of both sides against the formula, over fifty corners to either side."""
    low, high = (np.abs(side) ** 2 for side in both_sides("butterworth", order))
    known = [1.0 / (1.0 + RATIO ** (sign * 2 * order)) for sign in (1, -1)]
    at = [f"{side} side, x {ratio:.3g}" for side in ("low", "high") for ratio in RATIO]
    found, exact = np.concatenate((low, high)), np.concatenate(known)
    return compare(f"order {order}", at, found / exact, np.ones(len(at)), FILTER_ROUNDING)


def flat_sum(order: int) -> Compared:
    """Magnitude of the sum of both sides of a Linkwitz-Riley crossover."""
    low, high = both_sides("linkwitz-riley", order)
    polarity = 1.0 if order % 4 == 0 else -1.0
    at = [f"x {ratio:.3g}" for ratio in RATIO]
    return compare(
        f"order {order}", at, np.abs(low + polarity * high), np.ones(len(at)), FILTER_ROUNDING
    )


CROSSOVERS = (
    Check(
        name="Butterworth crossovers",
        kind=REST,
        source="S. Butterworth, Experimental Wireless 7, 536 (1930) [from memory]",
        cases=tuple(range(1, 17)),
        run=butterworth,
    ),
    Check(
        name="Linkwitz-Riley crossovers",
        kind=REST,
        source="S. H. Linkwitz, J. Audio Eng. Soc. 24, 2 (1976) [from memory]",
        cases=(2, 4, 6, 8, 12, 16),
        run=flat_sum,
    ),
)

# Delays

AIR = Air()
SIDES: tuple[Literal["low", "high"], ...] = ("low", "high")
APART = 0.1
"""Height between the two points, m."""
LONGEST = 0.2e-3
ELEVATIONS = np.linspace(-90.0, 90.0, 181)
ROUNDED = 0.5e-5
"""The delays that are proposed are whole hundredths of a millisecond."""


def held_back(delay: float) -> Compared:
    """Two like ways, one held back: where they add and where they cancel."""
    frequencies = np.geomspace(100.0, 20e3, 61)
    one, other = (
        Way(name=name, delay=late).transfer(frequencies)
        for name, late in (("driver", 0.0), ("tweeter", delay))
    )
    known = 2.0 * np.abs(np.cos(np.pi * frequencies * delay))
    at = [f"{hertz:.0f} Hz" for hertz in frequencies]
    return compare(f"{1e3 * delay:g} ms", at, np.abs(one + other), known, FILTER_ROUNDING)


def lined_up(elevation: float) -> Compared:
    """Delay of the upper of two points with which both are in step towards an elevation."""
    low, high = (Crossover("linkwitz-riley", 4, CORNER, side) for side in SIDES)
    ways = Way(name="driver", crossovers=(low,)), Way(name="tweeter", crossovers=(high,))
    late = -APART * np.sin(np.radians(ELEVATIONS)) / AIR.speed
    upper = np.exp(2j * np.pi * FREQUENCIES[:, None] * late)
    filters = [way.transfer(FREQUENCIES)[:, None] for way in ways]
    pressures = np.array([filters[0] * np.ones_like(upper), filters[1] * upper])
    found = align(ways, pressures, FREQUENCIES, ELEVATIONS, (elevation - 1.0, elevation + 1.0))
    later = np.nan if found is None else found.best.later
    known = APART * np.sin(np.radians(elevation)) / AIR.speed
    return compare(f"{elevation:g} deg", ["delay"], 1e3 * later, 1e3 * known, 1e3 * ROUNDED)


DELAYS = (
    Check(
        name="A way that is held back",
        kind=REST,
        source="elementary: twice the cosine of omega t / 2",
        cases=(0.05e-3, LONGEST),
        run=held_back,
    ),
    Check(
        name="The delay that brings two ways in step",
        kind=REST,
        source="elementary: the difference of the paths over the speed of sound",
        unit="ms",
        cases=(-30.0, 0.0, 10.0, 30.0, 60.0),
        run=lined_up,
    ),
)
