"""Cone or dome or a curve of my own: ranking, margin, absolute level by octave."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_label
from shapes.lengths import in_both, in_own
from studies.answer import cautions, levels
from studies.answer.columns import (
    REASON,
    SCORE_CAPTION,
    SCORE_COLUMNS,
    length,
    mm,
    number,
    score_cells,
    target_in_words,
    text,
)
from studies.answer.evidence import evidence_of
from studies.answer.judging import hollow_in_words, judged_table
from studies.answer.standing import (
    gained,
    out_of_reach_in_words,
    verdict_in_words,
)
from studies.answer.table import Fact, Findings, Table, TableColumn, Value, joined
from studies.answer.unbeaten import unbeaten_table
from studies.answer.voiced import filters_table
from studies.questions.contest.chosen_file import chosen_name
from studies.questions.contest.study import Contest, Ranked
from studies.solving.candidates import Row


def contest_tables(contest: Contest) -> Findings:
    """Put the ranking of a contest into words and tables."""
    named = [(row.name, row) for row in (*contest.ranking, *contest.failed)]
    return Findings(
        command="contest",
        design=contest.design,
        answer=tuple(_answer(contest)),
        facts=_facts(contest),
        tables=(
            _ranking(contest),
            *judged_table(contest.judged, contest.winner),
            _octaves(contest),
            unbeaten_table(contest.rows, contest.winner),
            filters_table(contest.winner, contest.design.target),
            levels.band_levels(contest.design, named, "levels", "Levels by third octave"),
            levels.curves(contest.design, named),
            levels.elevations(named),
        ),
        evidence=evidence_of(contest.rows, contest.winner),
        cautions=(cautions.TURNING,),
    )


def _answer(contest: Contest) -> list[str]:
    first, *others = contest.ranking
    said = [_winner(contest, first, others[0]) if others else f"Only '{first.name}' can be built."]
    said += [_chose(contest)]
    said += [_levels(contest, first)] if others else []
    said += [
        f"'{row.name}' cannot be built: {row.reason}.{_fits(contest, row)}"
        for row in contest.failed
    ]
    said += hollow_in_words(first, contest.design)
    said += _ends(contest)
    if contest.judged is not None and contest.design.moves_plate:
        said += out_of_reach_in_words(contest.design)
    return [*said, *_members(contest), _file(contest), *target_in_words(contest.design)]


def _ends(contest: Contest) -> list[str]:
    """Say which entries chose a size or a gap at an end of what was tried."""
    named = ((one.row.name, contest.ends[one.row.name]) for one in contest.ranked)
    ends = {name: joined(of) for name, of in named if of}
    if not ends:
        return []
    each = "; ".join(f"'{name}' ({of})" for name, of in ends.items())
    return [f"At an end of what was tried, and perhaps better beyond: {each}."]


def _chose(contest: Contest) -> str:
    """What each of them is, the first first."""
    each = [f"'{one.row.name}': {_built(one)}" for one in contest.ranked if one.row.solved]
    how = "as the file has them" if contest.judged is None else "each at its best"
    return f"Compared, {how}: {'; '.join(each)}."


def _built(one: Ranked) -> str:
    """Write sizes and gap, "cone 168 mm, half angle 48 deg, plate gap 66 mm"."""
    built, reflector = one.row.assembly, one.entry.reflector
    shape = "nothing under the plate" if reflector is None else reflector.label
    posts = "" if built.posts is None else f", posts {in_own(built.post_length)} long"
    return f"{shape}, plate gap {in_both(built.plate_gap)}{posts}"


def _file(contest: Contest) -> str:
    name, first = chosen_name(contest.design), contest.winner.name
    return f"'{first}' as a design of its own: {name} in the folder of the results."


def _levels(contest: Contest, first: Row) -> str:
    """In which band one of the first two is louder, whatever nobody knows."""
    at = contest.widest
    if at is None:
        return (
            "In no third octave nine of ten of these drivers and builds have the same one louder."
        )
    low, high = np.sort(np.abs(contest.band_range_db[:, at]))
    word = "louder" if contest.band_difference_db[at] > 0 else "quieter"
    size = f"{low:.1f} dB" if contest.judged is None else f"{low:.1f} to {high:.1f} dB"
    borne = "" if contest.judged is None else ", in nine of ten drivers and builds"
    return (
        f"Their levels in the window differ most in the {band_label(first.coverage.centres[at])}"
        f" band: '{first.name}' is {size} {word} there{borne}."
    )


def _fits(contest: Contest, row: Row) -> str:
    fits = contest.fitting.get(row.name)
    if fits is None:
        return ""
    return (
        f" The largest cone of this angle that fits has a base of {in_both(2 * fits.base_radius)}"
        f" and is {in_both(fits.height)} high."
    )


def _winner(contest: Contest, first: Row, second: Row) -> str:
    lead = contest.lead
    if not lead.told_apart:
        return (
            f"{verdict_in_words(lead).capitalize()}: '{first.name}' and '{second.name}'. Their"
            f" scores are {abs(lead.lead_db):.2f} dB apart; take what is easier to make."
        )
    return (
        f"First is '{first.name}' with a score of {first.score:.2f} dB. Over '{second.name}':"
        f" {gained(lead)}."
    )


def _members(contest: Contest) -> list[str]:
    judged = contest.judged
    if judged is None:
        return []
    return [
        f"Judged by {judged.scores.shape[1]} drivers and builds that this file may stand for, least"
        " to regret first."
    ]


def _facts(contest: Contest) -> tuple[Fact, ...]:
    won = contest.ranked[0].entry
    shape = won.reflector
    return (
        Fact("winner", contest.winner.name, "entry of least regret, or with the lowest score"),
        Fact("plate_gap_mm", mm(won.plate_gap), "where it hangs, mm"),
        Fact("reflector", "" if shape is None else shape.label, "what it is"),
        Fact("score_db", contest.winner.score, "its score, dB; less is better"),
        Fact(
            "margin_db",
            contest.margin_db,
            "by how much it leads the next one, dB; none if it is alone",
        ),
        Fact("verdict", contest.verdict, "how sure that is; none if it is alone"),
    )


def _ranking(contest: Contest) -> Table:
    columns = (
        number("place", "", "place in the ranking", 0),
        text("candidate", "entry", "name of the entry"),
        text("reflector", "", "its sizes", shown=False),
        length("plate_gap_mm", "plate gap", "baffle to underside of the top plate", short=True),
        text("at_end", "", "sizes and gap that are at an end of what was tried", shown=False),
        *SCORE_COLUMNS,
        number("regret_db", "regret", "how much worse than the best, nine of ten members, dB"),
        text("verdict", "verdict", "of the first against this one"),
        REASON,
    )
    return Table(
        "ranking",
        "Ranking: same column, same driver",
        columns,
        tuple(
            (
                at.place,
                at.row.name,
                "" if at.entry.reflector is None else at.entry.reflector.label,
                mm(at.entry.plate_gap),
                ", ".join(contest.ends[at.row.name]),
                *score_cells(at.row),
                contest.regret_db(at.row) if contest.judged and at.row.solved else None,
                contest.compare(at.row).verdict if at.row.solved and at.place != 1 else "",
                at.row.reason,
            )
            for at in contest.ranked
        ),
        f"{_hanging(contest)}{SCORE_CAPTION}",
        note_key="reason",
        mark_key="score_db",
    )


def _hanging(contest: Contest) -> str:
    """Say that entries have sizes and gaps of their own, where they do."""
    if contest.judged is None:
        return ""
    return "each at the sizes and the gap that are best for it, where the file does not hold them\n"


def _octaves(contest: Contest) -> Table:
    """Window level by octave: mean power of those of its third octaves that were computed."""
    columns = (
        text("candidate", "entry", "name of the entry"),
        *map(_octave_column, contest.octave_centres_hz),
    )
    rows: tuple[tuple[Value, ...], ...] = tuple(
        (row.name, *contest.octave_levels_db(row)) for row in contest.ranking
    )
    return Table(
        "octaves",
        "Level in the window by octave, dB re the driver's own on-axis curve",
        columns,
        rows,
        "absolute: nothing is normalised; an octave is the mean power of its third octaves in the"
        " band",
    )


def _octave_column(centre: float) -> TableColumn:
    label = band_label(centre)
    return number(
        f"level_{label.replace(' ', '_').replace('.', '_').lower()}_db",
        label.replace(" ", "\n"),
        f"mean level in the window, octave of {label}, dB re 0 dB",
        1,
    )
