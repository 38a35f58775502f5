"""A curve of one's own: what it gains, where its knots lie, and what was spent on it."""

from __future__ import annotations

from shapes.lengths import in_both, in_mm
from studies.carve import ERROR_DB, Carved
from studies.grid import FINE_PER_BAND, Row
from studies.tables import cautions, levels
from studies.tables.choosing import unbeaten_table
from studies.tables.columns import (
    SCORE_CAPTION,
    SCORE_COLUMNS,
    length,
    mm,
    number,
    score_cells,
    target_in_words,
    text,
)
from studies.tables.evidence import evidence_of
from studies.tables.table import Fact, Findings, Table, joined


def carve_tables(carved: Carved) -> Findings:
    """Put the answer of a search into words and tables."""
    named = [(row.name, row) for row in _settled(carved)]
    return Findings(
        "carve",
        carved.design,
        (*_answer(carved), *target_in_words(carved.design)),
        _facts(carved),
        (
            _compared(carved),
            _knots(carved),
            unbeaten_table(_settled(carved), carved.row if carved.is_gain else None),
            _search(carved),
            levels.band_levels(carved.design, named, "levels", "Levels by third octave"),
            levels.elevations(named),
        ),
        evidence_of(_settled(carved), carved.row),
        (cautions.TURNING,),
    )


def _settled(carved: Carved) -> tuple[Row, ...]:
    return (carved.row, *carved.starts)


def _answer(carved: Carved) -> list[str]:
    better = min(carved.starts, key=lambda row: row.score)
    said = [_gain(carved, better)]
    others = [row for row in carved.starts if row is not better]
    said += [f"Behind it: {row.name}, {row.score:.2f} dB." for row in others]
    missing = [word for word, row in (("cap", carved.cap), ("cone", carved.cone)) if row is None]
    if missing:
        said.append(f"No {joined(missing)} keeps these limits at this plate gap.")
    if carved.is_gain:
        said.append(
            "The curve is in carved.toml, which every other command takes: try its tolerance and"
            " its plate gap before you turn it."
        )
    return [*said, _limits(carved), _spent(carved)]


def _gain(carved: Carved, better: Row) -> str:
    gain, doubt = carved.gain_db, f"{ERROR_DB:.2f} dB"
    if not carved.is_gain:
        behind = f"{abs(gain):.2f} dB {'better' if gain > 0 else 'worse'}" if gain else "no better"
        return (
            f"No gain: the best curve that was found is {behind} than {better.name} (score"
            f" {better.score:.2f} dB), and the computation can be off by {doubt}. Take the simpler"
            " shape."
        )
    return (
        f"The carved curve has a score of {carved.row.score:.2f} dB, {gain:.2f} dB (give or take"
        f" {doubt}) better than {better.name}, {better.score:.2f} dB."
    )


def _limits(carved: Carved) -> str:
    limits = carved.limits
    undercut = "undercut allowed" if limits.undercut else "no undercut"
    return (
        f"Limits: at most {in_both(limits.largest_diameter)} across and"
        f" {in_both(limits.largest_height)} high, no curve tighter than"
        f" {in_mm(limits.smallest_radius)} radius, {in_mm(limits.tip_clearance)} clear of the"
        f" driver in motion, {undercut}, the driver not choked; the tip may be a point."
    )


def _spent(carved: Carved) -> str:
    return (
        f"Spent: {len(carved.trials)} of {carved.evaluations} solves on the search, and"
        f" {carved.settled} at {FINE_PER_BAND} frequencies a band to settle it. Another search"
        " might find a better curve; none is proved to be the best."
    )


def _facts(carved: Carved) -> tuple[Fact, ...]:
    return (
        Fact("score_db", carved.row.score, "of the carved curve, dB; less is better"),
        Fact("gain_db", carved.gain_db, "over the better of best cap and best cone, dB of score"),
        Fact("gain_error_db", ERROR_DB, "what the gain may be off by, dB"),
        Fact("is_gain", carved.is_gain, "whether it is more than that"),
        Fact("solves", len(carved.trials), "spent on the search"),
        Fact("solves_allowed", carved.evaluations, "for the search"),
        Fact("solves_settled", carved.settled, f"at {FINE_PER_BAND} frequencies a band"),
    )


def _compared(carved: Carved) -> Table:
    columns = (
        text("candidate", "candidate", "name of the candidate"),
        length("base_diameter_mm", "flat across", "diameter of the flat", short=True),
        length("height_mm", "height", "from tip to flat", short=True),
        *SCORE_COLUMNS,
    )
    rows = sorted(_settled(carved), key=lambda row: row.score)
    return Table(
        "compared",
        "The carved curve, the best cap and the best cone",
        columns,
        tuple((row.name, *_sizes(row), *score_cells(row)) for row in rows),
        f"{SCORE_CAPTION}; scores closer than {ERROR_DB:.2f} dB are no difference",
    )


def _sizes(row: Row) -> tuple[float, float]:
    reflector = row.assembly.reflector
    return mm(2.0 * reflector.base_radius), mm(reflector.height)


def _knots(carved: Carved) -> Table:
    return Table(
        "knots",
        "Knots of the carved curve, tip first",
        (
            number("radius_mm", "from the\naxis, mm", "distance from the axis, mm", 3),
            number("height_mm", "from the\nflat, mm", "height, counted from the flat, mm", 3),
        ),
        carved.points_mm,
        "a smooth curve runs through them; roundcast cut carved.toml prints it at true size",
    )


def _search(carved: Carved) -> Table:
    columns = (
        number("solve", "solve", "number of the solve", 0),
        text("stage", "stage", "caps, cones, everywhere (global), nearby (local)"),
        text("candidate", "candidate", "what was solved"),
        number("score_db", "score", "coarse score, dB; less is better"),
    )
    return Table(
        "search",
        "Every solve of the search",
        columns,
        tuple(
            (place, trial.stage, trial.assembly.reflector.label, trial.score)
            for place, trial in enumerate(carved.trials, start=1)
        ),
        scope="data",
    )
