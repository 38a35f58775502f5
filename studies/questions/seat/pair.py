"""Two such columns and a listener: whose sound comes first and louder off the middle seat.

The middle seat is the first of the file, as far from the one column as from the other. Elsewhere
the paths differ: in time by their difference over the speed of sound, in level by their ratio and
by what a column sends out at each elevation. Azimuth has no part in it: a column plays alike all
round. Direct sound alone, ears as high as at the middle seat.

Where both play the same, one hears a single source between them that moves to the nearer column as
the difference in time grows to about 1 ms, and beyond that from the nearer one alone (Blauert,
Spatial Hearing [from memory]).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from dispersion.curves import Curves
from dispersion.elevations import level_db, power_at
from shapes.lengths import across_room
from studies.design import Design, DesignError, Mistake
from studies.solving.seating import Seating

ALONE_S = 1e-3
"""Beyond this difference in time only the nearer column is heard as the source."""
AZIMUTHS_DEG = (0.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0)
NEARER, FARTHER = 0.7, 1.4
"""Other distances that are told, over that of the middle seat."""
STEPS = 121
"""Of the plan, each way."""


@dataclass(frozen=True, kw_only=True)
class OffMiddle:
    """A listener somewhere before two columns.

    Attributes
    ----------
    azimuth_deg, distance : float
        From the middle between the columns: degrees off the middle seat's direction; level, m.
    arrival_s : float
        By which the farther column's sound comes later, s.
    level_db : float
        Nearer column's level less the farther one's, mean of the third octaves, dB.
    least_db, most_db : float
        The same in the third octaves where it is least and most.
    """

    azimuth_deg: float
    distance: float
    arrival_s: float
    level_db: float
    least_db: float
    most_db: float


@dataclass(frozen=True, eq=False, kw_only=True)
class TwoColumns:
    """Two columns with all that is told of listeners before them.

    Attributes
    ----------
    apart : float
        Axis to axis, m.
    distance : float
        From the middle between them to the middle seat, level, m.
    listeners : tuple of OffMiddle
        By distance, then azimuth.
    aside : float
        So far aside of the middle seat the difference in time is `ALONE_S`, m; inf if never.
    x, y : (X,), (Y,) arrays
        Of a plan, m: along the line through both columns, and away from it.
    arrival_s, level_db : (Y, X) arrays
        Left column's arrival less the right one's, s, and its level less that one's, dB.
    """

    apart: float
    distance: float
    listeners: tuple[OffMiddle, ...]
    aside: float
    x: np.ndarray = field(repr=False)
    y: np.ndarray = field(repr=False)
    arrival_s: np.ndarray = field(repr=False)
    level_db: np.ndarray = field(repr=False)


def require_apart(design: Design) -> None:
    """Raise a DesignError if the middle seat cannot be as near to both columns as the file says."""
    apart = design.tables.room.apart
    if apart is None or not design.seats or apart < 2.0 * design.seats[0].r:
        return
    seat = design.seats[0]
    message = (
        f"columns {across_room(apart)} apart have no seat {across_room(seat.r)} from both:"
        f" {seat.name}, the first of [[seats]], is taken for the middle one; write less than"
        f" {across_room(2.0 * seat.r)}"
    )
    raise DesignError(design.path, [Mistake("room.apart", message)])


def two_columns(design: Design, seating: Seating, curves: Curves) -> TwoColumns | None:
    """Find arrival and level differences before two columns; None where the file has but one."""
    apart = design.tables.room.apart
    if apart is None:
        return None
    seat = design.seats[0]
    before = _Before(design, seating, curves, apart)
    distance = math.sqrt(seat.r**2 - (0.5 * apart) ** 2)
    away = [share * distance for share in (NEARER, 1.0, FARTHER)]
    x = np.linspace(-1.2, 1.2, STEPS) * max(apart, distance)
    y = np.linspace(0.0, 1.6 * distance, STEPS)
    later, louder = before.differences(*np.meshgrid(x, y))
    return TwoColumns(
        apart=apart,
        distance=distance,
        listeners=tuple(before.listener(one, angle) for one in away for angle in AZIMUTHS_DEG),
        aside=before.aside(distance),
        x=x,
        y=y,
        arrival_s=later,
        level_db=louder.mean(axis=0),
    )


@dataclass(frozen=True, eq=False)
class _Before:
    """Places before two columns, the left one at x = -apart / 2, the right one at + apart / 2."""

    design: Design
    seating: Seating
    curves: Curves
    apart: float

    @property
    def rise(self) -> float:
        """Ears above the ring, m."""
        return self.design.seats[0].ear_height - self.seating.speaker.height

    def paths(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Level distances from the left and the right column to places, m."""
        left, right = (np.hypot(x - side * 0.5 * self.apart, y) for side in (-1.0, 1.0))
        return left, right

    def differences(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Arrival from the left less that from the right, s, and level by band (B, ...), dB."""
        ways = [np.hypot(one, self.rise) for one in self.paths(x, y)]
        levels = [self.level_db(one) for one in self.paths(x, y)]
        return (ways[0] - ways[1]) / self.design.air.speed, levels[0] - levels[1]

    def level_db(self, away: np.ndarray) -> np.ndarray:
        """(B, ...) level of one column by third octave at level distances, dB."""
        elevations = self.curves.response.problem.elevations
        towards = np.degrees(np.arctan2(self.rise, np.maximum(away, 1e-6)))
        sent = level_db(power_at(self.curves.power, elevations, towards.ravel()))
        spread = 20.0 * np.log10(np.maximum(np.hypot(away, self.rise), 1e-3))
        return sent.reshape(-1, *away.shape) - spread

    def listener(self, distance: float, azimuth_deg: float) -> OffMiddle:
        angle = math.radians(azimuth_deg)
        # To the right: the right column is the nearer one.
        x, y = np.array([distance * math.sin(angle)]), np.array([distance * math.cos(angle)])
        later, louder = self.differences(x, y)
        bands = 0.0 - louder[:, 0]
        return OffMiddle(
            azimuth_deg=azimuth_deg,
            distance=distance,
            arrival_s=float(later[0]),
            level_db=float(bands.mean()),
            least_db=float(bands.min()),
            most_db=float(bands.max()),
        )

    def aside(self, distance: float) -> float:
        """How far aside the paths differ by `ALONE_S`: a hyperbola about both columns, m."""
        half, focus = 0.5 * ALONE_S * self.design.air.speed, 0.5 * self.apart
        if half >= focus:
            return math.inf
        return half * math.sqrt(1.0 + (distance**2 + self.rise**2) / (focus**2 - half**2))
