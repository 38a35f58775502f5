"""A measurement over the model: verdict, positions, differences, what would explain them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

import numpy as np

from dispersion.response import Response
from studies.answer import cautions
from studies.answer.columns import band, fixed, number, text
from studies.answer.evidence import evidence_of_responses
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.questions.overlay.fit_tables import with_fit
from studies.questions.overlay.study import Overlay, SizeOff
from studies.questions.overlay.words import answer

MOST_COLUMNS = 6
"""Positions whose differences stand side by side in print; more are in the files."""
COMPARED, GATED, UNREAD, FEW = "", "below the gate's limit", "not measured", "too few positions"


def overlay_tables(found: Overlay) -> Findings:
    """Put the answer to "does the measurement bear the model out?" into words and tables."""
    findings = Findings(
        "overlay",
        found.design,
        tuple(answer(found)),
        _facts(found),
        (_positions(found), _differences(found), _sizes(found), _tried(found), _levels(found)),
        evidence_of_responses(_responses(found), found.predicted.response),
        (cautions.SWEEPS,),
    )
    return findings if found.fitted is None else with_fit(findings, found.fitted)


def _responses(found: Overlay) -> list[Response]:
    sizes = (*found.tried, *found.best_by_size)
    solved = [one.response for one in sizes if one.response is not None]
    fitted = [] if found.fitted is None else [found.fitted.response]
    return [found.predicted.response, *solved, *fitted]


def _facts(found: Overlay) -> tuple[Fact, ...]:
    held = found.comparison
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
        Fact("foreseen_db", found.foreseen_db, "foreseen between positions, rms, dB"),
        Fact("round_db", _finite(found.round_db), "scatter round the column, dB"),
        Fact("culprit", found.culprits[0].dimension.name if found.culprits else None,
             "size that would explain the rest best; none if none does noticeably"),
        Fact("best_rms_db", _finite(best.rms_db) if best else None, "rms with the best size, dB"),
        Fact("measurement_sha256", _digest(found), "of positions, frequencies and levels read"),
    )  # fmt: skip


def _digest(found: Overlay) -> str:
    parts = hashlib.sha256()
    for one in found.measurements:
        parts.update(repr(one.position).encode())
        parts.update(one.frequencies.tobytes() + one.level_db.tobytes())
    return parts.hexdigest()


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _signed(value: float) -> str:
    return f"{round(value, 1) + 0.0:+.1f}"


def signed(key: str, heading: str, description: str) -> TableColumn:
    """Column of differences in dB with their sign."""
    return TableColumn(key, heading, description, _signed)


def _positions(found: Overlay) -> Table:
    columns = (
        text("position", "position", "name of the position"),
        number("distance_m", "distance\nm", "from the column's axis, m"),
        number("height_m", "height\nm", "above the floor, m"),
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
        f"Position by position: measured less predicted, dB, {_removed(found)}",
        columns,
        tuple(_position(found, number) for number in range(len(found.positions))),
    )


def _removed(found: Overlay) -> str:
    return "level and driver curve removed" if found.comparison.driver_removed else "level removed"


def _position(found: Overlay, at: int) -> tuple[Value, ...]:
    one, place = found.measurements[at], found.positions[at]
    left = found.comparison.difference_db[at]
    known = np.isfinite(left)
    told: tuple[Value, ...] = (0, None, None, None, None)
    if known.any():
        worst = int(np.argmax(np.nan_to_num(np.abs(left))))
        told = (
            int(known.sum()),
            float(left[known].mean()),
            float(found.comparison.rms_by_position_db[at]),
            float(left[worst]),
            float(found.measured.centres[worst]),
        )
    where = (place.name, place.r, place.height, found.elevations_deg[at], place.azimuth_deg)
    return (*where, one.gate_limit_hz or None, *told, one.source)


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
        f"Band by band: measured less predicted, dB, {_removed(found)}",
        columns,
        tuple((float(row[0]), *map(_finite, row[1:])) for row in levels),
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
    rms = found.comparison.rms_db
    rows = [(*_change(one), _fall(rms, one.rms_db), one.reason) for one in found.best_by_size]
    columns = (
        *_CHANGE,
        signed("fall_db", "rms falls\nby, dB", "less than as written by, dB"),
        text("reason", "reason", "why it cannot be built; empty if it can", shown=False),
    )
    return Table(
        "sizes",
        "What one size off would leave: the best change of each",
        columns,
        tuple(rows),
        f"as written {rms:.2f} dB; a fall of less than 0.1 dB or a tenth may be chance",
        note_key="reason",
        mark_key="rms_db",
    )


_CHANGE = (
    text("size", "size", "what is moved"),
    TableColumn("change", "by", "how far, in its unit", fixed(1)),
    text("unit", "", "unit of the change"),
    number("rms_db", "rms left\ndB", "of the differences, level and driver removed again, dB"),
)


def _change(one: SizeOff) -> tuple[Value, ...]:
    unit = one.dimension.unit
    return one.dimension.name, one.change / unit.per_symbol, unit.symbol, _finite(one.rms_db)


def _fall(rms: float, left: float) -> float | None:
    return _finite(rms - left)


def _tried(found: Overlay) -> Table:
    columns = (*_CHANGE, text("reason", "reason", "why it cannot be built; empty if it can"))
    return Table(
        "tried",
        f"Every change tried, at four frequencies a band (as written {found.tried_rms_db:.2f} dB)",
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
        number("difference_db", "difference", "aligned less predicted where compared, dB"),
        text("not_compared", "not compared", "why not; empty if it is"),
    )
    return Table("levels", "Every band level", columns, tuple(_level_rows(found)), scope="data")


def _level_rows(found: Overlay) -> Iterator[tuple[Value, ...]]:
    difference = found.comparison.difference_db
    for (at, n), left in np.ndenumerate(difference):
        measured, aligned = found.whole_db[at, n], found.aligned_db[at, n]
        why = COMPARED
        if not np.isfinite(left):
            gated = np.isfinite(measured) and not np.isfinite(found.measured.level_db[at, n])
            why = GATED if gated else FEW if np.isfinite(measured) else UNREAD
        yield (
            found.positions[at].name,
            float(found.measured.centres[n]),
            *map(_finite, (measured, aligned, found.predicted.level_db[at, n], left)),
            why,
        )
