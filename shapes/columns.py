"""The column: its outline, the baffle that closes it, the foot it stands on (metres)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Self

from shapes.footprints import LEAST_SIDES, MOST_SIDES, Footprint
from shapes.lengths import in_both
from shapes.parts import AssemblyError, Posts, TopPlate, check_above_zero, check_at_least_zero


@dataclass(frozen=True)
class Baffle:
    """The board that closes the column above and carries the driver.

    Parameters
    ----------
    footprint : Footprint
        May be wider than the column, or narrower than its corners.
    thickness : float
    edge_radius : float
        Rounding of its upper edge.
    let_in : bool
        Whether it lies between the walls, flush with their ends, and not on them.
    """

    footprint: Footprint
    thickness: float
    edge_radius: float = 0.0
    let_in: bool = False

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        check_above_zero("baffle", width=self.footprint.width, thickness=self.thickness)
        check_at_least_zero("baffle", edge_radius=self.edge_radius)


@dataclass(frozen=True)
class Foot:
    """The board under the column, on the floor: its outline and thickness."""

    footprint: Footprint
    thickness: float

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        check_above_zero("foot", width=self.footprint.width, thickness=self.thickness)


@dataclass(frozen=True, kw_only=True)
class Column:
    """Column with the baffle as its upper end.

    Parameters
    ----------
    width : float
        Diameter, or width across the flats of a column with sides.
    height : float
        From the floor to the baffle's upper face.
    sides : int
        0 is round. A column with sides is computed as the round one of equal area.
    edge_radius : float
        Rounding of the column's upper edge, where no baffle lies on it.
    wall : float, optional
        Thickness of its walls, of its boards; left out, not known here.
    baffle : Baffle, optional
        Left out, the column ends in a baffle of its own outline.
    foot : Foot, optional
    bottom_let_in : bool
        Whether the piece that closes it below lies between the walls; else they stand on it.
    """

    width: float
    height: float
    sides: int = 0
    edge_radius: float = 0.0
    wall: float | None = None
    baffle: Baffle | None = None
    foot: Foot | None = None
    bottom_let_in: bool = False

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        check_above_zero("column", width=self.width, height=self.height)
        check_at_least_zero("column", edge_radius=self.edge_radius)
        if self.wall is not None:
            check_above_zero("column", wall=self.wall)
        if self.sides != 0 and not LEAST_SIDES <= self.sides <= MOST_SIDES:
            raise AssemblyError(
                f"a column of {self.sides} sides: take {LEAST_SIDES} to {MOST_SIDES}, or a round"
                " one."
            )

    @property
    def footprint(self) -> Footprint:
        """Outline of its walls from above."""
        return Footprint(self.width, self.sides)

    @property
    def shape(self) -> str:
        """Its outline in a word, "round" or "hexagonal"."""
        return self.footprint.name

    @property
    def radius(self) -> float:
        """Radius of the circle of equal area, below the baffle."""
        return self.footprint.radius

    @property
    def laid_on(self) -> Baffle | None:
        """The baffle if it lies on the column with an outline of its own, or else None."""
        return None if self.baffle is None or self.baffle.let_in else self.baffle

    @property
    def face(self) -> Footprint:
        """Outline of the face round the driver: of the baffle, or of the column's own end."""
        return self.footprint if self.laid_on is None else self.laid_on.footprint

    @property
    def face_edge_radius(self) -> float:
        """Rounding of the edge of that face."""
        return self.edge_radius if self.laid_on is None else self.laid_on.edge_radius

    @property
    def flat_radius(self) -> float:
        """Radius of the largest circle on the flat of the real baffle, inside its edge."""
        return self.face.inner_radius - self.face_edge_radius

    def to_depth(self, depth: float) -> Self:
        """Return what is of it down to a depth below its face, without a foot.

        Itself if its walls do not reach so deep, or the baffle deeper.
        """
        foot = 0.0 if self.foot is None else self.foot.thickness
        face = 0.0 if self.laid_on is None else self.laid_on.thickness
        if not face < depth < self.height - foot:
            return self
        return replace(self, height=depth, foot=None)

    @property
    def base(self) -> Footprint:
        """Outline of what stands on the floor."""
        return self.footprint if self.foot is None else self.foot.footprint

    @property
    def outer_radius(self) -> float:
        """How far walls and baffle reach from the axis."""
        return max(self.footprint.outer_radius, self.face.outer_radius)

    @property
    def is_round(self) -> bool:
        """Whether nothing of it has to be made round to be computed."""
        parts = (self.footprint, self.face, self.base)
        return all(part.is_round for part in parts)

    def post_circle_limit(self, count: int, post_radius: float) -> float:
        """Largest post circle radius for which `count` posts still stand on the baffle's flat."""
        return self.face.circle_limit(count, self.face_edge_radius + post_radius)


def post_angles(column: Column, posts: Posts, plate: TopPlate | None = None) -> tuple[float, ...]:
    """Azimuths of the posts, radians; the first at 0, across the flats of a baffle with sides.

    They turn towards the corners of baffle and plate where only those have room for the circle.
    """
    turns = [_towards_corners(column.face, posts, column.flat_radius)]
    if plate is not None:
        turns.append(_towards_corners(plate.footprint, posts, plate.flat_radius))
    first = max(turns)
    return tuple(first + 2 * math.pi * k / posts.count for k in range(posts.count))


def _towards_corners(footprint: Footprint, posts: Posts, flat_radius: float) -> float:
    if footprint.is_round or posts.outer_radius <= flat_radius:
        return 0.0
    return math.pi / footprint.sides


def computed_outline(column: Column, plate: TopPlate | None = None) -> str | None:
    """Say which outline is computed and what was made round; None where nothing was.

    Parameters
    ----------
    column : Column
    plate : TopPlate, optional
    """
    said = []
    baffle = column.laid_on
    if not column.footprint.is_round:
        said.append(made_round("column", column.footprint))
    if baffle is not None:
        said.append(_of_the_baffle(column, baffle))
    if column.foot is not None and not column.foot.footprint.is_round:
        said.append(made_round("foot", column.foot.footprint))
    if plate is not None and not plate.footprint.is_round:
        said.append(made_round("top plate", plate.footprint))
    return "; ".join(said) or None


def made_round(name: str, footprint: Footprint) -> str:
    """Say that a part with sides is computed as a round one."""
    return (
        f"the {footprint.name} {name} is computed as a round one of equal area,"
        f" {in_both(2 * footprint.radius)} across"
    )


def _of_the_baffle(column: Column, baffle: Baffle) -> str:
    """How the baffle lies over the column in what is computed, and which corners are lost."""
    step = baffle.footprint.radius - column.radius
    way = "stands out over it by" if step >= 0 else "is set back on it by"
    if baffle.footprint.is_round:
        words = f"the round baffle, {in_both(baffle.footprint.width)} across, counts as it is and"
    else:
        words = f"{made_round('baffle', baffle.footprint)}, and"
    words += f" {way} {in_both(abs(step))}"
    past = column.footprint.outer_radius - baffle.footprint.inner_radius
    if not column.footprint.is_round and baffle.footprint.is_round and past > 0:
        words += f"; in truth the column's corners reach {in_both(past)} past it"
    return words
