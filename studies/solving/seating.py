"""Who sits where in the room of a design, and by which paths the sound comes there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from dispersion.response import Response
from dispersion.room import DIRECT, Absorption, Path, Place, Plane, Room, RoomError, paths_to
from shapes.assembly import Assembly
from shapes.lengths import in_both
from studies.design import Design, DesignError, Mistake
from studies.design.design import Seat

MOST_SEATS = 12
SITTING_EARS, STANDING_EARS = 1.15, 1.6
"""Ears above the floor, m: common practice, no source."""
HEAD_ROOM = 0.1
AIR_BEHIND = 0.1
"""Between the speaker's back and the wall close behind it, m: common practice, no source."""
BEHIND = "wall behind"


@dataclass(frozen=True, eq=False)
class Ears:
    """Paths to one position of the ears, and the points at which the wave solver is asked for them.

    Attributes
    ----------
    paths : tuple of Path
        The direct one first.
    points : (P, 2) array
        The seat and its images, r from the column's axis and z above the baffle, m.
    first : int
        Index of the first of these points among all points of the study.
    axis : (float, float)
        Where the column stands: x and y as in the paths, m.
    """

    paths: tuple[Path, ...]
    points: np.ndarray = field(repr=False)
    first: int = 0
    axis: tuple[float, float] = (0.0, 0.0)

    @property
    def numbers(self) -> slice:
        """Indices of these points among all points of the study."""
        return slice(self.first, self.first + len(self.points))

    @property
    def numbered(self) -> tuple[tuple[int, Path], ...]:
        """Each path with the index of its point among all points of the study."""
        return tuple(enumerate(self.paths, start=self.first))

    @property
    def distances(self) -> np.ndarray:
        """(P,) distance of each point from the middle of the baffle, m."""
        return np.hypot(*self.points.T)

    @property
    def elevations(self) -> np.ndarray:
        """(P,) elevation of each point seen from the middle of the baffle, degrees."""
        r, z = self.points.T
        return np.degrees(np.arctan2(z, r))


@dataclass(frozen=True, eq=False, kw_only=True)
class Sitter:
    """One seat of the design in its room.

    Attributes
    ----------
    seat : Seat
    place : Place
        Position of the ears in the room.
    here : Ears
        The ears at the height that the file gives.
    other_ears : float
        Height above the floor, m, of the ears of the same person standing, or sitting if the seat
        is a standing one.
    there : Ears
        The ears at that other height.
    behind : Ears
        The direct path, and the path by way of a wall close behind the column.
    """

    seat: Seat
    place: Place
    here: Ears
    other_ears: float
    there: Ears
    behind: Ears


@dataclass(frozen=True, eq=False)
class Seating:
    """Room, speaker and seats of a design.

    Attributes
    ----------
    room : Room
    speaker : Place
        The middle of the ring between baffle and reflector.
    near_wall : float
        From the column's axis to the wall close behind it, m.
    sitters : tuple of Sitter
        In the file's order.
    absorption : mapping
        By the name of the path: every surface, the direct path (0) and the wall close behind.
    """

    room: Room
    speaker: Place
    near_wall: float
    sitters: tuple[Sitter, ...]
    absorption: Mapping[str, Absorption]

    @property
    def every_ears(self) -> tuple[Ears, ...]:
        """Every position of ears, in the order of their points."""
        ears = [one for at in self.sitters for one in (at.here, at.there, at.behind)]
        return tuple(sorted(ears, key=lambda one: one.first))

    @property
    def points(self) -> np.ndarray:
        """(P, 2) every point that the wave solver is asked for, r and z as in `Ears`, m."""
        return np.vstack([one.points for one in self.every_ears])


def seating_of(design: Design, assembly: Assembly) -> Seating:
    """Place the column and the seats of a design in its room, and find every path between them.

    Raises
    ------
    DesignError
        If there is no seat or there are too many, or speaker or seats do not fit into the room.
    """
    given = design.tables.room
    room = Room(given.length, given.width, given.ceiling, given.absorption.by_surface())
    x, y = given.column or (0.0, 0.0)
    speaker = Place(x, y, assembly.height_of_ring)
    reach, top = np.vstack((assembly.lower_line, assembly.upper_line)).max(axis=0)
    near_wall = given.near_wall or float(reach) + AIR_BEHIND
    mistakes = _misfits(design, room, float(reach), float(top), near_wall)
    if mistakes:
        raise DesignError(design.path, mistakes)
    sitters: list[Sitter] = []
    for number, seat in enumerate(design.seats, start=1):
        try:
            first = sum(_count(sitter) for sitter in sitters)
            sitters.append(_sitter(design, room, speaker, near_wall, number, first))
        except RoomError as error:
            mistakes.append(Mistake(f"seats[{number}]", f"{seat.name}: {error}"))
    if mistakes:
        raise DesignError(design.path, mistakes)
    absorption = {DIRECT: 0.0, BEHIND: given.absorption.walls, **given.absorption.by_surface()}
    return Seating(room, speaker, near_wall, tuple(sitters), absorption)


def seating_that_fits(design: Design, assembly: Assembly) -> Seating | None:
    """Return the seating of a design; None where seats or speaker do not fit into its room."""
    try:
        return seating_of(design, assembly)
    except DesignError:
        return None


def towards_images(design: Design, response: Response) -> np.ndarray | None:
    """Far field towards the images of the seats, by which first bounces are heard.

    Parameters
    ----------
    design : Design
    response : Response
        With its far field.

    Returns
    -------
    (F, N) complex array or None
        Re 0 dB, seat by seat, of each its bounces in the order of `Sitter.here`, in the solved
        directions nearest to them. None where seats or speaker do not fit into the room.
    """
    seating = seating_that_fits(design, response.problem.assembly)
    if seating is None:
        return None
    towards = np.concatenate([sitter.here.elevations[1:] for sitter in seating.sitters])
    apart = np.abs(response.problem.elevations[:, None] - towards)
    return response.far[:, apart.argmin(axis=0)]


def _count(sitter: Sitter) -> int:
    return len(sitter.here.points) + len(sitter.there.points) + len(sitter.behind.points)


def _misfits(
    design: Design, room: Room, reach: float, top: float, near_wall: float
) -> list[Mistake]:
    """Mistakes of seats and speaker that show before any place is worked out."""
    found = []
    if not 1 <= len(design.seats) <= MOST_SEATS:
        found.append(
            Mistake("seats", f"{len(design.seats)} seats: give 1 to {MOST_SEATS} [[seats]] tables")
        )
    height = design.column_height + top
    if height >= room.height:
        found.append(
            Mistake(
                "room.ceiling",
                f"the speaker is {in_both(height)} high and does not fit below a ceiling of"
                f" {in_both(room.height)}",
            )
        )
    if near_wall < reach:
        found.append(
            Mistake(
                "room.near_wall",
                f"a wall {in_both(near_wall)} from the axis stands in the speaker: at least"
                f" {in_both(reach)}",
            )
        )
    return found + _column_in_walls(design, room, reach)


def _column_in_walls(design: Design, room: Room, reach: float) -> list[Mistake]:
    column = design.tables.room.column
    if room.length is None or room.width is None or column is None:
        return []
    x, y = column
    least = min(x, y, room.length - x, room.width - y)
    if least >= reach:
        return []
    message = (
        f"the speaker reaches {in_both(reach)} from its axis, and a wall is {in_both(least)} away:"
        " move it into the room"
    )
    return [Mistake("room.column", message)]


def _sitter(
    design: Design, room: Room, speaker: Place, near_wall: float, number: int, first: int
) -> Sitter:
    seat, towards = design.seats[number - 1], design.tables.seats[number - 1].direction
    angle = _towards_the_middle(room, speaker) if towards is None else math.radians(towards)
    x, y = speaker.x + seat.r * math.cos(angle), speaker.y + seat.r * math.sin(angle)
    # Turned so that the seat lies along x, the wall behind stands across it.
    alone, aside = Place(0.0, 0.0, speaker.height), Place(seat.r, 0.0, seat.ear_height)
    wall = Plane(BEHIND, 0, -near_wall)
    base, speed = design.column_height, design.air.speed
    other = _other_ears(seat, room)
    place, other_place = Place(x, y, seat.ear_height), Place(x, y, other)
    room.check(speaker, place)
    room.check(speaker, other_place)
    ears: list[Ears] = []
    for planes, start, end in (
        (room.planes, speaker, place),
        (room.planes, speaker, other_place),
        ((wall,), alone, aside),
    ):
        paths = paths_to(planes, start, end, speed)
        begin = first + sum(len(one.points) for one in ears)
        ears.append(Ears(paths, _points(paths, start, base), begin, (start.x, start.y)))
    here, there, behind = ears
    return Sitter(seat=seat, place=place, here=here, other_ears=other, there=there, behind=behind)


def _points(paths: Sequence[Path], speaker: Place, base: float) -> np.ndarray:
    """(P, 2) images of the seat, r from the column's axis and z above the baffle, m."""
    images = np.array([path.image for path in paths])
    r = np.hypot(images[:, 0] - speaker.x, images[:, 1] - speaker.y)
    return np.column_stack((r, images[:, 2] - base))


def _towards_the_middle(room: Room, speaker: Place) -> float:
    if room.length is None or room.width is None:
        return 0.0
    return math.atan2(room.width / 2 - speaker.y, room.length / 2 - speaker.x)


def _other_ears(seat: Seat, room: Room) -> float:
    """Ears of the same person standing or sitting: whichever is farther from those of the seat."""
    standing = min(STANDING_EARS, room.height - HEAD_ROOM)
    return max(standing, SITTING_EARS, key=lambda ears: abs(ears - seat.ear_height))
