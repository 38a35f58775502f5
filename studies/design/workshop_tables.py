"""The tables of a design file about the workshop: how things are made, what measures them.

Every default is common practice, no source.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from shapes.making import MATERIALS, Making, Material, MaterialKind, Spigot
from studies.design.errors import wrong
from studies.design.quantities import Between, Depth, Diameter, Mass, Volume
from studies.design.tables import DesignTable, Words

_NAMES = ", ".join(MATERIALS)
USUAL_DISTANCE = {"meter": 0.5, "microphone": 1.0}
"""From the middle of the ring, m: near enough that the room adds little to a reading that is not
gated; common practice, no source."""
USUAL_READING_DB = {"meter": 0.5, "microphone": 0.2}
"""How well one reading repeats, standard deviation, dB: common practice, no source."""


class MaterialTable(DesignTable):
    """A material of one's own."""

    name: Words = Field(description="As the yard calls it.")
    density: Annotated[float, Field(ge=5, le=25_000, allow_inf_nan=False)] = Field(
        description="kg per cubic metre."
    )
    kind: MaterialKind = Field("wood", description="Tells which cautions belong to it.")


class SpigotTable(DesignTable):
    """Hole in the middle of the reflector's flat, for a dowel or a rod."""

    diameter: Diameter = Field(description="Of the hole.")
    depth: Depth = Field(description="From the flat.")


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
    driver_volume: Volume | None = Field(
        None, description='That the driver takes up inside, such as "0.9 l"; left out, guessed.'
    )
    brace_volume: Volume | None = Field(None, description="Of braces and the like inside.")
    foot_width: Annotated[float, Between(20, 3000)] | None = Field(
        None, description="Of the foot the column stands on; left out, the column itself."
    )
    reflector_wall: Annotated[float, Between(0.4, 200)] | None = Field(
        None, description="Hollow inside, with walls this thick; left out, solid."
    )
    spigot: SpigotTable | None = Field(None, description="Left out, no hole.")

    @model_validator(mode="after")
    def _known_materials(self) -> Self:
        for key in ("column_material", "plate_material", "reflector_material", "post_material"):
            known_material(key, getattr(self, key))
        return self

    def making(self, baffle: MaterialChoice | None, foot: MaterialChoice | None) -> Making:
        """Return it in metres and kilograms, with the materials of baffle and foot if named."""
        return Making(
            kerf=self.kerf,
            sanding=self.sanding,
            column_wall=self.column_wall,
            column_material=_material(self.column_material),
            plate_material=_material(self.plate_material),
            reflector_material=_material(self.reflector_material),
            post_material=_material(self.post_material),
            baffle_material=None if baffle is None else _material(baffle),
            foot_material=None if foot is None else _material(foot),
            driver_mass=self.driver_mass,
            driver_volume=self.driver_volume,
            brace_volume=self.brace_volume or 0.0,
            foot_width=self.foot_width,
            reflector_wall=self.reflector_wall,
            spigot=None if self.spigot is None else Spigot(self.spigot.diameter, self.spigot.depth),
        )


class MeasuringTable(DesignTable):
    """What there is to measure with, and where; the ceiling stands in ``[room]``."""

    instrument: Literal["meter", "microphone"] = Field(
        "meter",
        description="A level meter with band noise, or a microphone with gated sweeps.",
    )
    turntable: bool = Field(False, description="Whether the column stands on one.")
    distance: Annotated[float, Between(300, 5000)] | None = Field(
        None,
        description="From the middle of the ring to the meter; left out, 0.5 m for a meter and 1 m"
        " for a microphone.",
    )
    wall: Annotated[float, Between(600, 20_000)] = Field(
        1.5,
        description="From the column's axis to the nearest wall or large piece of furniture; 1.5 m"
        " if left out: common practice, no source.",
    )
    volume: Annotated[float, Field(ge=5.0, le=100_000.0)] = Field(
        40.0,
        description="Of the room, cubic metres; 40 if left out. Counts for a meter only.",
    )
    reverberation: Annotated[float, Field(ge=0.1, le=10.0)] = Field(
        0.5,
        description="Time in which sound in the room falls by 60 dB, seconds; 0.5 if left out, a"
        " furnished living room: common practice, no source. Counts for a meter only.",
    )
    reading_db: Annotated[float, Field(ge=0.05, le=5.0)] | None = Field(
        None,
        description="How well one reading repeats, standard deviation; left out, 0.5 dB for a"
        " meter and 0.2 dB for a microphone: common practice, no source.",
    )
    placing: Annotated[float, Between(1, 100)] = Field(
        0.01,
        description="How well the meter's place is known, standard deviation; 10 mm if left out:"
        " common practice, no source.",
    )

    temperature: Annotated[float, Field(ge=0.0, le=30.0)] | None = Field(
        None,
        description="Of the room while it is measured, degrees Celsius; left out, nobody knows, and"
        " readings in the treble tell less.",
    )

    @property
    def distance_from_ring(self) -> float:
        """From the middle of the ring to the meter, m."""
        return self.distance or USUAL_DISTANCE[self.instrument]

    @property
    def repeats_within_db(self) -> float:
        """How well one reading repeats, standard deviation, dB."""
        return self.reading_db or USUAL_READING_DB[self.instrument]

    @property
    def absorption_area(self) -> float:
        """Area that would take away all sound as the whole room does, m2: Sabine, 0.161 V / T."""
        return 0.161 * self.volume / self.reverberation

    @property
    def gated(self) -> bool:
        """Tell whether the first bounce can be cut off in time."""
        return self.instrument == "microphone"


def known_material(key: str, named: MaterialChoice | None) -> None:
    """Refuse the name of a material that nobody knows."""
    if isinstance(named, str) and named not in MATERIALS:
        raise wrong(
            key,
            f'"{named}" is not known: choose {_NAMES}, or write {{ name = "...", density = 650 }}',
        )


def _material(given: str | MaterialTable) -> Material:
    if isinstance(given, str):
        return MATERIALS[given]
    return Material(given.name, given.density, given.kind)
