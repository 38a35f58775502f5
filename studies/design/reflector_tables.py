"""The reflector table of a design file, one model for each kind."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from shapes.lengths import in_own
from shapes.reflectors import Reflector, ball_cap, cone, conic_section, flared, turned
from studies.design.errors import wrong
from studies.design.quantities import (
    LENGTH_SCHEMA,
    Between,
    BetweenDegrees,
    Depth,
    Diameter,
    SmallLength,
)
from studies.design.tables import DesignTable


def _as_list(value: object) -> object:
    return value if isinstance(value, list | tuple) else (value,)


Measured = Annotated[
    tuple[Diameter, ...],
    Field(strict=False, min_length=1, max_length=100),
    BeforeValidator(_as_list),
    WithJsonSchema({"anyOf": [LENGTH_SCHEMA, {"type": "array", "items": LENGTH_SCHEMA}]}),
]
PointPair = Annotated[
    tuple[Annotated[float, Between(0, 2000)], Annotated[float, Between(-1000, 1000)]],
    Field(strict=False),
]
Points = Annotated[tuple[PointPair, ...], Field(strict=False, min_length=2, max_length=2000)]


class BallTable(DesignTable):
    """Cap cut from a ball, flat side up, hung with its apex down."""

    kind: Literal["ball"]
    ball_diameter: Measured = Field(
        description="As measured; several measured diameters in a list are averaged."
    )
    keep: Depth | None = Field(None, description="From apex to flat of the piece that is kept.")
    cut_off: Annotated[float, Between(0, 2000)] | None = Field(
        None, description="In its place: height of the piece that is cut off."
    )

    @property
    def diameter(self) -> float:
        """Mean of the measured ball diameters, m."""
        return sum(self.ball_diameter) / len(self.ball_diameter)

    @property
    def spread(self) -> float:
        """Largest less smallest measured ball diameter, m; 0 for a single one."""
        return max(self.ball_diameter) - min(self.ball_diameter)

    @property
    def kept(self) -> float:
        """Height of the piece that is kept, m."""
        if self.keep is not None:
            return self.keep
        assert self.cut_off is not None
        return self.diameter - self.cut_off

    @model_validator(mode="after")
    def _cut_is_on_the_ball(self) -> Self:
        if (self.keep is None) == (self.cut_off is None):
            raise wrong("keep", "give keep (apex to flat) or cut_off, one only")
        if self.spread > 0.1 * self.diameter:
            raise wrong(
                "ball_diameter",
                f"the measured diameters differ by {in_own(self.spread)}: that is no ball;"
                " measure again, or correct the unit of one of them",
            )
        whole = f"larger than the ball ({in_own(self.diameter)})"
        if self.keep is not None and self.keep > self.diameter:
            raise wrong("keep", f"{in_own(self.keep)} is {whole}: keep less, or name a larger ball")
        if self.cut_off is not None and self.cut_off >= self.diameter:
            raise wrong(
                "cut_off", f"{in_own(self.cut_off)} leaves nothing of the ball: cut off less"
            )
        return self

    def build(self) -> Reflector:
        """Reflector of these dimensions."""
        return ball_cap(self.diameter, self.kept)


class ConeTable(DesignTable):
    """Straight cone, point down."""

    kind: Literal["cone"]
    base_diameter: Diameter = Field(description="Of the flat side.")
    half_angle: Annotated[float, BetweenDegrees(5, 85)] | None = Field(
        None, description="From the axis to the side, degrees: half of the included angle."
    )
    height: Depth | None = Field(None, description="In its place: from tip to flat side.")
    tip_radius: SmallLength = Field(0.0, description="Rounding of the tip.")

    @model_validator(mode="after")
    def _one_slope(self) -> Self:
        if (self.half_angle is None) == (self.height is None):
            raise wrong("half_angle", "give half_angle or height, one only")
        return self

    def build(self) -> Reflector:
        """Reflector of these dimensions."""
        return cone(self.base_diameter / 2, self.half_angle, self.height, self.tip_radius)


class FlaredTable(DesignTable):
    """Hollow flare, steep at the tip and flatter outwards: one circular arc."""

    kind: Literal["flared"]
    base_diameter: Diameter = Field(description="Of the flat side.")
    height: Depth = Field(description="From tip to flat side.")
    tip_slope: Annotated[float, BetweenDegrees(0, 90)] | None = Field(
        None, description="Above horizontal at the tip, degrees."
    )
    rim_slope: Annotated[float, BetweenDegrees(0, 90)] | None = Field(
        None, description="In its place, at the rim; with neither, the rim runs out level."
    )

    def build(self) -> Reflector:
        """Reflector of these dimensions."""
        return flared(self.base_diameter / 2, self.height, self.tip_slope, self.rim_slope)


class ConicTable(DesignTable):
    """Ellipse, parabola or hyperbola with one focus where the sound seems to come from."""

    kind: Literal["ellipse", "parabola", "hyperbola"]
    base_diameter: Diameter = Field(description="Of the flat side.")
    height: Depth = Field(description="From tip to flat side.")
    source_distance: Depth = Field(
        description="From the tip down to the point from which the sound seems to come."
    )
    focus_radius: Annotated[float, Between(-2000, 20_000)] | None = Field(
        None,
        description="Of the second focus, from the axis: needed for an ellipse, on the axis if"
        " left out for a hyperbola, none for a parabola.",
    )

    @model_validator(mode="after")
    def _second_focus(self) -> Self:
        if self.kind == "ellipse" and self.focus_radius is None:
            raise wrong("focus_radius", "is missing: an ellipse needs the radius of its focus ring")
        if self.kind == "parabola" and self.focus_radius is not None:
            raise wrong("focus_radius", "a parabola has no second focus: leave this key out")
        return self

    def build(self) -> Reflector:
        """Reflector of these dimensions."""
        return conic_section(
            self.kind, self.base_diameter / 2, self.height, self.source_distance, self.focus_radius
        )


class TurnedTable(DesignTable):
    """Profile of the builder's own, for the lathe or the printer."""

    kind: Literal["turned"]
    points: Points = Field(
        description="[distance from the axis, height] from the tip to the rim, heights counted"
        " upwards as mounted from any level."
    )
    smooth: bool = Field(True, description="A smooth curve, or straight from point to point.")

    def build(self) -> Reflector:
        """Reflector of these dimensions."""
        return turned(self.points, smooth=self.smooth)


class NoReflectorTable(DesignTable):
    """Nothing hangs over the driver but the top plate, if there is one."""

    kind: Literal["none"]

    def build(self) -> None:
        """No reflector."""
        return


ReflectorTable = Annotated[
    BallTable | ConeTable | FlaredTable | ConicTable | TurnedTable | NoReflectorTable,
    Field(discriminator="kind"),
]

CHOOSABLE = {"ball": ("ball diameter",), "cone": ("half angle", "base diameter")}
"""By kind: sizes that an entry of a contest chooses unless it holds one of them, or all."""
