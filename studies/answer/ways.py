"""What a reader must know of a driver's ways: how they add up, and how a cone moves in the treble.

Each remark says what to write into the design file. Which diameter is too large for a cone that
moves as one piece, and by how much two ways may add up, are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from dispersion.problem import Problem
from dispersion.sources import Way
from shapes.lengths import in_own
from studies.design.tables import CONE_WAVE_SPEED

LARGE = 0.1
"""Effective diameter, m, above which no usual cone moves as one piece up to the treble."""
ADD_UP_DB = 3.0
"""Two ways of a crossover may rise above the louder of them by no more than this, dB: what two
second-order Butterworth filters of equal phase give at their crossing."""
SLACK_DB = 0.1
SILENT = 0.1
"""A way that a low pass takes to this share of its level no longer counts."""
DOWN_TO_SHARE = 1 / 3
"""Of its diameter a large cone still moves in the treble: a guess to begin with."""


def ways_remarks(problem: Problem) -> tuple[str, ...]:
    """Return what is unusual about the ways of a problem, with the line that mends it."""
    return (*_together(problem.ways, problem.frequencies), *_too_stiff(problem))


def _together(ways: Sequence[Way], frequencies: np.ndarray) -> Iterator[str]:
    if len(ways) < 2:
        return
    bare = [way.name for way in ways if not way.crossovers]
    if bare:
        yield (
            f"{' and '.join(bare)}: no crossover, so it plays everything together with the other"
            f' way: write crossover = {{ kind = "linkwitz-riley", order = 4, frequency ='
            f' "3 kHz" }} below {" and ".join(f"[{name}]" for name in bare)}'
        )
    alone = np.array([_drive(way, frequencies) for way in ways])
    over_db = 20.0 * np.log10(np.abs(alone.sum(axis=0)) / np.abs(alone).max() + 1e-12)
    most = int(np.argmax(over_db))
    if over_db[most] > ADD_UP_DB + SLACK_DB:
        yield (
            f"{' and '.join(way.name for way in ways)} together are driven"
            f" {over_db[most]:+z.1f} dB over the louder of them near {_khz(frequencies[most])}:"
            " check order, frequency and level_db of both crossovers"
            + ("" if bare else ', or turn one way: polarity = "reversed"')
        )


def _drive(way: Way, frequencies: np.ndarray) -> np.ndarray:
    """(F,) how a way is driven: its filters, level and polarity, without its own curve."""
    return replace(way, curve=None).transfer(frequencies)


def _too_stiff(problem: Problem) -> Iterator[str]:
    cone, across = problem.ways[0], 2.0 * problem.assembly.driver.effective_radius
    if cone.lets_go is not None or across <= LARGE:
        return
    driven = np.abs(_drive(cone, problem.frequencies))
    if driven[-1] <= SILENT * driven.max():
        return
    begins = CONE_WAVE_SPEED / across
    if begins >= problem.frequencies[-1]:
        return
    yield (
        f"a cone {in_own(across)} across that moves as one piece up to the end of the band is"
        f" unusual: measured ones let go from some {_khz(begins)} up; to see what that does write"
        f' lets_go = {{ above = "{begins / 1e3:.1f} kHz", down_to ='
        f' "{in_own(DOWN_TO_SHARE * across)}" }} below [driver]'
    )


def _khz(hertz: float) -> str:
    return f"{hertz / 1e3:.2g} kHz"
