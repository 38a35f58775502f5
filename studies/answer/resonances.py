"""Sharp resonances of a design in words and in a table: frequency, Q, how long they ring."""

from __future__ import annotations

from collections.abc import Sequence

from dispersion.rational import Resonance
from studies.answer.columns import number
from studies.answer.table import Table, joined

MOST_NAMED = 3
"""Resonances named in an answer; the table has all."""


def resonances_in_words(found: Sequence[Resonance]) -> list[str]:
    """Name the sharpest resonances, and where they sit as a rule.

    Parameters
    ----------
    found : sequence of Resonance

    Returns
    -------
    list of str
        A sentence or two for an answer; empty if there is no resonance.
    """
    sharpest = sorted(found, key=lambda one: -one.q)[:MOST_NAMED]
    if not sharpest:
        return []
    names = joined([f"{one.frequency:.0f} Hz (Q {one.q:.0f})" for one in sharpest])
    return [
        f"Rings at {names}: between driver and reflector, as a rule. They measure broader and"
        " lower where surfaces, the cone above all, take more of the sound than the file says."
    ]


def resonance_tables(found: Sequence[Resonance]) -> tuple[Table, ...]:
    """List resonances, ascending in frequency.

    Parameters
    ----------
    found : sequence of Resonance

    Returns
    -------
    tuple of Table
        One, or none if there is no resonance.
    """
    columns = (
        number("resonance_hz", "Hz", "frequency of the resonance, Hz", 0),
        number("q", "Q", "frequency over half-power bandwidth", 0),
        number("bandwidth_hz", "width\nHz", "half-power bandwidth, Hz"),
        number("decay_ms", "dies in\nms", "time in which it falls by 60 dB, ms"),
    )
    rows = tuple((one.frequency, one.q, one.bandwidth, 1e3 * one.decay_time) for one in found)
    return (Table("resonances", "Sharp resonances", columns, rows),) if rows else ()
