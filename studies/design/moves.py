"""Which sizes of a design can be off, by how much, and the design with them moved."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from shapes.lengths import INCH
from studies.design.design import DesignFile
from studies.design.reflector_tables import BallTable
from studies.design.tables import DesignTable

AIR_C = (0.0, 30.0)
"""Temperatures within which the formula for the speed of sound holds, see `dispersion.air`, C."""

Move = Callable[[DesignFile, float], DesignFile]
"""(tables, change in SI) -> the tables with one size changed by it."""


@dataclass(frozen=True)
class Unit:
    """A step by which a size is changed, and the unit in which such sizes are printed.

    Attributes
    ----------
    name : str
        Of the step.
    size : float
        Of the step, SI.
    symbol : str
        Of the unit.
    per_symbol : float
        SI value of one such unit.
    """

    name: str
    size: float
    symbol: str
    per_symbol: float


MILLIMETRE = Unit("mm", 1e-3, "mm", 1e-3)
THIRTY_SECOND = Unit("1/32 in", INCH / 32, "mm", 1e-3)
"""Step of lengths in a design in inches; numbers in files stay in mm."""
HALF_DEGREE = Unit("half degree", math.radians(0.5), "deg", math.radians(1.0))
FIVE_KELVIN = Unit("5 K", 5.0, "K", 1.0)
PER_CENT = Unit("per cent", 0.01, "%", 0.01)


@dataclass(frozen=True)
class Leeway:
    """How far something may be off from what is written.

    Attributes
    ----------
    name : str
    unit : Unit
    down, up : float
        Below and above what is written, SI.
    """

    name: str
    unit: Unit
    down: float
    up: float


@dataclass(frozen=True)
class Dimension(Leeway):
    """A size of a design that may come out different from what is written, within a tolerance.

    Attributes
    ----------
    name : str
    unit : Unit
    down, up : float
        Tolerance below and above what is written, m, radians or K.
    move : callable
        (tables, change) -> tables with this size changed; nothing is checked here, what cannot
        be built is found when it is built.
    """

    move: Move


def step_of_lengths(tables: DesignFile) -> Unit:
    """Return the step by which a design's lengths are changed: 1 mm, or 1/32 in."""
    return THIRTY_SECOND if tables.unit == "in" else MILLIMETRE


def moved(
    tables: DesignFile, dimensions: Sequence[Dimension], changes: Sequence[float]
) -> DesignFile:
    """Return a design's tables with every one of these sizes changed by its own amount, SI."""
    for dimension, change in zip(dimensions, changes, strict=True):
        tables = dimension.move(tables, float(change))
    return tables


def dimensions_of(tables: DesignFile) -> tuple[Dimension, ...]:
    """List the sizes of a design that have a tolerance and keep everything on one axis.

    A frame does not sink below the baffle, and temperatures stay where the formula for the speed
    of sound holds: there the tolerance is cut short.
    """
    allowed, proud, warmth = tables.tolerance, tables.driver.proud, tables.air.temperature
    key = "across_flats" if tables.plate and tables.plate.across_flats else "diameter"
    step = step_of_lengths(tables)
    plate = (_length("plate diameter", "plate", key, step, allowed.plate_diameter),)
    return (
        *_of_reflector(tables),
        Dimension(
            "plate gap",
            step,
            allowed.plate_gap,
            allowed.plate_gap,
            lambda now, change: now.model_copy(update={"plate_gap": now.plate_gap + change}),
        ),
        *(() if tables.plate is None else plate),
        Dimension(
            "driver proud height",
            step,
            min(allowed.proud, proud),
            allowed.proud,
            _in_part("driver", _added("proud")),
        ),
        Dimension(
            "temperature",
            FIVE_KELVIN,
            min(allowed.temperature, max(warmth - AIR_C[0], 0.0)),
            min(allowed.temperature, max(AIR_C[1] - warmth, 0.0)),
            _in_part("air", _added("temperature")),
        ),
    )


def _of_reflector(tables: DesignFile) -> tuple[Dimension, ...]:
    """Named sizes of the reflector; none for a profile of points, and without a reflector."""
    given, allowed, step = tables.reflector, tables.tolerance, step_of_lengths(tables)
    if isinstance(given, BallTable):
        return (
            Dimension("keep", step, allowed.keep, allowed.keep, _in_part("reflector", _keep)),
            Dimension(
                "ball diameter",
                step,
                allowed.ball_diameter,
                allowed.ball_diameter,
                _in_part("reflector", _ball),
            ),
        )
    found = []
    if hasattr(given, "base_diameter"):
        found.append(
            _length("base diameter", "reflector", "base_diameter", step, allowed.base_diameter)
        )
    if getattr(given, "height", None) is not None:
        found.append(_length("reflector height", "reflector", "height", step, allowed.height))
    if getattr(given, "half_angle", None) is not None:
        angle, change = allowed.half_angle, _in_part("reflector", _added("half_angle"))
        found.append(Dimension("half angle", HALF_DEGREE, angle, angle, change))
    return tuple(found)


def _length(name: str, part: str, key: str, step: Unit, size: float) -> Dimension:
    return Dimension(name, step, size, size, _in_part(part, _added(key)))


def _in_part(part: str, changed: Callable[[Any, float], dict[str, object]]) -> Move:
    def move(tables: DesignFile, change: float) -> DesignFile:
        table: DesignTable = getattr(tables, part)
        new = table.model_copy(update=changed(table, change))
        return tables.model_copy(update={part: new})

    return move


def _added(key: str) -> Callable[[DesignTable, float], dict[str, object]]:
    return lambda table, change: {key: getattr(table, key) + change}


def _keep(ball: BallTable, change: float) -> dict[str, object]:
    return {"keep": ball.kept + change, "cut_off": None}


def _ball(ball: BallTable, change: float) -> dict[str, object]:
    """Change the ball's diameter, the height that is kept stays."""
    return {"ball_diameter": (ball.diameter + change,), "keep": ball.kept, "cut_off": None}
