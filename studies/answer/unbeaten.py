"""The candidates that no other beats in level, evenness and leak."""

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
        number("window_level_db", "window\nlevel", "mean level in the window, dB re 0 dB"),
        number("evenness_db", "even-\nness", "rms of level across the window, mean, dB"),
        number("leak_db", "leak", "loss by power that leaves above the window, dB"),
        number("score_db", "score", "by the weights of the design, dB; less is better"),
        number("solves", "solves", "frequencies that were solved", 0),
        text("standing", "", "chosen by the score, beaten by another, or neither"),
    )
    return Table(
        "unbeaten",
        "Nobody beats these in window level, evenness and leak at once",
        columns,
        tuple(_cells(choice) for choice in sorted(listed, key=lambda choice: choice.score)),
        "dB; window level: more is better, evenness and leak: less is better; differences up to"
        f" {NOISE_DB:g} dB do not count; few frequencies per band: a coarse figure, not settled",
    )


def _cells(choice: Choice) -> tuple[str | float, ...]:
    return (
        choice.name,
        choice.level_db,
        choice.evenness_db,
        choice.leak_db,
        choice.score,
        choice.solves,
        _standing(choice),
    )


def _standing(choice: Choice) -> str:
    """What the score says of it: it may choose one that is beaten, for its ripple or tilt."""
    if not choice.chosen:
        return ""
    return "chosen" if choice.unbeaten else "chosen for ripple or tilt, else beaten"
