"""What a fit found, beside what an overlay tells: sizes, correlations, what is left where."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from studies.answer.columns import band, both_short, number, text
from studies.answer.table import Fact, Findings, Table, Value
from studies.questions.overlay.fit_words import fit_words
from studies.questions.overlay.fitting import Estimate, Fitted


def with_fit(findings: Findings, fitted: Fitted) -> Findings:
    """Add what a fit found to what was found without it."""
    return replace(
        findings,
        answer=(*findings.answer, *fit_words(fitted)),
        facts=(*findings.facts, *_facts(fitted)),
        tables=(*fitting_tables(fitted), *findings.tables),
    )


def fitting_tables(fitted: Fitted) -> tuple[Table, ...]:
    """Sizes, correlations, what is left by position and by band."""
    return (_sizes(fitted), _positions(fitted), _bands(fitted), _correlations(fitted))


def _facts(fitted: Fitted) -> tuple[Fact, ...]:
    written, found = fitted.rms_db
    held = (None, None) if fitted.held_out is None else fitted.held_out.rms_db
    level, error = fitted.level or (None, None)
    return (
        Fact("fit_rms_written_db", written, "readings less model as written, rms, dB"),
        Fact("fit_rms_db", found, "readings less model as fitted, rms, dB"),
        Fact("fit_held_out_written_db", held[0], "angles left out, as written, rms, dB"),
        Fact("fit_held_out_db", held[1], "angles left out, foretold by the rest, rms, dB"),
        Fact("fit_readings", int(fitted.known.sum()), "readings that count"),
        Fact("fit_free", fitted.free, "readings less the numbers removed from them"),
        Fact("fit_curve_removed", fitted.curve_removed, "what all positions share was removed"),
        Fact("fit_level_db", level, "level fitted along, measured less predicted, dB"),
        Fact("fit_level_error_db", error, "half of its 95 % interval, dB"),
        Fact("fit_stated_db", fitted.stated_db, "stated of model and meter, dB"),
        Fact("fit_scale_db", fitted.scale_db, "what a reading is taken to be off by, dB"),
        Fact("fit_freedom", fitted.freedom, "degrees of freedom of the t-distribution"),
        Fact("fit_evaluations", fitted.evaluations, "solves of the whole band"),
        Fact("fit_settled", fitted.settled, "the search stood still"),
    )


def _sizes(fitted: Fitted) -> Table:
    columns = (
        text("size", "size", "what was fitted"),
        text("unit", "unit", "unit of the numbers"),
        text("written_words", "written", "as written"),
        text("fitted_words", "fitted", "as fitted"),
        text("interval_words", "95 % interval", "95 % interval"),
        text("prior_words", "written is\ntaken within", "one standard deviation of the prior"),
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
        "Sizes fitted to the readings; lengths in mm (in)",
        columns,
        tuple(map(_size, fitted.estimates)),
        "width left: standard deviation over that of what is written; near 1 the readings say"
        " nothing, near 0 they say it all",
    )


def _size(one: Estimate) -> tuple[Value, ...]:
    size = one.parameter
    values = tuple(map(size.in_print, (size.written, one.value, one.low, one.high)))
    written, value, low, high = (_in_print(one, number) for number in values)
    prior = size.prior if size.octaves else size.in_print(size.prior)
    within = f"{prior:.2g} octave" if size.octaves else f"{prior:.2g} {size.unit.symbol}"
    return (
        size.name,
        size.unit.symbol,
        written,
        value,
        f"{low} to {high}",
        f"+-{within}",
        one.spread,
        "at its bound" if one.at_bound else "" if one.told else "not told",
        *values,
        prior,
    )


def _in_print(one: Estimate, value: float) -> str:
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
    held = fitted.held_out
    nothing = np.full(fitted.known.shape, np.nan)
    four = (*fitted.left_db, *((nothing, nothing) if held is None else held.errors_db))
    rows = zip(
        (at.name for at in fitted.measured.positions),
        fitted.known.sum(axis=1),
        *(map(_rms, left) for left in four),
        strict=True,
    )
    return Table(
        "fit-positions",
        "What is left at every position, rms, dB",
        columns,
        tuple((row[0], int(row[1]), *row[2:]) for row in rows),
        "left out: the position was left out of the fit, and foretold by what the rest gives",
    )


def _bands(fitted: Fitted) -> Table:
    columns = (
        band(),
        number("readings", "readings", "that count", 0),
        number("written_db", "as written", "readings less model as written, rms, dB"),
        number("fitted_db", "fitted", "readings less model as fitted, rms, dB"),
    )
    written, found = fitted.left_db
    rows = zip(
        map(float, fitted.measured.centres),
        map(int, fitted.known.sum(axis=0)),
        map(_rms, written.T),
        map(_rms, found.T),
        strict=True,
    )
    return Table("fit-bands", "What is left in every band", columns, tuple(rows), scope="data")


def _rms(left: np.ndarray) -> float | None:
    told = left[np.isfinite(left)]
    return float(np.sqrt(np.mean(told**2))) if told.size else None


def _correlations(fitted: Fitted) -> Table:
    names = [one.parameter.name for one in fitted.estimates]
    columns = (
        text("size", "size", "one size"),
        text("other", "other size", "another"),
        number("correlation", "correlation", "as the readings tell them; beyond 0.9 not apart"),
    )
    pairs = zip(*np.triu_indices(len(names), 1), strict=True)
    rows = tuple((names[i], names[j], float(fitted.correlations[i, j])) for i, j in pairs)
    return Table("fit-correlations", "Correlations of the sizes", columns, rows, scope="data")
