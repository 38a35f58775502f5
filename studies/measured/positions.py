"""Positions, what was measured there, and the same as third-octave band levels."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from studies.measured.hung import AS_WRITTEN, Hung

SAME_PLACE = 5e-3
"""Distances and heights that round to the same multiple of this are one place, m."""


@dataclass(frozen=True)
class Position:
    """Where the microphone or meter stood, and what hung over the driver meanwhile.

    Attributes
    ----------
    name : str
    r : float
        Distance from the column's axis, level, m.
    height : float
        Above the floor, m.
    azimuth_deg : float or None
        From the first post, anticlockwise seen from above; None where it was not noted.
    hung : Hung
        What the design file says, if left out.
    """

    name: str
    r: float
    height: float
    azimuth_deg: float | None = None
    hung: Hung = AS_WRITTEN

    def z_over(self, column_height: float) -> float:
        """Height above the baffle's upper face, m."""
        return self.height - column_height


def by_place(positions: Sequence[Position], numbers: Iterable[int]) -> list[list[int]]:
    """Group some positions, by number, that differ in nothing but azimuth."""
    places: dict[tuple[int, int, Hung], list[int]] = {}
    for number in numbers:
        at = positions[number]
        place = (round(at.r / SAME_PLACE), round(at.height / SAME_PLACE), at.hung)
        places.setdefault(place, []).append(number)
    return list(places.values())


def by_hung(positions: Sequence[Position]) -> dict[Hung, list[int]]:
    """Group positions, by number, under which the same hung; what the design says comes first."""
    found: dict[Hung, list[int]] = {}
    for number, at in enumerate(positions):
        found.setdefault(at.hung, []).append(number)
    return dict(sorted(found.items(), key=lambda one: one[0] != AS_WRITTEN))


@dataclass(frozen=True, kw_only=True, eq=False)
class Measurement:
    """One curve, or one row of meter readings, at one position.

    Attributes
    ----------
    position : Position
    source : str
        Name of the file, for messages.
    frequencies : (N,) array
        Hz, ascending, each one once.
    level_db : (N,) array
        dB of any reference.
    kind : {"curve", "bands"}
        A narrow-band curve, or readings of third-octave bands.
    gate_limit_hz : float
        Below it the first bounce is in the measurement, and nothing is compared; 0 for none.
    notes : tuple of str
        Remarks for the user: columns ignored, rows merged or skipped.
    """

    position: Position
    source: str
    frequencies: np.ndarray
    level_db: np.ndarray
    kind: Literal["curve", "bands"]
    gate_limit_hz: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class MeasuredBands:
    """Measurements as third-octave band levels on common exact base-ten centres.

    Attributes
    ----------
    positions : tuple of Position
    centres : (B,) array
        Hz.
    level_db : (P, B) array
        nan where nothing was measured or the band reaches below the gate limit.
    """

    positions: tuple[Position, ...]
    centres: np.ndarray
    level_db: np.ndarray
