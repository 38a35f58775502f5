"""The tables of a design file that say what is asked: ears, target, candidates."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import Discriminator, Field, Tag, model_validator

from shapes.lengths import INCH
from studies.design.errors import wrong
from studies.design.quantities import (
    Between,
    BetweenDegrees,
    Depth,
    Diameter,
    Frequency,
    SmallLength,
    Weight,
)
from studies.design.reflector_tables import ReflectorTable
from studies.design.tables import DesignTable, Words

MOST_STEPS = 1000
MOST_BALLS = 100
MOST_CANDIDATES = 10_000
"""Of one file: of each the study keeps 0.1 MB."""
LONGEST_NAME = 1000
_ROUNDING = 9  # decimals of a metre kept in a stepped length: a millionth of a millimetre

Degrees = Annotated[float, Field(ge=-90, le=90)]
HalfAngle = Annotated[float, BetweenDegrees(5, 85)]
Allowance = Annotated[float, Between(0, 50)]
SmallAngle = Annotated[float, BetweenDegrees(0, 10)]
Azimuth = Annotated[float, BetweenDegrees(0, 360)]


class SeatTable(DesignTable):
    """Where somebody listens."""

    name: Words = Field(description="By which reports call it.")
    ear_height: Annotated[float, Between(100, 5000)] = Field(description="Above the floor.")
    distance: Annotated[float, Between(300, 30_000)] = Field(
        description="From the speaker's axis, level."
    )
    direction: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None,
        description="From the column, degrees seen from above: 0 along the room's length, away from"
        " where its corner is; 90 along its width. Left out: towards the room's middle.",
    )


class TargetTable(DesignTable):
    """What counts as good; the weights say what one decibel of each term costs.

    The parts of the score are coverage (rms of the level over the window's directions, dB),
    steadiness (rms of window level less sound power about its own straight slope, dB), residue
    (what is left of the window level after an equaliser of one octave's width, peaks counted
    double, dB) and boost (what that equaliser must lift in the treble, dB), all from third octaves
    that slide along the frequency. The default weights, `judged_from` and `leak_limit` are a
    judgement: common practice, no source.
    """

    window: Annotated[tuple[Degrees, Degrees], Field(strict=False)] | None = Field(
        None,
        description="Lowest and highest elevation that counts, degrees seen from the ring;"
        " left out, it follows from the seats.",
    )
    band: Annotated[tuple[Frequency, Frequency], Field(strict=False)] = Field(
        (100.0, 16_000.0), description="Lowest and highest third-octave band that counts."
    )
    judged_from: Frequency = Field(
        300.0,
        description="Lowest centre of a band that counts for the score; below it stands the"
        " column's own step, which any equaliser mends.",
    )
    coverage: Weight = Field(2.0, description="Weight of level that differs across the window.")
    steadiness: Weight = Field(
        1.0, description="Weight of what the room hears otherwise than the window."
    )
    residue: Weight = Field(0.5, description="Weight of what no broad equaliser mends.")
    boost: Weight = Field(0.1, description="Weight of what the treble must be lifted.")
    leak_limit: Annotated[float, Field(gt=0, le=1)] = Field(
        0.5, description="Largest share of the sound power above the window, 0 to 1."
    )
    wanted_tilt: Annotated[float, Field(ge=-12, le=12)] = Field(
        0.0, description="dB per octave; a broad treble loss can be equalised."
    )
    near_best_db: Annotated[float, Field(ge=0, le=6)] = Field(
        0.3, description="Candidates within this score of the best count as equally good."
    )
    posts: Literal["round", "solved"] = Field(
        "round",
        description="round leaves them out, and spread and meter estimate them; solved counts them"
        " exactly wherever azimuth matters, at ten to twenty times the cost.",
    )

    @model_validator(mode="after")
    def _right_way_up(self) -> Self:
        if self.window and self.window[0] >= self.window[1]:
            low, high = self.window
            raise wrong(
                "window",
                f"[{low:g}, {high:g}] is upside down or empty: write the lower angle first",
            )
        if self.band[0] >= self.band[1]:
            raise wrong("band", "is upside down or empty: write the lower frequency first")
        if not any((self.coverage, self.steadiness, self.residue, self.boost)):
            raise wrong("coverage", "every weight is zero, so nothing can be best: raise one")
        return self


class StepTable(DesignTable):
    """Sizes from one end to the other in equal steps, both ends included."""

    first: Depth = Field(alias="from", description="The smallest size.")
    last: Depth = Field(alias="to", description="The largest size.")
    step: Annotated[float, Between(0.01, 1000)] = Field(description="From one to the next.")

    @model_validator(mode="after")
    def _holds_something(self) -> Self:
        if self.first > self.last:
            raise wrong("from", "is larger than to, so no candidate is left: swap them")
        if (self.last - self.first) / self.step >= MOST_STEPS:
            raise wrong("step", f"makes more than {MOST_STEPS} candidates: write a larger step")
        return self

    def sizes(self) -> tuple[float, ...]:
        """Every size, m, smallest first."""
        count = int((self.last - self.first) / self.step + 1e-6) + 1
        return tuple(round(self.first + i * self.step, _ROUNDING) for i in range(count))


def _list_or_steps(value: object) -> str:
    return "list" if isinstance(value, list | tuple) else "steps"


SizeList = Annotated[tuple[Depth, ...], Field(strict=False, min_length=1, max_length=MOST_STEPS)]
Sizes = Annotated[
    Annotated[SizeList, Tag("list")] | Annotated[StepTable, Tag("steps")],
    Discriminator(_list_or_steps),
]


class TrimTable(DesignTable):
    """How much of the ball to keep: what to try."""

    keep: Sizes = Field(description="Heights to try: { from, to, step } or a list.")
    balls_on_sale: (
        Annotated[tuple[Diameter, ...], Field(strict=False, min_length=1, max_length=MOST_BALLS)]
        | None
    ) = Field(None, description="Ball diameters to try; left out, only the reflector's ball.")
    hold: Literal["nothing", "plate gap", "tip clearance"] | None = Field(
        None,
        description="What stays as it is while the cap changes: nothing where the plate can be"
        " moved, so that every height has its own gap out of [gap]. Left out, nothing if there is"
        " a [gap], else the plate gap.",
    )

    @model_validator(mode="after")
    def _few_enough(self) -> Self:
        count = len(sizes_of(self.keep)) * len(self.balls_on_sale or (0.0,))
        if count > MOST_CANDIDATES:
            raise wrong(
                "keep",
                f"makes {count} candidates with balls_on_sale, {MOST_CANDIDATES} at most: take"
                " larger steps, or ask about some of the balls at a time",
            )
        return self


class GapTable(StepTable):
    """Plate gaps to try."""


class AngleStepTable(StepTable):
    """Angles from one end to the other in equal steps, both ends included."""

    first: HalfAngle = Field(alias="from", description="The smallest angle, degrees.")
    last: HalfAngle = Field(alias="to", description="The largest angle, degrees.")
    step: Annotated[float, BetweenDegrees(0.1, 45)] = Field(description="From one to the next.")


AngleList = Annotated[
    tuple[HalfAngle, ...], Field(strict=False, min_length=1, max_length=MOST_STEPS)
]
Angles = Annotated[
    Annotated[AngleList, Tag("list")] | Annotated[AngleStepTable, Tag("steps")],
    Discriminator(_list_or_steps),
]


class ExploreTable(DesignTable):
    """What to try on the explorer's map: a size of the reflector, and the plate gap.

    What is left out comes from ``[trim]`` and ``[gap]``, or is a spread round the design as
    written.
    """

    keep: Sizes | None = Field(None, description="Of a ball: { from, to, step } or a list.")
    half_angle: Angles | None = Field(None, description="Of a cone, degrees, likewise.")
    height: Sizes | None = Field(
        None, description="Of a flare, ellipse, parabola or hyperbola, likewise."
    )
    plate_gap: Sizes | None = Field(None, description="Plate gaps to try, likewise.")


class AskewTable(DesignTable):
    """How reflector and plate hang as they were built, both to the same side."""

    shift: Allowance = Field(0.0, description="Off the axis, measured under the plate.")
    tilt: SmallAngle = Field(0.0, description="Degrees, about the middle of the plate's underside.")
    towards: Azimuth = Field(
        0.0, description="That side: degrees from the first post, anticlockwise seen from above."
    )


class ToleranceTable(DesignTable):
    """How far each size may be off, either way; all left out: common practice, no source.

    Lengths that are left out are 1 mm, in a design in inches 1/32 in.
    """

    keep: Allowance = Field(1e-3, description="Of a ball: from apex to flat.")
    ball_diameter: Allowance = Field(1e-3, description="Of the ball, as much of it kept.")
    base_diameter: Allowance = Field(1e-3, description="Of the flat of any other reflector.")
    height: Allowance = Field(1e-3, description="Of any other reflector, from tip to flat.")
    half_angle: SmallAngle = Field(math.radians(0.5), description="Of a cone, degrees.")
    plate_gap: Allowance = Field(1e-3, description="Baffle to underside of the top plate.")
    plate_diameter: Allowance = Field(1e-3, description="Of the top plate.")
    proud: Allowance = Field(1e-3, description="Of the driver's frame above the baffle.")
    temperature: Annotated[float, Field(ge=0, le=15)] = Field(5.0, description="Kelvin.")
    off_centre: Allowance = Field(1e-3, description="Reflector and plate off the axis.")
    tilt: SmallAngle = Field(math.radians(0.5), description="Of reflector and plate, degrees.")

    def as_on_a_rule(self, unit: str | None) -> Self:
        """Return it with what is left out as a rule in the design's unit has it."""
        if unit != "in":
            return self
        lengths = {name for name, field in type(self).model_fields.items() if field.default == 1e-3}
        return self.model_copy(update=dict.fromkeys(lengths - self.model_fields_set, INCH / 32))


class CarveTable(DesignTable):
    """What the workshop can make of a curve of one's own: limits of the search."""

    largest_diameter: Diameter | None = Field(
        None,
        description="Of the reflector; left out, as far as the plate's flat and 2 mm of room to the"
        " posts allow, or that of the present reflector where there is no plate.",
    )
    largest_height: Depth | None = Field(
        None, description="From tip to flat; left out, the plate gap less the tip clearance."
    )
    smallest_radius: SmallLength = Field(
        2e-3,
        description="Of curvature, hollow or round, that lathe tool or printer can make; the tip"
        " may be a point: common practice, no source.",
    )
    tip_clearance: SmallLength = Field(
        3e-3, description="Least, with the cone fully out: common practice, no source."
    )
    undercut: bool = Field(False, description="Whether the profile may run back inwards.")


class ContestTable(DesignTable):
    """One entry of a contest: a reflector of its own, or another design's, to begin with."""

    name: Words = Field(description="By which the ranking calls it.")
    reflector: ReflectorTable | None = Field(None, description="As in [reflector].")
    design: str | None = Field(
        None,
        max_length=LONGEST_NAME,
        description="Another design file, beside this one; its reflector is taken.",
    )
    plate_gap: Annotated[float, Between(1, 1000)] | None = Field(
        None, description="Where it hangs; left out, at the best gap of [gap], if there is one."
    )
    hold: Literal["nothing", "half angle", "base diameter", "ball diameter", "sizes"] = Field(
        "nothing",
        description="What stays as it is: nothing, so that a cone chooses half angle and base, a"
        " cap ball and keep; one of these; or all its sizes. Other kinds stay in any case.",
    )

    @model_validator(mode="after")
    def _one_origin(self) -> Self:
        if (self.reflector is None) == (self.design is None):
            raise wrong("reflector", "give a reflector table or design = a file, one only")
        return self


def sizes_of(sizes: StepTable | tuple[float, ...]) -> tuple[float, ...]:
    """Every size, m, of a list or of equal steps."""
    return sizes.sizes() if isinstance(sizes, StepTable) else sizes
