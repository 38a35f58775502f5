"""The column as it is made: walls or boards, the pieces that close it, the air inside (metres).

N equal boards with mitred long edges: each edge is 180/N degrees off square, which is 90 - 180/N
from the face. For boards t thick with outside faces a the inside faces are a - 2 t tan(180/N).
All from plane geometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapes.columns import Column, Foot
from shapes.footprints import Footprint
from shapes.lengths import in_both, in_litres
from shapes.making import Making, MakingError

DRIVER_SHARE = 0.15
"""Volume that a driver takes up over the cube of its frame's diameter: common practice, no
source."""


@dataclass(frozen=True)
class Boards:
    """The boards of a column with sides.

    Attributes
    ----------
    count : int
    outside, inside : float
        Width of the face outside and inside.
    thickness, length : float
    """

    count: int
    outside: float
    inside: float
    thickness: float
    length: float

    @property
    def off_square(self) -> float:
        """Bevel of each long edge from square, as a saw's scale has it, radians: pi / N."""
        return math.pi / self.count

    @property
    def from_face(self) -> float:
        """The same bevel from the board's outside face, radians."""
        return math.pi / 2 - self.off_square

    @property
    def opposite(self) -> tuple[tuple[int, int], ...]:
        """Pairs of boards that face one another, numbered from 1 in order; none if N is odd."""
        half = self.count // 2
        return () if self.count % 2 else tuple((n, n + half) for n in range(1, half + 1))


@dataclass(frozen=True, kw_only=True)
class Carcass:
    """A column with every thickness known.

    Attributes
    ----------
    outside : Footprint
        Of the walls.
    wall : float
    height : float
        From the floor to the baffle's upper face.
    baffle, bottom : Footprint
        Outlines of the boards that close it above and below; the foot, if the walls stand on it.
    baffle_thickness, bottom_thickness : float
    baffle_let_in, bottom_let_in : bool
        Whether they lie between the walls.
    foot : Foot or None
        What it stands on, apart from its bottom.
    """

    outside: Footprint
    wall: float
    height: float
    baffle: Footprint
    baffle_thickness: float
    bottom: Footprint
    bottom_thickness: float
    baffle_let_in: bool
    bottom_let_in: bool
    foot: Foot | None

    @property
    def inside(self) -> Footprint:
        """Outline of the room between the walls."""
        return self.outside.inset(self.wall)

    @property
    def floor_of_walls(self) -> float:
        """Height above the floor at which the walls begin."""
        foot = 0.0 if self.foot is None else self.foot.thickness
        return foot if self.bottom_let_in or self.bottom_is_foot else self.bottom_thickness

    @property
    def bottom_is_foot(self) -> bool:
        """Whether the foot closes the column: the walls stand on it."""
        return self.foot is not None and not self.bottom_let_in

    @property
    def wall_length(self) -> float:
        """Length of walls or boards between the pieces that are laid on."""
        above = 0.0 if self.baffle_let_in else self.baffle_thickness
        return self.height - above - self.floor_of_walls

    @property
    def inside_height(self) -> float:
        """Height of the room inside."""
        above = self.baffle_thickness if self.baffle_let_in else 0.0
        below = self.bottom_thickness if self.bottom_let_in else 0.0
        return self.wall_length - above - below

    @property
    def volume(self) -> float:
        """Volume of the room inside, with nothing in it, cubic metres."""
        return self.inside.area * self.inside_height

    @property
    def boards(self) -> Boards | None:
        """The boards that its walls are glued of; None for a tube."""
        if self.outside.is_round:
            return None
        return Boards(
            self.outside.sides, self.outside.face, self.inside.face, self.wall, self.wall_length
        )


def carcass_of(column: Column, usual_wall: float) -> Carcass:
    """Work out how a column is made.

    Parameters
    ----------
    column : Column
    usual_wall : float
        Thickness of walls, baffle and bottom where the column does not say.

    Raises
    ------
    MakingError
        If nothing is left inside.
    """
    wall = usual_wall if column.wall is None else column.wall
    inside, baffle, foot = column.footprint.inset(wall), column.baffle, column.foot
    let_in = baffle is not None and baffle.let_in
    carcass = Carcass(
        outside=column.footprint,
        wall=wall,
        height=column.height,
        baffle=inside if let_in else column.face,
        baffle_thickness=wall if baffle is None else baffle.thickness,
        bottom=inside if column.bottom_let_in else column.base,
        bottom_thickness=wall if foot is None or column.bottom_let_in else foot.thickness,
        baffle_let_in=let_in,
        bottom_let_in=column.bottom_let_in,
        foot=foot,
    )
    if inside.width <= 0 or carcass.inside_height <= 0:
        raise MakingError(
            f"column_wall: walls of {in_both(wall)} leave no room inside a column"
            f" {in_both(column.width)} wide and {in_both(column.height)} high: make them thinner."
        )
    return carcass


@dataclass(frozen=True, kw_only=True)
class AirInside:
    """The room inside and what stands in it, cubic metres.

    Attributes
    ----------
    empty : float
        With nothing in it.
    driver : float
    driver_is_guess : bool
        Whether that is `DRIVER_SHARE` of the cube of its frame's diameter.
    braces, port : float
        The port with what it reaches inside.
    """

    empty: float
    driver: float
    driver_is_guess: bool
    braces: float
    port: float

    @property
    def net(self) -> float:
        """What is left for the air."""
        return self.empty - self.driver - self.braces - self.port


def air_inside(carcass: Carcass, frame_radius: float, making: Making, port: float) -> AirInside:
    """Return the air inside a column.

    Parameters
    ----------
    carcass : Carcass
    frame_radius : float
        Of the driver, metres.
    making : Making
        Volume of driver and braces.
    port : float
        Volume that the port takes up inside, cubic metres.

    Raises
    ------
    MakingError
        If nothing is left.
    """
    told = making.driver_volume
    guess = DRIVER_SHARE * (2 * frame_radius) ** 3
    air = AirInside(
        empty=carcass.volume,
        driver=guess if told is None else told,
        driver_is_guess=told is None,
        braces=making.brace_volume,
        port=port,
    )
    if air.net <= 0:
        raise MakingError(
            f"the room inside, {in_litres(air.empty)}, is less than driver, braces and port take"
            " up: check driver_volume, brace_volume and the port's size"
        )
    return air
