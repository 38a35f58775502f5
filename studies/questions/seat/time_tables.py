"""Group delay and step response at the seats, in tables."""

from __future__ import annotations

import math

import numpy as np

from studies.answer.columns import band, number, text
from studies.answer.table import Table, Value
from studies.questions.seat.study import SeatStudy

STEP_MS = (-1.0, 30.0)
"""From and to which time after the direct sound's peak the step response is written, ms."""


def time_tables(study: SeatStudy) -> tuple[Table, ...]:
    """Tabulate group delays by third octave and frequency, and step responses by sample."""
    return (_by_band(study), _by_frequency(study), _steps(study))


def _by_band(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        band(),
        number("delay_ms", "ms", "group delay of the direct sound, mean by energy, ms"),
        number("driver_ms", "driver\nalone", "the same of the driver alone in an endless wall, ms"),
        number("late_ms", "later than\nthe rest", "less its median from 500 Hz to 8 kHz, ms"),
        number("audible_ms", "just\naudible", "by Blauert and Laws (1978) [from memory], ms", 1),
    )
    rows: list[tuple[Value, ...]] = []
    for one in study.listeners:
        found = one.delays
        values = zip(
            found.centres, found.whole_s, found.driver_s, found.late_s, found.audible_s, strict=True
        )
        rows += [(one.name, float(hertz), *map(_ms, delays)) for hertz, *delays in values]
    title = "Group delay of the direct sound by third octave"
    return Table("group_delay", title, columns, tuple(rows), scope="data")


def _by_frequency(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        number("frequency_hz", "Hz", "frequency, Hz"),
        number("delay_ms", "ms", "group delay of the direct sound, ms", 4),
    )
    rows = tuple(
        (one.name, float(hertz), _ms(delay))
        for one in study.listeners
        for hertz, delay in zip(one.delays.frequencies, one.delays.curve_s, strict=True)
    )
    title = "Group delay of the direct sound by frequency"
    return Table("group_delay_curve", title, columns, rows, scope="bulk")


def _steps(study: SeatStudy) -> Table:
    columns = (
        text("seat", "seat", "name of the seat"),
        number("time_ms", "ms", "after the direct sound's peak, ms", 4),
        number("direct", "direct", "step response of the direct sound, largest value 1", 5),
        number("whole", "whole", "the same with the first bounces", 5),
    )
    rows: list[tuple[Value, ...]] = []
    for one in study.listeners:
        time = one.impulse.milliseconds
        kept = (time >= STEP_MS[0]) & (time <= STEP_MS[1])
        values = np.column_stack((time, *one.impulse.steps))[kept]
        rows += [(one.name, *map(float, row)) for row in values]
    return Table("step", "Step response by sample", columns, tuple(rows), scope="bulk")


def _ms(seconds: float) -> float | None:
    return None if math.isnan(seconds) else 1e3 * float(seconds)
