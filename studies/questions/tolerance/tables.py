"""What a millimetre costs: what to worry about, every size, the batch, band by band."""

from __future__ import annotations

import numpy as np

from studies.answer import cautions
from studies.answer.columns import band, fixed, in_words, number, text
from studies.answer.evidence import evidence_of
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.questions.tolerance.batch import Batch, Speaker
from studies.questions.tolerance.sensitivity import Sensitivity
from studies.questions.tolerance.study import Tolerance
from studies.questions.tolerance.words import (
    BY_RAYS,
    answer,
    askew_by,
    ears,
    ends_in_words,
    plus_minus,
)
from studies.solving.candidates import Row

_DECIMALS = {"mm": 2, "deg": 2, "K": 1}
_SURE = {
    "no difference": "-",
    "not asked": "",
    "cannot be told apart": "open",
    "turned round": "turned",
}
"""Verdicts as a narrow column has them."""


def tolerance_tables(found: Tolerance) -> Findings:
    """Put the answer to "what does a millimetre cost?" into words and tables."""
    return Findings(
        command="tolerance",
        design=found.design,
        answer=tuple(answer(found)),
        facts=_facts(found),
        tables=(
            _sizes(found),
            *_askew(found),
            _bands(found),
            _changes(found),
            _speakers(found.batch),
        ),
        evidence=evidence_of(_rows(found), found.nominal),
        cautions=(cautions.posts_alike(found.design.post_tolerance),),
    )


def _rows(found: Tolerance) -> list[Row]:
    """All that was solved throughout."""
    ends = [row for size in found.sizes for row in (size.minus, size.plus)]
    return [found.nominal, *ends, *found.batch.throughout]


def _facts(found: Tolerance) -> tuple[Fact, ...]:
    first, batch = found.worst, found.batch
    low, middle, high = map(_finite, batch.score_band_db)
    return (
        Fact("most_costly", first.dimension.name, "size to worry about most"),
        Fact("most_costly_db", first.cost_db, "what it costs within its tolerance, dB of score"),
        *_driver_facts(found),
        Fact("score_db", found.nominal.score, "score as written, dB; less is better"),
        Fact("yield_percent", 100.0 * batch.passing, "speakers that pass, per cent"),
        Fact("yield_error_percent", 100.0 * batch.passing_error, "its standard error, per cent"),
        Fact("yield_least_percent", _percent(batch.passing_between[0]), "if scores are too low, %"),
        Fact("yield_most_percent", _percent(batch.passing_between[1]), "if scores are too high, %"),
        Fact("batch_doubt_db", batch.doubt_db, "scores that are read may be off by, dB"),
        Fact("pass_within_db", batch.within_db, "a speaker passes within this of the score, dB"),
        Fact("samples", len(batch.speakers), "speakers in the batch"),
        Fact("failed", len(batch.speakers) - len(batch.known), "of them, that cannot be built"),
        Fact("solved_throughout", len(batch.throughout), "of them, solved in every third octave"),
        Fact("batch_score_5_percent_db", low, "5 % of the batch score less, dB"),
        Fact("batch_score_median_db", middle, "half of the batch score less, dB"),
        Fact("batch_score_95_percent_db", high, "95 % of the batch score less, dB"),
        Fact("rays_above_hz", _finite(found.meaningful_above_hz), "below it rays mean nothing, Hz"),
        *(
            Fact(
                f"{case.name.replace('-', '_')}_{'solved' if case.solved else 'by_rays'}_db",
                case.largest_db,
                f"{askew_by(found)}, dB",
            )
            for case in found.askew
        ),
    )


def _driver_facts(found: Tolerance) -> tuple[Fact, ...]:
    if not found.unknowns:
        return ()
    first = found.unknowns[0]
    return (
        Fact("unknown", first.dimension.name, "what nobody knows of the driver and costs most"),
        Fact("unknown_db", first.cost_db, "what it costs within what it may be, dB of score"),
        Fact("unknown_largest_db", first.largest_db, "largest change of a third octave then, dB"),
    )


def _percent(share: float) -> float | None:
    return _finite(100.0 * share)


def _signed(value: float) -> str:
    return f"{value:+z.2f}"


def _sizes(found: Tolerance) -> Table:
    columns = (
        text("size", "size", "what is off"),
        text("within", "within", "tolerance, with its unit"),
        TableColumn(
            "minus_score_db", "score\nat -", "change of score at the lower end, dB", _signed
        ),
        TableColumn(
            "plus_score_db", "score\nat +", "change of score at the upper end, dB", _signed
        ),
        number("cost_db", "cost", "most that the score worsens within the tolerance, dB"),
        TableColumn(
            "verdict",
            "sure",
            "whether it costs anything in other drivers and builds too",
            lambda verdict: _SURE.get(verdict, verdict),
            is_text=True,
        ),
        text("per", "per", "step for which slopes are told"),
        TableColumn("score_slope_db", "score\na step", "change of score per step, dB", _signed),
        TableColumn("bend_db", "bend", "mean of both changes of score, dB", _signed),
        number("curve_slope_db", "curve\na step", "rms over the bands at the seat per step, dB"),
        number(
            "curve_rms_db", "curve\nrms", "rms within the tolerance, worse end, dB", shown=False
        ),
        TableColumn("curve_largest_db", "most in\na band", "largest change of a band, dB", _signed),
        band("at"),
        text("reason", "reason", "why an end was not solved; empty if both were", shown=False),
    )
    return Table(
        "sizes",
        f"One at a time: what nobody knows of the driver, then sizes, by cost; curve at"
        f" {ears(found)}",
        columns,
        tuple(_size(found, size) for size in _all(found)),
        "changes in dB against the design as written; cost: the most the score worsens within the"
        " tolerance;\nsure: whether it is one in other drivers and builds, asked of the most costly"
        " sizes; open: cannot be told apart; turned: it pays in most; -: no difference by this"
        " file;\nbend: mean of both changes; where it is not small beside them, the change a"
        " step tells little; curve: rms over the bands;\ncone: the driver's; its loss: its"
        " admittance over that of the air",
        note_key="reason",
        mark_key="bend_db",
    )


def _all(found: Tolerance) -> tuple[Sensitivity, ...]:
    """What nobody knows of the driver, then every size."""
    return (*found.unknowns, *found.sizes)


def _size(found: Tolerance, size: Sensitivity) -> tuple[Value, ...]:
    dimension = size.dimension
    unit = dimension.unit
    solved = size.minus.solved or size.plus.solved
    return (
        dimension.name,
        ends_in_words(dimension),
        _finite(size.minus_db),
        _finite(size.plus_db),
        size.cost_db if solved else None,
        found.verdict_of(size),
        f"{unit.name}",
        size.slope_db if solved else None,
        _finite(size.bend_db),
        size.curve_slope_rms_db if solved else None,
        size.curve_rms_db if solved else None,
        size.largest_db if solved else None,
        size.largest_at_hz if solved else None,
        size.reason,
    )


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _askew(found: Tolerance) -> tuple[Table, ...]:
    if not found.askew:
        return ()
    how = askew_by(found)
    if how == BY_RAYS:
        title = f"Off-centre and tilt: {how}, not by the wave solver"
        where = in_words(found.meaningful_above_hz)
    else:
        title = "Off-centre and tilt, solved with an axis for each part"
        where = in_words(found.askew[0].frequencies[0])
    columns = (
        text("what", "reflector and plate", "how reflector and plate hang"),
        text("tolerance", "by", "tolerance, with its unit"),
        number("side_db", "at a seat on the\nworst side, dB", f"most in any band, dB, {how}"),
        band("at"),
        number("per_step_db", "per step,\ndB", f"the same per step, dB, {how}"),
        text("per", "step", "step for which it is told"),
        number("error_db", "scatter,\ndB", "standard error of the estimate at most, dB"),
    )
    rows = [
        (
            case.name,
            plus_minus(case.tolerance, case.unit),
            case.largest_db,
            case.largest_at_hz,
            case.per_unit_db,
            case.unit.name,
            case.error_db,
        )
        for case in found.askew
    ]
    return (
        Table(
            "askew",
            title,
            columns,
            tuple(rows),
            f"third octaves from {where} up, the window's level once round the column; in neither"
            " yield nor band",
        ),
    )


def _bands(found: Tolerance) -> Table:
    batch = found.batch
    columns = (
        band(),
        number("as_written_db", "as\nwritten", "level as written, dB", 1),
        number("low_db", "5 % lie\nbelow", "5 % of the speakers lie below, dB", 1),
        number("median_db", "half lie\nbelow", "half of the speakers lie below, dB", 1),
        number("high_db", "95 % lie\nbelow", "95 % of the speakers lie below, dB", 1),
        number("width_db", "width", "from 5 % to 95 %, dB", 1),
        number("doubt_db", "off by\nup to", "how far a level that is read may be off, dB", 1),
    )
    levels = zip(
        batch.nominal.coverage.centres,
        batch.written_db,
        *batch.seat_band_db,
        batch.seat_width_db,
        batch.curve_doubt_db,
        strict=True,
    )
    return Table(
        "bands",
        f"All sizes off at once: levels at {ears(found)}, dB re 0 dB",
        columns,
        tuple((float(row[0]), *(_finite(value) for value in row[1:])) for row in levels),
        f"{len(batch.known)} speakers; off by up to: levels that are read, on the"
        f" {len(batch.throughout)} speakers that were solved throughout",
    )


def _changes(found: Tolerance) -> Table:
    columns = (
        text("size", "size", "what is off"),
        band(),
        number("minus_db", "minus", "change of level at the lower end of the tolerance, dB"),
        number("plus_db", "plus", "change of level at the upper end of the tolerance, dB"),
        number("slope_db", "per step", "change per step, dB"),
    )
    rows = []
    for size in _all(found):
        changes = zip(
            found.nominal.coverage.centres, *size.curve_change_db, size.curve_slope_db, strict=True
        )
        rows += [
            (size.dimension.name, float(centre), *(_finite(value) for value in values))
            for centre, *values in changes
        ]
    title = f"Change of the curve at {ears(found)} by size"
    return Table("changes", title, columns, tuple(rows), scope="data")


def _speakers(batch: Batch) -> Table:
    columns = (
        text("speaker", "speaker", "number of the speaker"),
        *(
            TableColumn(
                f"{d.name.replace(' ', '_')}_off_{d.unit.symbol.lower()}",
                d.name,
                f"how far the {d.name} is off, {d.unit.symbol}",
                fixed(_DECIMALS[d.unit.symbol]),
            )
            for d in batch.dimensions
        ),
        number("score_db", "score", "score, dB; less is better"),
        text("found", "found", "solved throughout, or read from the sizes moved one at a time"),
        text("reason", "reason", "why it was not solved; empty if it was"),
    )
    scale = np.array([dimension.unit.per_symbol for dimension in batch.dimensions])
    rows = [
        (
            speaker.name,
            *map(float, off / scale),
            speaker.score if speaker.known else None,
            _found(speaker),
            speaker.reason,
        )
        for speaker, off in zip(batch.speakers, batch.changes, strict=True)
    ]
    return Table("speakers", "Every speaker of the batch", columns, tuple(rows), scope="data")


def _found(speaker: Speaker) -> str:
    if not speaker.known:
        return ""
    return "read" if speaker.row is None else "solved"
