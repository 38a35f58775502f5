"""The measuring plan to print: one page to work from, boxes to fill in, a row for each cut."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import in_both
from studies.answer import cautions
from studies.answer.charts.style import in_both_formats
from studies.answer.columns import fixed
from studies.answer.report.report import inline_svg
from studies.answer.report.sheets import WIDTH_IN, ReadingBox, SheetBlock, WrittenSheet, sheets_html
from studies.answer.table import joined
from studies.measured.hung import NOTHING
from studies.questions.meter.places_figures import places_figure
from studies.questions.meter.shaving import Shaving
from studies.questions.meter.study import Meter
from studies.questions.meter.words import (
    cautions_of,
    chances,
    far_enough,
    how_low,
    in_range,
    order_of_work,
    place_name,
    room_check,
    stopping,
    sum_range,
    to_write_down,
)

HEIGHT_IN = 2.4
"""Of the drawing of the places."""
AS_IT_HANGS = "as the file has it"
DRIFT_HZ = 1000.0
"""The band nearest to it is read again at the first place after each other."""


def meter_sheets(meter: Meter) -> bytes:
    """Write all sheets of a measuring plan as one HTML file."""
    sheets = [WrittenSheet("Measuring plan", tuple(_plan(meter)))]
    if meter.predicted.comparable.any():
        sheets += [
            WrittenSheet(f"To find the driver: {hung or AS_IT_HANGS}", (_first(meter, hung),))
            for hung in meter.first_hung
        ]
        sheets.append(WrittenSheet("Readings", tuple(_readings(meter))))
    if meter.shaving is not None and meter.shaving.shown:
        cuts = tuple(_cuts(meter, meter.shaving))
        sheets.append(WrittenSheet("After each cut, at the reference", cuts))
    return sheets_html(meter.design, sheets)


def _plan(meter: Meter) -> Iterator[SheetBlock]:
    title, size = "Where the meter stands, NOT TO SCALE", (WIDTH_IN, HEIGHT_IN)
    figure = places_figure(title, meter.assembly, meter.stands, size)
    drawn = in_both_formats(figure)["svg"].decode("utf-8")
    rows = tuple(
        (
            f"{number}",
            place_name(stand),
            in_both(stand.position.r),
            in_both(stand.position.height),
            f"{stand.position.azimuth_deg:.0f}\u00b0",
            f"{stand.first_bounce.delay * 1e3:.1f} ms, {stand.first_bounce.surface}",
        )
        for number, stand in enumerate(meter.stands, start=1)
    )
    yield SheetBlock(
        picture=inline_svg(drawn, "places"),
        columns=("", "place", "from the axis", "above the floor", "turn", "first bounce"),
        rows=rows,
        words=(0, 1, 5),
        points=how_low(meter),
    )
    if meter.selected:
        yield _telling(meter)
    yield SheetBlock(heading="In this order", points=order_of_work(meter))
    yield SheetBlock(heading="Take care", points=cautions_of(meter))


def _telling(meter: Meter) -> SheetBlock:
    sigma, rows = meter.contenders_uncertainty.difference_db, []
    low, high = meter.contenders_range_db
    for reading in meter.selected:
        place, band = meter.place_and_band(reading)
        name = meter.stands[place].position.name
        rows.append(
            (
                f"{band_label(meter.centres[band])} at {place + 1}, {name}",
                *map(in_range, low[:, place, band], high[:, place, band]),
                fixed(1)(sigma[place, band]),
            )
        )
    sizes = (in_both(contender.size) for contender in meter.question.contenders)
    return SheetBlock(
        heading=f"The few readings that tell which {meter.question.kind}",
        columns=("place less reference, dB", *sizes, "+/-"),
        rows=tuple(rows),
        text=f"Chance of taking one for the other then: {joined(chances(meter))}.",
    )


def _readings(meter: Meter) -> Iterator[SheetBlock]:
    """A box for every reading at every place."""
    comparable, (low, high) = meter.predicted.comparable, meter.relative_range_db
    selected = {meter.place_and_band(reading) for reading in meter.selected}
    bands = _bands(meter)
    rows: list[tuple[str | ReadingBox, ...]] = []
    for band in bands:
        boxes = (
            ReadingBox(
                predicted=in_range(low[place, band], high[place, band]) if place else "",
                telling=(place, band) in selected,
                asked=bool(comparable[place, band]),
            )
            for place in range(len(meter.stands))
        )
        rows.append((band_label(meter.centres[band]), *boxes))
    drift = min(bands, key=lambda band: abs(np.log(meter.centres[band] / DRIFT_HZ)))
    label = band_label(meter.centres[drift])
    rows.append((f"1 again,\n{label}", *(ReadingBox() for _ in meter.stands)))
    yield SheetBlock(
        columns=("", *_places(meter)),
        rows=tuple(rows),
        text="In each box what the meter shows, dB. Beside it what is predicted for the design as"
        " written (a range: what nine of ten drivers and builds show): that box less the box of"
        " place 1 in the same row. Thick red boxes tell most;"
        f" grey is not compared. Last row: after each place read {label} at place 1 again.",
        points=(
            f"Write down: {'; '.join(to_write_down(meter))}.",
            *room_check(meter),
            *far_enough(meter),
        ),
    )


def _bands(meter: Meter) -> list[int]:
    """Bands that are compared at any place."""
    return [int(band) for band in np.flatnonzero(meter.predicted.comparable.any(axis=0))]


def _places(meter: Meter) -> list[str]:
    return [
        f"{number}\n" + stand.position.name.replace(" ", "\n", 1)
        for number, stand in enumerate(meter.stands, start=1)
    ]


def _first(meter: Meter, hung: str) -> SheetBlock:
    """A box for every reading of one of the two measurements that find the driver."""
    over = {NOTHING: "reflector, plate and posts off", "": AS_IT_HANGS}.get(hung, f"{hung}, uncut")
    rows: list[tuple[str | ReadingBox, ...]] = []
    for band in _bands(meter):
        boxes = (ReadingBox(asked=bool(own)) for own in meter.predicted.comparable[:, band])
        rows.append((band_label(meter.centres[band]), *boxes))
    return SheetBlock(
        columns=("", *_places(meter)),
        rows=tuple(rows),
        text=f"Over the driver: {over}. In each box what the meter shows, dB. Grey is not compared."
        " Places and knobs stay as they are for both of these sheets; place 1 tells most.",
    )


def _cuts(meter: Meter, shaving: Shaving) -> Iterator[SheetBlock]:
    """A row of boxes for each cut."""
    (low, high), last = shaving.range_db, shaving.last
    rows: list[tuple[str | ReadingBox, ...]] = []
    for number, stop in enumerate(shaving.way):
        said = "" if number < last else " STOP" if number == last else " TOO FAR"
        gone = in_both(meter.question.cut_off(stop))
        boxes = (
            ReadingBox(
                predicted=in_range(low[number, band], high[number, band]) if number else "",
                telling=number == last and band in shaving.bands,
            )
            for band in shaving.shown
        )
        added = (_sum_box(shaving, number),) if shaving.tells else ()
        rows.append((f"keep {in_both(stop.size)}{said}\ncut off {gone}", *boxes, *added))
    summed = ("sum of changes",) if shaving.tells else ()
    yield SheetBlock(
        columns=("", *(band_label(meter.centres[band]) for band in shaving.shown), *summed),
        rows=tuple(rows),
        text="In each box what the meter shows at place 1 after the cut, dB, with all knobs as they"
        " were at the first row. Beside it what nine of ten drivers and builds show: that box less"
        " the box in the first row.",
        points=(*stopping(meter), cautions.SAFE_START, cautions.MEASURING[0]),
    )


def _sum_box(shaving: Shaving, number: int) -> ReadingBox:
    said = sum_range(*shaving.sum_range_db[:, number]) if number else ""
    return ReadingBox(predicted=said, telling=number == shaving.last)
