r"""Lengths, areas, frequencies and angles in a builder's units, read into SI and written again.

Read: ``"180 mm"``, ``"20 cm"``, ``"0.2 m"``, ``"7 1/4 in"``, ``'7-1/4"'``, ``"9 ft"``,
``"3' 2 1/2\""``, ``"85 cm2"``, ``"3 kHz"``, ``"45 deg"``, or a plain number in a declared unit. A
string without a unit is refused, because inch and millimetre mixed up is the costliest mistake in
the workshop.

Write: ``in_both`` and ``in_own`` in the unit that `written_in` puts first, that of the design;
``in_mm`` and ``in_inches`` whatever that is.
"""

import contextlib
import math
import re
from collections.abc import Iterator, Mapping
from contextvars import ContextVar
from fractions import Fraction

INCH = 0.0254
FOOT = 12 * INCH
LENGTH_UNITS = {
    "mm": 1e-3,
    "cm": 1e-2,
    "m": 1.0,
    "in": INCH,
    "inch": INCH,
    "inches": INCH,
    '"': INCH,
    "″": INCH,
    "ft": FOOT,
    "foot": FOOT,
    "feet": FOOT,
    "'": FOOT,
    "\u2032": FOOT,
}
AREA_UNITS = {
    "mm2": 1e-6,
    "cm2": 1e-4,
    "m2": 1.0,
    "in2": INCH**2,
    "sq in": INCH**2,
}
VOLUME_UNITS = {
    "l": 1e-3,
    "litres": 1e-3,
    "cm3": 1e-6,
    "m3": 1.0,
    "in3": INCH**3,
    "cu in": INCH**3,
    "ft3": FOOT**3,
    "cu ft": FOOT**3,
}
FREQUENCY_UNITS = {"hz": 1.0, "khz": 1e3}
TIME_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
MASS_UNITS = {"kg": 1.0, "g": 1e-3, "lb": 0.45359237, "oz": 0.45359237 / 16}
ANGLE_UNITS = {"deg": math.pi / 180, "degrees": math.pi / 180, "°": math.pi / 180, "rad": 1.0}

# "7 1/4", "7-1/4", "1/4", "7.25", "-20", "1e-3", then whatever follows as the unit.
_QUANTITY = re.compile(
    r"""^\s*(?P<sign>[+-]?)\s*
    (?:(?:(?P<whole>\d+)[\s-]+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)
      |(?P<decimal>(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?))
    \s*(?P<unit>[^\d\s.,/+-].*?)?\s*$""",
    re.VERBOSE | re.IGNORECASE,
)

# "3' 2 1/2\"", "9 ft 4 in": feet, then inches below 12 in or none.
_FEET_AND_INCHES = re.compile(
    r"""^\s*(?P<feet>\d+)\s*(?:ft|foot|feet|'|\u2032)[\s-]*(?P<inches>\d[\d\s./-]*)
    (?:in|inch|inches|"|″)\s*$""",
    re.VERBOSE | re.IGNORECASE,
)

_WITHIN_QUANTITY = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|ft|mm?|m3|ms|dB|k?Hz|deg|kg|lb)\b|%)")

FAR_BEYOND = 1e300  # whole numbers of Python know no end, floats do
SAME = 1e-6  # halves go up, whatever the last bits are: one length is printed in one way
LONGEST = 60  # characters of a quantity: more are a slip, and could be thousands of digits


class LengthError(ValueError):
    """A quantity that cannot be read; the message holds the remedy."""


def parse_length(value: str | float | int, unit: str = "mm") -> float:
    r"""Read a length.

    Parameters
    ----------
    value : str or number
        ``"180 mm"``, ``"7 1/4 in"``, ``'7-1/4"'``, ``"9 ft"``, ``"3' 2 1/2\""``; a number counts
        in `unit`.
    unit : str
        Unit of plain numbers: mm, cm, m or in.

    Returns
    -------
    float
        Metres.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    example = "'180 mm' or '7 1/4 in'"
    if isinstance(value, str) and (split := _FEET_AND_INCHES.match(value[:LONGEST])):
        inches = _parse(f"{split['inches']} in", unit, LENGTH_UNITS, "length", example)
        return int(split["feet"]) * FOOT + inches
    return _parse(value, unit, LENGTH_UNITS, "length", example)


def unit_of(text: str) -> str:
    """Unit in which a readable length is written: "mm", "cm", "m", or "in" for feet too.

    Raises
    ------
    LengthError
        If it cannot be read as a length.
    """
    parse_length(text)
    if _FEET_AND_INCHES.match(text):
        return "in"
    match = _QUANTITY.match(text)
    assert match is not None
    factor = LENGTH_UNITS[" ".join(match["unit"].lower().split())]
    if factor == FOOT:
        return "in"
    return next(name for name, one in LENGTH_UNITS.items() if one == factor)


def parse_area(value: str | float | int, unit: str = "cm2") -> float:
    """Read an area such as ``"85 cm2"`` (square metres); a number counts in `unit`.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    return _parse(value, unit, AREA_UNITS, "area", "'85 cm2' or '13 in2'")


def parse_volume(value: str | float | int, unit: str = "l") -> float:
    """Read a volume such as ``"0.9 l"`` or ``"0.3 cu ft"`` (m^3); a number counts in `unit`.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    return _parse(value, unit, VOLUME_UNITS, "volume", "'0.9 l' or '0.3 cu ft'")


def parse_frequency(value: str | float | int, unit: str = "Hz") -> float:
    """Read a frequency such as ``"3 kHz"`` (hertz); a number counts in `unit`.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    return _parse(value, unit, FREQUENCY_UNITS, "frequency", "'3 kHz' or '800 Hz'")


def parse_time(value: str | float | int, unit: str = "ms") -> float:
    """Read a time such as ``"4.2 ms"`` (seconds); a number counts in `unit`.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    return _parse(value, unit, TIME_UNITS, "time", "'4.2 ms'")


def parse_mass(value: str | float | int, unit: str = "kg") -> float:
    """Read a mass such as ``"1.2 kg"`` or ``"2 1/2 lb"`` (kilograms); a number counts in `unit`.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    return _parse(value, unit, MASS_UNITS, "mass", "'1.2 kg' or '2 1/2 lb'")


def parse_angle(value: str | float | int, unit: str = "deg") -> float:
    """Read an angle such as ``"45 deg"`` (radians); a number counts in `unit`.

    Raises
    ------
    LengthError
        If the text has no unit, an unknown unit, or is not a number.
    """
    return _parse(value, unit, ANGLE_UNITS, "angle", "'45 deg'")


_OWN_UNIT = ContextVar("unit that stands first", default="mm")


@contextlib.contextmanager
def written_in(unit: str) -> Iterator[None]:
    """Put a unit first in every text and on every axis that is made inside this block.

    Parameters
    ----------
    unit : str
        Of the design: ``"in"`` for inches; any other counts as millimetres.
    """
    token = _OWN_UNIT.set("in" if unit == "in" else "mm")
    try:
        yield
    finally:
        _OWN_UNIT.reset(token)


def own_unit() -> str:
    """Return the unit that stands first here, ``"mm"`` or ``"in"``, see `written_in`."""
    return _OWN_UNIT.get()


def other_unit() -> str:
    """Return the unit that stands second here, in parentheses: ``"in"`` or ``"mm"``."""
    return "mm" if own_unit() == "in" else "in"


def to_the_bit(metres: float) -> float:
    """Return a length, m, to the last bit as a file gives it that holds its `written_mm`."""
    return parse_length(written_mm(metres), "mm")


def written_mm(metres: float) -> float:
    """Return a length in mm on whole millionths, as files hold it."""
    return round(metres * 1e3, 6)


def in_mm(metres: float, digits: int = 1) -> str:
    """Write a length in millimetres, ``"41.0 mm"``."""
    return f"{_without_minus_zero(metres * 1e3, digits):.{digits}f} mm"


def in_inches(metres: float) -> str:
    """Write a length in inches as a rule shows it: ``"1 5/8 in"``.

    To the nearest 1/32; below 1/16 to the nearest 1/64, and below 1/64 in decimals as a caliper
    has it, ``"0.008 in"``.
    """
    inches = abs(metres) / INCH
    if 0.0005 <= inches < 1 / 64 - 1e-9:
        return f"{math.copysign(inches, metres):.3f} in"
    parts = 64 if inches < 1 / 16 else 32
    marks = math.floor(inches * parts + 0.5 + SAME)
    whole, rest = divmod(marks, parts)
    words = [str(whole)] if whole or not rest else []
    if rest:
        words.append(str(Fraction(rest, parts)))
    sign = "-" if metres < 0 and marks else ""
    return f"{sign}{' '.join(words)} in"


def in_own(metres: float, digits: int = 1) -> str:
    """Write a length in the unit that stands first here, ``"41.0 mm"`` or ``"1 5/8 in"``."""
    return in_inches(metres) if own_unit() == "in" else in_mm(metres, digits)


def in_own_exactly(metres: float) -> str:
    """Write a length in the unit that stands first, not rounded to a rule: for names of candidates.

    ``"47.63 mm"``, ``"1 7/8 in"``, off the marks of a rule ``"1.871 in"``.
    """
    if own_unit() == "mm":
        return f"{metres * 1e3:.4g} mm"
    marked = in_inches(metres)
    return marked if abs(parse_length(marked) - metres) < 1e-6 else f"{metres / INCH:.4g} in"


def across_room(metres: float) -> str:
    """Write a distance in a room: ``"2.75 m"``, where inches stand first ``"9 ft 4 in"``."""
    if own_unit() == "mm":
        return f"{metres:.2f} m".replace(".00 m", " m")
    inches = round(abs(metres) / INCH)
    feet, inches = divmod(inches, 12) if inches >= 36 else (0, inches)
    words = [f"{feet} ft"] * (feet > 0) + [f"{inches} in"] * (inches > 0 or feet == 0)
    return f"{'-' if metres < 0 else ''}{' '.join(words)}"


def in_both(metres: float) -> str:
    """Write a length in both systems, ``"41.0 mm (1 5/8 in)"`` or ``"1 5/8 in (41.0 mm)"``."""
    return _own_first(in_mm(metres), in_inches(metres))


def unbroken(words: str) -> str:
    """Put no-break spaces into the quantities of a text: no line ends within "2 1/8 in", "3 dB"."""
    return _WITHIN_QUANTITY.sub("\u00a0", words)


def in_litres(cubic_metres: float) -> str:
    """Write a volume in both systems, ``"18.4 litres (0.65 cu ft)"``; small ones in cubic inches.

    In inches first: ``"0.65 cu ft (18.4 litres)"``, ``"20 cu in (0.3 litres)"``.
    """
    litres, feet = f"{cubic_metres * 1e3:.1f} litres", f"{cubic_metres / FOOT**3:.2f} cu ft"
    if cubic_metres < 0.05 * FOOT**3:
        feet = f"{cubic_metres / INCH**3:.0f} cu in"
    return _own_first(litres, feet)


def in_room_volume(cubic_metres: float) -> str:
    """Write the volume of a room, ``"40 m3"``, or ``"1410 cu ft"`` where inches stand first."""
    if own_unit() == "mm":
        return f"{cubic_metres:g} m3"
    return f"{round(cubic_metres / FOOT**3, -1):.0f} cu ft"


def in_kg(kilograms: float, digits: int = 1) -> str:
    """Write a mass in both systems, ``"7.8 kg (17.2 lb)"`` or ``"17.2 lb (7.8 kg)"``."""
    pounds = f"{kilograms / MASS_UNITS['lb']:.{digits}f} lb"
    return _own_first(f"{kilograms:.{digits}f} kg", pounds)


def in_area(square_metres: float) -> str:
    """Write an area in both systems, ``"32.3 cm2 (5.00 sq in)"``, the design's own first."""
    return _own_first(f"{square_metres * 1e4:.1f} cm2", f"{square_metres / INCH**2:.2f} sq in")


def _own_first(metric: str, imperial: str) -> str:
    first, second = (imperial, metric) if own_unit() == "in" else (metric, imperial)
    return f"{first} ({second})"


def in_degrees(radians: float) -> str:
    """Write an angle in degrees, ``"40.5 deg"``."""
    return f"{_without_minus_zero(math.degrees(radians), 1):.1f} deg"


def _without_minus_zero(number: float, digits: int) -> float:
    return round(number + math.copysign(SAME, number), digits) + 0.0


def _parse(
    value: str | float | int, unit: str, units: Mapping[str, float], what: str, example: str
) -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise LengthError(f"{value!r} is not {_a(what)}: write it as {example}.")
    if not isinstance(value, str):
        number = math.inf if abs(value) > FAR_BEYOND else float(value)
        return _finite(number, what, example) * _factor(unit, units, what, example)
    if len(value) > LONGEST:
        raise LengthError(f"{value[:20]!r}... is too long for {_a(what)}: write it as {example}.")
    match = _QUANTITY.match(value.replace("²", "2").replace("^2", "2").replace("^3", "3"))
    if match is None:
        comma = " Use a point, not a comma, for decimals." if "," in value else ""
        raise LengthError(f"cannot read {value!r} as {_a(what)}: write it as {example}.{comma}")
    if match["unit"] is None:
        raise LengthError(f"the {what} {value!r} has no unit: write it as {example}.")
    number = _finite(_number(match, value, what, example), what, example)
    return number * _factor(match["unit"], units, what, example)


def _a(what: str) -> str:
    return f"{'an' if what[0] in 'aeiou' else 'a'} {what}"


def _number(match: re.Match[str], value: str, what: str, example: str) -> float:
    sign = -1.0 if match["sign"] == "-" else 1.0
    if match["decimal"] is not None:
        return sign * float(match["decimal"])
    if int(match["bottom"]) == 0:
        raise LengthError(f"{value!r} divides by zero: write the {what} as {example}.")
    fraction = Fraction(int(match["top"]), int(match["bottom"]))
    return sign * float(int(match["whole"] or 0) + fraction)


def _finite(number: float, what: str, example: str) -> float:
    if not math.isfinite(number):
        raise LengthError(f"{_a(what)} must be a finite number, not {number}: write {example}.")
    return number


def _factor(unit: str, units: Mapping[str, float], what: str, example: str) -> float:
    name = " ".join(unit.lower().split())
    if name not in units:
        known = ", ".join(u for u in units)
        raise LengthError(
            f"unknown unit {unit!r} for {_a(what)}: write it as {example} (units: {known})."
        )
    return units[name]
