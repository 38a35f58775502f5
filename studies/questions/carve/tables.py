"""A curve of one's own: what it gains, where its knots lie, and what was spent on it."""

from __future__ import annotations

from shapes.lengths import in_both, in_own
from studies.answer import cautions, levels
from studies.answer.columns import (
    SCORE_CAPTION,
    SCORE_COLUMNS,
    exact_length,
    mm,
    number,
    own_length,
    score_cells,
    target_in_words,
    text,
)
from studies.answer.evidence import evidence_of
from studies.answer.judging import hollow_in_words, judged_table
from studies.answer.standing import best_at_end_of_gaps, gained, out_of_reach_in_words
from studies.answer.table import Fact, Findings, Table, Value, joined
from studies.answer.unbeaten import unbeaten_table
from studies.answer.voiced import filters_table
from studies.questions.carve.carved_file import carved_name
from studies.questions.carve.study import (
    CHECK_FINER,
    CHECK_PER_BAND,
    DOUBT,
    LEAST_DOUBT_DB,
    Carved,
    Finalist,
)
from studies.solving.candidates import Row
from studies.solving.grid import ByNeed, Fineness


def carve_tables(carved: Carved) -> Findings:
    """Put the answer of a search into words and tables."""
    named = [(found.name, found.row) for found in carved.compared]
    curve = carved.curve.row
    return Findings(
        command="carve",
        design=carved.design,
        answer=(*_answer(carved), *target_in_words(carved.design)),
        facts=_facts(carved),
        tables=(
            _compared(carved),
            *judged_table(carved.judged, curve),
            _knots(carved),
            unbeaten_table(carved.rows, curve if carved.is_gain else None),
            filters_table(curve, carved.design.target),
            _search(carved),
            levels.band_levels(carved.design, named, "levels", "Levels by third octave"),
            levels.elevations(named),
        ),
        evidence=evidence_of(carved.rows, curve),
        cautions=(cautions.TURNING,),
    )


def _answer(carved: Carved) -> list[str]:
    said = [_gain(carved), *_over_each(carved), *_hang(carved), *_judged(carved)]
    said += hollow_in_words(carved.curve.row, carved.design)
    missing = [word for word, row in (("cap", carved.cap), ("cone", carved.cone)) if row is None]
    if missing:
        where = "any gap of [gap]" if carved.moves_plate else "this plate gap"
        said.append(f"No {joined(missing)} keeps these limits at {where}.")
    return [*said, _file(carved), _limits(carved), _spent(carved), _error(carved)]


def _gain(carved: Carved) -> str:
    score, rival = f"score {carved.curve.row.score:.2f} dB", carved.rival
    if rival is None:
        over = " and ".join(f"the {start.name}" for start in carved.starts)
        sure = "" if carved.is_sure else ", probably"
        return f"The carved curve beats {over}{sure}: {score}, less is better."
    found = carved.compare(rival)
    is_ = {"no difference": "no better than", "cannot be told apart": "not to be told apart from"}
    which = is_.get(found.verdict, "worse than")
    return (
        f"No gain: the best curve that was found ({score}) is {which} the {rival.name}. Take the"
        " simpler shape."
    )


def _over_each(carved: Carved) -> list[str]:
    return [
        f"Against the {start.row.name} (score {start.row.score:.2f} dB):"
        f" {gained(carved.compare(start))}."
        for start in carved.starts
    ]


def _judged(carved: Carved) -> list[str]:
    judged = carved.judged
    if judged is None:
        return []
    hung = ", each at a gap of its own" if carved.moves_plate else ""
    return [
        f"Judged by {judged.scores.shape[1]} drivers and builds that this file may stand for: the"
        " curve with the least to regret, against the cap and the cone that are hardest to beat"
        f"{hung}."
    ]


def _hang(carved: Carved) -> list[str]:
    """Where the curve hangs, if it has a gap of its own."""
    built = carved.curve.row.assembly
    if not carved.moves_plate:
        return []
    posts = "" if built.posts is None else f", posts {in_both(built.post_length)} long"
    gaps = carved.design.gap_candidates()
    gap = min(gaps, key=lambda one: abs(one - built.plate_gap))  # as the file has it, to the bit
    ends = best_at_end_of_gaps(carved.design, gap, gaps, gaps)
    return [
        f"It hangs at a plate gap of {in_both(built.plate_gap)}{posts}.",
        *(one.replace("It is", "The gap is", 1) for one in ends),
        *out_of_reach_in_words(carved.design),
    ]


def _file(carved: Carved) -> str:
    name = carved_name(carved.design)
    if not carved.is_gain:
        return f"The curve is in {name} all the same."
    return (
        f"The curve is in {name}, which every other command takes: try its tolerance before you"
        " turn it."
    )


def _limits(carved: Carved) -> str:
    limits = carved.limits
    undercut = "undercut allowed" if limits.undercut else "no undercut"
    return (
        f"Limits: at most {in_both(limits.largest_diameter)} across and"
        f" {in_both(limits.largest_height)} high, no curve tighter than"
        f" {in_own(limits.smallest_radius)} radius, {in_own(limits.tip_clearance)} clear of the"
        f" driver in motion, {undercut}, the driver not choked; the tip may be a point."
    )


def _spent(carved: Carved) -> str:
    return (
        f"Spent: {len(carved.trials)} of {carved.solves} solves on the search, and"
        f" {carved.settled} {_how_finely(carved.fine)} to settle it."
        f" {carved.tried('caps')} caps and {carved.tried('cones')} cones were tried: few leave"
        " room for a better one between them, which would make the gain smaller. None of the three"
        " is proved to be the best."
    )


def _how_finely(fineness: Fineness) -> str:
    if isinstance(fineness, ByNeed):
        return f"within {fineness.within_db:g} dB a band"
    return f"at {fineness} frequencies a band"


def _check(fine: Fineness) -> str:
    return "" if isinstance(fine, ByNeed) else f", {_how_finely(max(fine, CHECK_PER_BAND))}"


def _error(carved: Carved) -> str:
    return (
        f"Give or take: those that are compared were solved again on a mesh {CHECK_FINER:g} times"
        f" finer{_check(carved.fine)}; the changes of all terms of both scores,"
        f" taken {DOUBT:g} times, never less than {LEAST_DOUBT_DB:g} dB a score. It covers the"
        " computation, not the driver, the room or the lathe; a gain within it is no difference."
    )


def _facts(carved: Carved) -> tuple[Fact, ...]:
    return (
        Fact("score_db", carved.curve.row.score, "of the carved curve, dB; less is better"),
        *_gain_facts("cap", carved, carved.cap),
        *_gain_facts("cone", carved, carved.cone),
        Fact("is_gain", carved.is_gain, "whether every gain is probable at least"),
        Fact("plate_gap_mm", mm(carved.curve.trial.plate_gap), "at which the curve hangs, mm"),
        Fact("solves", len(carved.trials), "spent on the search"),
        Fact("caps_tried", carved.tried("caps"), "of the solves spent"),
        Fact("cones_tried", carved.tried("cones"), "of the solves spent"),
        Fact("solves_allowed", carved.solves, "for the search"),
        Fact("solves_settled", carved.settled, "again, to settle what is best"),
    )


def _gain_facts(word: str, carved: Carved, start: Finalist | None) -> tuple[Fact, ...]:
    if start is None:
        return ()
    found, error = carved.compare(start), carved.error_db(start)
    return (
        Fact(f"gain_over_{word}_db", found.lead_db, f"over the best {word}, mean of the score, dB"),
        Fact(f"gain_over_{word}_error_db", error, "what the computation may be off by, dB"),
        Fact(f"verdict_over_{word}", found.verdict, "how sure that gain is"),
    )


def _compared(carved: Carved) -> Table:
    columns = (
        text("candidate", "candidate", "name of the candidate"),
        own_length("base_diameter_mm", "across", "diameter of the flat"),
        own_length("height_mm", "height", "from tip to flat; of a cap, its keep"),
        own_length("plate_gap_mm", "gap", "baffle to underside of the top plate"),
        own_length("cut_off_mm", "cut off", "of a cap: what is cut off its ball"),
        *SCORE_COLUMNS,
        number("doubt_db", "give or\ntake", "what the score may be off by, dB"),
    )
    finalists = sorted(carved.compared, key=lambda found: found.row.score)
    return Table(
        "compared",
        "The carved curve, the best cap and the best cone",
        columns,
        tuple(map(_cells, finalists)),
        SCORE_CAPTION,
    )


def _cells(found: Finalist) -> tuple[Value, ...]:
    return (found.name, *_sizes(found.row), *score_cells(found.row), found.doubt_db)


def _sizes(row: Row) -> tuple[float, float, float, float | None]:
    reflector = row.assembly.hung_reflector
    cut_off = mm(reflector.fact("cut off")) if reflector.kind == "ball cap" else None
    gap = mm(row.assembly.plate_gap)
    return mm(2.0 * reflector.base_radius), mm(reflector.height), gap, cut_off


def _knots(carved: Carved) -> Table:
    return Table(
        "knots",
        "Knots of the carved curve, tip first",
        (
            exact_length("radius_mm", "from the\naxis", "distance from the axis"),
            exact_length("height_mm", "from the\nflat", "height, counted from the flat"),
        ),
        carved.curve.trial.points_mm,
        "a smooth curve runs through them; roundcast cut prints it at true size",
    )


def _search(carved: Carved) -> Table:
    columns = (
        number("solve", "solve", "number of the solve", 0),
        text("stage", "stage", "caps, cones, everywhere (global), nearby (local)"),
        text("candidate", "candidate", "what was solved"),
        number("plate_gap_mm", "plate gap", "at which it hung, mm"),
        number("score_db", "score", "coarse score, dB; less is better"),
    )
    return Table(
        "search",
        "Every solve of the search",
        columns,
        tuple(
            (place, trial.stage, trial.reflector.label, mm(trial.plate_gap), trial.score)
            for place, trial in enumerate(carved.trials, start=1)
        ),
        scope="data",
    )
