"""The few filters that bring the window level to the wanted tilt, and what they cannot mend."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.optimize import least_squares

from dispersion.biquads import Biquad, chain_db
from dispersion.sliding import SlidingBands
from studies.design.study_tables import TargetTable
from studies.solving.candidates import Row
from studies.solving.target import Scorecard, score

MOST_PEAKING = 3
MOST_LIFT_DB, MOST_CUT_DB = 12.0, -15.0
"""A lift of 12 dB takes sixteen times the power: common practice, no source. It holds for every
filter, and nearly for all together."""
OVER_LIFT = 3.0
"""What a decibel beyond it counts, in decibels that the level is off."""
EFFORT = 0.05
"""What a decibel of a filter's gain counts, in decibels (rms) that the level is off: of filters
that do the same, those that work least against each other."""
BROADEST_Q, SHARPEST_Q = 0.4, 4.0
"""What is sharper differs from direction to direction, and no filter mends it: common practice, no
source."""
STRIDE = 3
"""Every third place of the sliding band is fitted: a quarter of its width apart."""
FINE_ENOUGH = 1e-4
MOST_TRIES = 40
"""Steps of one fit: over a narrow band there is no end of filters that do the same."""
WORTH_DB = 0.1
"""What a filter must gain, rms over the sliding bands."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Voicing:
    """Filters for one design, and what they make of it.

    Attributes
    ----------
    filters : tuple of Biquad
        One shelf at most, then up to three peaking filters.
    before, after : Scorecard
    rms_before_db, rms_after_db : float
        Window level about the wanted line, over what is judged.
    worst_db, worst_hz : float
        Largest deviation that is left, and where.
    lift_db : float
        What all filters together lift at most.
    """

    filters: tuple[Biquad, ...]
    before: Scorecard
    after: Scorecard
    rms_before_db: float
    rms_after_db: float
    worst_db: float
    worst_hz: float
    lift_db: float


def voice(row: Row, target: TargetTable) -> Voicing:
    """Find filters for a solved row.

    A shelf is fitted, then peaking filters where most is left, all again together, as many as
    pay: least squares of the window level in sliding third octaves about a line of the wanted
    tilt, of whatever level. Then fewer of them are tried: two may only
    work against each other.
    """
    coverage = row.coverage
    judged = coverage.sliding.above(target.judged_from)
    octaves, frequencies = judged.octaves, judged.centres
    level = judged.window_level_db - target.wanted_tilt * octaves

    def left(filters: Sequence[Biquad]) -> np.ndarray:
        return behind(chain_db(filters, frequencies))

    def behind(gain: np.ndarray) -> np.ndarray:
        rest = level + gain
        return rest - rest.mean()

    def missed(filters: Sequence[Biquad]) -> np.ndarray:
        gain = chain_db(filters, frequencies)
        too_much = np.maximum(gain - MOST_LIFT_DB, 0.0)
        rest = behind(gain)[::STRIDE]
        effort = EFFORT * np.sqrt(rest.size) * np.array([one.gain_db for one in filters])
        return np.concatenate((rest, OVER_LIFT * too_much[::STRIDE], effort))

    band = (float(frequencies[0]), float(frequencies[-1]))
    shelf = _fitted((_first_shelf(level, frequencies),), missed, band)
    filters = shelf if _rms(left(())) - _rms(left(shelf)) >= WORTH_DB else ()
    tried = [(), filters]
    for _ in range(MOST_PEAKING):
        rest = left(filters)
        worst = int(np.argmax(np.abs(_broad(rest, octaves))))
        start = Biquad("peaking", float(frequencies[worst]), -0.5 * float(rest[worst]), 1.0)
        filters = _fitted((*filters, start), missed, band)
        tried.append(filters)

    def cost(some: Sequence[Biquad]) -> float:
        return _rms(left(some)) + WORTH_DB * len(some)

    best = min(tried, key=cost)
    leaner = [
        _fitted(some, missed, band)
        for count in range(1, len(best))
        for some in combinations(best, count)
    ]
    filters = tuple(_rounded(one) for one in min((best, *leaner), key=cost))
    rest = left(filters)
    worst = int(np.argmax(np.abs(rest)))
    changed = equalised(coverage.sliding, filters)
    return Voicing(
        filters=filters,
        before=row.scorecard,
        after=score(replace(coverage, sliding=changed), target),
        rms_before_db=_rms(left(())),
        rms_after_db=_rms(rest),
        worst_db=float(rest[worst]),
        worst_hz=float(frequencies[worst]),
        lift_db=float(chain_db(filters, frequencies).max(initial=0.0)),
    )


def equalised(sliding: SlidingBands, filters: Sequence[Biquad]) -> SlidingBands:
    """Return sliding bands behind filters: every direction gets the same gain."""
    gain = chain_db(filters, sliding.centres)
    return replace(
        sliding,
        window_level_db=sliding.window_level_db + gain,
        sound_power_db=sliding.sound_power_db + gain,
    )


def _first_shelf(level: np.ndarray, frequencies: np.ndarray) -> Biquad:
    middle = float(np.sqrt(frequencies[0] * frequencies[-1]))
    lift = float(level[frequencies < middle].mean() - level[frequencies >= middle].mean())
    return Biquad("high shelf", middle, float(np.clip(0.5 * lift, MOST_CUT_DB, MOST_LIFT_DB)))


def _broad(rest: np.ndarray, octaves: np.ndarray) -> np.ndarray:
    """Mean over an octave round each place: a narrow dip draws no filter."""
    near = np.abs(octaves[:, None] - octaves[None, :]) < 0.5
    return near @ rest / near.sum(axis=1)


def _fitted(
    start: Sequence[Biquad],
    missed: Callable[[Sequence[Biquad]], np.ndarray],
    band: tuple[float, float],
) -> tuple[Biquad, ...]:
    """All of these filters fitted together, inside the band that is judged; a shelf has no q."""
    sizes = [3 if one.kind == "peaking" else 2 for one in start]
    ends = np.cumsum(sizes)[:-1]

    def made(x: np.ndarray) -> tuple[Biquad, ...]:
        return tuple(
            Biquad(one.kind, float(np.exp(f)), float(gain), *np.exp(q).tolist())
            for one, (f, gain, *q) in zip(start, np.split(x, ends), strict=True)
        )

    def numbers(filters: Sequence[Biquad]) -> np.ndarray:
        each = [(np.log(one.frequency), one.gain_db, np.log(one.q)) for one in filters]
        return np.concatenate([one[:size] for one, size in zip(each, sizes, strict=True)])

    low = numbers([Biquad(one.kind, band[0], MOST_CUT_DB, BROADEST_Q) for one in start])
    high = numbers([Biquad(one.kind, band[1], MOST_LIFT_DB, SHARPEST_Q) for one in start])
    first = np.clip(numbers(start), low + 1e-6, high - 1e-6)
    found = least_squares(
        lambda x: missed(made(x)),
        first,
        bounds=(low, high),
        ftol=FINE_ENOUGH,
        xtol=FINE_ENOUGH,
        max_nfev=MOST_TRIES,
    )
    return made(found.x)


def _rounded(one: Biquad) -> Biquad:
    """As it is typed into a filter: three digits, a tenth of a decibel."""
    digits = 10.0 ** (np.floor(np.log10(one.frequency)) - 2)
    frequency = float(np.round(one.frequency / digits) * digits)
    return Biquad(one.kind, frequency, round(one.gain_db, 1), round(one.q, 2))


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))
