"""The candidates that no other beats in coverage, steadiness and residue."""

from __future__ import annotations

from collections.abc import Sequence

from studies.answer.columns import number, text
from studies.answer.table import Table
from studies.solving.candidates import Row
from studies.solving.choosing import NOISE_DB, Choice, choices


def unbeaten_table(rows: Sequence[Row], chosen: Row | None = None) -> Table:
    """Tabulate every unbeaten candidate, and the chosen one in any case, lowest score first.

    Parameters
    ----------
    rows : sequence of Row
        Whatever was compared; what was not solved is passed over.
    chosen : Row, optional
        What the study recommends; left out, the lowest score.
    """
    listed = [choice for choice in choices(rows, chosen) if choice.unbeaten or choice.chosen]
    columns = (
        text("candidate", "candidate", "name of the candidate"),
        number("coverage_db", "cover-\nage", "rms of level over the window's directions, dB"),
        number("steadiness_db", "steadi-\nness", "rms of directivity about its slope, dB"),
        number("residue_db", "residue", "left by a one-octave equaliser, dB"),
        number("score_db", "score", "by the weights of the design, dB; less is better"),
        number("solves", "solves", "frequencies that were solved", 0),
        text("standing", "", "chosen by the score, beaten by another, or neither"),
    )
    return Table(
        "unbeaten",
        "Nobody beats these in coverage, steadiness and residue at once",
        columns,
        tuple(_cells(choice) for choice in sorted(listed, key=lambda choice: choice.score)),
        "by the very sizes of the file; dB as measured, less is better; differences up to"
        f" {NOISE_DB:g} dB do not count",
    )


def _cells(choice: Choice) -> tuple[str | float, ...]:
    return (
        choice.name,
        choice.coverage_db,
        choice.steadiness_db,
        choice.residue_db,
        choice.score,
        choice.solves,
        _standing(choice),
    )


def _standing(choice: Choice) -> str:
    """What the score says of it: it may choose one that is beaten, for its boost."""
    if not choice.chosen:
        return ""
    return "chosen" if choice.unbeaten else "chosen for its boost, else beaten"
