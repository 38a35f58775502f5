"""Files to take to the measurement: sheets to print, and a CSV file to fill in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dispersion.bands import nominal_centre
from shapes.lengths import INCH, own_unit
from studies.answer.exports import csv_lines, plain_cell
from studies.measured.sheet import HUNG, header
from studies.questions.meter.places import Stand
from studies.questions.meter.sheets import meter_sheets
from studies.questions.meter.study import FIRST_TO_FILL, Meter

TO_FILL = "meter-to-fill.csv"


def meter_files(meter: Meter) -> dict[str, bytes]:
    """Make every file of a measuring plan; the same plan gives the same bytes.

    Returns
    -------
    dict of str to bytes
        ``meter-sheets.html`` and ``meter-to-fill.csv``, and ``driver-to-fill.csv`` where the driver
        is to be found first.
    """
    first = {FIRST_TO_FILL: first_to_fill(meter).encode("utf-8")} if meter.first_hung else {}
    return {
        "meter-sheets.html": meter_sheets(meter),
        TO_FILL: to_fill(meter).encode("utf-8"),
        **first,
    }


def to_fill(meter: Meter) -> str:
    """Write the CSV to fill in: a row for every place and band that is compared.

    `predicted_db` is the reading less that at the reference in the same band; `reading_db` is left
    empty for whatever the meter shows. Bands are named by their nominal centres, lengths are in
    the design's own unit.
    """
    rows = [
        (*_place(stand), _band(meter, band), f"{_relative(meter, place, band):.2f}", "")
        for place, stand, band in _compared(meter)
    ]
    remark = "# reading_db: what the meter shows; predicted_db: that less the reference's\n"
    return _head(meter) + remark + csv_lines([header(own_unit()), *rows])


def first_to_fill(meter: Meter) -> str:
    """Write the CSV of the readings that find the driver: the same rows under each that hung.

    Of a driver that nobody knows nothing is foretold: `predicted_db` is empty.
    """
    rows = [
        (*_place(stand), _band(meter, band), "", "", hung)
        for hung in meter.first_hung
        for _, stand, band in _compared(meter)
    ]
    remark = "# reading_db: what the meter shows; hung: over the driver meanwhile; touch no knob\n"
    return _head(meter) + remark + csv_lines([(*header(own_unit()), HUNG), *rows])


def _head(meter: Meter) -> str:
    """A remark with title and fingerprint."""
    # No commas and no quotation marks: the line is one cell, and begins with its #.
    title = " ".join(meter.design.title.split()).replace(",", ";").replace('"', "'")
    return f"{plain_cell('# ' + title)}; design {meter.design.fingerprint}\n"


def _compared(meter: Meter) -> Iterator[tuple[int, Stand, int]]:
    for place, stand in enumerate(meter.stands):
        for band in np.flatnonzero(meter.predicted.comparable[place]).tolist():
            yield place, stand, band


def _place(stand: Stand) -> tuple[str, ...]:
    at, unit = stand.position, own_unit()
    lengths = (_length_cell(length, unit) for length in (at.r, at.height))
    return at.name, *lengths, f"{at.azimuth_deg:g}"


def _band(meter: Meter, band: int) -> str:
    return f"{nominal_centre(meter.centres[band]):g}"


def _relative(meter: Meter, place: int, band: int) -> float:
    """What is predicted, of no minus zero."""
    return round(float(meter.relative_db[place, band]), 2) + 0.0


def _length_cell(metres: float, unit: str) -> str:
    """Write a length as a bare number: whole millimetres, or inches and decimals."""
    return f"{metres / INCH:.6g}" if unit == "in" else f"{metres * 1e3:.0f}"
