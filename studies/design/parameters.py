"""Sizes of a design that a fit to measurements may change, and its text with them changed.

Each has a prior: the standard deviation of what is written about what is true, common practice,
no source. The text stays the user's own, comments included: tomlkit changes single values in it.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

import tomlkit
from tomlkit import TOMLDocument

from shapes.lengths import in_both, in_degrees
from studies.design.design import Design
from studies.design.errors import DesignError, Mistake
from studies.design.fit_table import (
    CAP_HEIGHT,
    CONE_DEPTH,
    CONE_LOSS,
    EFFECTIVE_DIAMETER,
    PROUD_HEIGHT,
    SHRINK_FREQUENCY,
)
from studies.design.moves import MILLIMETRE, PER_CENT, Unit
from studies.design.reflector_tables import BallTable, ConeTable
from studies.design.tables import DriverTable

REACH = 3.0
"""How many prior standard deviations a fit may go from what is written."""
DIAMETER_SHARE, SHRINK_OCTAVES, PROUD, PLATE_GAP, KEEP = 0.05, 0.5, 2e-3, 2e-3, 1.5e-3
HALF_ANGLE = math.radians(1.0)
DEPTH_SHARE, CAP_SHARE = 0.15, 0.3
MOST_CONE_LOSS = 0.1
"""Admittance of a cone over that of the air: twice what soft fabric or foam may have."""
MICROMETRE, THOUSANDTH_DEGREE = 1e-6, math.radians(1e-3)
LOWEST_HEARD, HIGHEST_HEARD = 20.0, 20e3
HERTZ = Unit("Hz", 1.0, "Hz", 1.0)
DEGREE = Unit("degree", math.radians(1.0), "deg", math.radians(1.0))

Write = Callable[[TOMLDocument, float], None]
"""(document, value in SI): writes one size into the text of a design."""


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """A size that a fit may change, with what is known of it before anything is measured.

    Widths are prior standard deviations, counted from the value that is written in the design.

    Attributes
    ----------
    name : str
    unit : Unit
        In print.
    written : float
        SI.
    prior : float
        Prior standard deviation, SI; octaves if `octaves`.
    least, most : float
        Limits of what can be built or heard, SI.
    step : float
        Values are whole multiples of it, so that a text holds them exactly.
    write : callable
        (document, value): changes it in a design's text.
    octaves : bool
        True for a frequency, which is off by a factor.
    """

    name: str
    unit: Unit
    written: float
    prior: float
    least: float
    most: float
    step: float
    write: Write
    octaves: bool = False

    def at(self, widths: float) -> float:
        """Value at so many widths, SI, rounded to a whole step and kept within the limits."""
        return min(max(round(self.near(widths) / self.step) * self.step, self.least), self.most)

    def near(self, widths: float) -> float:
        """Value at so many widths, SI, not rounded: written + widths * prior, or in octaves."""
        off = widths * self.prior
        return self.written * 2.0**off if self.octaves else self.written + off

    def widths_of(self, value: float) -> float:
        """Return at how many widths a value lies, the inverse of `near`."""
        if self.octaves:
            return math.log2(value / self.written) / self.prior
        return (value - self.written) / self.prior

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest value that a fit may try, in widths."""
        low, high = self.widths_of(self.least), self.widths_of(self.most)
        return max(low, -REACH), min(high, REACH)

    def in_print(self, value: float) -> float:
        """Value in the unit of print."""
        return round(value / self.unit.per_symbol, 6)

    def in_words(self, value: float) -> str:
        """Value as a sentence has it: mm and inches, degrees, hertz or per cent."""
        if self.octaves:
            return f"{value:.0f} {self.unit.symbol}"
        if self.unit is PER_CENT:
            return f"{100.0 * value:.1f} %"
        return in_both(value) if self.unit is MILLIMETRE else in_degrees(value)


def parameters_of(design: Design) -> tuple[Parameter, ...]:
    """List the sizes of a design that a fit may change: those that change the sound.

    Returns
    -------
    tuple of Parameter
        Effective diameter, shrink frequency (of a cone that lets go), driver proud height, plate
        gap (under something that hangs), and keep or the size that makes the reflector.
    """
    tables = design.tables
    found = [_diameter(design), *_shrink(tables.driver), _proud(tables.driver)]
    if tables.plate is not None or tables.reflector.kind != "none":
        found.append(
            _length(
                name="plate gap",
                written=tables.plate_gap,
                prior=PLATE_GAP,
                least=1e-3,
                most=1.0,
                write=_put("plate_gap"),
            )
        )
    return (*found, *_of_reflector(design))


def cone_shape(design: Design) -> tuple[Parameter, ...]:
    """Return depth of the cone and height of its dust cap, where it has them.

    They are hard to measure and change the sound, but what hangs over the driver can undo much of
    it: so they are fitted only where the bare column was read.
    """
    driver = design.tables.driver
    found = []
    if driver.cone_depth:
        found.append(_of_cone(CONE_DEPTH, driver.cone_depth, DEPTH_SHARE, "cone_depth"))
    if driver.dust_cap is not None:
        height = driver.dust_cap.height
        found.append(_of_cone(CAP_HEIGHT, height, CAP_SHARE, "dust_cap", "height"))
    return tuple(found)


def _of_cone(name: str, written: float, share: float, *key: str) -> Parameter:
    return _length(
        name=name,
        written=written,
        prior=share * written,
        least=0.1 * written,
        most=2.0 * written,
        write=_put("driver", *key),
    )


def cone_loss(design: Design) -> Parameter:
    """Return what the cone takes above where it no longer moves as one, as something to fit.

    Its admittance over that of the air, 0 as written.

    Raises
    ------
    DesignError
        If the file says what its cone takes, or that nothing takes anything.
    """
    if design.walls.rigid:
        _nothing_to_find(design, "walls.losses", 'is "none"')
    if not design.cone_is_open:
        _nothing_to_find(design, "walls.cone", "says what the cone takes")
    return Parameter(
        name=CONE_LOSS,
        unit=PER_CENT,
        written=0.0,
        prior=MOST_CONE_LOSS / REACH,
        least=0.0,
        most=MOST_CONE_LOSS,
        step=1e-4,
        write=_cone,
    )


def _nothing_to_find(design: Design, key: str, what: str) -> NoReturn:
    said = f"{what}, so there is no loss of the cone to fit: remove it, or leave out --fit-cone"
    raise DesignError(design.path, (Mistake(key, said),))


def parameter_text(design: Design, parameters: Sequence[Parameter], values: Sequence[float]) -> str:
    """Return the text of a design with these values, SI, written into it.

    What a former fit found is left out: it is of other sizes.
    """
    document = tomlkit.parse(design.text)
    document.pop("fit", None)
    driver: Any = document["driver"]
    driver.pop("known", None)
    for parameter, value in zip(parameters, values, strict=True):
        parameter.write(document, value)
    return tomlkit.dumps(document)


_length = functools.partial(Parameter, unit=MILLIMETRE, step=MICROMETRE)


def _diameter(design: Design) -> Parameter:
    driver, tweeter = design.tables.driver, design.tables.tweeter
    inside = [
        0.005,
        driver.dust_cap.diameter + 1e-3 if driver.dust_cap else 0.0,
        driver.whizzer.diameter + 1e-3 if driver.whizzer else 0.0,
        driver.lets_go.down_to if driver.lets_go else 0.0,
        tweeter.housing_diameter + 1e-3 if tweeter else 0.0,
    ]
    written = 2.0 * driver.effective_radius
    least, most = min(max(inside), written), driver.frame_diameter
    write = _put("driver", "effective_diameter")
    if driver.effective_area is not None:
        write = _area
        most -= MICROMETRE  # the area's last digit must not make it larger than the frame
    return _length(
        name=EFFECTIVE_DIAMETER,
        written=written,
        prior=DIAMETER_SHARE * written,
        least=least,
        most=most,
        write=write,
    )


def _shrink(driver: DriverTable) -> tuple[Parameter, ...]:
    if driver.lets_go is None:
        return ()
    return (
        Parameter(
            name=SHRINK_FREQUENCY,
            unit=HERTZ,
            written=driver.lets_go.above,
            prior=SHRINK_OCTAVES,
            least=LOWEST_HEARD,
            most=HIGHEST_HEARD,
            step=1.0,
            write=_above,
            octaves=True,
        ),
    )


def _proud(driver: DriverTable) -> Parameter:
    return _length(
        name=PROUD_HEIGHT,
        written=driver.proud,
        prior=PROUD,
        least=0.0,
        most=0.5,
        write=_put("driver", "proud"),
    )


def _of_reflector(design: Design) -> tuple[Parameter, ...]:
    table = design.tables.reflector
    if isinstance(table, BallTable):
        cut_off = table.cut_off is not None
        return (
            _length(
                name="keep",
                written=table.kept,
                prior=KEEP,
                least=1e-4,
                most=table.diameter - 1e-4,
                write=_cut_off(table.diameter) if cut_off else _put("reflector", "keep"),
            ),
        )
    if isinstance(table, ConeTable) and table.half_angle is not None:
        return (
            Parameter(
                name="half angle",
                unit=DEGREE,
                written=table.half_angle,
                prior=HALF_ANGLE,
                least=math.radians(5.0),
                most=math.radians(85.0),
                step=THOUSANDTH_DEGREE,
                write=_half_angle,
            ),
        )
    height = getattr(table, "height", None)  # a turned profile and none at all have no such size
    if height is not None:
        return (
            _length(
                name="reflector height",
                written=height,
                prior=KEEP,
                least=1e-4,
                most=1.0,
                write=_put("reflector", "height"),
            ),
        )
    return ()


def _put(*path: str) -> Write:
    """Change a length, bare where the text has it bare and in millimetres."""

    def write(document: TOMLDocument, metres: float) -> None:
        *tables, key = path
        table: Any = document
        for name in tables:
            table = table[name]
        bare = document.get("unit") == "mm" and not isinstance(table.get(key), str)
        millimetres = round(metres * 1e3, 3)
        table[key] = millimetres if bare else f"{millimetres} mm"

    return write


def _cut_off(ball_diameter: float) -> Write:
    write = _put("reflector", "cut_off")
    return lambda document, keep: write(document, ball_diameter - keep)


def _area(document: TOMLDocument, diameter: float) -> None:
    document["driver"]["effective_area"] = f"{0.25e4 * math.pi * diameter**2:.4f} cm2"


def _above(document: TOMLDocument, hertz: float) -> None:
    document["driver"]["lets_go"]["above"] = f"{hertz:.0f} Hz"


def _cone(document: TOMLDocument, admittance: float) -> None:
    if "walls" not in document:
        document.add(tomlkit.nl())
        document.add("walls", tomlkit.table())
    given = tomlkit.inline_table()
    given["admittance"] = round(admittance, 6)
    walls: Any = document["walls"]
    walls["cone"] = given


def _half_angle(document: TOMLDocument, radians: float) -> None:
    document["reflector"]["half_angle"] = round(math.degrees(radians), 3)
