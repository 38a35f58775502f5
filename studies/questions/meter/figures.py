"""The measuring plan: where to stand, which readings tell, what they should be, each cut."""

from __future__ import annotations

import numpy as np

from shapes.lengths import in_mm
from studies.charts import (
    Mark,
    MeterCandidate,
    places_figure,
    readings_figure,
    shave_figure,
    telling_figure,
)
from studies.meter import Meter, Shaving, tells_candidates
from studies.pictures.picture import Picture, Pictures
from studies.target import METER_DB


def meter_pictures(meter: Meter) -> Pictures:
    """Draw the measuring plan."""
    pictures = {"places": _places(meter), "telling": _telling(meter)}
    if tells_candidates(meter.stands).any():
        pictures["readings"] = _readings(meter)
    shaving = meter.shaving
    if shaving is not None and np.max(np.abs(_steps(shaving))) >= METER_DB:
        pictures["shaving"] = _shaving(meter, shaving)
    return pictures


def marks_of(meter: Meter) -> list[Mark]:
    """The places of a plan, numbered."""
    return [
        Mark(number, s.position.r, s.position.height, s.azimuth_deg)
        for number, s in enumerate(meter.stands, start=1)
    ]


def _places(meter: Meter) -> Picture:
    title = f"{meter.design.title}: where the meter stands"
    return Picture(
        places_figure(title, meter.assembly, marks_of(meter)),
        "The places by their numbers, the reference in red: from the side, and round the column.",
    )


def _telling(meter: Meter) -> Picture:
    first, *_, last = meter.question.contenders
    relative = meter.contenders_relative_db
    figure = telling_figure(
        f"{meter.design.title}: what tells {meter.question.kind} {in_mm(last.size)} from"
        f" {in_mm(first.size)}",
        [f"{n}  {stand.position.name}" for n, stand in enumerate(meter.stands, start=1)],
        meter.centres,
        relative[-1] - relative[0],
        np.maximum(meter.foreseen.doubts.of_difference_db, 1e-9),
        meter.foreseen.fair,
        [meter.place_and_band(told) for told in meter.told],
    )
    return Picture(
        figure, "Where the outermost candidates differ by more than a reading may be off: dark."
    )


def _readings(meter: Meter) -> Picture:
    drawn = list(np.flatnonzero(tells_candidates(meter.stands)))
    candidates = [
        MeterCandidate(f"{meter.question.kind} {in_mm(contender.size)}", levels[drawn])
        for contender, levels in zip(
            meter.question.contenders, meter.contenders_relative_db, strict=True
        )
    ]
    figure = readings_figure(
        f"{meter.design.title}: what the meter should read",
        [
            f"{meter.stands[n].position.name}, {meter.stands[n].elevation_deg:+.0f} degrees"
            for n in drawn
        ],
        meter.centres,
        MeterCandidate("as written", meter.relative_db[drawn]),
        meter.foreseen.doubts.of_difference_db[drawn],
        meter.foreseen.fair[drawn],
        candidates,
    )
    return Picture(figure, "The design as written and the candidates, place by place.")


def _steps(shaving: Shaving) -> np.ndarray:
    return np.diff(shaving.change_db[: len(shaving.stops)], axis=0)


def _shaving(meter: Meter, shaving: Shaving) -> Picture:
    figure = shave_figure(
        f"{meter.design.title}: at the reference, after each cut",
        meter.question.ball * 1e3,
        [stop.size * 1e3 for stop in shaving.stops],
        meter.centres,
        _steps(shaving),
    )
    return Picture(figure, "What each cut should change at the reference, from the one before.")
