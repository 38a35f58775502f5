"""How much of the ball to keep: the answer in words, every candidate, the shaving."""

from __future__ import annotations

from dispersion.bands import band_label
from shapes.lengths import in_both, in_own
from studies.answer import cautions, levels
from studies.answer.columns import (
    CANDIDATE,
    REASON,
    SCORE_CAPTION,
    SCORE_COLUMNS,
    both,
    db_range,
    length,
    mm,
    number,
    score_cells,
    text,
)
from studies.answer.evidence import evidence_of
from studies.answer.judging import REGRET, judged_table
from studies.answer.standing import STANDING, standing_caption
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.answer.unbeaten import unbeaten_table
from studies.answer.voiced import filters_table
from studies.questions.trim.choice import Trim
from studies.questions.trim.steps import ShaveStep
from studies.questions.trim.words import answer
from studies.solving.candidates import Row
from studies.solving.shaving import Cut

MOST_BANDS = 3
"""Bands named for each step of the shaving."""


def trim_tables(trim: Trim) -> Findings:
    """Put the answer to "how much of the ball do I keep?" into words and tables."""
    held = _compared(trim)
    candidates = [cut.row for cut in trim.cuts]
    every = [*candidates, *(row for _, row in held)]
    tables = [
        _candidates(trim),
        _comparison(trim),
        *judged_table(trim.judged, trim.best.row),
        *_map(trim),
        unbeaten_table(candidates, trim.best.row),
        filters_table(trim.whole, trim.design.target),
    ]
    if trim.steps:
        tables += [_shaving(trim), _shaving_bands(trim)]
    return Findings(
        command="trim",
        design=trim.design,
        answer=tuple(answer(trim)),
        facts=_facts(trim),
        tables=(
            *tables,
            levels.band_levels(trim.design, held, "levels", "Levels by third octave"),
            levels.band_levels(
                trim.design,
                [(row.name, row) for row in candidates],
                "sweep",
                "Levels of every candidate by third octave",
                "bulk",
            ),
            levels.curves(trim.design, held),
            levels.elevations([("best cap", trim.whole)]),
        ),
        evidence=evidence_of([*every, trim.whole], trim.whole),
        cautions=(*cautions.BALL, cautions.SWEEPS),
    )


def _compared(trim: Trim) -> list[tuple[str, Row]]:
    """The best cap and what it is compared with, the ends of an uneven ball included, by name."""
    spread = trim.ball_spread
    ends = () if spread is None else (spread.smallest, spread.largest)
    return [
        *trim.compared.items(),
        *((f"best keep, ball {in_own(cut.ball_diameter)}", cut.row) for cut in ends),
    ]


def _facts(trim: Trim) -> tuple[Fact, ...]:
    best, second, spread = trim.best, trim.runner_up, trim.ball_spread
    built, soft = best.row.assembly, trim.soft_best
    gains = (
        Fact(
            f"gain_over_{name.replace(' ', '_')}_db",
            gain,
            f"score of the {name} less that of the best, dB",
        )
        for name, gain in trim.gains_db.items()
    )
    return (
        Fact("keep_mm", mm(best.keep), "best height to keep, from apex to flat, mm"),
        Fact("cut_off_mm", mm(best.cut_off), "what is cut away of the ball, mm"),
        Fact("ball_diameter_mm", mm(best.ball_diameter), "diameter of the best ball, mm"),
        Fact("base_diameter_mm", mm(best.base_diameter), "check: across the flat, mm"),
        Fact("rim_slope_deg", best.rim_slope_deg, "rise of the surface at its rim, degrees"),
        Fact("plate_gap_mm", mm(built.plate_gap), "baffle to top plate, mm"),
        Fact("tip_clearance_mm", mm(built.tip_clearance), "tip to driver at rest, upright, mm"),
        Fact("post_length_mm", mm(built.post_length), "cut length of a post with sockets, mm"),
        Fact("score_db", best.row.score, "score of the best, dB; less is better"),
        Fact("near_best_low_mm", mm(trim.near_best.low), "least keep that is near-best, mm"),
        Fact("near_best_high_mm", mm(trim.near_best.high), "most keep that is near-best, mm"),
        Fact("near_best_db", trim.near_best.within_db, "what counts as near-best, dB"),
        Fact(
            "runner_up_keep_mm",
            mm(second.keep) if second else None,
            "best height outside the near-best range, mm",
        ),
        Fact(
            "runner_up_ball_diameter_mm",
            mm(second.ball_diameter) if second else None,
            "its ball, mm",
        ),
        Fact("runner_up_score_db", second.row.score if second else None, "its score, dB"),
        *gains,
        *_of_members(trim),
        Fact(
            "soft_cone_keep_mm",
            mm(trim.cut_of(soft.row).keep) if soft else None,
            "best height if the cone absorbs, mm; none where there is no such doubt",
        ),
        Fact(
            "soft_cone_lead_db",
            soft.lead_db if soft else 0.0,
            "by how much it then leads the best, dB",
        ),
        Fact(
            "ball_spread_score_db",
            spread.score_change_db if spread else None,
            "change of the score between the smallest and largest measured ball, dB",
        ),
        Fact(
            "ball_spread_level_db",
            spread.level_change_db if spread else None,
            "largest change in a third octave between them, dB",
        ),
    )


def _of_members(trim: Trim) -> tuple[Fact, ...]:
    judged, written, now = trim.judged, trim.written, trim.as_written
    undone = trim.compare(written.row, now) if trim.moves_plate and written and now else None
    return (
        Fact("regret_db", judged.regret_of(trim.best.row) if judged else None, REGRET),
        Fact("members", judged.scores.shape[1] if judged else 0, "drivers and builds asked"),
        Fact(
            "written_keep_gap_mm",
            mm(written.row.assembly.plate_gap) if undone and written else None,
            "best gap of the keep in the file, mm; none where the plate is not moved",
        ),
        Fact(
            "gap_gains_db",
            undone.lead_db if undone else None,
            "what that gap gains over the file's, dB",
        ),
        Fact("gap_verdict", undone.verdict if undone else None, "whether that is sure"),
        Fact(
            "cut_gains_db",
            trim.cut_buys.lead_db if trim.cut_buys else None,
            "what the best gains over the keep in the file, dB",
        ),
        Fact(
            "cut_verdict",
            trim.cut_buys.verdict if trim.cut_buys else None,
            "whether that is sure",
        ),
    )


def _map(trim: Trim) -> tuple[Table, ...]:
    """Keep by gap, where both were searched together."""
    if not trim.pairs:
        return ()
    columns = (
        TableColumn("ball_diameter_mm", "ball", "diameter of the ball, mm", both, shown=False),
        length("keep_mm", "keep", "height from apex to flat", short=True),
        length("plate_gap_mm", "plate gap", "baffle to underside of the top plate", short=True),
        number("score_db", "score", "dB; less is better"),
        REASON,
    )
    rows = tuple(
        (
            mm(pair.ball_diameter),
            mm(pair.keep),
            mm(pair.plate_gap),
            None if pair.reason else pair.score,
            pair.reason,
        )
        for pair in trim.pairs
    )
    return (Table("map", "Keep by plate gap", columns, rows, scope="data"),)


def _candidates(trim: Trim) -> Table:
    columns = (
        CANDIDATE,
        STANDING,
        TableColumn("ball_diameter_mm", "ball", "diameter of the ball, mm", both, shown=False),
        length("keep_mm", "keep", "height from apex to flat", short=True),
        length("cut_off_mm", "cut off", "height that is cut away", short=True),
        length("base_diameter_mm", "flat across", "diameter of the flat", short=True),
        number("plate_gap_mm", "", "baffle to underside of the top plate, mm", shown=False),
        text("gap_at_end", "", "whether that gap is an end of what was tried", shown=False),
        number("tip_clearance_mm", "", "tip to driver at rest, upright, mm", shown=False),
        number("rim_slope_deg", "slope", "rise of the surface at its rim, degrees", shown=False),
        *SCORE_COLUMNS,
        REASON,
    )
    return Table(
        "candidates",
        "Every height tried",
        columns,
        tuple(_candidate(trim, cut) for cut in trim.cuts),
        f"{standing_caption(trim.near_best)}\n{SCORE_CAPTION}",
        note_key="reason",
        mark_key="score_db",
        group_key="ball_diameter_mm" if len(trim.balls) > 1 else "",
    )


def _candidate(trim: Trim, cut: Cut) -> tuple[Value, ...]:
    built = cut.row.drawn
    return (
        cut.row.name,
        trim.standing_of(cut),
        mm(cut.ball_diameter),
        mm(cut.keep),
        mm(cut.cut_off),
        mm(cut.base_diameter) if cut.is_cap else None,
        mm(built.plate_gap) if built else None,
        trim.at_end_of_gaps(cut),
        mm(cut.row.assembly.tip_clearance) if cut.row.solved else None,
        cut.rim_slope_deg,
        *score_cells(cut.row),
        cut.row.reason,
    )


def _comparison(trim: Trim) -> Table:
    return Table(
        "comparison",
        "Held against",
        (text("candidate", "", "what is compared"), *SCORE_COLUMNS, REASON),
        tuple((name, *score_cells(row), row.reason) for name, row in _compared(trim)),
        note_key="reason",
        mark_key="score_db",
    )


def _shaving(trim: Trim) -> Table:
    columns = (
        number("from_keep_mm", "from", "keep before the step, mm", shown=False),
        length("keep_mm", "keep", "keep after the step", short=True),
        length("cut_off_mm", "cut off", "cut off after the step", short=True),
        length("base_diameter_mm", "flat across", "diameter of the flat after it", short=True),
        *(
            [length("plate_gap_mm", "hang at", "plate gap after it", short=True)]
            if trim.moves_plate
            else []
        ),
        text(
            "most_changed",
            "third octaves that change most:\nHz and dB",
            "the bands that change most, Hz, each with its change, dB",
        ),
        number(
            "largest_change_db", "change", "sure change in the first of them, dB", 1, shown=False
        ),
        TableColumn(
            "shows_on_a_meter",
            "meter\nshows it",
            "whether some band changes enough for a level meter",
            lambda shows: "yes" if shows else "no",
            is_text=True,
        ),
    )
    return Table(
        "shaving",
        f"Shaving: start at {in_both(trim.steps[0].start.keep)}, stop and measure at each height",
        columns,
        tuple(_shaving_row(trim, step) for step in trim.steps),
        "change of the window's level that each step should bring, measured as third-octave noise"
        " at one place; from tall to short, since foam does not grow back; a range:"
        f" {_what_ranges(trim)}{_how_sure(trim)}",
    )


def _what_ranges(trim: Trim) -> str:
    if trim.judged is None:
        return "if the cone absorbs, and if not"
    return "in nine of ten of the drivers and builds that the file may stand for"


def _how_sure(trim: Trim) -> str:
    if trim.judged is None:
        return "; by the very sizes of this file, and other drivers and builds differ more"
    return ""


def _shaving_row(trim: Trim, step: ShaveStep) -> tuple[Value, ...]:
    stop = step.stop
    centres = stop.row.coverage.centres
    most = step.by_change[:MOST_BANDS]
    changes = ", ".join(f"{_short_band(centres[i])} {change_in_words(step, i)}" for i in most)
    return (
        mm(step.start.keep),
        mm(stop.keep),
        mm(stop.cut_off),
        mm(stop.base_diameter),
        *([mm(stop.row.assembly.plate_gap)] if trim.moves_plate else []),
        changes,
        step.largest_change_db,
        step.shows_on_a_meter,
    )


def change_in_words(step: ShaveStep, at: int) -> str:
    """Write what a step changes in one band, as a range if that hangs on what nobody knows."""
    return db_range(*sorted(map(float, step.range_db[:, at]), key=abs))


def _short_band(frequency: float) -> str:
    """Name a band in a few characters: "630", "12.5k"."""
    return band_label(frequency).replace(" kHz", "k").replace(" Hz", "")


def _shaving_bands(trim: Trim) -> Table:
    columns = (
        TableColumn("from_keep_mm", "from", "keep before the step, mm"),
        TableColumn("keep_mm", "keep", "keep after the step, mm"),
        TableColumn("frequency_hz", "band", "exact centre of the third-octave band, Hz"),
        number("change_db", "change", "change of the window level by the file's sizes, dB"),
        number("least_change_db", "least", f"the lowest it may be, {_what_ranges(trim)}, dB"),
        number("most_change_db", "most", f"the highest it may be, {_what_ranges(trim)}, dB"),
    )
    rows = tuple(
        (mm(step.start.keep), mm(step.stop.keep), *map(float, values))
        for step in trim.steps
        for values in zip(
            step.stop.row.coverage.centres, step.change_db, *step.range_db, strict=True
        )
    )
    return Table("shaving_bands", "Shaving by third octave", columns, rows, scope="data")
