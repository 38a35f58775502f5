"""The measuring plan in tables: places, predicted readings, those to take, change by each cut."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import in_own
from studies.answer.columns import band, length, mm, number, text
from studies.answer.evidence import evidence_of_responses
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.questions.meter.places import Stand
from studies.questions.meter.shaving import Shaving
from studies.questions.meter.study import Meter
from studies.questions.meter.words import (
    answer,
    azimuth_words,
    band_range,
    cautions_of,
    how_sure,
    in_range,
    order_of_work,
    percent,
    place_name,
    sum_in_words,
    sum_range,
    to_write_down,
)


def meter_tables(meter: Meter) -> Findings:
    """Return the measuring plan in sentences and tables."""
    asked = [row.response for row in meter.question.rows if row.solved]
    cuts = meter.shaving
    shaving = () if cuts is None else (_shaving(meter, cuts), _shaving_bands(meter, cuts))
    return Findings(
        command="meter",
        design=meter.design,
        answer=answer(meter),
        facts=_facts(meter),
        tables=(
            _places(meter),
            *((_selected(meter), _pairs(meter)) if meter.selected else ()),
            *shaving[:1],
            _readings(meter),
            _sentences("work", "In this order", order_of_work(meter)),
            _sentences("notes", "Write down", to_write_down(meter)),
            *shaving[1:],
            _predictions(meter),
            *(() if meter.nothing_hangs else (_candidates(meter),)),
        ),
        evidence=evidence_of_responses([*asked, *meter.responses], meter.responses[0]),
        cautions=cautions_of(meter),
    )


def _facts(meter: Meter) -> tuple[Fact, ...]:
    reference = meter.stands[0]
    bands = meter.compared_centres
    return (
        Fact("instrument", meter.measuring.instrument, "what is measured with"),
        Fact("reference_distance_mm", mm(reference.position.r), "from the axis, mm"),
        Fact("reference_height_mm", mm(reference.position.height), "above the floor, mm"),
        Fact("reference_azimuth_deg", reference.position.azimuth_deg, "from the first post"),
        Fact(
            "first_bounce_ms",
            reference.first_bounce.delay * 1e3,
            "delay of the first bounce at the reference, ms",
        ),
        Fact("one_period_hz", reference.one_period_hz, "1 / that delay, Hz"),
        Fact("resolved_hz", reference.resolved_hz, "where a third octave is as wide as that, Hz"),
        Fact("lowest_band_hz", float(bands[0]) if bands.size else None, "lowest band compared, Hz"),
        Fact("whole_pattern_below_hz", meter.whole_pattern_below_hz, "c R / D^2, Hz"),
        Fact("telling_readings", len(meter.selected), "how many readings are called telling"),
        Fact(
            "largest_chance_of_mistake",
            meter.largest_confusion,
            "of taking one candidate for another, after them",
        ),
        *_stopping_facts(meter),
    )


def _stopping_facts(meter: Meter) -> tuple[Fact, ...]:
    shaving = meter.shaving
    if shaving is None or shaving.rule is None:
        return ()
    return (
        Fact("chance_of_a_good_stop", shaving.chance, "of a stop within near-best by the meter"),
        Fact("stop_at_db", shaving.rule.threshold_db, "threshold of the sum of changes, dB"),
    )


def _places(meter: Meter) -> Table:
    columns = (
        text("position", "place", "name of the place"),
        length("distance_mm", "from the axis", "level distance from the axis", short=True),
        length("height_mm", "height", "above the floor", short=True),
        number("elevation_deg", "angle\ndeg", "above horizontal, seen from the ring, degrees", 0),
        number("azimuth_deg", "turn\ndeg", "from the first post, anticlockwise from above", 0),
        text("round", "", "where that is", shown=False),
        number("first_bounce_ms", "bounce\nms", "first bounce behind the direct sound, ms", 1),
        text("surface", "off the", "surface of the first bounce"),
        number("one_period_hz", "1 period\nHz", "1 / that delay, Hz", 0),
        text("purpose", "", "what a reading there is good for", shown=False),
    )
    return Table(
        "places",
        "Where the meter stands",
        columns,
        tuple(_place(meter, stand) for stand in meter.stands),
        "\n".join(f"{stand.position.name}: {stand.purpose}" for stand in meter.stands),
    )


def _place(meter: Meter, stand: Stand) -> tuple[Value, ...]:
    position, bounce = stand.position, stand.first_bounce
    return (
        position.name,
        mm(position.r),
        mm(position.height),
        stand.elevation_deg,
        position.azimuth_deg,
        azimuth_words(meter, stand),
        bounce.delay * 1e3,
        bounce.surface,
        stand.one_period_hz,
        stand.purpose,
    )


def _selected(meter: Meter) -> Table:
    ranges, written = meter.contenders_range_db, meter.contenders_relative_db
    sigma = meter.contenders_uncertainty.difference_db
    rows: list[tuple[Value, ...]] = []
    for reading in meter.selected:
        place, at = meter.place_and_band(reading)
        levels = zip(ranges[:, :, place, at].T, written[:, place, at], strict=True)
        rows.append(
            (
                float(meter.centres[at]),
                place_name(meter.stands[place]),
                *(cell for each in levels for cell in _range_cells(*each)),
                float(sigma[place, at]),
            )
        )
    candidates = (
        column
        for n, contender in enumerate(meter.question.contenders, start=1)
        for column in _range_columns(
            f"candidate_{n}",
            in_own(contender.size),
            f"predicted for {meter.question.kind} {in_own(contender.size)}, dB re the reference",
        )
    )
    columns = (
        band(),
        text("position", "place", "where it is read"),
        *candidates,
        number("uncertainty_db", "+/-", "standard deviation of the difference, dB", 1),
    )
    return Table(
        "telling",
        f"The few readings that tell which {meter.question.kind}, dB re the reference",
        columns,
        tuple(rows),
        f"what nine of ten drivers and builds show; {how_sure(meter)}",
    )


def _range_columns(key: str, heading: str, description: str) -> tuple[TableColumn, ...]:
    """Columns of a level that hangs on the driver: a range in print, numbers in files."""
    return (
        text(f"{key}_words", heading, f"{description}, in nine of ten drivers and builds"),
        number(f"{key}_db", heading, f"{description}, by the file", 1, shown=False),
        number(f"{key}_low_db", heading, f"{description}, lower end", 1, shown=False),
        number(f"{key}_high_db", heading, f"{description}, upper end", 1, shown=False),
    )


def _range_cells(ends: np.ndarray, written: float) -> tuple[Value, ...]:
    low, high = map(float, ends)
    return in_range(low, high), float(written), low, high


def _pairs(meter: Meter) -> Table:
    sizes = [mm(contender.size) for contender in meter.question.contenders]
    columns = (
        length("first_mm", "one", "one candidate", short=True),
        length("second_mm", "other", "the other", short=True),
        TableColumn("chance_of_mistake", "mistaken", "chance of taking one for the other", percent),
    )
    rows = tuple((sizes[i], sizes[j], chance) for (i, j), chance in meter.confusion.items())
    return Table("pairs", "What they tell apart", columns, rows, scope="data")


def _shaving(meter: Meter, shaving: Shaving) -> Table:
    names = ["near-best" if good else "" for good in shaving.good]
    names[shaving.last :] = ["best", "too far"]
    changes = tuple(
        column
        for at in shaving.shown
        for column in _range_columns(
            f"change_{round(meter.centres[at])}_hz",
            band_label(meter.centres[at]),
            f"change since the first reading in the {band_label(meter.centres[at])} band, dB",
        )
    )
    columns = (
        length("keep_mm", "keep", "apex to flat", short=True),
        length("cut_off_mm", "cut off", "what is gone of the ball", short=True),
        *changes,
        text("sum", "sum", "what is added up, in nine of ten drivers and builds, dB"),
        text("standing", "", "where to stop"),
    )
    rows: tuple[tuple[Value, ...], ...] = tuple(
        (
            mm(stop.size),
            mm(meter.question.cut_off(stop)),
            *(
                cell
                for at in shaving.shown
                for cell in _range_cells(shaving.range_db[:, n, at], shaving.change_db[n, at])
            ),
            sum_range(*shaving.sum_range_db[:, n]) if shaving.tells else "",
            names[n],
        )
        for n, stop in enumerate(shaving.way)
    )
    told = f"; sum: {sum_in_words(meter, shaving.rule)}" if shaving.rule and shaving.tells else ""
    return Table(
        "shaving",
        "After each cut, at the reference: change since the first reading, dB",
        columns,
        rows,
        f"what nine of ten drivers and builds show{told}",
    )


def _shaving_bands(meter: Meter, shaving: Shaving) -> Table:
    columns = (
        number("keep_mm", "keep", "apex to flat, mm"),
        band(),
        number("change_db", "change", "level at the reference less that under the first cap, dB"),
        number("low_db", "low", "the same at the lower end of nine of ten members, dB"),
        number("high_db", "high", "the same at the upper end, dB"),
        number("uncertainty_db", "+/-", "standard deviation of such a change, dB"),
    )
    low, high = shaving.range_db
    rows = tuple(
        (mm(stop.size), *map(float, values))
        for stop, *changes in zip(
            shaving.way,
            shaving.change_db,
            low,
            high,
            shaving.uncertainty_db,
            strict=True,
        )
        for values in zip(meter.centres, *changes, strict=True)
    )
    return Table("shaving_bands", "Shaving by third octave", columns, rows, scope="data")


def _readings(meter: Meter) -> Table:
    columns = (
        band(),
        *(
            column
            for n, stand in enumerate(meter.stands[1:], start=2)
            for column in _range_columns(
                f"place_{n}",
                stand.position.name.replace(" ", "\n"),
                f"predicted at {stand.position.name} less the reference, dB; none: not compared",
            )
        ),
    )
    comparable, ranges = meter.predicted.comparable, meter.relative_range_db
    rows = tuple(
        (
            float(centre),
            *(
                cell
                for place in range(1, len(meter.stands))
                for cell in (
                    _range_cells(ranges[:, place, at], meter.relative_db[place, at])
                    if comparable[place, at]
                    else (None, None, None, None)
                )
            ),
        )
        for at, centre in enumerate(meter.centres)
        if comparable[:, at].any()
    )
    return Table(
        "readings",
        "Predicted readings for the design as written: dB re the reference in the same band",
        columns,
        rows,
        f"-: below the honest limit there, not compared; the reference itself: {band_range(meter)}",
    )


def _predictions(meter: Meter) -> Table:
    predicted, (low, high) = meter.predicted, meter.relative_range_db
    columns = (
        text("position", "place", "name of the place"),
        band(),
        number("predicted_db", "predicted", "level less that at the reference, dB"),
        number("low_db", "low", "the same at the lower end of nine of ten members, dB"),
        number("high_db", "high", "the same at the upper end, dB"),
        number("uncertainty_db", "+/-", "standard deviation of the difference, dB"),
        number("late_room_db", "room", "what the room's late sound adds to the difference, dB"),
        number("level_db", "level", "predicted level, dB re the house's 0 dB at 1 m"),
        TableColumn("compared", "compared", "whether it is above the honest limit", str),
    )
    rows = tuple(
        (
            stand.position.name,
            float(centre),
            float(meter.relative_db[place, at]),
            float(low[place, at]),
            float(high[place, at]),
            float(meter.uncertainty_db[place, at]),
            float(predicted.late_db[place, at]),
            float(predicted.level_db[place, at]),
            bool(predicted.comparable[place, at]),
        )
        for place, stand in enumerate(meter.stands)
        for at, centre in enumerate(meter.centres)
    )
    return Table("predictions", "Every predicted reading", columns, rows, scope="data")


def _candidates(meter: Meter) -> Table:
    lows, highs = meter.contenders_range_db
    columns = (
        number("size_mm", "size", f"{meter.question.kind} of the candidate, mm"),
        text("position", "place", "name of the place"),
        band(),
        number("predicted_db", "predicted", "level less that at the reference, dB"),
        number("low_db", "low", "the same at the lower end of nine of ten members, dB"),
        number("high_db", "high", "the same at the upper end, dB"),
    )
    rows = tuple(
        (
            mm(contender.size),
            stand.position.name,
            float(centre),
            float(levels[place, at]),
            float(low[place, at]),
            float(high[place, at]),
        )
        for contender, levels, low, high in zip(
            meter.question.contenders,
            meter.contenders_relative_db,
            lows,
            highs,
            strict=True,
        )
        for place, stand in enumerate(meter.stands)
        for at, centre in enumerate(meter.centres)
    )
    return Table("candidates", "What each candidate predicts", columns, rows, scope="data")


def _sentences(name: str, title: str, sentences: tuple[str, ...]) -> Table:
    columns = (text("words", "", title),)
    return Table(name, title, columns, tuple((sentence,) for sentence in sentences))
