"""The tables of a design file that say what is built, and the parts that are built of them.

Lengths are metres once read. Each description is shown by editors that use the exported JSON
Schema, and is all the reference that a reader of the file needs.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from dispersion.air import Air
from dispersion.driver_curve import DriverCurve
from dispersion.sources import Crossover, LettingGo, Way
from shapes.assembly import Driver, DustCap, Posts, TopPlate, Tweeter, Whizzer
from shapes.footprints import Footprint
from shapes.lengths import in_own
from studies.design.errors import wrong
from studies.design.quantities import (
    Area,
    Between,
    Decibels,
    Delay,
    Depth,
    Diameter,
    Frequency,
    MovingMass,
    SmallLength,
)

CONE_WAVE_SPEED = 400.0
"""m/s; over the cone's diameter it is about where a paper cone lets go: common practice, no
source."""

LEAST_MASS = 8.0 / 3.0 * 1.2
"""Of the air before a cone in a wall over its radius cubed, kg/m^3: 8/3 of the air's density
(Beranek & Mellow 2012, 4.19 [from memory])."""
Polarity = Literal["normal", "reversed"]
Shape = Literal["round", "square", "hexagonal"]
_ROUNDING = 1e-7
"""Lengths that differ by less are one, m."""
SIDES_OF: dict[str, int] = {"round": 0, "square": 4, "hexagonal": 6}

_UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ufffe\uffff]")


def _one_line(text: str) -> str:
    """Refuse what no page, picture or sheet can show: control characters, and nothing at all."""
    found = _UNPRINTABLE.search(text)
    if found:
        raise ValueError(
            f"holds the control character U+{ord(found[0]):04X}: write it in one line, without it"
        )
    if not text.strip():
        raise ValueError("is empty: write something")
    return text


Words = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_one_line)]
"""One line that people read: a title, a name."""


class DesignTable(BaseModel):
    """A table of the file: strict types, no unknown keys, frozen."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class DustCapTable(DesignTable):
    """Dome in the middle of the cone."""

    diameter: Diameter = Field(description="Where it is glued to the cone.")
    height: SmallLength = Field(description="Of the dome above its glued edge.")

    def build(self) -> DustCap:
        """Return the dome."""
        return DustCap(radius=self.diameter / 2, height=self.height)


class WhizzerTable(DesignTable):
    """Small second cone that stands up from the neck and moves with the cone."""

    diameter: Diameter = Field(description="At its upper rim.")
    height: Depth = Field(description="From the cone's neck up to its rim.")
    neck_diameter: Diameter = Field(description="Where it meets the cone.")
    dust_cap: DustCapTable | None = Field(None, description="Dome inside the whizzer.")

    @model_validator(mode="after")
    def _opens_upwards(self) -> Self:
        if self.neck_diameter >= self.diameter:
            raise wrong("neck_diameter", "must be smaller than the whizzer's diameter")
        if self.dust_cap and self.dust_cap.diameter > self.neck_diameter:
            raise wrong("dust_cap.diameter", "must not be larger than neck_diameter")
        return self

    def build(self) -> Whizzer:
        """Return the whizzer with the dome inside it, if there is one."""
        return Whizzer(
            radius=self.diameter / 2,
            height=self.height,
            neck_radius=self.neck_diameter / 2,
            cap=self.dust_cap.build() if self.dust_cap else None,
        )


class CrossoverTable(DesignTable):
    """Filter of one way: low pass on the driver, high pass on the tweeter."""

    kind: Literal["butterworth", "linkwitz-riley"] = Field(description="Family of the filter.")
    order: Annotated[int, Field(ge=1, le=8)] = Field(description="1 is 6 dB per octave.")
    frequency: Frequency = Field(description='Such as "3 kHz"; a bare number is in Hz.')

    @model_validator(mode="after")
    def _order_exists(self) -> Self:
        if self.kind == "linkwitz-riley" and self.order % 2:
            raise wrong("order", "a linkwitz-riley filter has an even order: 2, 4, 6 or 8")
        return self

    def build(self, side: Literal["low", "high"]) -> Crossover:
        """Return the filter as a low pass or a high pass."""
        return Crossover(self.kind, self.order, self.frequency, side)


class LetsGoTable(DesignTable):
    """A cone that moves as one piece only up to some frequency."""

    above: Frequency = Field(description="Up to here the whole cone radiates.")
    down_to: Diameter = Field(description="The radiating diameter never shrinks below this.")

    def build(self) -> LettingGo:
        """Return the cone decoupling: from which frequency, and to which radius at least."""
        return LettingGo(frequency=self.above, least_radius=self.down_to / 2)


class WayTable(DesignTable):
    """What the driver and the tweeter have in common."""

    crossover: CrossoverTable | None = Field(None, description="Filter of this way.")
    level_db: Decibels = Field(0.0, description="Level of this way, dB.")
    polarity: Polarity = Field("normal", description="Reversed: wired the other way round.")
    delay: Delay = Field(
        0.0,
        description="By which this way is held back, so that the ways add in step: `roundcast"
        ' spread` finds it. A bare number is in ms; also "0.12 ms" or "120 us".',
    )
    curve: str | None = Field(
        None,
        max_length=1000,
        description="File of a measured curve (Hz, dB, optional phase), beside this file.",
    )
    curve_zero_db: Annotated[float, Field(ge=-200, le=200)] | None = Field(
        None,
        description="Level in the curve that counts as 0 dB; left out, the driver's mean from"
        " 500 Hz to 2 kHz, for both ways.",
    )
    curve_beyond: Literal["refuse", "hold"] = Field(
        "refuse", description="Outside the curve: refuse, or hold its end values."
    )

    @property
    def sign(self) -> int:
        """Polarity as a factor: 1, or -1 if reversed."""
        return 1 if self.polarity == "normal" else -1


class DriverTable(WayTable):
    """The driver that faces up out of the baffle."""

    effective_diameter: Diameter | None = Field(
        None, description="Of the part that moves: cone plus about half the surround."
    )
    effective_area: Area | None = Field(None, description='In its place, such as "85 cm2".')
    frame_diameter: Diameter = Field(description="Outside of the frame.")
    cutout_diameter: Diameter | None = Field(None, description="Hole in the baffle.")
    cone_depth: SmallLength = Field(0.0, description="From rim to neck; 0 is a flat piston.")
    dust_cap: DustCapTable | None = Field(None, description="Dome in the cone.")
    whizzer: WhizzerTable | None = Field(None, description="In place of the dust cap.")
    proud: SmallLength = Field(0.0, description="Frame or gasket above the baffle.")
    recess: SmallLength = Field(0.0, description="The cone's rim below the baffle.")
    excursion: SmallLength = Field(0.0, description="Peak travel of the cone, one way.")
    moving_mass: MovingMass | None = Field(
        None,
        description="Published mass of all that moves, its air in a wall included (Mms), such as"
        ' "9 g": `roundcast seat` tells what the air under the reflector takes.',
    )
    sensitivity_db: Annotated[float, Field(ge=60, le=120)] | None = Field(
        None,
        description="Published level at 1 m for 1 W in a large baffle, dB: `roundcast seat` tells"
        " how much power the excursion takes, and how loud 1 W is there.",
    )
    lets_go: LetsGoTable | None = Field(None, description="Left out: a rigid piston.")
    known: str | None = Field(
        None,
        max_length=1000,
        description="File that `roundcast overlay --fit` wrote of this driver, beside this file.",
    )

    @property
    def effective_radius(self) -> float:
        """Radius of the circle that moves as much air as the cone, m: sqrt(area / pi)."""
        if self.effective_diameter is not None:
            return self.effective_diameter / 2
        assert self.effective_area is not None
        return math.sqrt(self.effective_area / math.pi)

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        if (self.effective_diameter is None) == (self.effective_area is None):
            raise wrong("effective_diameter", "give effective_diameter or effective_area, one only")
        if self.dust_cap and self.whizzer:
            raise wrong("whizzer", "give dust_cap or whizzer; a whizzer takes its own dust_cap")
        return self

    @model_validator(mode="after")
    def _fits_in_itself(self) -> Self:
        across = 2 * self.effective_radius
        if across > self.frame_diameter:
            key = "effective_diameter" if self.effective_diameter else "effective_area"
            raise wrong(
                key,
                "the moving part is larger than frame_diameter: give the effective diameter"
                " (cone plus half the surround), not the nominal size",
            )
        for key, part in (("dust_cap", self.dust_cap), ("whizzer", self.whizzer)):
            if part and part.diameter >= across:
                raise wrong(f"{key}.diameter", "must be smaller than the driver's moving part")
        if self.cutout_diameter and self.cutout_diameter > self.frame_diameter:
            raise wrong("cutout_diameter", "the frame falls through: it must cover the hole")
        for key, size, most in (
            ("cone_depth", self.cone_depth, across),
            ("excursion", self.excursion, across / 2),
            ("proud", self.proud, self.frame_diameter / 2),
        ):
            if size > most:
                raise wrong(
                    key,
                    f"{in_own(size)} cannot be: the moving part is {in_own(across)} across, the"
                    f" frame {in_own(self.frame_diameter)}; check the number and its unit",
                )
        least = LEAST_MASS * self.effective_radius**3
        if self.moving_mass is not None and self.moving_mass < least:
            raise wrong(
                "moving_mass",
                f"{1e3 * self.moving_mass:.2g} g is less than the air alone before such a cone,"
                f" {1e3 * least:.2g} g: give the published mass, air included",
            )
        if self.lets_go and self.lets_go.down_to > across:
            raise wrong("lets_go.down_to", "must not be larger than the driver's moving part")
        return self

    def build(self) -> Driver:
        """Return the driver with whatever stands in the middle of its cone."""
        centre = self.dust_cap or self.whizzer
        return Driver(
            effective_radius=self.effective_radius,
            frame_radius=self.frame_diameter / 2,
            cone_depth=self.cone_depth,
            centre=None if centre is None else centre.build(),
            proud=self.proud,
            recess=self.recess,
            excursion=self.excursion,
            cutout_radius=None if self.cutout_diameter is None else self.cutout_diameter / 2,
        )

    @property
    def lets_go_hz(self) -> float:
        """From where the cone no longer moves as one, Hz; guessed where the file does not say.

        `CONE_WAVE_SPEED` over the effective diameter: 4 kHz for a cone of 100 mm.
        """
        if self.lets_go is not None:
            return self.lets_go.above
        return CONE_WAVE_SPEED / (2.0 * self.effective_radius)

    def way(self, curve: DriverCurve | None) -> Way:
        """Return what drives the cone: low pass, level, polarity, delay, curve, decoupling."""
        return Way(
            name="driver",
            crossovers=() if self.crossover is None else (self.crossover.build("low"),),
            level_db=self.level_db,
            polarity=self.sign,
            delay=self.delay,
            curve=curve,
            lets_go=None if self.lets_go is None else self.lets_go.build(),
        )


class TweeterTable(WayTable):
    """Coaxial second way: a dome on a round pod that stands in the middle of the cone."""

    dome_diameter: Diameter = Field(description="Of the dome that moves.")
    dome_height: Depth = Field(description="Of the dome above its edge.")
    face_height: Annotated[float, Between(-500, 500)] = Field(
        description="Of the dome's edge above the baffle; negative below it."
    )
    housing_diameter: Diameter = Field(description="Outside of the pod.")

    @model_validator(mode="after")
    def _dome_on_pod(self) -> Self:
        if self.dome_diameter > self.housing_diameter:
            raise wrong("housing_diameter", "must not be smaller than dome_diameter")
        if self.dome_height > self.dome_diameter / 2:
            raise wrong("dome_height", "is more than a half ball: at most half of dome_diameter")
        return self

    def build(self) -> Tweeter:
        """Return the dome on its pod."""
        return Tweeter(
            dome_radius=self.dome_diameter / 2,
            dome_height=self.dome_height,
            face_height=self.face_height,
            housing_radius=self.housing_diameter / 2,
        )

    def way(self, curve: DriverCurve | None) -> Way:
        """Return what drives the dome: high pass, level, polarity, delay, measured curve."""
        return Way(
            name="tweeter",
            crossovers=() if self.crossover is None else (self.crossover.build("high"),),
            level_db=self.level_db,
            polarity=self.sign,
            delay=self.delay,
            curve=curve,
        )


class PlateTable(DesignTable):
    """Top plate from which the reflector hangs."""

    shape: Shape = Field(
        "round", description="Seen from above; one with sides counts as round, of equal area."
    )
    diameter: Diameter | None = Field(None, description="Of a round plate.")
    across_flats: Diameter | None = Field(None, description="Of a square or hexagonal one.")
    thickness: Depth = Field(description="Of the board.")
    edge_radius: SmallLength = Field(0.0, description="Rounding of both edges.")

    @property
    def footprint(self) -> Footprint:
        """Its outline from above."""
        width = self.diameter if self.across_flats is None else self.across_flats
        assert width is not None
        return Footprint(width, SIDES_OF[self.shape])

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        right, other = "diameter", "across_flats"
        if self.shape != "round":
            right, other = other, right
        if getattr(self, other) is not None:
            raise wrong(other, f"a {self.shape} plate is given by {right}: write that")
        if getattr(self, right) is None:
            raise wrong(right, "is missing: add it")
        return self

    def build(self) -> TopPlate:
        """Return the plate."""
        return TopPlate(
            self.footprint.radius, self.thickness, self.edge_radius, self.footprint.sides
        )


class PostsTable(DesignTable):
    """Posts between baffle and top plate, evenly spread on a circle."""

    count: Annotated[int, Field(ge=1, le=24)] = Field(description="How many, evenly spread.")
    diameter: Annotated[float, Between(0.5, 200)] = Field(description="Of one post.")
    circle_diameter: Diameter = Field(description="Of the circle through the posts' middles.")
    socket_plate: SmallLength = Field(0.0, description="How deep they enter the plate.")
    socket_baffle: SmallLength = Field(0.0, description="How deep they enter the baffle.")
    longest: Depth | None = Field(
        None,
        description="Longest post that the rods at hand give, sockets included: no plate gap that"
        " needs a longer one is tried. Left out, any length can be had.",
    )

    @property
    def widest_gap(self) -> float:
        """Largest plate gap for which the rods at hand are long enough, m; infinite if any is."""
        if self.longest is None:
            return math.inf
        return self.longest - self.socket_plate - self.socket_baffle + _ROUNDING

    def build(self) -> Posts:
        """Return the posts."""
        return Posts(
            count=self.count,
            radius=self.diameter / 2,
            circle_radius=self.circle_diameter / 2,
            socket_plate=self.socket_plate,
            socket_baffle=self.socket_baffle,
        )


class AirTable(DesignTable):
    """Air in the room."""

    temperature: Annotated[float, Field(allow_inf_nan=False)] = Field(
        20.0, description="Degrees Celsius."
    )
    humidity: Annotated[float, Field(ge=1, le=100)] = Field(
        50.0, description="Relative humidity, per cent; ISO 9613-1 knows no drier air."
    )

    def build(self) -> Air:
        """Return the air; AirError where its formulas do not hold."""
        return Air(temperature_c=self.temperature, humidity_percent=self.humidity)
