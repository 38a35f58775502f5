"""Sharp resonances of a design in words and in a table: frequency, Q, how long they ring."""

from __future__ import annotations

from collections.abc import Sequence

from dispersion.rational import Resonance
from studies.answer.columns import number
from studies.answer.table import Table, TableColumn, Value, joined

MOST_NAMED = 3
"""Resonances named in an answer; the table has all."""


def resonances_in_words(found: Sequence[Resonance], places: Sequence[str] = ()) -> list[str]:
    """Name the sharpest resonances, and where they sit.

    Parameters
    ----------
    found : sequence of Resonance
    places : sequence of str
        Where each sits, if that is known; else where they do as a rule is said.

    Returns
    -------
    list of str
        A sentence or two for an answer; empty if there is no resonance.
    """
    at = places or [""] * len(found)
    sharpest = sorted(zip(found, at, strict=True), key=lambda pair: -pair[0].q)[:MOST_NAMED]
    if not sharpest:
        return []
    names = joined(
        [
            f"{one.frequency:.0f} Hz (Q {one.q:.0f}{', ' if place else ''}{place})"
            for one, place in sharpest
        ]
    )
    usual = (
        ""
        if places
        else ": between driver and reflector, as a rule (`roundcast slice` tells where)"
    )
    return [
        f"Rings at {names}{usual}. They measure broader and lower where surfaces, the driver's"
        " cone above all, take more of the sound than the file says."
    ]


_TERMS = "Q: frequency over width, more is sharper; dies in: until it is 60 dB lower"


def resonance_tables(
    found: Sequence[Resonance],
    more: Sequence[TableColumn] = (),
    cells: Sequence[Sequence[Value]] = (),
    caption: str = "",
) -> tuple[Table, ...]:
    """List resonances, ascending in frequency, numbered from 1.

    Parameters
    ----------
    found : sequence of Resonance
    more, cells, caption : sequence of TableColumn, one row of values a resonance, str
        What else is known of each.

    Returns
    -------
    tuple of Table
        One, or none if there is no resonance.
    """
    columns = (
        number("number", "no.", "number of the resonance, from the lowest up", 0),
        number("resonance_hz", "Hz", "frequency of the resonance, Hz", 0),
        number("q", "Q", "frequency over half-power bandwidth", 0),
        number("bandwidth_hz", "width\nHz", "half-power bandwidth, Hz"),
        number("decay_ms", "dies in\nms", "time in which it falls by 60 dB, ms"),
        *more,
    )
    rows = tuple(
        (count, one.frequency, one.q, one.bandwidth, 1e3 * one.decay_time, *rest)
        for count, (one, rest) in enumerate(
            zip(found, cells or [()] * len(found), strict=True), start=1
        )
    )
    told = "; ".join(words for words in (_TERMS, caption) if words)
    return (Table("resonances", "Sharp resonances", columns, rows, told),) if rows else ()
