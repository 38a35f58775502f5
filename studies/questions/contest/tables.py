"""Cone or dome or a curve of my own: ranking, margin, absolute level by octave."""

from __future__ import annotations

import numpy as np

from dispersion.bands import band_index, band_label
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
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.answer.unbeaten import unbeaten_table
from studies.questions.contest.study import Contest
from studies.solving.candidates import Row
from studies.solving.target import NO_DIFFERENCE_DB


def contest_tables(contest: Contest) -> Findings:
    """Put the ranking of a contest into words and tables."""
    named = [(row.name, row) for row in (*contest.ranking, *_failed(contest))]
    return Findings(
        "contest",
        contest.design,
        tuple(_answer(contest)),
        _facts(contest),
        (
            _ranking(contest),
            _octaves(contest),
            unbeaten_table(contest.rows, contest.winner),
            levels.band_levels(contest.design, named, "levels", "Levels by third octave"),
            levels.curves(contest.design, named),
            levels.elevations(named),
        ),
        evidence_of(contest.rows, contest.winner),
        (cautions.TURNING,),
    )


def _failed(contest: Contest) -> list[Row]:
    return [row for row in contest.rows if not row.solved]


def _answer(contest: Contest) -> list[str]:
    first, *others = contest.ranking
    said = [_winner(contest, first, others[0]) if others else f"Only {first.name} can be built."]
    if others:
        change = contest.band_difference_db
        at = int(np.argmax(np.abs(change)))
        band, word = (
            band_label(first.coverage.centres[at]),
            "louder" if change[at] > 0 else "quieter",
        )
        said.append(
            f"Their levels in the window differ most in the {band} band:"
            f" {first.name} is {abs(change[at]):.1f} dB {word} there."
        )
    said += [f"{row.name} cannot be built: {row.reason}." for row in _failed(contest)]
    return [*said, *target_in_words(contest.design)]


def _winner(contest: Contest, first: Row, second: Row) -> str:
    if contest.margin_db < NO_DIFFERENCE_DB:
        return (
            f"No difference between {first.name} and {second.name}: their scores are"
            f" {contest.margin_db:.2f} dB apart, less than the {NO_DIFFERENCE_DB:g} dB that the"
            " computation can tell."
        )
    return (
        f"First is {first.name} with a score of {first.score:.2f} dB, {contest.margin_db:.2f} dB"
        f" ahead of {second.name}."
    )


def _facts(contest: Contest) -> tuple[Fact, ...]:
    margin = contest.margin_db
    return (
        Fact("winner", contest.winner.name, "entry with the lowest score"),
        Fact("score_db", contest.winner.score, "its score, dB; less is better"),
        Fact("margin_db", margin, "by how much it leads the next one, dB; none if it is alone"),
        Fact("no_difference", margin < NO_DIFFERENCE_DB, "whether that is too little to tell"),
    )


def _ranking(contest: Contest) -> Table:
    gaps = {
        id(row): entry.plate_gap for entry, row in zip(contest.entries, contest.rows, strict=True)
    }
    rows = (*enumerate(contest.ranking, start=1), *((None, row) for row in _failed(contest)))
    columns = (
        number("place", "", "place in the ranking", 0),
        text("candidate", "entry", "name of the entry"),
        length("plate_gap_mm", "plate gap", "baffle to underside of the top plate", short=True),
        *SCORE_COLUMNS,
        REASON,
    )
    return Table(
        "ranking",
        "Ranking: same column, same driver",
        columns,
        tuple(
            (place, row.name, mm(gaps[id(row)]), *score_cells(row), row.reason)
            for place, row in rows
        ),
        SCORE_CAPTION,
        note_key="reason",
        mark_key="score_db",
    )


def _octaves(contest: Contest) -> Table:
    """Window level by octave: mean power of those of its third octaves that were computed."""
    centres = contest.winner.coverage.centres
    octaves = np.floor_divide(band_index(centres) + 1, 3)
    columns = (
        text("candidate", "entry", "name of the entry"),
        *(_octave_column(int(octave)) for octave in np.unique(octaves)),
    )
    rows = tuple((row.name, *_octave_levels(row, octaves)) for row in contest.ranking)
    return Table(
        "octaves",
        "Level in the window by octave, dB re the driver's own on-axis curve",
        columns,
        rows,
        "absolute: nothing is normalised; an octave is the mean power of its third octaves in the"
        " band",
    )


def _octave_column(octave: int) -> TableColumn:
    centre = 1000.0 * 10.0 ** (0.3 * octave)
    label = band_label(centre)
    return number(
        f"level_{label.replace(' ', '_').replace('.', '_').lower()}_db",
        label.replace(" ", "\n"),
        f"mean level in the window, octave of {label}, dB re 0 dB",
        1,
    )


def _octave_levels(row: Row, octaves: np.ndarray) -> tuple[Value, ...]:
    power = 10.0 ** (row.coverage.window_level_db / 10.0)
    means = (power[octaves == octave].mean() for octave in np.unique(octaves))
    return tuple(float(10.0 * np.log10(mean)) for mean in means)
