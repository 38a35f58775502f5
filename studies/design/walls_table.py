"""The table of a design file that says what the surfaces take of the sound."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal, Self

from pydantic import Discriminator, Field, Tag, model_validator

from dispersion.absorbers import Above, AbsorptionByOctave, LimpMass, PorousLayer
from dispersion.walls import RIGID_WALLS, Absorber, ConstantAdmittance, Walls
from shapes.lengths import in_own
from shapes.parts import FeltRing
from studies.design.errors import wrong
from studies.design.quantities import Depth, Diameter
from studies.design.room_table import Absorption
from studies.design.tables import DesignTable

FELT_RESISTIVITY = 50e3
"""Of pressed wool felt, Pa s/m2: common practice, no source."""
SUGGESTED: dict[str, Absorber] = {
    "painted wood": ConstantAdmittance(0.001),
    "bare plywood": ConstantAdmittance(0.003),
    "sealed foam": ConstantAdmittance(0.0015),
    "bare foam": ConstantAdmittance(0.01),
    "cork": ConstantAdmittance(0.008),
    "carpet": PorousLayer(6e-3, 25e3),
    "felt 3 mm": PorousLayer(3e-3, FELT_RESISTIVITY),
    "felt 5 mm": PorousLayer(5e-3, FELT_RESISTIVITY),
    "felt 10 mm": PorousLayer(10e-3, FELT_RESISTIVITY),
}
"""What materials take, by name: common practice, no source; foam is cut polystyrene."""
PIECES = {
    "cone": ("cone", "whizzer"),
    "dust_cap": ("dust cap",),
    "tweeter": ("dome",),
    "baffle": ("baffle", "baffle edge", "baffle underside"),
    "reflector": ("reflector", "reflector base"),
    "plate": ("plate underside", "plate edge", "plate top"),
    "column": ("column side", "column top"),
}
"""Labels of the outline (`shapes.outlines`) that each key of the table covers."""
FELT_PIECES = {"felt_on_baffle": "baffle felt", "felt_under_plate": "plate felt"}
_NAMES = ", ".join(SUGGESTED)
_LAYERS = [name for name, absorber in SUGGESTED.items() if isinstance(absorber, PorousLayer)]

Resistivity = Annotated[float, Field(ge=1e3, le=1e6, allow_inf_nan=False)]
Admittance = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


class LayerTable(DesignTable):
    """A porous layer on a hard back."""

    thickness: Depth | None = Field(None, description="Of a porous layer on a hard back.")
    flow_resistivity: Resistivity | None = Field(
        None, description="Of the layer, Pa s/m2: felt some 50000. Up to as many Hz (Miki)."
    )

    def layer(self) -> PorousLayer | None:
        """Return the layer, None if the table gives none."""
        if self.thickness is None or self.flow_resistivity is None:
            return None
        return PorousLayer(self.thickness, self.flow_resistivity)


class SurfaceTable(LayerTable):
    """What a surface takes, in one of four ways."""

    absorption: Absorption | None = Field(
        None, description="From all sides, 0 to 1: a number, or one by octave; taken as resistive."
    )
    admittance: Admittance | None = Field(
        None, description="Over that of air, 0 (hard) to 1: 0.03 takes 11 per cent head on."
    )
    mass_per_area: Annotated[float, Field(ge=0.01, le=100)] | None = Field(
        None, description="kg/m2 of a limp skin that gives way; of the cone only."
    )
    loss_factor: Annotated[float, Field(ge=0, le=1)] | None = Field(
        None, description="Of that skin: 0.2, say, for paper."
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        pairs = (
            ("thickness", "flow_resistivity"),
            ("absorption",),
            ("admittance",),
            ("mass_per_area", "loss_factor"),
        )
        given = [pair for pair in pairs if any(getattr(self, key) is not None for key in pair)]
        if len(given) != 1:
            raise wrong(
                "admittance",
                "give one of thickness with flow_resistivity, absorption, admittance, or"
                " mass_per_area with loss_factor",
            )
        for key in given[0]:
            if getattr(self, key) is None:
                raise wrong(key, f"is missing: {' and '.join(given[0])} go together")
        return self

    def absorber(self) -> Absorber:
        """Return what it takes; AbsorberError where it is none."""
        if layer := self.layer():
            return layer
        if self.admittance is not None:
            return ConstantAdmittance(self.admittance)
        if self.mass_per_area is not None and self.loss_factor is not None:
            return LimpMass(self.mass_per_area, self.loss_factor)
        given = self.absorption
        octaves = given if isinstance(given, Mapping) else {1000.0: given or 0.0}
        return AbsorptionByOctave(tuple(sorted(octaves.items())))


class FeltTable(LayerTable):
    """A flat ring of felt."""

    material: str | None = Field(None, description=f"One of {', '.join(_LAYERS)}.")
    inner_diameter: Diameter | None = Field(
        None, description="Left out, from the driver's frame, or from the reflector's widest."
    )
    outer_diameter: Diameter | None = Field(
        None, description="Left out, to the edge of the flat it lies on."
    )
    let_in: bool = Field(
        False, description="In a rebate, its face flush with the board; else it stands out."
    )

    @model_validator(mode="after")
    def _one_material(self) -> Self:
        layer = (self.thickness, self.flow_resistivity)
        if (self.material is None) == (layer == (None, None)):
            raise wrong("material", "give material, or thickness with flow_resistivity, one only")
        if self.material is None and None in layer:
            raise wrong("thickness", "give thickness and flow_resistivity, they go together")
        if self.material is not None and self.material not in _LAYERS:
            raise wrong("material", f'"{self.material}" is no felt: choose {", ".join(_LAYERS)}')
        return self

    def absorber(self) -> PorousLayer:
        """Return the layer."""
        layer = SUGGESTED[self.material] if self.material is not None else self.layer()
        assert isinstance(layer, PorousLayer)
        return layer

    def ring(self) -> FeltRing:
        """Return the ring that lies on baffle or plate."""
        inner, outer = self.inner_diameter, self.outer_diameter
        return FeltRing(
            thickness=self.absorber().thickness,
            inner_radius=None if inner is None else inner / 2,
            outer_radius=None if outer is None else outer / 2,
            let_in=self.let_in,
        )


def _name_or_table(value: object) -> str:
    return "name" if isinstance(value, str) else "table"


Surface = Annotated[
    Annotated[str, Tag("name")] | Annotated[SurfaceTable, Tag("table")],
    Discriminator(_name_or_table),
]
_DESCRIPTION = f"One of {_NAMES}; or a table. Left out, hard."


class WallsTable(DesignTable):
    """What surfaces take of the sound; left out, they are hard with their boundary layers of air.

    The materials' values are common practice, no source.
    """

    losses: Literal["layers", "none"] = Field(
        "layers",
        description="The air's friction and heat at every wall, which no wall is without; none"
        " switches that off, and all of this table.",
    )
    cone: Surface | None = Field(
        None,
        description="Above driver.lets_go only: below, it moves as one. A name, or a table; also"
        " { mass_per_area = 0.5, loss_factor = 0.2 }.",
    )
    dust_cap: Surface | None = Field(None, description=_DESCRIPTION)
    tweeter: Surface | None = Field(None, description=f"Its dome. {_DESCRIPTION}")
    baffle: Surface | None = Field(None, description=f"With its edge. {_DESCRIPTION}")
    reflector: Surface | None = Field(None, description=_DESCRIPTION)
    plate: Surface | None = Field(None, description=f"All round. {_DESCRIPTION}")
    column: Surface | None = Field(None, description=f"Its sides. {_DESCRIPTION}")
    felt_on_baffle: FeltTable | None = Field(None, description="A ring, such as felt 5 mm.")
    felt_under_plate: FeltTable | None = Field(None, description="A ring, likewise.")

    @model_validator(mode="after")
    def _known_materials(self) -> Self:
        for key in PIECES:
            named = getattr(self, key)
            if isinstance(named, str) and named not in SUGGESTED:
                raise wrong(key, f'"{named}" is not known: choose {_NAMES}, or write a table')
            skin = isinstance(named, SurfaceTable) and named.mass_per_area is not None
            if skin and key != "cone":
                raise wrong(
                    key,
                    "mass_per_area is for the cone above lets_go: give an absorption or an"
                    " admittance",
                )
        return self

    def surfaces(self) -> Iterator[tuple[str, Absorber]]:
        """Yield every key that is given, with what the surface takes."""
        for key in PIECES:
            given = getattr(self, key)
            if given is not None:
                yield key, SUGGESTED[given] if isinstance(given, str) else given.absorber()
        for key in FELT_PIECES:
            if (felt := getattr(self, key)) is not None:
                yield key, felt.absorber()

    def build(self, lets_go_hz: float) -> Walls:
        """Return what the solver takes.

        Parameters
        ----------
        lets_go_hz : float
            From where the cone no longer moves as one, Hz; what it takes counts above only.
        """
        if self.losses == "none":
            return RIGID_WALLS
        absorbers: list[tuple[str, Absorber]] = []
        for key, absorber in self.surfaces():
            if key == "cone":
                absorber = Above(lets_go_hz, absorber)
            labels = PIECES.get(key) or (FELT_PIECES[key],)
            absorbers += [(label, absorber) for label in labels]
        return Walls(absorbers=tuple(absorbers))


def walls_in_words(walls: Walls) -> tuple[str, ...]:
    """Say what the surfaces of a result take, and where a value has no source."""
    if walls.rigid:
        return ("walls: hard, without any loss: peaks come out sharper than they will measure",)
    by_absorber: dict[Absorber, list[str]] = {}
    for label, absorber in walls.absorbers:
        by_absorber.setdefault(absorber, []).append(label)
    covered = [f"{', '.join(on)}: {_taken(absorber)}" for absorber, on in by_absorber.items()]
    layers = ["boundary layers of air on every hard wall"] if walls.layers else []
    return (f"walls: {'; '.join((*layers, *covered))}",)


def _taken(absorber: Absorber) -> str:
    if isinstance(absorber, Above):
        return f"{_taken(absorber.absorber)}, above {absorber.frequency:.0f} Hz"
    for name, suggested in SUGGESTED.items():
        if absorber == suggested:
            return f"{name} (suggested values: common practice, no source)"
    if isinstance(absorber, PorousLayer):
        return (
            f"porous layer {in_own(absorber.thickness)} thick,"
            f" {absorber.flow_resistivity:g} Pa s/m2 (Miki's model)"
        )
    if isinstance(absorber, LimpMass):
        return f"limp skin of {absorber.mass_per_area:g} kg/m2, loss {absorber.loss_factor:g}"
    if isinstance(absorber, AbsorptionByOctave):
        return "absorption by octave, taken as resistive"
    if isinstance(absorber, ConstantAdmittance):
        return f"admittance {absorber.beta.real:g}"
    return type(absorber).__name__
