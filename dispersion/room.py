"""What a room adds first: the bounces off floor, ceiling and four walls at a seat.

This is no room simulator, and it stops early on purpose: first order only, specular, off bare
plane surfaces of a box; no second bounces, no room modes, no furniture, no edges. Speaker and seat
are points; the speaker's far-field pattern is used at every distance, is the same all round, and
the column shadows nothing but what its own pattern already shows. Levels are of energy in bands:
how a bounce adds to or takes from the direct sound at one frequency is left to the reader of its
delay.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.air import Air
from dispersion.coverage import level_db as in_db
from dispersion.coverage import power_at

Array = NDArray[np.float64]
Absorption = float | Mapping[float, float]

SURFACES = ("floor", "ceiling", "west wall", "east wall", "south wall", "north wall")
SHORTEST_SIDE, LONGEST_SIDE = 1.0, 100.0
NEAREST_SEAT = 0.3


class RoomError(ValueError):
    """A room, a place or a pattern that cannot be; the message names the remedy."""


@dataclass(frozen=True)
class Room:
    """A box with plane surfaces, its corner at the origin.

    Parameters
    ----------
    length, width, height : float
        Along x (west to east), y (south to north) and z (up), metres.
    absorption : float or mapping
        Share of the energy that a surface takes away, 0 to 1: one number for all surfaces, or
        for each of `SURFACES` a number or a mapping from octave centre in Hz to number. A band
        takes the value of the nearest octave in the mapping.
    """

    length: float
    width: float
    height: float
    absorption: float | Mapping[str, Absorption] = 0.1

    def __post_init__(self) -> None:
        """Refuse what is no room."""
        for name in ("length", "width", "height"):
            side = getattr(self, name)
            if not SHORTEST_SIDE <= side <= LONGEST_SIDE:
                raise RoomError(
                    f"room {name} {side:g} m: give metres, from {SHORTEST_SIDE:g} to "
                    f"{LONGEST_SIDE:g}"
                )
        if isinstance(self.absorption, Mapping) and set(self.absorption) != set(SURFACES):
            raise RoomError(f"absorption: give one number, or one for each of {_listed(SURFACES)}")
        for surface in SURFACES:
            self._check_absorption(surface)

    @property
    def sides(self) -> Array:
        """(3,) length, width and height, metres."""
        return np.array([self.length, self.width, self.height])

    def loss_db(self, surface: str, centres: ArrayLike) -> Array:
        """Level of a reflection, 10 lg(1 - absorption) in dB, at band centres in Hz, (B,)."""
        f = np.asarray(centres, dtype=float)
        value = self._absorption_of(surface)
        if not isinstance(value, Mapping):
            return in_db(np.full(f.shape, 1.0 - value))
        octaves = np.array(list(value), dtype=float)
        nearest = np.argmin(np.abs(np.log(f[:, None] / octaves)), axis=1)
        return in_db(1.0 - np.array(list(value.values()), dtype=float)[nearest])

    def _absorption_of(self, surface: str) -> Absorption:
        if isinstance(self.absorption, Mapping):
            return self.absorption[surface]
        return self.absorption

    def _check_absorption(self, surface: str) -> None:
        value = self._absorption_of(surface)
        bands = value if isinstance(value, Mapping) else {1000.0: value}
        if not bands or not all(f > 0.0 for f in bands):
            raise RoomError(f"{surface}: give absorption by octave centres in Hz, above 0")
        for share in bands.values():
            if not 0.0 <= share <= 1.0:
                raise RoomError(
                    f"{surface}: absorption {share:g} must lie from 0 (all comes back) to 1 "
                    "(nothing does); published values above 1 count as 1"
                )


@dataclass(frozen=True)
class Place:
    """A point in the room, metres from its corner.

    For the speaker `height` is that of the ring it radiates from
    (`Assembly.height_of_ring` on the floor), for a seat that of the ears.
    """

    x: float
    y: float
    height: float

    @property
    def position(self) -> Array:
        """(3,) array."""
        return np.array([self.x, self.y, self.height])


@dataclass(frozen=True, eq=False)
class Bounce:
    """Sound that reaches the seat by way of one surface.

    Attributes
    ----------
    surface : str
        One of `SURFACES`.
    delay_s : float
        Behind the direct sound, seconds.
    path_m : float
        Whole length of the path, metres.
    level_db : (B,) array
        Relative to the direct sound at the seat, per band.
    azimuth_deg, elevation_deg : float
        Where it comes from, seen from the seat: azimuth anticlockwise from east.
    departure_elevation_deg : float
        At which it leaves the speaker.
    """

    surface: str
    delay_s: float
    path_m: float
    level_db: Array
    azimuth_deg: float
    elevation_deg: float
    departure_elevation_deg: float

    @property
    def delay_ms(self) -> float:
        """Behind the direct sound, milliseconds."""
        return self.delay_s * 1e3


def first_bounces(
    room: Room,
    speaker: Place,
    seat: Place,
    elevations: ArrayLike,
    level_db: ArrayLike,
    centres: ArrayLike,
    air: Air | None = None,
) -> tuple[Bounce, ...]:
    """First-order bounces of the six surfaces at a seat.

    Parameters
    ----------
    room : Room
    speaker, seat : Place
    elevations : array_like, shape (E,)
        Degrees, uniform from -90 to 90.
    level_db : array_like, shape (B, E)
        Band levels of the speaker's far field, dB, of any reference; linear in power between
        elevations.
    centres : array_like, shape (B,)
        Band centres, Hz.
    air : Air, optional
        Speed of sound and absorption at the centre of each band.

    Returns
    -------
    tuple of Bounce
        In the order of `SURFACES`.

    Raises
    ------
    RoomError
        If speaker or seat are not in the room, or too close together.

    Notes
    -----
    Level re direct = L(departure) - L(direct) - 20 lg(d/d0) - m (d - d0) + 10 lg(1 - absorption),
    L the pattern, d and d0 the two paths, m the air's absorption in dB/m.
    """
    air = Air() if air is None else air
    _check_places(room, speaker, seat)
    f, power = _checked_bands(centres, level_db)
    start, ear = speaker.position, seat.position
    direct = float(np.linalg.norm(ear - start))
    direct_db = in_db(power_at(power, elevations, _elevation(ear - start)))
    loss_per_metre = _air_loss(air, f)
    found = []
    for index, surface in enumerate(SURFACES):
        # Mirroring the seat gives the departure, mirroring the speaker the arrival.
        departure = _mirrored(room, index, ear) - start
        arrival = _mirrored(room, index, start) - ear
        path = float(np.linalg.norm(departure))
        leaving = _elevation(departure)
        level = in_db(power_at(power, elevations, leaving)) - direct_db
        level = level - 20.0 * math.log10(path / direct) - loss_per_metre * (path - direct)
        found.append(
            Bounce(
                surface,
                (path - direct) / air.speed,
                path,
                level + room.loss_db(surface, f),
                math.degrees(math.atan2(arrival[1], arrival[0])),
                _elevation(arrival),
                leaving,
            )
        )
    return tuple(found)


def _mirrored(room: Room, surface: int, position: Array) -> Array:
    """Return the image of a position in one of `SURFACES`."""
    axis, far = ((2, 0), (2, 1), (0, 0), (0, 1), (1, 0), (1, 1))[surface]
    image = position.copy()
    image[axis] = 2.0 * far * room.sides[axis] - position[axis]
    return image


def _elevation(direction: Array) -> float:
    return math.degrees(math.atan2(direction[2], math.hypot(direction[0], direction[1])))


def _air_loss(air: Air, centres: Array) -> Array:
    # The formula's range ends near 40 Hz, where air takes less than 0.001 dB in any room.
    return air.absorption(np.maximum(centres, 4.001e-4 * air.pressure_pa))


def _checked_bands(centres: ArrayLike, level_db: ArrayLike) -> tuple[Array, Array]:
    f, level = np.asarray(centres, dtype=float), np.asarray(level_db, dtype=float)
    if f.ndim != 1 or not f.size or np.any(f <= 0.0):
        raise RoomError("band centres: give a list of frequencies in Hz, above 0")
    if level.ndim != 2 or len(level) != f.size:
        raise RoomError(
            f"levels of shape {level.shape}: give one row of elevations for each of the "
            f"{f.size} bands"
        )
    return f, 10.0 ** (level / 10.0)


def _check_places(room: Room, speaker: Place, seat: Place) -> None:
    for name, place in (("speaker", speaker), ("seat", seat)):
        for axis, at, side in zip(("x", "y", "height"), place.position, room.sides, strict=True):
            if not 0.0 < at < side:
                raise RoomError(
                    f"the {name} is outside the room: its {axis} of {at:g} m must lie between "
                    f"0 and {side:g} m (all places in metres from the south-west corner)"
                )
    apart = float(np.linalg.norm(seat.position - speaker.position))
    if apart < NEAREST_SEAT:
        raise RoomError(
            f"the seat is {apart:g} m from the speaker, where a far-field pattern means nothing: "
            f"move it at least {NEAREST_SEAT:g} m away"
        )


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names[:-1]) + " and " + names[-1]
