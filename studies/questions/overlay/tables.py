"""Tables of an overlay: positions, residuals by band, sizes off, every band level."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

import numpy as np

from shapes.lengths import in_own, own_unit
from studies.answer import cautions
from studies.answer.columns import band, fixed, mm, number, text
from studies.answer.evidence import evidence_of_responses
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.questions.overlay.fit_tables import finite, with_fit
from studies.questions.overlay.one_size_off import SizeOff
from studies.questions.overlay.study import Overlay, PositionResidual
from studies.questions.overlay.words import answer, removed_in_words, step_in_words

MOST_COLUMNS = 6
"""Positions whose differences stand side by side in print; more are in the files."""
COMPARED, GATED, UNREAD, FEW = "", "below the gate's limit", "not measured", "too few positions"


def overlay_tables(found: Overlay) -> Findings:
    """Return an overlay in sentences and tables."""
    findings = Findings(
        command="overlay",
        design=found.design,
        answer=tuple(answer(found)),
        facts=_facts(found),
        tables=(
            _positions(found),
            _differences(found),
            _sizes(found),
            _tried(found),
            _levels(found),
        ),
        evidence=evidence_of_responses(found.responses, found.predicted.response),
        cautions=(cautions.SWEEPS,),
    )
    return findings if found.fitted is None else with_fit(findings, found.fitted)


def _facts(found: Overlay) -> tuple[Fact, ...]:
    held, members = found.comparison, found.members_rms_db
    position, at = held.worst_at
    best = found.best_by_size[0] if found.best_by_size else None
    return (
        Fact("explained", held.explained, "no more is left than the uncertainties leave"),
        Fact("rms_db", held.rms_db, "what is left of the differences, rms, dB"),
        Fact("expected_db", held.expected_db, "rms that the uncertainties leave, dB"),
        Fact("compared", held.count, "differences compared"),
        Fact("beyond", held.beyond, "of them beyond two standard deviations"),
        Fact("worst_db", held.worst_db, "largest difference, measured less predicted, dB"),
        Fact("worst_position", found.positions[position].name, "where that is"),
        Fact("worst_hz", float(found.measured.centres[at]), "in which band, Hz"),
        Fact("offset_db", held.offset_db, "level removed from all positions alike, dB"),
        Fact("driver_removed", held.driver_removed, "the driver's own curve was removed"),
        Fact("distance_only_rms_db", found.distance_only.rms_db, "rms with distances alone, dB"),
        Fact("foreseen_db", found.predicted_spread_db, "foreseen between positions, rms, dB"),
        Fact("round_db", finite(found.round_db), "scatter round the column, dB"),
        Fact("culprit", found.culprits[0].dimension.name if found.culprits else None,
             "size that would explain the rest best; none if none does noticeably"),
        Fact("weighed_db", held.weighed_db, "what is left, weighed as the sizes are, dB"),
        Fact("best_rms_db", finite(best.rms_db) if best else None, "rms with the best size, dB"),
        Fact("best_weighed_db", finite(best.weighed_db) if best else None, "weighed with it, dB"),
        Fact("nearest_member_rms_db", float(members.min()) if members.size else None,
             "rms with the driver and build of the ensemble that leaves least, dB"),
        *_off_axis(found),
        Fact("measurement_sha256", _digest(found), "of positions, frequencies and levels read"),
    )  # fmt: skip


def _off_axis(found: Overlay) -> tuple[Fact, ...]:
    fit = found.off_axis
    if fit is None:
        return ()
    return (
        Fact("off_axis_mm", mm(fit.shift), "shift that the azimuths call for, mm"),
        Fact("off_axis_error_mm", mm(fit.uncertainty), "its standard deviation, mm"),
        Fact("off_axis_towards_deg", fit.towards_deg, "to which azimuth, degrees"),
    )


def _digest(found: Overlay) -> str:
    parts = hashlib.sha256()
    for one in found.measurements:
        parts.update(repr(one.position).encode())
        parts.update(one.frequencies.tobytes() + one.level_db.tobytes())
    return parts.hexdigest()


def _signed(value: float) -> str:
    return f"{value:+z.1f}"


def signed(key: str, heading: str, description: str) -> TableColumn:
    """Column of differences in dB with their sign."""
    return TableColumn(key, heading, description, _signed)


def _place(metres: float) -> str:
    """A distance of the meter as on a tape: in inches, or in metres to the millimetre."""
    return in_own(metres) if own_unit() == "in" else f"{metres:.3f} m"


def _positions(found: Overlay) -> Table:
    columns = (
        text("position", "position", "name of the position"),
        TableColumn("distance_m", "distance", "from the column's axis, m", _place),
        TableColumn("height_m", "height", "above the floor, m", _place),
        number("elevation_deg", "elevation\ndeg", "seen from the ring, degrees", 1),
        number("azimuth_deg", "azimuth\ndeg", "from the first post, degrees", 0),
        number("gate_limit_hz", "gate\nlimit, Hz", "below it nothing is compared, Hz", 0),
        number("bands", "bands", "bands compared", 0),
        signed("mean_db", "mean\ndB", "mean difference, measured less predicted, dB"),
        number("rms_db", "rms\ndB", "of the differences, dB", 1),
        signed("worst_db", "worst\ndB", "largest difference, dB"),
        band("at"),
        text("source", "file", "file it was read from", shown=False),
    )
    return Table(
        "positions",
        f"Position by position: measured less predicted, dB, {removed_in_words(found)}",
        columns,
        tuple(_position(found, *row) for row in enumerate(found.by_position)),
    )


def _position(found: Overlay, at: int, residual: PositionResidual | None) -> tuple[Value, ...]:
    one, place = found.measurements[at], found.positions[at]
    numbers: tuple[Value, ...] = (0, None, None, None, None)
    if residual is not None:
        levels = (residual.mean_db, residual.rms_db, residual.worst_db, residual.worst_hz)
        numbers = (residual.count, *levels)
    where = (place.name, place.r, place.height, found.elevations_deg[at], place.azimuth_deg)
    return (*where, one.gate_limit_hz or None, *numbers, one.source)


def _differences(found: Overlay) -> Table:
    held = found.comparison
    columns = (
        band(),
        signed("driver_curve_db", "driver\nremoved", "removed from all positions alike, dB"),
        number("rms_db", "rms", "of the differences over the positions, dB", 1),
        *(
            signed(f"position_{n}_db", _short(at.name), f"measured less predicted at {at.name}, dB")
            for n, at in enumerate(found.positions, start=1)
        ),
    )
    levels = zip(
        found.measured.centres,
        held.driver_db,
        held.rms_by_band_db,
        *held.difference_db,
        strict=True,
    )
    narrow = len(found.positions) <= MOST_COLUMNS
    return Table(
        "differences",
        f"Band by band: measured less predicted, dB, {removed_in_words(found)}",
        columns,
        tuple((float(row[0]), *map(finite, row[1:])) for row in levels),
        "- where nothing is compared: not measured, below the gate's limit, or too few positions",
        scope="printed" if narrow else "data",
    )


def _short(name: str) -> str:
    """Name over at most two short lines."""
    words, lines = name.split(), [""]
    for word in words:
        if lines[-1] and len(lines[-1]) + len(word) > 9 and len(lines) < 3:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return "\n".join(lines)


def _sizes(found: Overlay) -> Table:
    rows = [(*_change(one), finite(found.fall_db(one)), one.reason) for one in found.best_by_size]
    columns = (
        *_CHANGE,
        signed("fall_db", "it falls\nby, dB", "weighed, less than as written by, dB"),
        text("reason", "reason", "why it cannot be built; empty if it can", shown=False),
    )
    return Table(
        "sizes",
        "What one size off would leave: the best change of each",
        columns,
        tuple(rows),
        f"as written {found.comparison.rms_db:.2f} dB, weighed"
        f" {found.comparison.weighed_db:.2f} dB. Weighed: by the covariance of model, meter, driver"
        " and build, so that what another driver would leave as well counts little; a fall of less"
        " than 0.1 dB or a tenth may be chance",
        note_key="reason",
        mark_key="weighed_db",
    )


_CHANGE = (
    text("size", "size", "what is moved"),
    TableColumn("change", "by", "how far, in its unit", fixed(1), shown=False),
    TableColumn("unit", "", "unit of the change", is_text=True, shown=False),
    text("change_in_words", "by", "how far, in the unit of the design"),
    number("rms_db", "rms left\ndB", "of the differences, level and driver removed again, dB"),
    number("weighed_db", "weighed\ndB", "the same, weighed by the covariance of its errors, dB"),
)


def _change(one: SizeOff) -> tuple[Value, ...]:
    unit = one.dimension.unit
    words = step_in_words(unit, one.change / unit.size)
    change = one.change / unit.per_symbol
    left = finite(one.rms_db), finite(one.weighed_db)
    return one.dimension.name, change, unit.symbol, words, *left


def _tried(found: Overlay) -> Table:
    columns = (*_CHANGE, text("reason", "reason", "why it cannot be built; empty if it can"))
    held = found.tried_as_written
    return Table(
        "tried",
        f"Every change tried, at four frequencies a band (as written {held.rms_db:.2f} dB, weighed"
        f" {held.weighed_db:.2f} dB)",
        columns,
        tuple((*_change(one), one.reason) for one in found.tried),
        scope="data",
    )


def _levels(found: Overlay) -> Table:
    columns = (
        text("position", "position", "name of the position"),
        band(),
        number("measured_db", "measured", "as measured, dB of its own reference"),
        number("aligned_db", "aligned", "level and driver curve removed, dB re 0 dB at 1 m"),
        number("predicted_db", "predicted", "dB re 0 dB at 1 m"),
        number("low_db", "low", "lower end of nine of ten drivers and builds, dB"),
        number("high_db", "high", "upper end of them, dB"),
        number("difference_db", "difference", "aligned less predicted where compared, dB"),
        text("not_compared", "not compared", "why not; empty if it is"),
    )
    return Table("levels", "Every band level", columns, tuple(_level_rows(found)), scope="data")


def _level_rows(found: Overlay) -> Iterator[tuple[Value, ...]]:
    gated, aligned, levels = found.gated, found.aligned_db, found.predicted.level_db
    for (at, n), residual in np.ndenumerate(found.comparison.difference_db):
        measured, why = found.whole_db[at, n], COMPARED
        if not np.isfinite(residual):
            why = GATED if gated[at, n] else FEW if np.isfinite(measured) else UNREAD
        yield (
            found.positions[at].name,
            float(found.measured.centres[n]),
            *map(finite, map(float, (measured, aligned[at, n], levels[at, n]))),
            *map(float, found.range_db[:, at, n]),
            finite(residual),
            why,
        )
