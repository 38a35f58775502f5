"""The table of a design file that says how things are made: materials, kerf, walls, spigot.

Every default is common practice, no source.
"""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from shapes.making import MATERIALS, Making, Material, MaterialKind, Spigot
from studies.design.errors import wrong
from studies.design.quantities import Between, Depth, Diameter, Mass
from studies.design.tables import DesignTable, Words

_NAMES = ", ".join(MATERIALS)


class MaterialTable(DesignTable):
    """A material of one's own."""

    name: Words = Field(description="As the yard calls it.")
    density: Annotated[float, Field(ge=5, le=25_000, allow_inf_nan=False)] = Field(
        description="kg per cubic metre."
    )
    kind: MaterialKind = Field("wood", description="Tells which cautions belong to it.")


class SpigotTable(DesignTable):
    """Hole in the middle of the reflector's flat, for a dowel or a rod."""

    diameter: Diameter
    depth: Depth


MaterialChoice = str | MaterialTable


class BuildTable(DesignTable):
    """How it is made; nothing of it changes the sound."""

    kerf: Annotated[float, Between(0, 20)] = Field(
        0.0012, description="Width that the saw or the hot wire takes away; 1.2 mm if left out."
    )
    sanding: Annotated[float, Between(0, 20)] = Field(
        0.0005, description="Left on the kept piece to be sanded off; 0.5 mm if left out."
    )
    column_wall: Annotated[float, Between(0.5, 200)] = Field(
        0.012, description="Of the column, its baffle and its bottom; 12 mm if left out."
    )
    column_material: MaterialChoice = Field(
        "birch plywood", description=f"One of {_NAMES}; or {{ name, density, kind }}."
    )
    plate_material: MaterialChoice = Field("birch plywood", description="Of the top plate.")
    reflector_material: MaterialChoice = Field("EPS foam", description="Of ball, cone or curve.")
    post_material: MaterialChoice = Field("steel", description="Of the posts.")
    driver_mass: Mass | None = Field(
        None, description='Such as "1.2 kg"; left out, roughly guessed from the frame.'
    )
    foot_width: Annotated[float, Between(20, 3000)] | None = Field(
        None, description="Of the foot the column stands on; left out, the column itself."
    )
    reflector_wall: Annotated[float, Between(0.4, 200)] | None = Field(
        None, description="Hollow inside, with walls this thick; left out, solid."
    )
    spigot: SpigotTable | None = Field(None, description="Left out, no hole.")

    @model_validator(mode="after")
    def _known_materials(self) -> Self:
        for key in ("column", "plate", "reflector", "post"):
            named = getattr(self, f"{key}_material")
            if isinstance(named, str) and named not in MATERIALS:
                raise wrong(
                    f"{key}_material",
                    f'"{named}" is not known: choose {_NAMES},'
                    ' or write { name = "...", density = 650 }',
                )
        return self

    def making(self) -> Making:
        """Return it in metres and kilograms."""
        return Making(
            kerf=self.kerf,
            sanding=self.sanding,
            column_wall=self.column_wall,
            column_material=_material(self.column_material),
            plate_material=_material(self.plate_material),
            reflector_material=_material(self.reflector_material),
            post_material=_material(self.post_material),
            driver_mass=self.driver_mass,
            foot_width=self.foot_width,
            reflector_wall=self.reflector_wall,
            spigot=None if self.spigot is None else Spigot(self.spigot.diameter, self.spigot.depth),
        )


def _material(given: str | MaterialTable) -> Material:
    if isinstance(given, str):
        return MATERIALS[given]
    return Material(given.name, given.density, given.kind)
