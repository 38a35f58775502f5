"""The answer to "how much of the ball do I keep?" in sentences."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import in_both, in_degrees, in_mm
from studies.answer.columns import target_in_words
from studies.answer.standing import behind, best_at_end, range_in_words
from studies.questions.trim.study import BallSpread, Trim
from studies.solving.candidates import Row
from studies.solving.shaving import Cut
from studies.solving.target import NO_DIFFERENCE_DB

SAME = 1e-7
"""Sizes closer than this are one size, metres."""


def answer(trim: Trim) -> list[str]:
    """Sentences that answer the question, the cut first."""
    best = trim.best
    rise = in_degrees(best.row.assembly.hung_reflector.rim_slope)
    return [
        f"Keep {in_both(best.keep)} of the ball of {in_both(best.ball_diameter)}: cut off"
        f" {in_both(best.cut_off)}.",
        f"Check: the flat is then {in_both(best.base_diameter)} across, and the surface rises at"
        f" {rise} at its rim. Mark from the pole of the piece that is kept; 1 mm of keep is"
        f" {_check_per_mm(best):.1f} mm across the flat.",
        _near_best(trim),
        *_end_of_range(trim),
        _runner_up(trim),
        *(_gain(name, row, best) for name, row in compared(trim)[1:4]),
        *_as_written(trim),
        *_hanging(trim),
        *_spread(trim),
        *_rays(trim),
        *target_in_words(trim.design),
    ]


def _check_per_mm(cut: Cut) -> float:
    """Change of the base diameter b = 2 sqrt(h (D - h)) for 1 mm of keep h, mm."""
    return 2.0 * abs(cut.ball_diameter - 2.0 * cut.keep) / cut.base_diameter


def _near_best(trim: Trim) -> str:
    good = trim.near_best
    if good.low == good.high:
        return (
            f"No other height tried is within {good.within_db:g} dB of it: cut with care, or try"
            " smaller steps."
        )
    return f"Anywhere between {range_in_words(good)} is within {good.within_db:g} dB of the best."


def _end_of_range(trim: Trim) -> list[str]:
    cuts = [cut for cut in trim.cuts if cut.ball_diameter == trim.best.ball_diameter]
    built = [cut.keep for cut in cuts if cut.row.solved]
    return best_at_end("trim.keep", trim.best.keep, [cut.keep for cut in cuts], built)


def _runner_up(trim: Trim) -> str:
    second = trim.runner_up
    if second is None:
        return "There is no runner-up outside that range."
    ball = ""
    if second.ball_diameter != trim.best.ball_diameter:
        ball = f" of the ball of {in_both(second.ball_diameter)}"
    lead = second.row.score - trim.best.row.score
    return f"Runner-up outside that range: keep {in_both(second.keep)}{ball}, {behind(lead)}."


def _gain(name: str, row: Row, best: Cut) -> str:
    if not row.solved:
        return f"Against the {name}: not known ({row.reason})."
    gain = row.score - best.row.score
    hung = " (at the same tip clearance, on longer posts)" if name == "half ball" else ""
    if abs(gain) < NO_DIFFERENCE_DB:
        return f"Against the {name}{hung}: no difference ({gain:+.2f} dB)."
    word = "gained" if gain > 0 else "LOST: it scores better than any cap tried"
    return f"Against the {name}{hung}: {abs(gain):.2f} dB {word}."


def _as_written(trim: Trim) -> list[str]:
    """How the keep in the file stands, where it is among the candidates."""
    ball = trim.design.ball
    if ball is None:
        return []
    written = next(
        (
            cut
            for cut in trim.cuts
            if cut.row.solved
            and abs(cut.keep - ball.kept) < SAME
            and abs(cut.ball_diameter - ball.diameter) < SAME
        ),
        trim.best,
    )
    if written is trim.best:
        return []
    lead = written.row.score - trim.best.row.score
    return [f"The keep in the file, {in_both(ball.kept)}: {behind(lead)}."]


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


def measured_spread(trim: Trim) -> BallSpread | None:
    """What it costs that the ball is not round, if the best ball is the one that was measured."""
    ball = trim.design.ball
    if ball is None or abs(ball.diameter - trim.best.ball_diameter) > SAME:
        return None
    return trim.ball_spread


def _spread(trim: Trim) -> list[str]:
    spread = measured_spread(trim)
    if spread is None:
        return []
    measured = f"{in_mm(spread.smallest.ball_diameter)} to {in_mm(spread.largest.ball_diameter)}"
    return [
        f"The ball measures {measured}: from one to the other the score changes by"
        f" {spread.score_change_db:.2f} dB, and no third octave by more than"
        f" {spread.level_change_db:.1f} dB."
    ]


def _rays(trim: Trim) -> list[str]:
    """What rays alone would keep, and why they differ."""
    opinion = trim.rays_opinion
    if opinion is None:
        return []
    best, other = trim.best, opinion.favourite
    if abs(other.keep - best.keep) < SAME:
        return ["Rays alone would keep the same height."]
    lead = other.row.score - best.row.score
    rays, waves = opinion.at_best.coverage.window_level_db, best.row.coverage.window_level_db
    at = int(np.argmax(np.abs(rays - waves)))
    return [
        f"Rays alone would keep {in_both(other.keep)}, which the wave solver puts {behind(lead)}."
        " Rays know no interference and do not bend round edges: at the best keep they say"
        f" {rays[at]:.1f} dB in the {band_label(best.row.coverage.centres[at])} band, the wave"
        f" solver {waves[at]:.1f} dB."
    ]


def compared(trim: Trim) -> list[tuple[str, Row]]:
    """The best cap and what it is held against, by name."""
    rows = [
        ("best cap", trim.best.row),
        ("half ball", trim.half_ball),
        ("top plate alone", trim.plate_alone),
        ("bare column", trim.bare_column),
    ]
    if (spread := measured_spread(trim)) is not None:
        rows += [
            (f"best keep, ball {in_mm(cut.ball_diameter)}", cut.row)
            for cut in (spread.smallest, spread.largest)
        ]
    return rows
