"""Where the meter stands, and how soon the room answers there.

Heights are above the floor, distances from the column's axis, azimuths from the first post,
anticlockwise seen from above. A place is written in steps of 5 mm or 1/4 in, as a tape measure
shows it, and the model is asked at exactly that point.

The sound is taken to come from the middle of the ring. Its first bounce off a plane comes from the
mirrored microphone; the time that a gate can stay open is

    t = (mirrored distance - direct distance) / c

and a gate of t seconds holds one period of 1 / t: below that frequency no level is valid.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from shapes.assembly import Assembly
from shapes.lengths import INCH, across_room
from studies.design import Design, DesignError, Mistake
from studies.design.workshop_tables import MeasuringTable
from studies.measured.positions import Position

TAPE_STEPS = {"mm": 5e-3, "in": INCH / 4}
ABOVE_DEG, BELOW_DEG = 45.0, -20.0
"""Elevations above and below the window: towards the ceiling's bounce and the floor's."""
LEAST_APART_DEG = 4.0
"""Least difference of two elevations that are measured."""
CLEAR_OF_SURFACES = 0.2
"""A microphone stays this far from floor, ceiling and walls, m."""
REFERENCE, FARTHER = "reference", "twice as far"
BEHIND_POST, BESIDE_POST, QUARTER_TURN, FAR_SIDE = (
    "behind post",
    "beside post",
    "quarter turn",
    "far side",
)
THIRD_OCTAVE_WIDTH = 10.0**0.05 - 10.0**-0.05
"""Width of a third octave over its centre (IEC 61260-1:2014, base ten)."""


@dataclass(frozen=True)
class RoomLimits:
    """Height of the ceiling above the floor, and distance of the nearest wall from the axis, m."""

    ceiling: float
    wall: float


@dataclass(frozen=True)
class MeterBounce:
    """Sound that reaches a place by way of one surface.

    Attributes
    ----------
    surface : str
        "floor", "ceiling" or "wall".
    image : Position
        The microphone mirrored in that surface.
    delay : float
        Behind the direct sound, s.
    """

    surface: str
    image: Position
    delay: float


@dataclass(frozen=True)
class Stand:
    """One place of the meter.

    Attributes
    ----------
    position : Position
    purpose : str
        What a reading there is good for.
    elevation_deg : float
        Seen from the middle of the ring, degrees above horizontal.
    bounces : tuple of MeterBounce
        Off floor, ceiling and the nearest wall, the soonest first.
    """

    position: Position
    purpose: str
    elevation_deg: float
    bounces: tuple[MeterBounce, ...]

    @property
    def azimuth_deg(self) -> float:
        """Azimuth from the first post, degrees; ValueError if it was not noted."""
        if self.position.azimuth_deg is None:
            raise ValueError(f"{self.position.name}: its azimuth was not noted")
        return self.position.azimuth_deg

    @property
    def separates_candidates(self) -> bool:
        """True where candidates differ: at another elevation than the reference's."""
        same = (REFERENCE, BEHIND_POST, BESIDE_POST, QUARTER_TURN, FAR_SIDE, FARTHER)
        return self.position.name not in same

    @property
    def first_bounce(self) -> MeterBounce:
        """The bounce with the shortest delay: the gate must close before it."""
        return self.bounces[0]

    @property
    def one_period_hz(self) -> float:
        """1 / delay of the first bounce, Hz: below it the gate holds less than one period."""
        return 1.0 / self.first_bounce.delay

    @property
    def resolved_hz(self) -> float:
        """Hz where a third octave is as wide as `one_period_hz`: below, the gate blurs bands."""
        return self.one_period_hz / THIRD_OCTAVE_WIDTH


def stands_of(design: Design, assembly: Assembly) -> tuple[tuple[Stand, ...], dict[str, str]]:
    """Choose where the meter stands: the reference first.

    Parameters
    ----------
    design : Design
    assembly : Assembly
        As written in the file.

    Returns
    -------
    stands : tuple of Stand
    left_out : dict of str to str
        Places that the room does not hold, with the reason.

    Raises
    ------
    DesignError
        If not even the reference fits into the room; the message names the remedy.
    """
    measuring = design.tables.measuring
    room = RoomLimits(design.tables.room.ceiling, measuring.wall)
    ring, speed = assembly.height_of_ring, design.air.speed
    stands, left_out = [], {}
    for position, purpose in _desired(design, assembly, measuring, ring):
        if reason := _does_not_fit(position, room, assembly):
            left_out[position.name] = reason
            continue
        elevation = math.degrees(math.atan2(position.height - ring, position.r))
        bounces = bounces_of(position, ring, room, speed)
        stands.append(Stand(position, purpose, elevation, bounces))
    if REFERENCE in left_out:
        raise DesignError(design.path, (Mistake("measuring.distance", left_out[REFERENCE]),))
    return tuple(stands), left_out


def bounces_of(
    position: Position, ring: float, room: RoomLimits, speed: float
) -> tuple[MeterBounce, ...]:
    """Return the bounces off floor, ceiling and nearest wall at a position, the soonest first.

    The wall counts as behind the microphone, where it answers soonest: image at 2 w - r.

    Parameters
    ----------
    position : Position
    ring : float
        Height of the middle of the ring above the floor, m.
    room : RoomLimits
    speed : float
        Of sound, m/s.
    """
    r, h, name = position.r, position.height, position.name
    images = {
        "floor": replace(position, name=f"{name}, off the floor", height=-h),
        "ceiling": replace(position, name=f"{name}, off the ceiling", height=2 * room.ceiling - h),
        "wall": replace(position, name=f"{name}, off the wall", r=2 * room.wall - r),
    }
    direct = math.hypot(r, h - ring)
    found = (
        MeterBounce(surface, image, (math.hypot(image.r, image.height - ring) - direct) / speed)
        for surface, image in images.items()
    )
    return tuple(sorted(found, key=lambda bounce: bounce.delay))


def widest_radius(assembly: Assembly) -> float:
    """Return the largest distance from the axis of column, plate and reflector, m.

    A foot lies on the floor, far below every place, and does not count.
    """
    upper = assembly.upper_line
    above = float(upper[:, 0].max()) if len(upper) else 0.0
    return max(assembly.column.outer_radius, above)


def azimuths(assembly: Assembly) -> tuple[float, float, float]:
    """Return azimuths from the first post, degrees: between two posts, in line with one, far side.

    The far side is between two posts as well. Without posts: 0 (a mark on the column), 90 and 180;
    with one post: opposite it, in line with it, and 90.
    """
    count = 0 if assembly.posts is None else assembly.posts.count
    if count == 0:
        return 0.0, 90.0, 180.0
    pitch = 360.0 / count
    between = 0.5 * pitch
    far = between + pitch * (count // 2) if count > 1 else 90.0
    return between, 0.0, far


def _desired(
    design: Design, assembly: Assembly, measuring: MeasuringTable, ring: float
) -> Iterator[tuple[Position, str]]:
    """Yield every useful place with its purpose, the most useful first, whether it fits or not."""
    distance = measuring.distance_from_ring
    between, in_line, far = azimuths(assembly)
    main, step = _main_elevation(design), TAPE_STEPS[design.unit]

    def place(name: str, elevation: float, azimuth: float, away: float = distance) -> Position:
        r = away * math.cos(math.radians(elevation))
        height = ring + away * math.sin(math.radians(elevation))
        return Position(name, _on_tape(r, step), _on_tape(height, step), azimuth)

    yield place(REFERENCE, main, between), "everything is compared with this one"
    for name, elevation, purpose in _other_elevations(design, main):
        yield place(name, elevation, between), purpose
    if assembly.posts is None:
        yield place(QUARTER_TURN, main, in_line), "differs if the reflector is off the axis"
    else:
        yield place(BEHIND_POST, main, in_line), "what a post shades; the model has no posts"
        if measuring.turntable and assembly.posts.count > 1:
            beside = place(BESIDE_POST, main, 0.5 * between)
            yield beside, "half way: how wide the shade of a post is"
    yield place(FAR_SIDE, main, far), "differs if the reflector is off the axis or tilted"
    if not measuring.gated:
        words = "shows how much is the room: without one it follows the prediction"
        yield place(FARTHER, main, between, 2.0 * distance), words


def _main_elevation(design: Design) -> float:
    low, high = design.window_deg
    main = design.seats[0].elevation_deg if design.seats else 0.5 * (low + high)
    return min(max(main, BELOW_DEG), ABOVE_DEG)


def _other_elevations(design: Design, main: float) -> Iterator[tuple[str, float, str]]:
    """Yield name, elevation and purpose of others, `LEAST_APART_DEG` from each other and `main`."""
    low, high = design.window_deg
    taken = [main]
    for name, elevation, purpose in (
        ("window's top", high, "as high as the window of the target reaches"),
        ("window's foot", low, "as low as the window of the target reaches"),
        ("above", ABOVE_DEG, "what goes to the ceiling"),
        ("below", BELOW_DEG, "what goes to the floor"),
    ):
        inside = BELOW_DEG <= elevation <= ABOVE_DEG
        if inside and all(abs(elevation - other) >= LEAST_APART_DEG for other in taken):
            taken.append(elevation)
            yield name, elevation, purpose


def _on_tape(length: float, step: float) -> float:
    return round(round(length / step) * step, 6)


def _does_not_fit(position: Position, room: RoomLimits, assembly: Assembly) -> str:
    """Return why a microphone cannot stand there; empty if it can."""
    most_r, clear = room.wall - CLEAR_OF_SURFACES, across_room(CLEAR_OF_SURFACES)
    widest = widest_radius(assembly)
    if position.r > most_r:
        return (
            f"{across_room(position.r)} from the axis is less than {clear} from the wall"
            f" ({across_room(room.wall)}): go nearer, or stand the column farther from walls and"
            " say so"
        )
    if position.r < widest + CLEAR_OF_SURFACES:
        return (
            f"{across_room(position.r)} from the axis is less than {clear} from the column or"
            " plate: measure from farther away"
        )
    if not CLEAR_OF_SURFACES < position.height < room.ceiling - CLEAR_OF_SURFACES:
        return (
            f"{across_room(position.height)} above the floor is too near to the floor or the"
            f" ceiling ({across_room(room.ceiling)}): raise the column on a stand, or measure from"
            " nearer"
        )
    return ""
