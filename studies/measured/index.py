"""The small TOML file that says where each curve was measured."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, ValidationError, WithJsonSchema

from shapes.lengths import parse_time
from studies.design.errors import mistakes_in
from studies.design.quantities import Between
from studies.design.tables import DesignTable
from studies.measured.positions import Position
from studies.measured.text_files import MeasurementError, text_lines

PERIODS = 2.0
"""Periods of a tone that must fit before the first bounce. With one, a resonance of quality 3 is
cut off at a third of its strength; with two at an eighth, 1 dB, less than the model's error."""
LARGEST_INDEX = 2**20
EXAMPLE = """
[[measurement]]
file = "p1.txt"
name = "armchair"
distance = "2 m"
height = "1.15 m\""""


def gate_limit_hz(first_bounce: float) -> float:
    """Lowest frequency that is valid with a gate in front of the first bounce, Hz.

    Parameters
    ----------
    first_bounce : float
        Seconds after the direct sound.
    """
    return PERIODS / first_bounce


def _bounce(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('must be a time with its unit, like "4.2 ms"')
    if not isinstance(value, str):
        raise ValueError(f'{value} has no unit: write a time like "{value} ms"')
    seconds = parse_time(value)
    if not 1e-4 <= seconds <= 1.0:
        raise ValueError(f"{value} is no time of a first bounce: 0.1 ms to 1 s after the direct"
                         " sound is possible")  # fmt: skip
    return seconds


class MeasurementTable(DesignTable):
    """One curve and where it was measured."""

    file: str = Field(min_length=1, description="Beside the index.")
    name: str = Field(min_length=1, max_length=60, description="Of the position.")
    distance: Annotated[float, Between(0, 30_000)] = Field(
        description="Of the microphone from the column's axis, level."
    )
    height: Annotated[float, Between(0, 20_000)] = Field(description="Above the floor.")
    azimuth: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None, description="Degrees from the first post, anticlockwise seen from above."
    )
    first_bounce: (
        Annotated[
            float,
            BeforeValidator(_bounce),
            WithJsonSchema({"type": "string", "examples": ["4.2 ms"]}),
        ]
        | None
    ) = Field(None, description="How long after the direct sound the gate ends.")
    kind: Literal["curve", "bands"] = Field(
        "curve", description="A curve, or readings of third-octave bands."
    )
    hung: str = Field(
        "",
        max_length=40,
        description='What hung over the driver: "nothing", or "keep 55 mm" for a cap of another'
        " height; left out, what the design says.",
    )

    @property
    def position(self) -> Position:
        """Where the microphone stood."""
        azimuth = None if self.azimuth is None else math.fmod(self.azimuth, 360.0) % 360.0
        return Position(self.name, self.distance, self.height, azimuth)

    @property
    def gate_limit_hz(self) -> float:
        """Lowest valid frequency, Hz; 0 without a gate."""
        return 0.0 if self.first_bounce is None else gate_limit_hz(self.first_bounce)


class IndexFile(DesignTable):
    """A whole index."""

    measurement: Annotated[tuple[MeasurementTable, ...], Field(strict=False, min_length=1)]


def read_index(path: Path) -> tuple[MeasurementTable, ...]:
    """Read an index of curves.

    Raises
    ------
    MeasurementError
        With one line for each mistake.
    """
    text = "\n".join(line for _, line in text_lines(path, LARGEST_INDEX))
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise MeasurementError(
            f"{path}: is not valid TOML ({error}): put text and sizes in double quotes, like"
            ' distance = "2 m"'
        ) from None
    if "measurement" not in raw:
        raise MeasurementError(
            f"{path}: no [[measurement]] in it, so it is no index of curves: write one for each"
            f" file, such as{EXAMPLE}"
        )
    try:
        return IndexFile.model_validate(raw, context={"unit": None}).measurement
    except ValidationError as error:
        found = mistakes_in(error, raw, IndexFile)
        raise MeasurementError(
            "\n".join(f"{path}: {mistake.key}: {mistake.message}" for mistake in found)
        ) from None
    except OverflowError:
        raise MeasurementError(f"{path}: a number in it is far too large: correct it") from None
