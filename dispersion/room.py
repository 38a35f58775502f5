"""What a room adds first: the bounces off floor, ceiling and four walls at a seat.

This is no room simulator, and it stops early on purpose: first order only, specular, off bare
plane surfaces of a box; no second bounces, no room modes, no furniture, no edges. Speaker and seat
are points; the speaker's far-field pattern is used at every distance, is the same all round, and
the column shadows nothing but what its own pattern already shows (a bounce that passes it on its
way back: `dispersion.allround.shadows`). Levels are of energy in bands:
how a bounce adds to or takes from the direct sound at one frequency is left to the reader of its
delay.

It is the second opinion on the wave solver, which gives the pressure at a seat's mirror image in
floor, ceiling or wall, near field and phase included: on the examples the two are within 0.3 to
0.6 dB (rms). Direct sound and image on the floor, in turn, are within 0.17 to 0.25 dB (rms, at
worst 1.0 dB) of the column solved on a rigid floor, which scatters the bounce once more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.air import Air
from dispersion.elevations import level_db as in_db
from dispersion.elevations import power_at

Array = NDArray[np.float64]
Absorption = float | Mapping[float, float]

SURFACES = (
    "floor",
    "ceiling",
    "corner end wall",
    "far end wall",
    "corner side wall",
    "far side wall",
)
"""In the order of the axes: height, then the ends (walls across the length, x = 0 and the length),
then the sides (walls along it, y = 0 and the width). Corner walls go through the origin."""
DIRECT = "direct"
SHORTEST_SIDE, LONGEST_SIDE = 1.0, 100.0
"""Sides of a room in metres; beyond these the unit is taken to be wrong."""
NEAREST_SEAT = 0.3
"""Metres from the speaker, about its own size: nearer, a far-field pattern means nothing."""


class RoomError(ValueError):
    """A room, a place or a pattern that cannot be; the message names the remedy."""


@dataclass(frozen=True)
class Plane:
    """A plane surface across one axis of the room: x (0), y (1) or z (2), where it is `at`."""

    name: str
    axis: int
    at: float

    def mirrored(self, position: Array) -> Array:
        """Return the image of a (3,) position."""
        image = position.copy()
        image[self.axis] = 2.0 * self.at - position[self.axis]
        return image

    def met(self, start: Array, end: Array) -> Array:
        """Return where the straight line between two (3,) positions goes through."""
        share = (self.at - start[self.axis]) / (end[self.axis] - start[self.axis])
        return start + share * (end - start)


@dataclass(frozen=True)
class Room:
    """A box with plane surfaces, its corner at the origin; or floor and ceiling alone.

    Parameters
    ----------
    length, width : float or None
        Along x and y from the corner, metres; None for no walls across that axis.
    height : float
        Along z (up), metres.
    absorption : float or mapping
        Share of the energy that a surface takes away, 0 to 1: one number for all surfaces, or
        for each of `SURFACES` a number or a mapping from octave centre in Hz to number. Between
        octaves it is a straight line over the logarithm of the frequency, beyond them it is held.
    """

    length: float | None
    width: float | None
    height: float
    absorption: float | Mapping[str, Absorption] = 0.1

    def __post_init__(self) -> None:
        """Refuse what is no room."""
        for name in ("length", "width", "height"):
            side = getattr(self, name)
            if side is not None and not SHORTEST_SIDE <= side <= LONGEST_SIDE:
                raise RoomError(
                    f"room {name} {side:g} m: give metres, from {SHORTEST_SIDE:g} to "
                    f"{LONGEST_SIDE:g}"
                )
        if isinstance(self.absorption, Mapping) and set(self.absorption) != set(SURFACES):
            raise RoomError(f"absorption: give one number, or one for each of {_listed(SURFACES)}")
        for surface in SURFACES:
            self._check_absorption(surface)

    @property
    def planes(self) -> tuple[Plane, ...]:
        """Every surface that is there, in the order of `SURFACES`."""
        across = ((2, self.height), (0, self.length), (1, self.width))
        ends = [(axis, side, end) for axis, side in across for end in (0.0, 1.0)]
        return tuple(
            Plane(name, axis, end * side)
            for name, (axis, side, end) in zip(SURFACES, ends, strict=True)
            if side is not None
        )

    def reflected(self, surface: str, frequencies: ArrayLike) -> Array:
        """Share of the energy that comes back from a surface at frequencies in Hz, (F,)."""
        return share_reflected(self._absorption_of(surface), frequencies)

    def loss_db(self, surface: str, centres: ArrayLike) -> Array:
        """Level of a reflection, 10 lg(1 - absorption) in dB, at band centres in Hz, (B,)."""
        return in_db(self.reflected(surface, centres))

    def check(self, speaker: Place, seat: Place) -> None:
        """Refuse a speaker or a seat outside the room, or too close together."""
        sides = (self.length, self.width, self.height)
        for name, place in (("speaker", speaker), ("seat", seat)):
            for axis, at, side in zip(("x", "y", "height"), place.position, sides, strict=True):
                if side is not None and not 0.0 < at < side:
                    raise RoomError(
                        f"the {name} is outside the room: its {axis} of {at:g} m must lie between "
                        f"0 and {side:g} m (all places in metres from the corner)"
                    )
        apart = float(np.linalg.norm(seat.position - speaker.position))
        if apart < NEAREST_SEAT:
            raise RoomError(
                f"the seat is {apart:g} m from the speaker, where a far-field pattern means"
                f" nothing: move it at least {NEAREST_SEAT:g} m away"
            )

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


@dataclass(frozen=True, eq=False, kw_only=True)
class Path:
    """Sound's way from the speaker to a seat by way of at most one surface.

    Attributes
    ----------
    surface : str
        Name of the surface, or `DIRECT`.
    image : (3,) array
        The seat's image in the surface: the speaker sounds there as if nothing stood between.
    source : (3,) array
        The speaker's image, from which the seat hears it; the speaker, if direct.
    spot : (3,) array
        Where the path meets the surface; the ears, if direct.
    path_m : float
        Whole length of the path, metres.
    delay_s : float
        Behind the direct sound, seconds.
    azimuth_deg, elevation_deg : float
        Where it comes from, seen from the seat: azimuth anticlockwise from +x, the room's length.
    departure_elevation_deg : float
        At which it leaves the speaker.
    """

    surface: str
    image: Array = field(repr=False)
    source: Array = field(repr=False)
    spot: Array = field(repr=False)
    path_m: float
    delay_s: float
    azimuth_deg: float
    elevation_deg: float
    departure_elevation_deg: float

    @property
    def delay_ms(self) -> float:
        """Behind the direct sound, milliseconds."""
        return self.delay_s * 1e3


@dataclass(frozen=True, eq=False)
class Bounce(Path):
    """Sound that reaches the seat by way of one surface.

    Attributes
    ----------
    level_db : (B,) array
        Relative to the direct sound at the seat, per band.
    """

    level_db: Array


def share_reflected(absorption: Absorption, frequencies: ArrayLike) -> Array:
    """Share of the energy that comes back at frequencies in Hz, (F,); see `Room`."""
    f = np.asarray(frequencies, dtype=float)
    if not isinstance(absorption, Mapping):
        return np.full(f.shape, 1.0 - absorption)
    octaves = sorted(absorption)
    shares = [absorption[octave] for octave in octaves]
    return 1.0 - np.interp(np.log(f), np.log(octaves), shares)


def paths_to(
    planes: Sequence[Plane], speaker: Place, seat: Place, speed: float
) -> tuple[Path, ...]:
    """The direct path to a seat, then that by way of each plane.

    Parameters
    ----------
    planes : sequence of Plane
        Without end: whether speaker and seat are on the same side is for `Room.check` to tell.
    speaker, seat : Place
    speed : float
        Of sound, m/s.
    """
    start, ear = speaker.position, seat.position
    direct = float(np.linalg.norm(ear - start))
    # Mirroring the seat gives the departure, mirroring the speaker the arrival.
    ends = [(DIRECT, ear, start, ear)]
    for plane in planes:
        image = plane.mirrored(ear)
        ends.append((plane.name, image, plane.mirrored(start), plane.met(start, image)))
    found = []
    for name, image, mirrored_start, spot in ends:
        departure, arrival = image - start, mirrored_start - ear
        length = float(np.linalg.norm(departure))
        found.append(
            Path(
                surface=name,
                image=image,
                source=mirrored_start,
                spot=spot,
                path_m=length,
                delay_s=(length - direct) / speed,
                azimuth_deg=math.degrees(math.atan2(arrival[1], arrival[0])),
                elevation_deg=_elevation(arrival),
                departure_elevation_deg=_elevation(departure),
            )
        )
    return tuple(found)


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
        In the order of `SURFACES`, those that the room has.

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
    room.check(speaker, seat)
    f, power = _checked_bands(centres, level_db)
    direct, *bounces = paths_to(room.planes, speaker, seat, air.speed)
    direct_db = in_db(power_at(power, elevations, direct.departure_elevation_deg))
    loss_per_metre = air_loss(air, f)
    found = []
    for path in bounces:
        level = in_db(power_at(power, elevations, path.departure_elevation_deg)) - direct_db
        level = level - 20.0 * math.log10(path.path_m / direct.path_m)
        level = level - loss_per_metre * (path.path_m - direct.path_m)
        level = level + room.loss_db(path.surface, f)
        found.append(Bounce(**vars(path), level_db=level))
    return tuple(found)


def _elevation(direction: Array) -> float:
    return math.degrees(math.atan2(direction[2], math.hypot(direction[0], direction[1])))


def air_loss(air: Air, frequencies: ArrayLike) -> Array:
    """What the air takes at frequencies in Hz, dB/m (ISO 9613-1)."""
    f = np.asarray(frequencies, dtype=float)
    # The formula's range ends near 40 Hz, where air takes less than 0.001 dB in any room.
    return air.absorption(np.maximum(f, 4.001e-4 * air.pressure_pa))


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


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names[:-1]) + " and " + names[-1]
