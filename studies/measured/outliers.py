"""Readings of a sheet that can only be slips of the pen: found and set aside, each with its line.

A loudspeaker has dips and peaks; so a reading is a slip only if it is far from both of its
neighbours at its own place and from every other place in its own band.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dispersion.bands import band_label
from studies.measured.sheet import Reading

SLIP_DB = 15.0
"""So far from everything beside it no reading of a loudspeaker lies: common practice, no source."""
MOST_PLACES = 200
"""Sheets of more places are refused elsewhere and are not looked through here."""


def without_slips(
    readings: Sequence[Reading], name: str
) -> tuple[tuple[Reading, ...], tuple[str, ...]]:
    """Set aside what is more than `SLIP_DB` from its neighbours and from all other places.

    Parameters
    ----------
    readings : sequence of Reading
        Of one sheet.
    name : str
        Of its file, for the remarks.

    Returns
    -------
    kept : tuple of Reading
    remarks : tuple of str
        One for each that was set aside: its line, and what may have been meant.
    """
    by_place: dict[tuple[str, str], dict[float, float]] = {}
    for reading in readings:
        by_place.setdefault(reading.box, {})[reading.band_hz] = reading.reading_db
    if len(by_place) > MOST_PLACES:
        return tuple(readings), ()
    kept, remarks = [], []
    for reading in readings:
        here = by_place[reading.box]
        beside = list(_beside(reading.band_hz, here))
        there = [levels.get(reading.band_hz) for levels in by_place.values() if levels is not here]
        elsewhere = [level for level in there if level is not None]
        if beside and elsewhere and _is_far(reading.reading_db, [*beside, *elsewhere]):
            meant = _meant(reading.reading_db, beside)
            remarks.append(
                f"{name}, line {reading.line}: {reading.reading_db:g} dB in the"
                f" {band_label(reading.band_hz)} band at {reading.position.name} is more than"
                f" {SLIP_DB:g} dB from its neighbours and from all other places: set aside{meant}"
            )
        else:
            kept.append(reading)
    return tuple(kept), tuple(remarks)


def _is_far(level: float, others: Sequence[float]) -> bool:
    return all(abs(level - other) > SLIP_DB for other in others)


def _beside(band_hz: float, here: Mapping[float, float]) -> Iterator[float]:
    """Levels in the nearest band below and above at the same place."""
    below = [band for band in here if band < band_hz]
    above = [band for band in here if band > band_hz]
    if below:
        yield here[max(below)]
    if above:
        yield here[min(above)]


def _meant(level: float, beside: Sequence[float]) -> str:
    """What a point in the wrong place would have meant; empty where that fits no better."""
    for factor in (10.0, 0.1):
        if not _is_far(level * factor, beside):
            return f", perhaps {level * factor:.4g} was meant"
    return ""
