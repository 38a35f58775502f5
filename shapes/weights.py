"""What it weighs, and how far it may lean before it tips (kilograms, metres above the floor)."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shapes.assembly import Assembly
from shapes.carcass import Carcass, carcass_of
from shapes.making import Making, Material
from shapes.meridian import Line, Meridian
from shapes.parts import Posts
from shapes.reflector import Reflector
from shapes.solids import reflector_solid

STEADY = math.radians(12.0)
"""Least tipping angle of something that stands safely: common practice, no source."""
DRIVER_KG_PER_M2 = 75.0
"""Rough mass of a driver over the square of its frame's diameter: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class PartMass:
    """All parts of one kind.

    Attributes
    ----------
    name, material : str
    count : int
    volume : float
        Of all of them, m^3; nan where only the mass is known.
    mass : float
        Of all of them, kg.
    centre_z : float
        Height of their common centre of gravity above the floor, m.
    """

    name: str
    material: str
    count: int
    volume: float
    mass: float
    centre_z: float


@dataclass(frozen=True)
class Stance:
    """How the whole stands.

    Attributes
    ----------
    mass : float
        kg.
    centre_of_gravity : float
        Above the floor, m.
    half_base : float
        From the axis to the edge over which it tips first, m.
    """

    mass: float
    centre_of_gravity: float
    half_base: float

    @property
    def tipping_angle(self) -> float:
        """Lean at which it falls, atan(half base / height of the centre of gravity), rad."""
        return math.atan2(self.half_base, self.centre_of_gravity)

    @property
    def steady_width(self) -> float:
        """Width of a foot, its own weight aside, on which it may lean `STEADY`, m."""
        return 2.0 * self.centre_of_gravity * math.tan(STEADY)

    @property
    def steady(self) -> bool:
        """Whether it may lean `STEADY` or more."""
        return self.tipping_angle >= STEADY


def part_masses(assembly: Assembly, making: Making) -> tuple[PartMass, ...]:
    """List what every part weighs.

    The column is a box of walls with a baffle (its opening taken out) and a bottom, all of
    `making.column_wall` where nothing else is said. Stuffing, braces, cables and an amplifier are
    not in it.

    Raises
    ------
    MakingError
        If the column's walls leave no room inside.
    SolidError
        If the reflector's wall or spigot hole cannot be made.
    """
    parts = [*_column_parts(assembly, making), _driver_part(assembly, making)]
    if assembly.reflector is not None:
        parts.append(_reflector_part(assembly.reflector, assembly, making))
    if assembly.plate is not None:
        plate = assembly.bare_plate
        parts.append(_part("top plate", making.plate_material, plate, assembly.column.height))
    if assembly.posts is not None:
        parts.append(_post_part(assembly.posts, assembly, making))
    return tuple(parts)


def stance(parts: Sequence[PartMass], assembly: Assembly, making: Making) -> Stance:
    """Put the masses of `part_masses` together: total, centre of gravity, half of the base."""
    mass = sum(part.mass for part in parts)
    centre = sum(part.mass * part.centre_z for part in parts) / mass
    return Stance(mass, centre, 0.5 * (making.foot_width or assembly.column.base.width))


def _column_parts(assembly: Assembly, making: Making) -> list[PartMass]:
    carcass = carcass_of(assembly.column, making.column_wall)
    return [
        PartMass(
            name=name,
            material=material.name,
            count=1,
            volume=volume,
            mass=volume * material.density,
            centre_z=z,
        )
        for name, material, volume, z in _boards(carcass, assembly, making)
    ]


def _boards(
    carcass: Carcass, assembly: Assembly, making: Making
) -> Iterator[tuple[str, Material, float, float]]:
    """Name, material, volume and height of the centre of every part of the column."""
    walls = (carcass.outside.area - carcass.inside.area) * carcass.wall_length
    middle = carcass.floor_of_walls + 0.5 * carcass.wall_length
    yield "column walls", making.column_material, walls, middle
    driver, thick = assembly.driver, carcass.baffle_thickness
    opening = math.pi * (driver.cutout_radius or driver.effective_radius) ** 2
    left = max(carcass.baffle.area - opening, 0.0) * thick
    material = making.baffle_material or making.column_material
    yield "baffle", material, left, carcass.height - 0.5 * thick
    if not carcass.bottom_is_foot:
        volume = carcass.bottom.area * carcass.bottom_thickness
        above = carcass.floor_of_walls if carcass.bottom_let_in else 0.0
        middle = above + 0.5 * carcass.bottom_thickness
        yield "column bottom", making.column_material, volume, middle
    if carcass.foot is not None:
        thick = carcass.foot.thickness
        volume = carcass.foot.footprint.area * thick
        yield "foot", making.foot_material or making.column_material, volume, 0.5 * thick


def _driver_part(assembly: Assembly, making: Making) -> PartMass:
    frame = assembly.driver.frame_radius
    height = assembly.column.height - 0.5 * frame  # most of it is the magnet, behind the cone
    if making.driver_mass is not None:
        return PartMass(
            name="driver",
            material="",
            count=1,
            volume=math.nan,
            mass=making.driver_mass,
            centre_z=height,
        )
    guess = DRIVER_KG_PER_M2 * (2 * frame) ** 2
    return PartMass(
        name="driver (rough guess from its frame)",
        material="",
        count=1,
        volume=math.nan,
        mass=guess,
        centre_z=height,
    )


def _reflector_part(reflector: Reflector, assembly: Assembly, making: Making) -> PartMass:
    material = making.reflector_material
    base = assembly.column.height + assembly.plate_gap
    if making.reflector_wall is None and making.spigot is None:
        flat = Line(reflector.profile.end, (0.0, reflector.profile.end[1]), "reflector base")
        return _part("reflector", material, Meridian((*reflector.profile.pieces, flat)), base)
    made = reflector_solid(reflector, wall=making.reflector_wall, spigot=making.spigot)
    volume, depth = float(made.volume), float(made.center_mass[2])  # it stands on its flat
    return PartMass(
        name="reflector",
        material=material.name,
        count=1,
        volume=volume,
        mass=volume * material.density,
        centre_z=base - depth,
    )


def _post_part(posts: Posts, assembly: Assembly, making: Making) -> PartMass:
    material = making.post_material
    volume = posts.count * math.pi * posts.radius**2 * assembly.post_length
    middle = 0.5 * assembly.post_length - posts.socket_baffle + assembly.column.height
    mass = volume * material.density
    return PartMass(
        name="posts",
        material=material.name,
        count=posts.count,
        volume=volume,
        mass=mass,
        centre_z=middle,
    )


def _part(name: str, material: Material, body: Meridian, lift: float) -> PartMass:
    mass = body.volume * material.density
    return PartMass(
        name=name,
        material=material.name,
        count=1,
        volume=body.volume,
        mass=mass,
        centre_z=body.centroid_z + lift,
    )
