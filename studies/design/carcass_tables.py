"""The tables of a design file about the column: walls or boards, baffle, foot, port.

Lengths are metres once read. What is left out keeps its plainest meaning: a baffle of the column's
own outline, no foot, no port.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from dispersion.ports import Port
from shapes.carcass import Carcass
from shapes.columns import Baffle, Column, Foot
from shapes.footprints import LEAST_SIDES, MOST_SIDES, Footprint, footprint_of_face
from shapes.lengths import in_both
from shapes.pieces import TOLERANCE
from studies.design.errors import wrong
from studies.design.quantities import Between, Depth, Diameter, SmallLength
from studies.design.tables import SIDES_OF, DesignTable, Shape, Words
from studies.design.workshop_tables import MaterialChoice, known_material

Joint = Literal["laid on", "let in"]
Sides = Annotated[int, Field(ge=LEAST_SIDES, le=MOST_SIDES)]
_WIDTHS = ("width", "diameter", "across_flats", "board_width")


class ColumnTable(DesignTable):
    """What the driver stands in: a tube, or boards glued edge to edge."""

    shape: Shape = Field(
        "round", description="Seen from above; what has sides counts as round, of equal area."
    )
    sides: Sides | None = Field(None, description="In place of shape, 4 to 12: so many boards.")
    width: Diameter | None = Field(
        None, description="Outside width; across the flats if not round."
    )
    diameter: Diameter | None = Field(None, description="Of a round column: the same as width.")
    across_flats: Diameter | None = Field(None, description="With sides: the same as width.")
    board_width: Diameter | None = Field(
        None, description="In its place: outside face of each board, edge to edge."
    )
    wall: Annotated[float, Between(0.5, 200)] | None = Field(
        None, description="Thickness of a tube's wall; left out, build.column_wall."
    )
    board_thickness: Annotated[float, Between(0.5, 200)] | None = Field(
        None, description="The same, of boards: as measured, not as sold."
    )
    height: Annotated[float, Between(50, 3000)] | None = Field(
        None, description="From the floor to the baffle's upper face."
    )
    board_length: Annotated[float, Between(20, 3000)] | None = Field(
        None, description="In its place: length of the boards between what is laid on."
    )
    bottom: Joint = Field(
        "laid on", description="The board that closes it below: walls stand on it, or it is let in."
    )
    stock: Words | None = Field(
        None, description='What its boards are cut from, as sold, such as "1 x 6 poplar".'
    )
    edge_radius: SmallLength = Field(
        0.0, description="Rounding of the upper outer edge, where no [baffle] lies on it."
    )

    @property
    def side_count(self) -> int:
        """Number of sides, 0 for a round column."""
        return SIDES_OF[self.shape] if self.sides is None else self.sides

    @property
    def footprint(self) -> Footprint:
        """Outline of its walls."""
        if self.board_width is not None:
            return footprint_of_face(self.board_width, self.side_count)
        given = next(size for key in _WIDTHS[:3] if (size := getattr(self, key)) is not None)
        return Footprint(given, self.side_count)

    @property
    def thickness(self) -> float | None:
        """Thickness of its walls, None if the table does not say."""
        return self.wall if self.board_thickness is None else self.board_thickness

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        if self.sides is not None and "shape" in self.model_fields_set:
            raise wrong("sides", "give sides or shape, one only")
        boards = [key for key in ("board_width", "board_thickness", "board_length", "across_flats")
                  if getattr(self, key) is not None]  # fmt: skip
        if boards and not self.side_count:
            raise wrong("sides", f"is missing: {boards[0]} belongs to boards, add sides = 6")
        if self.diameter is not None and self.side_count:
            raise wrong("diameter", "belongs to a round column: write across_flats or board_width")
        if self.wall is not None and self.board_thickness is not None:
            raise wrong("wall", "give wall or board_thickness, one only")
        return self

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        given = [key for key in _WIDTHS if getattr(self, key) is not None]
        if not given:
            raise wrong("width", "is missing: add it")
        if len(given) > 1:
            raise wrong(given[1], f"give {given[0]} or {given[1]}, one only")
        if self.height is None and self.board_length is None:
            raise wrong("height", "is missing: add it")
        if self.height is not None and self.board_length is not None:
            raise wrong("board_length", "give height or board_length, one only")
        return self


class BoardTable(DesignTable):
    """A board across the column: its outline."""

    shape: Literal["round", "as the column"] | None = Field(
        None, description="Left out, round if a diameter is given and else as the column."
    )
    diameter: Diameter | None = Field(None, description="Of a round one.")
    across_flats: Diameter | None = Field(None, description="Of one with the column's sides.")
    overhang: SmallLength | None = Field(
        None, description="In place of a size: how far it stands out past the column's flats."
    )
    set_back: SmallLength | None = Field(
        None, description="In place of a size: how far it stays inside them."
    )

    def footprint(self, column: Footprint) -> Footprint:
        """Outline of the board on this column."""
        is_round = self.shape == "round" or self.diameter is not None
        step = (self.overhang or 0.0) - (self.set_back or 0.0)
        width = self.diameter or self.across_flats or column.width + 2 * step
        return Footprint(width, 0 if is_round else column.sides)

    @model_validator(mode="after")
    def _one_outline(self) -> Self:
        sizes = ("diameter", "across_flats", "overhang", "set_back")
        given = [key for key in sizes if getattr(self, key) is not None]
        if len(given) > 1:
            raise wrong(given[1], f"give {given[0]} or {given[1]}, one only")
        if self.shape == "as the column" and self.diameter is not None:
            raise wrong("diameter", "belongs to a round one: write across_flats or overhang")
        if self.shape == "round" and self.across_flats is not None:
            raise wrong("across_flats", "a round one has no flats: write diameter")
        return self


class BaffleTable(BoardTable):
    """The board that closes the column above and carries the driver."""

    thickness: Depth | None = Field(None, description="Left out, as the column's walls.")
    material: MaterialChoice | None = Field(None, description="Left out, as the column.")
    edge_radius: SmallLength = Field(0.0, description="Rounding of its upper edge.")
    joint: Joint = Field(
        "laid on", description="On the ends of the walls, or let in between them, flush."
    )

    @model_validator(mode="after")
    def _fits_its_joint(self) -> Self:
        known_material("material", self.material)
        own = [key for key in ("shape", *BoardTable.model_fields, "edge_radius")
               if key in self.model_fields_set]  # fmt: skip
        if self.joint == "let in" and own:
            raise wrong(
                own[0],
                "a baffle that is let in takes its outline from the walls: leave this out"
                ' (column.edge_radius rounds the walls\' ends), or write joint = "laid on"',
            )
        return self

    def build(self, column: Footprint, wall: float) -> Baffle:
        """Return the baffle on a column with walls of this thickness."""
        let_in = self.joint == "let in"
        return Baffle(
            column.inset(wall) if let_in else self.footprint(column),
            self.thickness or wall,
            self.edge_radius,
            let_in,
        )


class FootTable(BoardTable):
    """The board under the column."""

    thickness: Depth = Field(description="Of the board.")
    material: MaterialChoice | None = Field(None, description="Left out, as the column.")

    @model_validator(mode="after")
    def _known(self) -> Self:
        known_material("material", self.material)
        return self

    def build(self, column: Footprint) -> Foot:
        """Return the foot of a column."""
        return Foot(self.footprint(column), self.thickness)


class PortTable(DesignTable):
    """A port of the column: an opening as deep as its tube, or as the wall."""

    diameter: Annotated[float, Between(5, 500)] | None = Field(None, description="Of a round one.")
    width: Annotated[float, Between(5, 1000)] | None = Field(
        None, description="Of a rectangular one, with height."
    )
    height: Annotated[float, Between(5, 1000)] | None = Field(
        None, description="Of a rectangular one, with width."
    )
    depth: Annotated[float, Between(1, 1000)] = Field(
        description="From its mouth outside to its end inside."
    )

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        sides = (self.width is None) + (self.height is None)
        if (self.diameter is None) == (sides == 2) or sides == 1:
            raise wrong("diameter", "give diameter, or width with height")
        return self

    def misfits(self, carcass: Carcass) -> Iterator[str]:
        """What the port finds no room for in a column, and the remedy."""
        sizes = (self.diameter, self.width, self.height)
        across = min(size for size in sizes if size is not None)
        face = carcass.inside.width if carcass.boards is None else carcass.boards.inside
        if across > face:
            yield (
                f"is {in_both(across)} wide, more than the {in_both(face)} that there are inside:"
                " make it narrower"
            )
        most = carcass.wall + carcass.inside.width - across
        if self.depth > most:
            yield (
                f"ends nearer to the wall opposite than it is wide ({in_both(across)}): make it at"
                f" most {in_both(most)} deep, or shorter and larger"
            )

    def build(self, wall: float) -> Port:
        """Return the port of a column with walls of this thickness."""
        if self.diameter is not None:
            area = math.pi / 4 * self.diameter**2
        else:
            assert self.width is not None and self.height is not None
            area = self.width * self.height
        return Port(area, self.depth, self.depth > wall + TOLERANCE)


def build_column(
    table: ColumnTable, baffle: BaffleTable | None, foot: FootTable | None, usual_wall: float
) -> Column:
    """Put the column together.

    Parameters
    ----------
    table : ColumnTable
    baffle : BaffleTable, optional
    foot : FootTable, optional
    usual_wall : float
        Of the walls where the table does not say, metres.
    """
    footprint, wall = table.footprint, table.thickness or usual_wall
    built = None if baffle is None else baffle.build(footprint, wall)
    stand = None if foot is None else foot.build(footprint)
    height = table.height
    if height is None:
        assert table.board_length is not None
        above = wall if built is None else 0.0 if built.let_in else built.thickness
        below = 0.0 if stand is None else stand.thickness
        if stand is None and table.bottom == "laid on":
            below = wall
        height = table.board_length + above + below
    told = baffle is not None or foot is not None or table.thickness is not None
    return Column(
        width=footprint.width,
        height=height,
        sides=footprint.sides,
        edge_radius=table.edge_radius,
        wall=wall if told else None,
        baffle=built,
        foot=stand,
        bottom_let_in=table.bottom == "let in",
    )
