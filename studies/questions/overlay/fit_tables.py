"""Tables of a fit, added to those of an overlay: sizes, residuals by position and band."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shapes.lengths import in_own, own_unit
from studies.answer.columns import band, both_short, both_units, number, text
from studies.answer.table import Fact, Findings, Table, Value
from studies.questions.overlay.fit_words import fit_words
from studies.questions.overlay.fitting import Fitted, SizeEstimate


def with_fit(findings: Findings, fitted: Fitted) -> Findings:
    """Return findings of an overlay with those of its fit added."""
    return replace(
        findings,
        answer=(*findings.answer, *fit_words(fitted)),
        facts=(*findings.facts, *_facts(fitted)),
        tables=(*fitting_tables(fitted), *findings.tables),
    )


def fitting_tables(fitted: Fitted) -> tuple[Table, ...]:
    """Return tables of sizes, of residuals by position and by band, and of correlations."""
    return (_sizes(fitted), _positions(fitted), _bands(fitted), _correlations(fitted))


def _facts(fitted: Fitted) -> tuple[Fact, ...]:
    residuals, held = fitted.residuals, fitted.held_out
    return (
        Fact(
            "fit_rms_written_db",
            residuals.rms_written_db,
            "readings less model as written, rms, dB",
        ),
        Fact("fit_rms_db", residuals.rms_fitted_db, "readings less model as fitted, rms, dB"),
        Fact(
            "fit_held_out_written_db",
            None if held is None else held.rms_written_db,
            "angles left out, as written, rms, dB",
        ),
        Fact(
            "fit_held_out_db",
            None if held is None else held.rms_fitted_db,
            "angles left out, foretold by the rest, rms, dB",
        ),
        Fact("fit_readings", fitted.reading_count, "readings that count"),
        Fact("fit_free", fitted.free, "readings less the numbers removed from them"),
        Fact("fit_curve_removed", fitted.curve_removed, "what all positions share was removed"),
        Fact("fit_level_db", fitted.level_db, "level fitted along, measured less predicted, dB"),
        Fact("fit_level_error_db", fitted.level_error_db, "half of its 95 % interval, dB"),
        Fact("fit_stated_db", fitted.stated_db, "stated of model and meter, dB"),
        Fact("fit_scale_db", fitted.sigma_db, "what a reading is taken to be off by, dB"),
        Fact("fit_freedom", fitted.freedom, "degrees of freedom of the t-distribution"),
        Fact("fit_evaluations", fitted.evaluations, "solves of the whole band"),
        Fact("fit_settled", fitted.settled, "the search stood still"),
    )


def _sizes(fitted: Fitted) -> Table:
    columns = (
        text("size", "size", "what was fitted"),
        text("unit", "unit", "unit of the numbers", shown=False),
        text("unit_in_words", "unit", "unit of the words, first"),
        text("written_words", "written", "as written"),
        text("fitted_words", "fitted", "as fitted"),
        text("interval_words", "95 % interval", "95 % interval"),
        text("prior_words", "taken\nwithin", "one standard deviation of the prior"),
        number("told", "width\nleft", "standard deviation over that of the prior"),
        text("remark", "", "at a bound, or not told by the readings"),
        number("written", "written", "as written, in its unit", 3, shown=False),
        number("fitted", "fitted", "as fitted, in its unit", 3, shown=False),
        number("low", "from", "lower end of the 95 % interval, in its unit", 3, shown=False),
        number("high", "to", "upper end of the 95 % interval, in its unit", 3, shown=False),
        number("prior", "prior", "its standard deviation, unit or octaves", 3, shown=False),
    )
    return Table(
        "fit",
        f"Sizes fitted to the readings; lengths: {both_units()}",
        columns,
        tuple(map(_size, fitted.estimates)),
        "width left: standard deviation over that of what is written; near 1 the readings say"
        " nothing, near 0 they say it all",
    )


def _size(one: SizeEstimate) -> tuple[Value, ...]:
    size = one.parameter
    values = tuple(map(size.in_print, (size.written, one.value, one.low, one.high)))
    written, value = (_in_print(one, number) for number in values[:2])
    prior = size.prior if size.octaves else size.in_print(size.prior)
    within = f"{prior:.2g} octave" if size.octaves else f"{prior:.2g} {size.unit.symbol}"
    if size.unit.symbol == "mm" and own_unit() == "in":
        within = in_own(size.prior)
    return (
        size.name,
        size.unit.symbol,
        own_unit() if size.unit.symbol == "mm" else size.unit.symbol,
        written,
        value,
        _interval(one, *values[2:]),
        f"+-{within}",
        one.width_left,
        "at its bound" if one.at_bound else "" if one.determined else "not told",
        *values,
        prior,
    )


def _interval(one: SizeEstimate, low: float, high: float) -> str:
    """Both ends, lengths in the design's own unit alone."""
    if one.parameter.unit.symbol == "mm":
        unit = f" {own_unit()}"
        return " to ".join(in_own(end * 1e-3).removesuffix(unit) for end in (low, high))
    return f"{_in_print(one, low)} to {_in_print(one, high)}"


def _in_print(one: SizeEstimate, value: float) -> str:
    unit = one.parameter.unit.symbol
    if unit == "mm":
        return both_short(value)
    return f"{value:.0f}" if unit == "Hz" else f"{value:.1f}"


def _positions(fitted: Fitted) -> Table:
    columns = (
        text("position", "position", "name of the position"),
        number("readings", "readings", "that count", 0),
        number("written_db", "as\nwritten", "readings less model as written, rms, dB"),
        number("fitted_db", "fitted", "readings less model as fitted, rms, dB"),
        number("held_out_written_db", "left out,\nas written", "foretold as written, rms, dB"),
        number("held_out_db", "left out,\nfitted", "foretold by a fit to the rest, rms, dB"),
    )
    rms_db = (*fitted.residuals.rms_by_position_db, *fitted.held_out_by_position_db)
    rows = zip(fitted.measured.positions, fitted.known.sum(axis=1), *rms_db, strict=True)
    return Table(
        "fit-positions",
        "What is left at every position, rms, dB",
        columns,
        tuple((at.name, int(count), *map(finite, rms)) for at, count, *rms in rows),
        "left out: the position was left out of the fit, and foretold by what the rest gives",
    )


def _bands(fitted: Fitted) -> Table:
    columns = (
        band(),
        number("readings", "readings", "that count", 0),
        number("written_db", "as written", "readings less model as written, rms, dB"),
        number("fitted_db", "fitted", "readings less model as fitted, rms, dB"),
    )
    rows = zip(
        map(float, fitted.measured.centres),
        map(int, fitted.known.sum(axis=0)),
        *(map(finite, rms) for rms in fitted.residuals.rms_by_band_db),
        strict=True,
    )
    return Table("fit-bands", "What is left in every band", columns, tuple(rows), scope="data")


def finite(value: float) -> float | None:
    """Return the value as a cell of a table: None in place of nan."""
    return float(value) if np.isfinite(value) else None


def _correlations(fitted: Fitted) -> Table:
    columns = (
        text("size", "size", "one size"),
        text("other", "other size", "another"),
        number("correlation", "correlation", "as the readings tell them; beyond 0.9 not apart"),
    )
    rows = tuple((pair.one.name, pair.other.name, pair.correlation) for pair in fitted.pairs)
    return Table("fit-correlations", "Correlations of the sizes", columns, rows, scope="data")
