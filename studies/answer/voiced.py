"""The few filters that bring a design's window level to the wanted line, as table and words."""

from __future__ import annotations

from studies.answer.columns import number, text
from studies.answer.table import Table
from studies.design.study_tables import TargetTable
from studies.solving.candidates import Row
from studies.solving.voicing import Voicing, voice

LIFT_DB = 3.0
"""From here on, twice the power, a lift is spoken of."""
SOURCE = (
    "Second-order digital filters at 48 kHz, formulas of the W3C's Web Audio API, \"Filters"
    ' characteristics"; gain where a shelf is flat; Q: frequency over bandwidth, a shelf has none'
)


def filters_table(row: Row, target: TargetTable) -> Table:
    """Tabulate the filters for a solved row; the caption says what they do and cannot mend."""
    found = voice(row, target)
    columns = (
        text("filter", "filter", "kind of the filter"),
        number(
            "frequency_hz", "frequency, Hz", "its middle, or where a shelf has half its gain", 0
        ),
        number("gain_db", "gain, dB", "of a peaking filter at its middle, of a shelf beyond it", 1),
        number("q", "Q", "frequency over bandwidth; a shelf has none"),
    )
    rows = tuple(
        (one.kind, one.frequency, one.gain_db, one.q if one.kind == "peaking" else None)
        for one in found.filters
    )
    said = [*voicing_in_words(found), *([SOURCE] if rows else [])]
    return Table("filters", "Filters that help", columns, rows, "\n".join(said))


def voicing_in_words(found: Voicing) -> list[str]:
    """Say what the filters do, and what stays as it is."""
    if not found.filters:
        return ["No filter is worth its trouble: the window level follows the wanted line."]
    mended, stays = _scores(found)
    said = [
        f"With these filters the score is {found.after.score:.2f} dB in place of"
        f" {found.before.score:.2f}: {mended}.",
        f"No filter changes {stays}: those are differences between directions.",
        f"The window level then lies {found.rms_after_db:.1f} dB (rms) about the wanted line, in"
        f" place of {found.rms_before_db:.1f}; the worst that is left is {found.worst_db:+z.1f} dB"
        f" at {found.worst_hz:.0f} Hz.",
    ]
    if found.lift_db > LIFT_DB:
        said.append(
            f"Together they lift by up to {found.lift_db:.1f} dB, which takes"
            f" {10 ** (found.lift_db / 10):.0f} times the power there: mind amplifier and driver."
        )
    return said


def _scores(found: Voicing) -> tuple[str, str]:
    mended = ", ".join(
        f"{name} {found.after.term(name).measured:.2f} for {found.before.term(name).measured:.2f}"
        for name in ("residue", "boost")
    )
    stays = " and ".join(
        f"{name} ({found.before.term(name).measured:.2f} dB)" for name in ("coverage", "steadiness")
    )
    return mended, stays
