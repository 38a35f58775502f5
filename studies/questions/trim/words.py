"""The answer to "how much of the ball do I keep?" in sentences."""

from __future__ import annotations

from dispersion.bands import band_label
from shapes.lengths import in_both, in_degrees, in_own
from studies.answer.columns import keep_ratio_in_words, target_in_words
from studies.answer.judging import hollow_in_words, members_in_words, passed_over_in_words
from studies.answer.standing import (
    askew_in_words,
    behind,
    best_at_end,
    best_at_end_of_gaps,
    gained,
    hung_at_ends,
    islands_in_words,
    out_of_reach_in_words,
    posts_in_words,
    range_in_words,
    soft_cone_in_words,
)
from studies.answer.table import joined
from studies.questions.trim.choice import OTHER, Trim
from studies.solving.candidates import SAME_SIZE, Row
from studies.solving.shaving import Cut, best_cut

ALIKE = {"no difference": "no different from", "cannot be told apart": "cannot be told apart from"}
"""Verdicts that prefer neither, as words before what is compared."""


def answer(trim: Trim) -> list[str]:
    """Answer "how much of the ball do I keep?": what can be undone first, then the cut.

    Then what cannot be told from it, how to check the cut, what is real, and the rest.
    """
    return [
        *_undone(trim),
        *_whether_to_cut(trim),
        *_alike(trim),
        _check(trim),
        *(_gain(trim, name) for name in trim.references if not _is_said(trim, name)),
        *hollow_in_words(trim.best.row, trim.design),
        *members_in_words(trim.judged, trim.best.row),
        *_passed_over(trim),
        *_end_of_range(trim),
        *_for_this_file(trim),
        *_hanging(trim),
        *_spread(trim),
        *_soft_cone(trim),
        *_posts(trim),
        *_rays(trim),
        *target_in_words(trim.design),
    ]


def _undone(trim: Trim) -> list[str]:
    """What to change that can be undone: the gap over the file's own keep."""
    written, now = trim.written, trim.as_written
    if not trim.moves_plate or written is None or now is None:
        return []
    if _nothing_to_change(trim):
        return []
    keep, built, here = in_both(written.keep), written.row.assembly, now.assembly.plate_gap
    found = gained(trim.compare(written.row, now))
    if abs(built.plate_gap - here) < SAME_SIZE:
        return [
            f"First what can be undone: leave the plate at {in_both(here)}, the best gap over the"
            f" {keep} that the file keeps."
        ]
    if not trim.gap_pays:
        return [
            f"First what can be undone: leave the plate at {in_both(here)}. The best other gap over"
            f" the {keep} that the file keeps, {in_both(built.plate_gap)}: {found}."
        ]
    return [
        f"First what can be undone: over the {keep} that the file keeps, hang the plate at"
        f" {in_both(built.plate_gap)} in place of {in_both(here)}, posts"
        f" {in_both(built.post_length)} long, sockets included: {found}{_less_regret(trim)}."
    ]


def _less_regret(trim: Trim) -> str:
    """What may be regretted before and after the plate was moved."""
    judged, written, now = trim.judged, trim.written, trim.as_written
    if judged is None or written is None or now is None:
        return ""
    before, after = judged.regret_of(now), judged.regret_of(written.row)
    return f"; at most {after:.1f} dB to regret in nine of ten, in place of {before:.1f}"


def _nothing_to_change(trim: Trim) -> bool:
    """Whether the file has the best keep at its best gap, both asked of every build."""
    now, gap = trim.as_written, trim.best.row.assembly.plate_gap
    if trim.judged is None or now is None or trim.best is not trim.written:
        return False
    return not trim.moves_plate or abs(gap - now.assembly.plate_gap) < SAME_SIZE


def _check(trim: Trim) -> str:
    """How the cut is marked and checked."""
    best = trim.best
    rise = in_degrees(best.row.assembly.hung_reflector.rim_slope)
    return (
        f"Check: the flat is then {in_both(best.base_diameter)} across, and the surface rises at"
        f" {rise} at its rim. Mark from the pole of the piece that is kept;"
        f" {keep_ratio_in_words(best.base_per_keep)}."
    )


def _whether_to_cut(trim: Trim) -> list[str]:
    """How much to keep, and whether the cut buys anything."""
    best, buys, written = trim.best, trim.cut_buys, trim.written
    size = f"{in_both(best.keep)} of the ball of {in_both(best.ball_diameter)}"
    gap = f" under a plate at {in_both(best.row.assembly.plate_gap)}" if trim.moves_plate else ""
    if _nothing_to_change(trim):
        return [
            f"Leave ball and plate as the file has them: keep {size}{gap}, cut off"
            f" {in_both(best.cut_off)}. No other height or gap that was tried has less to regret."
        ]
    if best is written and trim.judged is not None:
        then = "Then the cut: none" if trim.moves_plate else "No cut"
        return [
            f"{then}. Keep the {in_both(best.keep)} that the file keeps{gap},"
            f" {in_both(best.cut_off)} cut off the ball of {in_both(best.ball_diameter)}: no height"
            " that was judged has less to regret."
        ]
    if trim.other_reflector is not None:
        return [_in_place_of(trim, trim.other_reflector, f"{size}{gap}")]
    if buys is None or written is None or trim.judged is None:
        return [f"Keep {size}{gap}: cut off {in_both(best.cut_off)}."]
    hung = " at its own best gap" if trim.moves_plate else ""
    over = f"Over the {in_both(written.keep)} of the file{hung}: {gained(buys)}."
    if buys.gains or best.keep > written.keep:
        then = "Then the cut: keep" if trim.moves_plate else "Keep"
        return [f"{then} {size}{gap}: cut off {in_both(best.cut_off)}. {over}"]
    return [
        f"{'Then the cut: none' if trim.moves_plate else 'No cut'} that is sure to pay; what is"
        f" not cut off now can be cut off later. Least to regret is to keep {size}{gap}, cut off"
        f" {in_both(best.cut_off)}. {over}"
    ]


def _in_place_of(trim: Trim, other: Row, size: str) -> str:
    """What to keep of a ball that takes the place of the file's cone or curve, and whether to."""
    kind, here = other.assembly.hung_reflector.kind, in_both(other.assembly.plate_gap)
    lead, cut_off = trim.compare(trim.best.row, other), in_both(trim.best.cut_off)
    over = f"Over the {kind} of the file, its plate at {here}: {gained(lead)}."
    over += " To go on with the cap, write it below [reflector]."
    if lead.gains:
        return f"Keep {size}: cut off {cut_off}. {over}"
    best = "The best" if trim.judged is None else "Least to regret of the caps"
    return (
        f"No ball is sure to pay in place of the {kind}. {best} is to keep {size}, cut off"
        f" {cut_off}. {over}"
    )


def _alike(trim: Trim) -> list[str]:
    """What cannot be told from the best: judged heights, or the range by this file's scores."""
    if trim.judged is None:
        return [_near_best(trim), _runner_up(trim)]
    others = [cut for cut in trim.like_best if cut is not trim.best]
    told = [cut for cut in trim.judged_cuts if cut not in trim.like_best]
    said = []
    if others:
        even = {trim.compare(trim.best.row, cut.row).verdict for cut in others}
        alike = " or ".join(ALIKE[verdict] for verdict in ALIKE if verdict in even)
        sizes = joined([_hung(trim, cut) for cut in others])
        said.append(f"{alike.capitalize()} it: keep {sizes}.")
        ends = [in_both(cut.keep) for cut in others if trim.at_end_of_gaps(cut)]
        said += hung_at_ends(trim.design, ends)
    if told:
        leads = [trim.compare(trim.best.row, cut.row) for cut in told]
        by_size = sorted(f"{abs(lead.lead_db):.1f}" for lead in leads)
        least, most = by_size[0], by_size[-1]
        by = f"{least} dB" if least == most else f"{least} to {most} dB"
        sure = "real" if all(lead.verdict == "real" for lead in leads) else "probable or real"
        each = joined([_hung(trim, cut) for cut in told])
        said.append(f"Behind it by {by}, {sure}: keep {each}.")
    return said


def _hung(trim: Trim, cut: Cut) -> str:
    """A height, with its gap where every height has its own."""
    gap = f" at {in_both(cut.row.assembly.plate_gap)}" if trim.moves_plate else ""
    ball = (
        ""
        if cut.is_of(trim.best.ball_diameter)
        else f" of the ball of {in_both(cut.ball_diameter)}"
    )
    return f"{in_both(cut.keep)}{ball}{gap}"


def _behind(trim: Trim, cut: Cut) -> str:
    return behind(trim.compare(trim.best.row, cut.row))


def _for_this_file(trim: Trim) -> list[str]:
    """What the very sizes of the file would choose."""
    if trim.judged is None:
        return _as_written(trim)
    lowest = best_cut(trim.cuts)
    if lowest is trim.best:
        return [f"The very sizes of the file choose the same. {_near_best(trim)}"]
    return [
        f"The very sizes of the file would choose {_hung(trim, lowest)},"
        f" {trim.best.row.score - lowest.row.score:.2f} dB better there. {_near_best(trim)}"
    ]


def _near_best(trim: Trim) -> str:
    good, apart = trim.near_best, islands_in_words(trim.islands)
    what = "best" if best_cut(trim.cuts) is trim.best else "lowest score"
    if good.low != good.high:
        near = f"Anywhere between {range_in_words(good)} is"
    elif apart:
        near = f"{in_both(good.low)} alone, with no height beside it, is"
    else:
        return (
            f"No other height tried is within {good.within_db:g} dB of it: cut with care, or try"
            " smaller steps."
        )
    return f"{near} within {good.within_db:g} dB of the {what}{apart}.{_cautious(trim)}"


def _cautious(trim: Trim) -> str:
    """Which of several ranges to begin with."""
    if not trim.islands:
        return ""
    later = "it can be cut down to the others later, and foam does not grow back"
    most = max(one.high for one in (trim.near_best, *trim.islands))
    if trim.best.keep >= most:
        return f" What is chosen keeps as much as any of them, so it is the cautious one: {later}."
    return f" The larger keep, {in_both(most)}, is the cautious one: {later}."


def _passed_over(trim: Trim) -> list[str]:
    """Heights of the best ball that no score can bring in."""
    cuts = trim.cuts_of_best_ball
    rows = [cut.row for cut in cuts]
    return passed_over_in_words([cut.keep for cut in cuts], rows, by_leak=False)


def _end_of_range(trim: Trim) -> list[str]:
    cuts = trim.cuts_of_best_ball
    built = [cut.keep for cut in cuts if cut.row.solved]
    ends = best_at_end("trim.keep", trim.best.keep, [cut.keep for cut in cuts], built)
    if trim.moves_plate:
        gap, gaps = trim.best.row.assembly.plate_gap, trim.design.gap_candidates()
        said = best_at_end_of_gaps(trim.design, gap, gaps, gaps)
        ends += [one.replace("It is", "The gap is", 1) for one in said]
        ends += out_of_reach_in_words(trim.design)
    return ends


def _runner_up(trim: Trim) -> str:
    second = trim.runner_up
    if second is None:
        return "There is no runner-up outside what is near-best."
    ball = ""
    if not second.is_of(trim.best.ball_diameter):
        ball = f" of the ball of {in_both(second.ball_diameter)}"
    size = f"{in_both(second.keep)}{ball}"
    return f"Runner-up outside what is near-best: keep {size}: {_behind(trim, second)}."


def _is_said(trim: Trim, name: str) -> bool:
    """Whether a comparison stands elsewhere, or the best is what it would be compared with."""
    half = 0.5 * trim.best.ball_diameter
    return name == OTHER or (name == "half ball" and abs(trim.best.keep - half) < SAME_SIZE)


def _gain(trim: Trim, name: str) -> str:
    row = trim.references[name]
    if not row.solved:
        return f"Against the {name}: not known ({row.reason})."
    hung = " (at the same tip clearance, on longer posts)" if name == "half ball" else ""
    return f"Against the {name}{hung}: {gained(trim.compare(trim.best.row, row))}."


def _as_written(trim: Trim) -> list[str]:
    """How the keep in the file compares, where it is among the candidates."""
    written = trim.written
    if written is None or written is trim.best:
        return []
    return [f"The keep in the file, {in_both(written.keep)}: {_behind(trim, written)}."]


def _hanging(trim: Trim) -> list[str]:
    """Where the cap hangs, if that changes with the cap."""
    asked = trim.design.tables.trim
    if asked is None or asked.hold != "tip clearance":
        return []
    built = trim.best.row.assembly
    return [
        f"It hangs at a plate gap of {in_both(built.plate_gap)}: posts"
        f" {in_both(built.post_length)} long, sockets included."
    ]


def _spread(trim: Trim) -> list[str]:
    spread = trim.ball_spread
    if spread is None:
        return []
    measured = f"{in_own(spread.smallest.ball_diameter)} to {in_own(spread.largest.ball_diameter)}"
    return [
        f"The ball measures {measured}: from one to the other the score changes by"
        f" {spread.score_change_db:.2f} dB, and no third octave by more than"
        f" {spread.level_change_db:.1f} dB."
    ]


def _soft_cone(trim: Trim) -> list[str]:
    """Whether the best keep moves with a cone that absorbs."""
    soft = trim.soft_best
    if soft is None or trim.judged is not None:
        return []
    size = None if soft.row is trim.best.row else in_both(trim.cut_of(soft.row).keep)
    return [soft_cone_in_words("keep", size, soft.lead_db, soft.from_hz)]


def _posts(trim: Trim) -> list[str]:
    """Whether the best keep moves with the posts solved, or as it hangs askew."""
    rows, lowest = [cut.row for cut in trim.cuts], best_cut(trim.cuts).row

    def size(row: Row) -> str:
        return in_both(trim.cut_of(row).keep)

    return [
        *posts_in_words("keep", trim.with_posts, rows, lowest, size),
        *askew_in_words("keep", trim.askew, rows, lowest, size, trim.design),
    ]


def _rays(trim: Trim) -> list[str]:
    """What rays alone would keep, and why they differ."""
    opinion = trim.rays_opinion
    if opinion is None:
        return []
    if opinion.agrees:
        return ["Rays alone would keep the same height."]
    at, other, waves = opinion.widest, opinion.favourite, opinion.best.row.coverage
    rays = opinion.best_by_rays.coverage
    passed_over = trim.best.row.is_contender and not other.row.is_contender
    sure = "passed over" if passed_over else _behind(trim, other)
    return [
        f"Rays alone would keep {in_both(other.keep)}; by the wave solver that is {sure}."
        " Rays know no interference and do not bend round edges: at the best keep they say"
        f" {rays.window_level_db[at]:.1f} dB in the {band_label(waves.centres[at])} band, the wave"
        f" solver {waves.window_level_db[at]:.1f} dB."
    ]
