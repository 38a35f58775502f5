"""How candidates compare with the best: words that trim, gap and explore share."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from shapes.lengths import in_both, in_own
from studies.answer.evidence import balance_in_words
from studies.answer.table import TableColumn, joined
from studies.design import Design
from studies.solving.all_round import FARTHEST, ScoreChanges
from studies.solving.candidates import NearBest, Row
from studies.solving.leaning import hung_in_words
from studies.solving.target import NO_DIFFERENCE_DB
from studies.solving.verdicts import Lead, compared

_MARKS = {"best": "*", "near-best": "+", "": ""}
STANDING = TableColumn(
    "standing",
    "",
    "best, near-best or empty",
    lambda standing: _MARKS[standing],
    is_text=True,
)


def standing_caption(good: NearBest) -> str:
    """Return the caption that explains the marks in the column `STANDING`."""
    return f"* best, + within {good.within_db:g} dB of the lowest score"


def range_in_words(good: NearBest) -> str:
    """Write both ends of a near-best range in both systems."""
    return f"{in_both(good.low)} and {in_both(good.high)}"


def islands_in_words(islands: Sequence[NearBest]) -> str:
    """Continue a sentence on the near-best range by those that are as good, apart from it."""
    if not islands:
        return ""
    others = "is another range" if len(islands) == 1 else "are other ranges"
    return f"; so {others}, apart from it: {joined([island_in_words(one) for one in islands])}"


def island_in_words(island: NearBest) -> str:
    """Write a near-best range in short: "1 1/2 in to 1 5/8 in", a lone size as "1 1/2 in"."""
    low, high = in_own(island.low), in_own(island.high)
    return low if low == high else f"{low} to {high}"


def behind(found: Lead) -> str:
    """Write how far the second of two scores lies behind the first, with the verdict."""
    return _apart(found, "behind", "ahead")


def gained(found: Lead) -> str:
    """Write what the first of two designs gains over the second, with the verdict."""
    return _apart(found, "gained", "LOST")


def _apart(found: Lead, ahead: str, other: str) -> str:
    size = f"{abs(found.lead_db):.2f} dB {ahead if round(found.lead_db, 2) >= 0.0 else other}"
    return f"{size}, {verdict_in_words(found)}"


def verdict_in_words(found: Lead) -> str:
    """Write the verdict, and in how many drivers and builds an order holds if they were asked."""
    if not found.members or found.verdict == "no difference":
        return found.verdict
    return f"{found.verdict} ({round(found.holds * found.members)} of {found.members} agree)"


def soft_cone(from_hz: float) -> str:
    """Say what a cone may take, as part of a sentence; `from_hz` is from where it does, Hz."""
    return (
        "the driver's cone takes 11 per cent of the sound that meets it above"
        f" {from_hz / 1e3:.2g} kHz (nobody knows; 0 to 15 is possible)"
    )


def soft_cone_in_words(what: str, size: str | None, lead_db: float, from_hz: float) -> str:
    """Say whether the best moves if the cone absorbs, which nobody knows beforehand.

    Parameters
    ----------
    what : str
        What is chosen: "keep", "gap".
    size : str or None
        The best with such a cone; None if it is the same.
    lead_db : float
        By how much it then leads the best as it is, dB.
    from_hz : float
        From where the cone absorbs, Hz.
    """
    cone = f"If {soft_cone(from_hz)}"
    if size is None:
        return f"{cone}, the best {what} stays where it is."
    if lead_db < NO_DIFFERENCE_DB:
        return f"{cone}, {size} is as good: no difference ({lead_db:.2f} dB)."
    lead = f"{lead_db:.2f} dB ahead of the one above, {compared(lead_db).verdict}"
    return f"{cone}, the best {what} MOVES to {size}, {lead}."


def posts_in_words(
    what: str,
    found: ScoreChanges | None,
    rows: Sequence[Row],
    lowest: Row,
    size: Callable[[Row], str],
) -> list[str]:
    """Say whether the best moves with the posts solved; nothing where they were not.

    Parameters
    ----------
    what : str
        What is chosen: "keep", "gap".
    found : ScoreChanges or None
    rows, lowest : Row
        What may be chosen, and that with the lowest score.
    size : callable
        (row) -> its size in words.
    """
    best = None if found is None else found.best(rows, lowest)
    if found is None or best is None:
        return []
    row, lead_db = best
    how = (
        f"With the posts solved (mean power of all azimuths,"
        f" {balance_in_words(*found.balances)}) no score of the leading {what}s"
        f" ({len(found.changes_db)}) changes by more than {max(found.most_db, 0.01):.2f} dB"
    )
    if row is lowest or lead_db < NO_DIFFERENCE_DB:
        return [f"{how}: the best {what} stays where it is."]
    return [f"{how}, and {size(row)} leads by {lead_db:.2f} dB, {compared(lead_db).verdict}."]


def askew_in_words(
    what: str,
    found: ScoreChanges | None,
    rows: Sequence[Row],
    lowest: Row,
    size: Callable[[Row], str],
    design: Design,
) -> list[str]:
    """Say from how far off the choice would change; nothing without an [askew]; see above."""
    best = None if found is None else found.best(rows, lowest)
    if found is None or best is None:
        return []
    said = (
        f"As it hangs, {hung_in_words(design)} (no posts; mean power of all azimuths,"
        f" {balance_in_words(*found.balances)}),"
        f" the scores of the best {what}s ({len(found.changes_db)}) change by at most"
        f" {max(found.most_db, 0.01):.2f} dB"
    )
    over = found.overtaken(rows, lowest)
    if over is None:
        return [f"{said}; the lowest would lead among them up to {FARTHEST:g} times as far off."]
    if over.times <= 1.0:
        sure = compared(best[1]).verdict
        return [f"{said}, and {size(best[0])} leads by {best[1]:.2f} dB, {sure}."]
    return [
        f"{said}; the lowest leads among them up to {over.times:.1f} times as far off (changes"
        f" taken as the square), then {size(over.row)} would."
    ]


def out_of_reach_in_words(design: Design) -> list[str]:
    """Say which plate gaps were not tried since no rod is long enough; nothing if all were."""
    left, posts = design.gaps_out_of_reach, design.tables.posts
    if not left or posts is None or posts.longest is None:
        return []
    return [
        f"Not tried: plate gaps of {in_both(left[0])} and more, since the rods at hand give posts"
        f" of {in_both(posts.longest)} at most (posts.longest)."
    ]


def best_at_end_of_gaps(
    design: Design, best: float, tried: Sequence[float], built: Sequence[float]
) -> list[str]:
    """Warn as `best_at_end`; where rods are too short for more, it is they that end the gaps."""
    ended = bool(design.gaps_out_of_reach) and best == max(tried)
    return best_at_end("posts.longest" if ended else "[gap]", best, tried, built)


def hung_at_ends(design: Design, names: Sequence[str]) -> list[str]:
    """Say which designs hang at the least or the largest gap tried; nothing if none does."""
    if not names:
        return []
    rods = " or of what the rods at hand reach" if design.gaps_out_of_reach else ""
    return [f"At an end of [gap]{rods}, and perhaps better beyond: {joined(names)}."]


def best_at_end(key: str, best: float, tried: Sequence[float], built: Sequence[float]) -> list[str]:
    """Warn if the best size is the least or the largest of those tried or of those possible.

    Parameters
    ----------
    key : str
        Key of the design file that gives the sizes.
    best : float
        The best size, m or rad.
    tried, built : sequence of float
        All sizes, and those among which the best was chosen.

    Returns
    -------
    list of str
        One sentence, or none.
    """
    if best in (min(tried), max(tried)) and len(tried) > 1:
        side, way = ("smallest", "smaller") if best == min(tried) else ("largest", "larger")
        return [
            f"It is the {side} size tried, so the true best may lie beyond: widen {key} to"
            f" {way} sizes and run again."
        ]
    if best in (min(built), max(built)) and len(built) > 1:
        side = "smallest" if best == min(built) else "largest"
        return [f"It is the {side} size tried that can be built: see the reasons below."]
    return []
