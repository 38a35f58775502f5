"""What reaches the seats, in pictures."""

from __future__ import annotations

import numpy as np

from studies.answer.charts.curves import Trace
from studies.answer.picture import Picture, Pictures
from studies.questions.seat.seat_figures import (
    Heard,
    PlanPath,
    bounces_figure,
    ears_figure,
    energy_time_figure,
    floor_figure,
    plan_figure,
)
from studies.questions.seat.study import FloorCheck, Listener, SeatStudy
from studies.questions.seat.words import posture

LEVEL = "dB re the driver's own\non-axis curve at 1 m"
MOST_PANELS = 4


def seat_pictures(study: SeatStudy) -> Pictures:
    """Draw what reaches the seats, energy over time first."""
    main, title = study.listeners[0], study.design.title
    pictures = {
        "energy-time": _energy_time(study),
        "paths": _plan(study),
        "bounces": Picture(
            bounces_figure(
                f"{title}: bounces at {main.name}",
                study.centres,
                [(a.path.surface, a.level_db - main.direct.level_db) for a in main.arrivals[1:]],
                main.early_to_direct_db,
            ),
            "What each surface sends to the main seat, against the direct sound there: the more"
            " even these lines, the less the room colours.",
        ),
        "ears": _ears(study, main),
    }
    if main.floor is not None:
        pictures["floor"] = _floor(study, main, main.floor)
    return pictures


def _energy_time(study: SeatStudy) -> Picture:
    seats = [
        Heard(
            f"{number} {one.name}",
            one.impulse.milliseconds,
            one.impulse.energy_time_db,
            [
                (
                    arrival.path.surface,
                    arrival.path.delay_ms,
                    float(np.mean(arrival.level_db - one.direct.level_db)),
                )
                for arrival in one.arrivals[1:]
            ],
        )
        for number, one in enumerate(study.listeners[:MOST_PANELS], start=1)
    ]
    left_out = len(study.listeners) - len(seats)
    caption = (
        "How the sound comes in: the envelope of each impulse response. A line at every bounce's"
        " delay, a dot at its mean level along the band."
    )
    if left_out:
        caption += f" The first {len(seats)} seats; {left_out} more are in the files."
    return Picture(energy_time_figure(f"{study.design.title}: energy over time", seats), caption)


def _plan(study: SeatStudy) -> Picture:
    main, room = study.listeners[0], study.seating.room
    column = study.assembly.column
    figure = plan_figure(
        f"{study.design.title}: first bounces",
        study.seating.speaker.position,
        (column.radius, column.height),
        (room.length, room.width, room.height),
        [PlanPath(a.path.surface, a.path.spot, main.sitter.place.position) for a in main.arrivals],
        [(one.name, one.sitter.place.position) for one in study.listeners],
    )
    return Picture(
        figure, "Where the first bounces to the main seat meet floor, ceiling and walls."
    )


def _ears(study: SeatStudy, main: Listener) -> Picture:
    here, there = posture(main)
    seat, distance = main.sitter.seat, study.seating.near_wall
    traces = [
        Trace(f"{here}, ears {seat.ear_height * 1e3:.0f} mm", study.centres,
              main.direct.level_db, by_band=True),
        Trace(f"{there}, ears {main.sitter.other_ears * 1e3:.0f} mm", study.centres,
              main.other_arrivals[0].level_db, by_band=True),
    ]  # fmt: skip
    figure = ears_figure(
        f"{study.design.title}: direct sound at {main.name}",
        traces,
        Trace("behind", study.frequencies, main.behind_curve_db),
        distance * 1e3,
        study.design.air.speed / (4.0 * distance),
        LEVEL,
    )
    return Picture(
        figure,
        "Above: the direct sound sitting and standing at the same place. Below: what a wall close"
        " behind the column adds and takes, wave by wave.",
    )


def _floor(study: SeatStudy, main: Listener, floor: FloorCheck) -> Picture:
    traces = [
        Trace("column on a rigid floor, exact", study.centres, floor.exact_db, by_band=True),
        Trace("direct sound and image", study.centres, floor.images_db, by_band=True),
    ]
    figure = floor_figure(f"{study.design.title}: on the floor, at {main.name}", traces, LEVEL)
    return Picture(
        figure, "How much the simple bounce leaves out when the column stands on a hard floor."
    )
