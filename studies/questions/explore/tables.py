"""The map of reflector size and plate gap as tables: the leaders, every cell, its levels."""

from __future__ import annotations

import math

from studies.answer import cautions, levels
from studies.answer.columns import (
    CANDIDATE,
    REASON,
    SCORE_CAPTION,
    SCORE_COLUMNS,
    both_short,
    both_units,
    fixed,
    mm,
    score_cells,
)
from studies.answer.evidence import evidence_of
from studies.answer.judging import REGRET, judged_table
from studies.answer.standing import STANDING
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.answer.unbeaten import unbeaten_table
from studies.answer.voiced import filters_table
from studies.questions.explore.study import Explore
from studies.questions.explore.words import answer

MOST_ROWS = 12
"""Cells named in print, best first; the files have all."""


def explore_tables(found: Explore) -> Findings:
    """Put a map of two sizes into words and tables."""
    named = [(row.name, row) for row in found.rows]
    best = [named[found.best]]
    is_ball = found.design.ball is not None
    return Findings(
        command="explore",
        design=found.design,
        answer=tuple(answer(found)),
        facts=_facts(found),
        tables=(
            _leaders(found),
            *judged_table(found.judged, found.best_row),
            unbeaten_table(found.rows, found.best_row),
            filters_table(found.best_row, found.design.target),
            _cells(found),
            levels.band_levels(
                found.design, named, "levels", "Levels of every cell by third octave", "bulk"
            ),
            levels.curves(found.design, best),
            levels.elevations(best),
        ),
        evidence=evidence_of(found.rows, found.best_row),
        cautions=(
            *(cautions.BALL if is_ball else (cautions.TURNING,)),
            cautions.posts_alike(found.design.post_tolerance),
        ),
    )


def _facts(found: Explore) -> tuple[Fact, ...]:
    best, built = found.best_row, found.best_row.assembly
    size, plate_gap = found.sizes_at(found.best)
    return (
        Fact(_size_column(found)[0], _size_value(found, size), "best size of the reflector"),
        Fact("plate_gap_mm", mm(plate_gap), "plate gap that goes with it, mm"),
        Fact("base_diameter_mm", mm(2 * built.hung_reflector.base_radius), "check: flat, mm"),
        Fact("rim_gap_mm", mm(built.rim_gap), "baffle to the reflector's base edge, mm"),
        Fact("tip_clearance_mm", mm(built.tip_clearance), "tip to driver at rest, upright, mm"),
        Fact("post_length_mm", mm(built.post_length), "cut length of a post with sockets, mm"),
        Fact("score_db", best.score, "score of the best, dB; less is better"),
        Fact("regret_db", _regret(found), REGRET),
        Fact("near_best_db", found.design.target.near_best_db, "what counts as near-best, dB"),
        Fact("near_best_cells", int(found.region.sum()), "cells of the near-best region"),
        Fact("cells", len(found.rows), "pairs tried"),
        Fact("cells_solved", len(found.solved), "pairs solved"),
    )


def _regret(found: Explore) -> float | None:
    return None if found.judged is None else found.judged.regret_of(found.best_row)


def _size_column(found: Explore) -> tuple[str, str]:
    """Key and heading of the reflector's size."""
    knob = found.knob
    if knob.is_angle:
        return f"{knob.key}_deg", f"{knob.name}\ndeg"
    return f"{knob.key}_mm", f"{knob.name}\n{both_units()}"


def _size_value(found: Explore, size: float) -> float:
    return round(math.degrees(size), 6) if found.knob.is_angle else mm(size)


def _columns(found: Explore) -> tuple[TableColumn, ...]:
    key, heading = _size_column(found)
    form = fixed(1) if found.knob.is_angle else both_short
    return (
        CANDIDATE,
        STANDING,
        TableColumn(key, heading, "size of the reflector", form),
        TableColumn(
            "plate_gap_mm",
            f"plate gap\n{both_units()}",
            "baffle to underside of plate, mm",
            both_short,
        ),
        TableColumn(
            "chokes",
            "chokes",
            "whether the ring is smaller than the driver",
            lambda chokes: "yes" if chokes else "no",
            is_text=True,
        ),
        *SCORE_COLUMNS,
        REASON,
    )


def _row(found: Explore, place: int) -> tuple[Value, ...]:
    row = found.rows[place]
    size, plate_gap = found.sizes_at(place)
    return (
        row.name,
        found.standing_at(place),
        _size_value(found, size),
        mm(plate_gap),
        row.assembly.is_choked if row.solved else None,
        *score_cells(row),
        row.reason,
    )


def _leaders(found: Explore) -> Table:
    caption = (
        f"* best, + within {found.design.target.near_best_db:g} dB of the lowest score;"
        f" the files have all {len(found.rows)}\n{SCORE_CAPTION}"
    )
    first = found.contenders[:MOST_ROWS]
    places = first if found.best in first else (*first, found.best)
    rows = tuple(_row(found, n) for n in places)
    title = f"The best {len(rows)}" if len(rows) > 1 else "The best"
    return Table("leaders", title, _columns(found), rows, caption)


def _cells(found: Explore) -> Table:
    rows = tuple(_row(found, n) for n in range(len(found.rows)))
    return Table("cells", "Every cell of the map", _columns(found), rows, scope="data")
