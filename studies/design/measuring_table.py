"""The table of a design file that says what there is to measure with, and in which room."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from studies.design.quantities import Between
from studies.design.tables import DesignTable

USUAL_DISTANCE = {"meter": 0.5, "microphone": 1.0}
"""From the middle of the ring, m: near enough that the room adds little to a reading that is not
gated; common practice, no source."""
USUAL_READING_DB = {"meter": 0.5, "microphone": 0.2}
"""How well one reading repeats, standard deviation, dB: common practice, no source."""


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
