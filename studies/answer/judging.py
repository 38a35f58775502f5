"""What is said of a choice: by every driver and build, as a table, and what no score weighs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from shapes.lengths import in_own
from studies.answer.columns import in_khz, length, mm, number, text
from studies.answer.table import Table, Value, joined
from studies.design import Design
from studies.solving.candidates import Row
from studies.solving.ensemble import Judged
from studies.solving.target import HOLLOW_LIMIT_DB

HOLLOW_DB = 12.0
"""Sixteen times the power: from here on it is told; common practice, no source."""
LEAST_SHOWN_DB = 0.05
REGRET = "how much worse than the best of a member, which nine of ten stay within, dB"


def members_in_words(judged: Judged | None, chosen: Row) -> list[str]:
    """Say that the choice has the least regret, and how much; nothing if nothing was judged."""
    if judged is None:
        return []
    left = f", as {judged.known} left the doubt" if judged.known else ""
    regret = judged.regret_of(chosen)
    ahead = f"it is within {regret:.1f} dB of" if regret >= LEAST_SHOWN_DB else "it is"
    return [
        f"Judged by {judged.scores.shape[1]} drivers and builds that this file may stand for{left}:"
        f" the choice has the least to regret. In nine of ten of them {ahead} the best that was"
        " judged."
    ]


def hollow_in_words(row: Row, design: Design) -> list[str]:
    """Warn where an octave or so of the window is far below the rest; nothing if none is.

    A score counts such a hollow as boost at the designer's weight; an ear may count it dearer.
    """
    below, place = row.coverage.sliding.above(design.target.judged_from).hollow(
        design.target.wanted_tilt
    )
    if below < HOLLOW_DB:
        return []
    return [
        f"Take care: round {in_khz(place)} kHz about an octave lies {below:.0f} dB below the middle"
        f" of the window's curve. To lift it takes {10.0 ** (below / 10.0):.0f} times the power"
        " there; if that matters more to you than evenness, raise boost and residue in [target]."
    ]


def passed_over_in_words(
    sizes: Sequence[float], rows: Sequence[Row], *, by_leak: bool = True
) -> list[str]:
    """Say which sizes were not to be chosen, and why; nothing if none was, or all of them.

    Parameters
    ----------
    sizes : sequence of float
        m, ascending.
    rows : sequence of Row
        One for each.
    by_leak : bool
        Whether power above the window counts here too.
    """
    hollow = [row.solved and row.scorecard.too_hollow for row in rows]
    leaks = [by_leak and row.solved and row.scorecard.leaks_too_much for row in rows]
    solved = sum(row.solved for row in rows)
    if sum(a or b for a, b in zip(hollow, leaks, strict=True)) == solved:
        return []
    why = {
        f"the treble lies more than {HOLLOW_LIMIT_DB:g} dB down": hollow,
        "more leaks above the window than is wanted": leaks,
    }
    return [
        f"Passed over, since {reason}: {joined(_runs(sizes, found))}."
        for reason, found in why.items()
        if any(found)
    ]


def _runs(sizes: Sequence[float], found: Sequence[bool]) -> list[str]:
    """Write sizes that follow each other as a range, m."""
    runs = groupby(zip(sizes, found, strict=True), key=lambda pair: pair[1])
    each = [[size for size, _ in run] for held, run in runs if held]
    return [
        in_own(run[0]) if len(run) == 1 else f"{in_own(run[0])} to {in_own(run[-1])}"
        for run in each
    ]


def judged_table(judged: Judged | None, chosen: Row) -> tuple[Table, ...]:
    """List what was judged, least to regret first; none if nothing was."""
    if judged is None:
        return ()
    columns = (
        text("candidate", "candidate", "name of the candidate"),
        length("plate_gap_mm", "plate gap", "baffle to underside of the top plate", short=True),
        number("score_db", "score", "with the very sizes of the file, dB"),
        number("mean_db", "mean", "mean score over the members, dB"),
        number("regret_db", "regret", REGRET),
        number("behind_db", "behind", "mean score less that of the choice, dB"),
        number("agree_percent", "agree, %", "members in which the order is the same, per cent", 0),
        text("verdict", "verdict", "against the choice"),
    )
    order = sorted(judged.rows, key=judged.regret_of)
    return (
        Table(
            "judged",
            f"Judged by {judged.scores.shape[1]} drivers and builds, least to regret first",
            columns,
            tuple(_judged_row(judged, row, chosen) for row in order),
            "regret: how much worse than the best of each member, which nine of ten stay within",
        ),
    )


def _judged_row(judged: Judged, row: Row, chosen: Row) -> tuple[Value, ...]:
    found, own = judged.compare(chosen, row), row is chosen
    return (
        row.name,
        mm(row.assembly.plate_gap) if row.assembly.plate or row.assembly.reflector else None,
        row.score,
        judged.mean_of(row),
        judged.regret_of(row),
        None if own else found.lead_db,
        None if own else 100.0 * found.holds,
        "the choice" if own else found.verdict,
    )
