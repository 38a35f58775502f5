"""Numbers with units as a design file writes them; every one is SI once read.

A bare length is in the file's declared unit, which reaches the validators as ``unit`` in
pydantic's validation context. Each length has a range far wider than any real design, so
that a size in the wrong unit is caught and the unit that was meant can be named.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import (
    BeforeValidator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError, core_schema

from shapes.lengths import (
    INCH,
    across_room,
    in_inches,
    own_unit,
    parse_angle,
    parse_area,
    parse_frequency,
    parse_length,
    parse_mass,
    parse_time,
    parse_volume,
)
from studies.design.errors import ABSURD, NO_UNIT

UNITS = ("mm", "cm", "m", "in")
LIKELY_UNITS = {"mm": UNITS, "in": ("in", "ft", "mm", "cm")}
"""Which units a figure may have been meant in, by the unit of the file."""
LONGEST_DELAY = 10e-3
"""Of a way, seconds."""
LENGTH_SCHEMA: dict[str, Any] = {
    "anyOf": [{"type": "number"}, {"type": "string"}],
    "examples": [180, "180 mm", "7 1/4 in"],
}


def unit_of_file(declared: str | None, text: str) -> str:
    """Return the unit that stands first in what is said of a file, "mm" or "in".

    The declared one; without one, that of most lengths in the file's text.
    """
    if declared is not None:
        return "in" if declared == "in" else "mm"
    inches = len(re.findall(r"""\d\s*(?:in\b|inch|ft\b|\\"|″|"')""", text))
    return "in" if inches > len(re.findall(r"\d\s*[mc]?m\b", text)) else "mm"


def _unit_of(info: core_schema.ValidationInfo) -> str | None:
    context = info.context
    return context.get("unit") if isinstance(context, Mapping) else None


def _text_or_number(value: object, example: str) -> str | float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError(f'must be a number or text with a unit, like "{example}"')
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f'{value} is not a size: write a number with a unit, like "{example}"')
    return value


def _bare_number(value: str | float) -> float | None:
    try:
        return float(value)
    except (ValueError, OverflowError):
        return None


def _length(value: object, unit: str | None, least: float, most: float) -> float:
    given = _text_or_number(value, "180 mm")
    number = _bare_number(given)
    if number is not None and unit is None:
        text = (
            f'{given} has no unit: put unit = "mm" (or cm, m, in) at the top of the file for all'
            f' bare lengths, or write "{given} mm" here and a unit at every other length'
        )
        raise PydanticCustomError(NO_UNIT, "{text}", {"text": text})
    metres = parse_length(given, unit or "mm")
    written = f"{given} {unit}" if number is not None else str(given)
    if least >= 0:
        _refuse_negative(metres, written, zero_allowed=least == 0)
    if not least <= metres <= most:
        raise ValueError(
            f"{written} {ABSURD}, {_short(least)} to {_short(most)} is possible"
            + _meant(given, least, most)
        )
    return metres


def _refuse_negative(size: float, written: str, *, zero_allowed: bool) -> None:
    if size < 0:
        raise ValueError(f"{written} is negative: sizes are positive")
    if size == 0 and not zero_allowed:
        raise ValueError(f"{written} is zero: write a size above zero, or leave the key out")


def _meant(given: str | float, least: float, most: float) -> str:
    """Name the unit that would make the same figure possible."""
    figure = "".join(re.findall(r"^[-+\d\s./]+", str(given))).strip()
    for unit in LIKELY_UNITS[own_unit()]:
        if least <= parse_length(f"{figure} {unit}") <= most:
            return f": did you mean {figure} {unit}?"
    return ": check the number and its unit"


def _in_millimetres(metres: float) -> str:
    return f"{metres * 1e3:.9g} mm"


def _in_degrees(radians: float) -> str:
    return f"{math.degrees(radians):.9g} deg"


def _written(write: Callable[[float], str]) -> core_schema.SerSchema:
    """Serializer to JSON, which the defaults in the schema use: a size as a user writes it."""
    return core_schema.plain_serializer_function_ser_schema(write, when_used="json-unless-none")


def _short(metres: float) -> str:
    if own_unit() == "in":
        return across_room(metres) if metres >= 36 * INCH else in_inches(metres)
    return f"{metres:g} m" if metres >= 1 else f"{metres * 1e3:g} mm"


@dataclass(frozen=True)
class Between:
    """Marks a field as a length in metres between two bounds, as ``Annotated[float, Between(..)]``.

    Attributes
    ----------
    least_mm, most_mm : float
        Bounds of what is possible, mm; a least of 0 allows zero.
    """

    least_mm: float
    most_mm: float

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.with_info_before_validator_function(
            self._read, handler(source), serialization=_written(_in_millimetres)
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(LENGTH_SCHEMA)

    def _read(self, value: object, info: core_schema.ValidationInfo) -> float:
        return _length(value, _unit_of(info), self.least_mm * 1e-3, self.most_mm * 1e-3)


@dataclass(frozen=True)
class BetweenDegrees:
    """Marks a field as an angle that is written in degrees and held in radians.

    Attributes
    ----------
    least, most : float
        Bounds of what is possible, degrees.
    """

    least: float
    most: float

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(
            self._read, handler(source), serialization=_written(_in_degrees)
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [{"type": "number"}, {"type": "string"}], "examples": [45, "45 deg"]}

    def _read(self, value: object) -> float:
        given = _text_or_number(value, "45 deg")
        angle = parse_angle(given)
        if not self.least <= math.degrees(angle) <= self.most:
            raise ValueError(
                f"{given} is outside {self.least:g} to {self.most:g} degrees: check the angle and"
                " from where it is measured"
            )
        return angle


def _area(value: object) -> float:
    given = _text_or_number(value, "85 cm2")
    if _bare_number(given) is not None:
        raise ValueError(f'{given} has no unit: write an area like "{given} cm2"')
    area = parse_area(given)
    _refuse_negative(area, str(given), zero_allowed=False)
    if not 1e-5 <= area <= 1.0:
        raise ValueError(f'{given} is an absurd area for a driver: write it like "85 cm2"')
    return area


def _frequency(value: object) -> float:
    given = _text_or_number(value, "3 kHz")
    frequency = parse_frequency(given)
    _refuse_negative(frequency, str(given), zero_allowed=False)
    if not 20.0 <= frequency <= 20_000.0:
        raise ValueError(f"{given} is outside 20 Hz to 20 kHz: choose a frequency people hear")
    return frequency


def _delay(value: object) -> float:
    given = _text_or_number(value, "0.12 ms")
    delay = parse_time(given)
    _refuse_negative(delay, str(given), zero_allowed=True)
    if delay > LONGEST_DELAY:
        raise ValueError(
            f"{given} is more than {1e3 * LONGEST_DELAY:g} ms, 3.4 m of path: ways are aligned with"
            ' less; write it like "0.12 ms", a bare number is in ms'
        )
    return delay


def _mass_like(example: str, what: str, least: float, most: float) -> Callable[[object], float]:
    """Return a reader of masses between two bounds, kg; of what, and an example for errors."""
    unit = example.split()[-1]

    def read(value: object) -> float:
        given = _text_or_number(value, example)
        if _bare_number(given) is not None:
            raise ValueError(f'{given} has no unit: write a mass like "{given} {unit}"')
        mass = parse_mass(given)
        _refuse_negative(mass, str(given), zero_allowed=False)
        if not least <= mass <= most:
            raise ValueError(f'{given} is an absurd mass for {what}: write it like "{example}"')
        return mass

    return read


def _volume(value: object) -> float:
    given = _text_or_number(value, "0.9 l")
    if _bare_number(given) is not None:
        raise ValueError(f'{given} has no unit: write a volume like "{given} l"')
    volume = parse_volume(given)
    _refuse_negative(volume, str(given), zero_allowed=True)
    if volume > 0.2:
        raise ValueError(f'{given} is an absurd volume here: write it like "0.9 l"')
    return volume


Volume = Annotated[
    float,
    BeforeValidator(_volume),
    WithJsonSchema({"type": "string", "examples": ["0.9 l"]}),
]
Mass = Annotated[
    float,
    BeforeValidator(_mass_like("1.2 kg", "a driver", 0.01, 100.0)),
    WithJsonSchema({"type": "string", "examples": ["1.2 kg"]}),
]
MovingMass = Annotated[
    float,
    BeforeValidator(_mass_like("9 g", "what moves of a driver", 0.05e-3, 1.0)),
    WithJsonSchema({"type": "string", "examples": ["9 g"]}),
]
Area = Annotated[
    float,
    BeforeValidator(_area),
    WithJsonSchema({"type": "string", "examples": ["85 cm2"]}),
]
Frequency = Annotated[
    float,
    BeforeValidator(_frequency),
    WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string"}], "examples": ["3 kHz"]}),
]
Delay = Annotated[
    float,
    BeforeValidator(_delay),
    WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string"}], "examples": ["0.12 ms"]}),
]
Decibels = Annotated[float, Field(ge=-60.0, le=60.0, allow_inf_nan=False)]
Weight = Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)]

SmallLength = Annotated[float, Between(0, 500)]
Depth = Annotated[float, Between(0.1, 1000)]
Diameter = Annotated[float, Between(5, 2000)]
