"""Files to take to the measurement: sheets to print, and a CSV file to fill in."""

from __future__ import annotations

from dispersion.bands import nominal_centre
from shapes.lengths import INCH, own_unit
from studies.answer.exports import csv_lines, plain_cell
from studies.measured.sheet import header
from studies.questions.meter.sheets import meter_sheets
from studies.questions.meter.study import Meter

TO_FILL = "meter-to-fill.csv"


def meter_files(meter: Meter) -> dict[str, bytes]:
    """Make every file of a measuring plan; the same plan gives the same bytes.

    Returns
    -------
    dict of str to bytes
        ``meter-sheets.html`` and ``meter-to-fill.csv``.
    """
    return {
        "meter-sheets.html": meter_sheets(meter),
        TO_FILL: to_fill(meter).encode("utf-8"),
    }


def to_fill(meter: Meter) -> str:
    """Write the CSV to fill in: a row for every place and band that is compared.

    `predicted_db` is the reading less that at the reference in the same band; `reading_db` is left
    empty for whatever the meter shows. Bands are named by their nominal centres, lengths are in
    the design's own unit.
    """
    unit = own_unit()
    # No commas and no quotation marks: the line is one cell, and begins with its #.
    title = " ".join(meter.design.title.split()).replace(",", ";").replace('"', "'")
    head = (
        f"{plain_cell('# ' + title)}; design {meter.design.fingerprint}\n"
        "# reading_db: what the meter shows; predicted_db: that less the reference's\n"
    )
    rows = [
        (
            stand.position.name,
            _length_cell(stand.position.r, unit),
            _length_cell(stand.position.height, unit),
            f"{stand.position.azimuth_deg:g}",
            f"{nominal_centre(centre):g}",
            f"{round(meter.relative_db[place, band], 2) + 0.0:.2f}",
            "",
        )
        for place, stand in enumerate(meter.stands)
        for band, centre in enumerate(meter.centres)
        if meter.predicted.comparable[place, band]
    ]
    return head + csv_lines([header(unit), *rows])


def _length_cell(metres: float, unit: str) -> str:
    """Write a length as a bare number: whole millimetres, or inches and decimals."""
    return f"{metres / INCH:.6g}" if unit == "in" else f"{metres * 1e3:.0f}"
