"""How big a gap between baffle and top plate: the answer in words, every gap, what its air does."""

from __future__ import annotations

from shapes.assembly import Assembly
from shapes.lengths import in_both
from studies.answer import cautions, levels
from studies.answer.columns import (
    CANDIDATE,
    REASON,
    SCORE_CAPTION,
    SCORE_COLUMNS,
    in_khz,
    in_words,
    length,
    mm,
    number,
    score_cells,
    target_in_words,
    text,
)
from studies.answer.evidence import evidence_of
from studies.answer.judging import (
    REGRET,
    hollow_in_words,
    judged_table,
    members_in_words,
    passed_over_in_words,
)
from studies.answer.standing import (
    STANDING,
    askew_in_words,
    behind,
    best_at_end_of_gaps,
    islands_in_words,
    out_of_reach_in_words,
    posts_in_words,
    range_in_words,
    soft_cone_in_words,
    standing_caption,
)
from studies.answer.table import Fact, Findings, Table, TableColumn, Value, joined
from studies.answer.unbeaten import unbeaten_table
from studies.answer.voiced import filters_table
from studies.questions.gap.study import CONE_MASS_BY_AREA, GapStudy
from studies.solving.candidates import Row
from studies.solving.hanging import GapChoice
from studies.solving.target import NO_DIFFERENCE_DB

MOST_NOTCHES, MOST_RESONANCES = 4, 2
"""Notches and resonances named in print, deepest and sharpest first; the files have all."""


def gap_tables(study: GapStudy) -> Findings:
    """Put the answer to "how big a gap?" into words and tables."""
    rows = [choice.row for choice in study.choices]
    best = [(study.whole.name, study.whole)]
    return Findings(
        command="gap",
        design=study.design,
        answer=tuple(_answer(study)),
        facts=_facts(study),
        tables=(
            _gaps(study),
            _airways(study),
            *judged_table(study.judged, study.best.row),
            unbeaten_table(rows, study.best.row),
            filters_table(study.whole, study.design.target),
            levels.band_levels(
                study.design,
                [(row.name, row) for row in rows],
                "levels",
                "Levels of every gap by third octave",
                "bulk",
            ),
            levels.curves(study.design, best),
            levels.elevations(best),
        ),
        evidence=evidence_of([*rows, study.whole], study.whole),
        cautions=(cautions.posts_alike(study.design.post_tolerance),),
    )


def _answer(study: GapStudy) -> list[str]:
    best, built = study.best, study.best.row.assembly
    sizes = [choice.plate_gap for choice in study.choices]
    possible = [choice.plate_gap for choice in study.contenders]
    return [
        f"Hang the plate {in_both(best.plate_gap)} above the baffle: {_posts(study)}.",
        *_alike(study),
        *hollow_in_words(study.best.row, study.design),
        *passed_over_in_words(sizes, [choice.row for choice in study.choices]),
        *members_in_words(study.judged, study.best.row),
        *out_of_reach_in_words(study.design),
        *best_at_end_of_gaps(study.design, best.plate_gap, sizes, possible),
        *_air_in_the_gap(study),
        _gaps_there(built),
        *_as_written(study),
        *_soft_cone(study),
        *_all_round(study),
        f"Up to {in_words(study.plate_limit_hz(best))} only one wave runs outwards"
        " between plates this far apart; above, lobes are possible.",
        *target_in_words(study.design),
    ]


def _posts(study: GapStudy) -> str:
    posts = study.best.row.assembly.posts
    if posts is None:
        return "the file has no posts, so nothing is added for sockets"
    return (
        f"posts {in_both(study.post_length)} long, sockets of {in_both(posts.socket_plate)} in the"
        f" plate and {in_both(posts.socket_baffle)} in the baffle included"
    )


def _gaps_there(built: Assembly) -> str:
    if built.reflector is None:
        return f"The plate then clears the driver by {in_both(built.tip_clearance)}."
    return (
        f"Three gaps there: plate gap {in_both(built.plate_gap)}, rim gap"
        f" {in_both(built.rim_gap)}, tip clearance {in_both(built.tip_clearance)}."
    )


def _alike(study: GapStudy) -> list[str]:
    """What cannot be told from the best: judged gaps, or the range by this file's scores."""
    if study.judged is None:
        return [_near_best(study)]
    others = [in_both(choice.plate_gap) for choice in study.like_best]
    said = [f"Cannot be told apart from it: {joined(others)}."] if others else []
    if study.lowest is study.best:
        return [*said, f"The very sizes of the file choose the same. {_near_best(study)}"]
    size, lead = in_both(study.lowest.plate_gap), study.behind_db(study.lowest)
    return [
        *said,
        f"The very sizes of the file would choose {size}, {-lead:.2f} dB better there."
        f" {_near_best(study)}",
    ]


def _near_best(study: GapStudy) -> str:
    good, apart = study.near_best, islands_in_words(study.islands)
    if good.low != good.high:
        near = f"Anywhere between {range_in_words(good)} is"
    elif apart:
        near = f"{in_both(good.low)} alone, with no gap beside it, is"
    else:
        return f"No other gap tried is within {good.within_db:g} dB of the lowest score."
    return f"{near} within {good.within_db:g} dB of the lowest score{apart}."


def _air_in_the_gap(study: GapStudy) -> list[str]:
    """What the air in the ring costs the cone at the smallest gap; nothing if it is not known."""
    least = study.smallest
    load = study.air_load(least)
    if load is None:
        return []
    whence = "assumed" if study.design.tables.driver.moving_mass is None else "by the file"
    cone, loss = f"{load.moving_mass * 1e3:.2g} g", f"{max(load.loss_db, 0.0):.1f} dB"
    return [
        f"Air that moves along with the cone: {load.mass * 1e3:.2g} g at the smallest of these"
        f" gaps, {in_both(least.plate_gap)}, against {load.flush * 1e3:.2g} g in a flat wall; there"
        f" a cone of {cone} ({whence}) moves {loss} less, which no level here holds."
    ]


def _as_written(study: GapStudy) -> list[str]:
    written = study.written
    if written is None or written is study.best:
        return []
    size, lead = in_both(written.plate_gap), study.behind_db(written)
    if lead < -NO_DIFFERENCE_DB:
        why = "leaks too much" if written.row.scorecard.leaks_too_much else "hollows out the treble"
        return [f"The gap in the file, {size}, scores {-lead:.2f} dB better but {why}."]
    return [f"The gap in the file, {size}: {behind(study.compare(written))}."]


def _soft_cone(study: GapStudy) -> list[str]:
    """Whether the best gap moves with a cone that absorbs."""
    soft = study.soft_best
    if soft is None:
        return []
    size = None if soft.row is study.best.row else in_both(study.choice_of(soft.row).plate_gap)
    return [soft_cone_in_words("gap", size, soft.lead_db, soft.from_hz)]


def _all_round(study: GapStudy) -> list[str]:
    """Whether the best gap moves with the posts solved, or as it hangs askew."""
    rows, lowest = [choice.row for choice in study.contenders], study.lowest.row

    def size(row: Row) -> str:
        return in_both(study.choice_of(row).plate_gap)

    return [
        *posts_in_words("gap", study.with_posts, rows, lowest, size),
        *askew_in_words("gap", study.askew, rows, lowest, size, study.design),
    ]


def _facts(study: GapStudy) -> tuple[Fact, ...]:
    best, built, soft = study.best, study.best.row.assembly, study.soft_best
    load = study.air_load(best)
    return (
        Fact("plate_gap_mm", mm(best.plate_gap), "recommended gap, baffle to top plate, mm"),
        Fact("post_length_mm", mm(study.post_length), "cut length of a post with sockets, mm"),
        Fact("rim_gap_mm", mm(built.rim_gap), "baffle to the reflector's edge at that gap, mm"),
        Fact("tip_clearance_mm", mm(built.tip_clearance), "tip to driver at rest, upright, mm"),
        Fact("score_db", best.row.score, "score of that gap, dB; less is better"),
        Fact("regret_db", _regret(study), REGRET),
        Fact("near_best_low_mm", mm(study.near_best.low), "least gap that is near-best, mm"),
        Fact("near_best_high_mm", mm(study.near_best.high), "largest gap that is near-best, mm"),
        Fact("near_best_db", study.near_best.within_db, "what counts as near-best, dB"),
        Fact(
            "soft_cone_gap_mm",
            mm(study.choice_of(soft.row).plate_gap) if soft else None,
            "best gap if the cone absorbs, mm; none where there is no such doubt",
        ),
        Fact(
            "soft_cone_lead_db",
            soft.lead_db if soft else 0.0,
            "by how much it then leads the best, dB",
        ),
        Fact("air_load_g", load.mass * 1e3 if load else None, "air that moves with the cone, g"),
        Fact(
            "air_load_loss_db",
            load.loss_db if load else None,
            "by how much the cone moves less than in a flat wall, dB",
        ),
        Fact(
            "plate_limit_hz",
            study.plate_limit_hz(best),
            "c / 2H: up to here the plates carry one radial wave only, Hz",
        ),
    )


def _regret(study: GapStudy) -> float | None:
    return None if study.judged is None else study.judged.regret_of(study.best.row)


def _gaps(study: GapStudy) -> Table:
    columns = (
        CANDIDATE,
        STANDING,
        length("plate_gap_mm", "plate gap", "baffle to underside of the top plate", short=True),
        length("post_length_mm", "post length", "cut length of a post with sockets", short=True),
        *SCORE_COLUMNS,
        REASON,
    )
    return Table(
        "gaps",
        "Every plate gap tried",
        columns,
        tuple(_gap(study, choice) for choice in study.choices),
        f"{standing_caption(study.near_best)}\n{SCORE_CAPTION}",
        note_key="reason",
        mark_key="score_db",
    )


def _gap(study: GapStudy, choice: GapChoice) -> tuple[Value, ...]:
    row, built = choice.row, choice.row.drawn
    return (
        row.name,
        study.standing_of(choice),
        mm(choice.plate_gap),
        mm(built.post_length) if built else None,
        *score_cells(row),
        row.reason,
    )


def _airways(study: GapStudy) -> Table:
    columns = (
        length("plate_gap_mm", "plate gap", "baffle to underside of the top plate", short=True),
        length("tip_clearance_mm", "tip clearance", "tip to driver at rest, upright", short=True),
        number("ring_over_driver", "ring area /\ndriver area", "area of the ring over the cone's"),
        number("air_load_g", "air\nload, g", "mass of the air that moves with the cone, g"),
        number(
            "air_load_loss_db", "its\nloss", "the cone moves so much less than in a wall, dB", 1
        ),
        TableColumn("plate_limit_hz", "one wave\nto, kHz", "c / 2H of the plates, Hz", in_khz),
        text("resonances_hz", "", "resonances in the fit, ascending, Hz", shown=False),
        text(
            "resonances", "resonances, kHz,\nsharpest first", "the sharpest resonances, kHz and Q"
        ),
        text("notches_hz", "", "notches in the window level, deepest first, Hz", shown=False),
        text("notches", "notches, kHz,\ndeepest first", "the deepest notches, kHz"),
    )
    return Table(
        "airways",
        "Where each gap loads the cone, lobes, rings and notches",
        columns,
        tuple(_airway(study, choice) for choice in study.choices if choice.row.solved),
        f"loss: dB on a cone of {CONE_MASS_BY_AREA:g} kg to the square metre, assumed; one wave to:"
        " c / 2H of the plates;\nresonances: poles of the fit; notches: computed, surest where many"
        " frequencies per band were solved",
    )


def _airway(study: GapStudy, choice: GapChoice) -> tuple[Value, ...]:
    built, notches = choice.row.assembly, choice.notches_hz
    named = dict.fromkeys(in_khz(f) for f in notches[:MOST_NOTCHES])
    load, rings = study.air_load(choice), choice.resonances
    sharpest = sorted(rings, key=lambda one: -one.q)[:MOST_RESONANCES]
    more = f" and {len(notches) - MOST_NOTCHES} more" if len(notches) > MOST_NOTCHES else ""
    return (
        mm(choice.plate_gap),
        mm(built.tip_clearance),
        built.ring_over_driver,
        load.mass * 1e3 if load else None,
        load.loss_db if load else None,
        study.plate_limit_hz(choice),
        " ".join(f"{one.frequency:.0f}" for one in rings),
        ", ".join(f"{in_khz(one.frequency)} (Q {one.q:.0f})" for one in sharpest) or "none",
        " ".join(f"{f:.0f}" for f in notches),
        ", ".join(named) + more or "none",
    )
