"""How it is made, apart from its form: materials, kerf, walls, the spigot hole (metres, kg/m^3)."""

import math
from dataclasses import dataclass
from typing import Literal

MaterialKind = Literal["wood", "foam", "plastic", "metal", "stone"]


class MakingError(ValueError):
    """A value that nobody can make; the message says what to change."""


@dataclass(frozen=True)
class Material:
    """What a part is made of.

    Parameters
    ----------
    name : str
        As in the trade.
    density : float
        kg/m^3.
    kind : {"wood", "foam", "plastic", "metal", "stone"}
        Decides which cautions belong to it.
    """

    name: str
    density: float
    kind: MaterialKind

    def __post_init__(self) -> None:
        """Refuse what weighs nothing."""
        if not (math.isfinite(self.density) and self.density > 0):
            raise MakingError(f"{self.name}: the density must be more than zero.")


# Round values from memory of handbook tables and data sheets; wood varies by a fifth either way.
_KNOWN = (
    Material("birch plywood", 680.0, "wood"),
    Material("MDF", 750.0, "wood"),
    Material("chipboard", 650.0, "wood"),
    Material("beech", 720.0, "wood"),
    Material("oak", 700.0, "wood"),
    Material("pine", 500.0, "wood"),
    Material("cardboard", 700.0, "wood"),
    Material("cork", 200.0, "wood"),
    Material("EPS foam", 20.0, "foam"),
    Material("XPS foam", 33.0, "foam"),
    Material("PVC", 1400.0, "plastic"),
    Material("PLA", 1240.0, "plastic"),
    Material("ABS", 1040.0, "plastic"),
    Material("acrylic", 1180.0, "plastic"),
    Material("steel", 7850.0, "metal"),
    Material("aluminium", 2700.0, "metal"),
    Material("brass", 8500.0, "metal"),
    Material("concrete", 2300.0, "stone"),
    Material("plaster", 1000.0, "stone"),
)
MATERIALS = {material.name: material for material in _KNOWN}
"""Materials by the names that a design file may use."""


@dataclass(frozen=True)
class Spigot:
    """Round hole in the middle of the reflector's flat."""

    diameter: float
    depth: float

    def __post_init__(self) -> None:
        """Refuse what is no hole."""
        for name, size in (("diameter", self.diameter), ("depth", self.depth)):
            if not (math.isfinite(size) and size > 0):
                raise MakingError(f"spigot: the {name} must be more than zero.")


@dataclass(frozen=True, kw_only=True)
class Making:
    """How the parts are made.

    Parameters
    ----------
    kerf, sanding : float
        Width that the saw takes; what is left on for sanding.
    column_wall : float
        Thickness of the column's walls, of its baffle and of its bottom.
    column_material, plate_material, reflector_material, post_material : Material
    baffle_material, foot_material : Material, optional
        Left out, as the column.
    driver_mass : float, optional
        kg; left out, estimated from the frame.
    driver_volume : float, optional
        That it takes up inside, m^3; left out, estimated from the frame.
    brace_volume : float
        Of braces and the like, m^3.
    foot_width : float, optional
        Of the foot that the column stands on; left out, the column itself.
    reflector_wall : float, optional
        Left out, the reflector is solid.
    spigot : Spigot, optional
        Left out, there is no hole.
    """

    kerf: float = 0.0012
    sanding: float = 0.0005
    column_wall: float = 0.012
    column_material: Material = MATERIALS["birch plywood"]
    plate_material: Material = MATERIALS["birch plywood"]
    reflector_material: Material = MATERIALS["EPS foam"]
    post_material: Material = MATERIALS["steel"]
    baffle_material: Material | None = None
    foot_material: Material | None = None
    driver_mass: float | None = None
    driver_volume: float | None = None
    brace_volume: float = 0.0
    foot_width: float | None = None
    reflector_wall: float | None = None
    spigot: Spigot | None = None
