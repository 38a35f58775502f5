"""The answer to "how much of the ball do I keep?" in sentences."""

from __future__ import annotations

from dispersion.bands import band_label
from shapes.lengths import in_both, in_degrees, in_own
from studies.answer.columns import keep_ratio_in_words, target_in_words
from studies.answer.standing import behind, best_at_end, range_in_words, soft_cone_in_words
from studies.questions.trim.study import Trim
from studies.solving.target import NO_DIFFERENCE_DB


def answer(trim: Trim) -> list[str]:
    """Answer "how much of the ball do I keep?" in sentences, the cut first."""
    best = trim.best
    rise = in_degrees(best.row.assembly.hung_reflector.rim_slope)
    return [
        f"Keep {in_both(best.keep)} of the ball of {in_both(best.ball_diameter)}: cut off"
        f" {in_both(best.cut_off)}.",
        f"Check: the flat is then {in_both(best.base_diameter)} across, and the surface rises at"
        f" {rise} at its rim. Mark from the pole of the piece that is kept;"
        f" {keep_ratio_in_words(best.base_per_keep)}.",
        _near_best(trim),
        *_end_of_range(trim),
        _runner_up(trim),
        *(_gain(trim, name) for name in trim.references),
        *_as_written(trim),
        *_hanging(trim),
        *_spread(trim),
        *_soft_cone(trim),
        *_posts(trim),
        *_rays(trim),
        *target_in_words(trim.design),
    ]


def _near_best(trim: Trim) -> str:
    good = trim.near_best
    if good.low == good.high:
        return (
            f"No other height tried is within {good.within_db:g} dB of it: cut with care, or try"
            " smaller steps."
        )
    return f"Anywhere between {range_in_words(good)} is within {good.within_db:g} dB of the best."


def _end_of_range(trim: Trim) -> list[str]:
    cuts = trim.cuts_of_best_ball
    built = [cut.keep for cut in cuts if cut.row.solved]
    return best_at_end("trim.keep", trim.best.keep, [cut.keep for cut in cuts], built)


def _runner_up(trim: Trim) -> str:
    second = trim.runner_up
    if second is None:
        return "There is no runner-up outside that range."
    ball = ""
    if not second.is_of(trim.best.ball_diameter):
        ball = f" of the ball of {in_both(second.ball_diameter)}"
    lead = behind(trim.behind_db(second))
    return f"Runner-up outside that range: keep {in_both(second.keep)}{ball}, {lead}."


def _gain(trim: Trim, name: str) -> str:
    gain = trim.gains_db[name]
    if gain is None:
        return f"Against the {name}: not known ({trim.references[name].reason})."
    hung = " (at the same tip clearance, on longer posts)" if name == "half ball" else ""
    if abs(gain) < NO_DIFFERENCE_DB:
        return f"Against the {name}{hung}: no difference ({gain:+.2f} dB)."
    word = "gained" if gain > 0 else "LOST: it scores better than any cap tried"
    return f"Against the {name}{hung}: {abs(gain):.2f} dB {word}."


def _as_written(trim: Trim) -> list[str]:
    """How the keep in the file compares, where it is among the candidates."""
    written = trim.written
    if written is None or written is trim.best:
        return []
    lead = behind(trim.behind_db(written))
    return [f"The keep in the file, {in_both(written.keep)}: {lead}."]


def _hanging(trim: Trim) -> list[str]:
    """Where the cap hangs, if that changes with the cap."""
    asked = trim.design.tables.trim
    if asked is None or asked.hold == "plate gap":
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
    if soft is None:
        return []
    size = None if soft.row is trim.best.row else in_both(trim.cut_of(soft.row).keep)
    return [soft_cone_in_words("keep", size, soft.lead_db, soft.from_hz)]


def _posts(trim: Trim) -> list[str]:
    """Whether the best keep moves with the posts solved."""
    found = trim.best_with_posts
    if found is None or trim.with_posts is None:
        return []
    cut, lead_db = found
    scored = len(trim.with_posts.changes_db)
    how = (
        f"With the posts solved (mean power of all azimuths) the {scored} leading keeps change by"
        f" {trim.with_posts.most_db:.2f} dB at most"
    )
    if cut is trim.best or lead_db < NO_DIFFERENCE_DB:
        return [f"{how}: the best keep stays where it is."]
    return [f"{how}, and {in_both(cut.keep)} leads by {lead_db:.2f} dB."]


def _rays(trim: Trim) -> list[str]:
    """What rays alone would keep, and why they differ."""
    opinion = trim.rays_opinion
    if opinion is None:
        return []
    if opinion.agrees:
        return ["Rays alone would keep the same height."]
    at, other, waves = opinion.widest, opinion.favourite, opinion.best.row.coverage
    rays = opinion.best_by_rays.coverage
    return [
        f"Rays alone would keep {in_both(other.keep)}, which the wave solver puts"
        f" {behind(trim.behind_db(other))}."
        " Rays know no interference and do not bend round edges: at the best keep they say"
        f" {rays.window_level_db[at]:.1f} dB in the {band_label(waves.centres[at])} band, the wave"
        f" solver {waves.window_level_db[at]:.1f} dB."
    ]
