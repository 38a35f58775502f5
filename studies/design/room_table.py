"""The table of a design file that says in which room it stands."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from dispersion.room import SURFACES
from shapes.lengths import across_room, parse_frequency
from studies.design.errors import wrong
from studies.design.quantities import Between
from studies.design.tables import DesignTable

PLAIN_WALLS = 0.1
"""Share of the energy that a surface takes where the file does not say: a plastered wall or a bare
wooden floor with little on it; common practice, no source."""
BY_OCTAVE = "a number, or one for each octave, like { 125 = 0.1, 1000 = 0.3 } (Hz)"


def _absorption(value: object) -> float | dict[float, float]:
    if isinstance(value, Mapping):
        octaves = {_octave(str(key)): _share(share) for key, share in value.items()}
        if not octaves or not all(20.0 <= octave <= 20_000.0 for octave in octaves):
            raise ValueError(f"give octaves that people hear, or one number: {BY_OCTAVE}")
        return octaves
    return _share(value)


def _octave(key: str) -> float:
    """Centre of an octave in Hz, from a key with or without a unit."""
    return float(key) if key.strip().replace(".", "", 1).isdigit() else parse_frequency(key)


def _share(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"must be {BY_OCTAVE}")
    if not (math.isfinite(value) and 0.0 <= value <= 1.0):
        raise ValueError(
            f"absorption {value:g} must lie from 0 (all comes back) to 1 (nothing does); published"
            " values above 1 count as 1"
        )
    return float(value)


Absorption = Annotated[
    float | dict[float, float],
    BeforeValidator(_absorption),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "minimum": 0, "maximum": 1},
                {"type": "object", "additionalProperties": {"type": "number"}},
            ],
            "examples": [0.1, {"125 Hz": 0.1, "1 kHz": 0.3}],
        }
    ),
]


class AbsorptionTable(DesignTable):
    """Share of the energy that each surface takes away, 0 to 1: a number, or one by octave."""

    floor: Absorption = Field(PLAIN_WALLS, description="Of the floor.")
    ceiling: Absorption = Field(PLAIN_WALLS, description="Of the ceiling.")
    walls: Absorption = Field(PLAIN_WALLS, description="Of every wall that is not named below.")
    corner_end_wall: Absorption | None = Field(
        None, description="Across the length, through the corner."
    )
    far_end_wall: Absorption | None = Field(None, description="Across the length, opposite.")
    corner_side_wall: Absorption | None = Field(
        None, description="Along the length, through the corner."
    )
    far_side_wall: Absorption | None = Field(None, description="Along the length, opposite.")

    def by_surface(self) -> dict[str, float | dict[float, float]]:
        """Absorption of every surface, by the names of `dispersion.room`."""
        given: dict[str, Any] = {name: getattr(self, name.replace(" ", "_")) for name in SURFACES}
        return {name: self.walls if one is None else one for name, one in given.items()}


Side = Annotated[float, Between(1000, 100_000)]
Along = Annotated[float, Between(0, 100_000)]


class RoomTable(DesignTable):
    """The room that the first bounces depend on; all of it can be left out.

    Floor and ceiling are always there. Walls are there once length, width and the column's place
    are known.
    """

    ceiling: Annotated[float, Between(1500, 20_000)] = Field(
        2.5, description="Height above the floor; 2.5 m if left out: common practice, no source."
    )
    length: Side | None = Field(None, description="From the corner along one side, wall to wall.")
    width: Side | None = Field(None, description="From the corner along the other side.")
    column: Annotated[tuple[Along, Along], Field(strict=False)] | None = Field(
        None, description="The column's axis from the corner: along the length, along the width."
    )
    near_wall: Annotated[float, Between(50, 10_000)] | None = Field(
        None,
        description="From the column's axis to a wall behind it, to tell what a wall does; left"
        " out, 100 mm of air behind the speaker.",
    )
    apart: Annotated[float, Between(300, 20_000)] | None = Field(
        None,
        description="Of a pair of columns, axis to axis: `roundcast seat` tells what differs off"
        " the middle seat, which is the first of the seats, as far from both.",
    )
    absorption: AbsorptionTable = AbsorptionTable()
    floor: bool = Field(
        False,
        description="Also solve the column standing on a rigid floor, exactly, and hold it against"
        " the floor's bounce.",
    )

    @model_validator(mode="after")
    def _walls_need_a_plan(self) -> Self:
        if (self.length is None) != (self.width is None):
            missing = "length" if self.length is None else "width"
            raise wrong(missing, "is missing: walls need both length and width")
        if self.column is not None and self.length is None:
            raise wrong("length", "is missing: with column, give length and width of the room")
        if self.length is not None and self.width is not None:
            self._check_column(self.length, self.width)
        return self

    def _check_column(self, length: float, width: float) -> None:
        if self.column is None:
            raise wrong(
                "column",
                "is missing: say where the column's axis is, from the corner along the length and"
                ' along the width, like column = ["1.2 m", "2 m"]',
            )
        if not (0.0 < self.column[0] < length and 0.0 < self.column[1] < width):
            raise wrong(
                "column",
                f"the column stands outside the room of {across_room(length)} x"
                f" {across_room(width)}: count from the corner, along the length first",
            )
