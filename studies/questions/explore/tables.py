"""The map of reflector size and plate gap: the answer in words, every cell, what to build there."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shapes.assembly import Assembly
from shapes.lengths import in_both, in_degrees
from shapes.reflectors import Reflector
from studies.answer import cautions, levels
from studies.answer.columns import (
    CANDIDATE,
    REASON,
    SCORE_CAPTION,
    SCORE_COLUMNS,
    both_short,
    fixed,
    mm,
    score_cells,
    target_in_words,
)
from studies.answer.evidence import evidence_of
from studies.answer.standing import STANDING, behind, best_at_end
from studies.answer.table import Fact, Findings, Table, TableColumn, Value
from studies.answer.unbeaten import unbeaten_table
from studies.questions.explore.study import Explore, Knob, is_free

MOST_ROWS = 12
"""Cells named in print, best first; the files have all."""


def explore_tables(found: Explore) -> Findings:
    """Put a map of two sizes into words and tables."""
    named = [(row.name, row) for row in found.rows]
    best = [named[found.best]]
    is_ball = found.design.ball is not None
    return Findings(
        "explore",
        found.design,
        tuple(_answer(found)),
        _facts(found),
        (
            _leaders(found),
            unbeaten_table(found.rows, found.rows[found.best]),
            _cells(found),
            levels.band_levels(
                found.design, named, "levels", "Levels of every cell by third octave", "bulk"
            ),
            levels.curves(found.design, best),
            levels.elevations(best),
        ),
        evidence_of(found.rows, found.rows[found.best]),
        (*(cautions.BALL if is_ball else (cautions.TURNING,)), cautions.POSTS),
    )


def what_to_build(assembly: Assembly) -> str:
    """Say what to cut and how to hang it."""
    return f"{_what_to_cut(assembly.hung_reflector)} {_how_to_hang(assembly)}"


def _what_to_cut(reflector: Reflector) -> str:
    fact = reflector.fact
    if reflector.kind == "ball cap":
        return (
            f"Keep {in_both(fact('keep'))} of the ball of {in_both(fact('ball diameter'))}, cut off"
            f" {in_both(fact('cut off'))}. Check: the flat is {in_both(fact('base diameter'))}"
            " across."
        )
    if reflector.kind == "cone":
        return (
            f"Cone: half angle {in_degrees(fact('half angle'))} from the axis, included angle"
            f" {in_degrees(fact('included angle'))}, slope {in_degrees(fact('slope'))};"
            f" {in_both(fact('height'))} high on a base of {in_both(fact('base diameter'))}."
        )
    return (
        f"{reflector.kind.capitalize()}: {in_both(reflector.height)} high on a base of"
        f" {in_both(fact('base diameter'))}, slope {in_degrees(reflector.tip_slope)} at the tip and"
        f" {in_degrees(reflector.rim_slope)} at the rim."
    )


def _how_to_hang(assembly: Assembly) -> str:
    hung = f"Plate gap {in_both(assembly.plate_gap)}"
    if assembly.posts is None:
        return f"{hung}."
    return f"{hung}: posts {in_both(assembly.post_length)} long, sockets included."


def near_best_in_words(found: Explore) -> str:
    """Tell how far the near-best region reaches either way."""
    within = f"within {found.design.target.near_best_db:g} dB of the best"
    count = int(found.region.sum())
    if count == 1:
        return f"No other pair tried is {within}: cut with care, or try smaller steps."
    knobs = zip(found.knobs, found.region.nonzero(), strict=True)
    ranges = ", ".join(_reach(knob, int(min(places)), int(max(places))) for knob, places in knobs)
    return f"{count} pairs are {within}: {ranges}; which goes with which, see the map."


def _reach(knob: Knob, low: int, high: int) -> str:
    if low == high:
        return f"{knob.name} {knob.in_words(knob.sizes[low])}"
    ends = f"{knob.in_words(knob.sizes[low])} to {knob.in_words(knob.sizes[high])}"
    return f"{knob.name} {ends}"


def how_coarse(found: Explore) -> str:
    """Tell what was tried, and what was left out."""
    said = f"{len(found.rows)} pairs tried: {_tried(found.knob)}, {_tried(found.gap)}."
    thinned = [knob for knob in found.knobs if len(knob.sizes) < knob.wanted]
    if not thinned:
        return said
    left = " and ".join(
        f"{len(knob.sizes)} of {knob.wanted} sizes of {knob.name}" for knob in thinned
    )
    return f"{said} That is {left}: for a finer map write a narrower range in [explore]."


def _tried(knob: Knob) -> str:
    low, high = knob.in_words(knob.sizes[0]), knob.in_words(knob.sizes[-1])
    if len(knob.sizes) == 1:
        return f"{knob.name} {low}"
    steps = {round(b - a, 7) for a, b in zip(knob.sizes, knob.sizes[1:], strict=False)}
    if len(steps) > 1:
        return f"{knob.name} {low} to {high} in {len(knob.sizes)} sizes"
    return f"{knob.name} {low} to {high} in steps of {knob.in_words(steps.pop())}"


def _answer(found: Explore) -> Iterator[str]:
    yield what_to_build(found.rows[found.best].assembly)
    yield near_best_in_words(found)
    yield from _ends(found)
    yield _as_written(found)
    yield how_coarse(found)
    yield from _not_for_choice(found)
    yield from target_in_words(found.design)


def _ends(found: Explore) -> Iterator[str]:
    """Warn where the best lies at an end of the map."""
    free = [found.sizes_at(n) for n, row in enumerate(found.rows) if is_free(row)]
    built = zip(*(free or [found.sizes_at(found.best)]), strict=True)
    sizes = found.sizes_at(found.best)
    for knob, best, possible in zip(found.knobs, sizes, built, strict=True):
        for warning in best_at_end(f"explore.{knob.key}", best, knob.sizes, possible):
            yield f"{knob.name.capitalize()}: {warning[0].lower()}{warning[1:]}"


def _as_written(found: Explore) -> str:
    row = found.rows[found.written]
    exact = all(
        math.isclose(size, knob.written, abs_tol=1e-7)
        for size, knob in zip(found.sizes_at(found.written), found.knobs, strict=True)
    )
    what = "The design as written" if exact else f"Nearest to the design as written, {row.name}"
    if not row.solved:
        return f"{what}: not solved ({row.reason})."
    if found.written == found.best:
        return f"{what}: it is the best."
    return f"{what}: {behind(found.behind_best(found.written))}."


def _not_for_choice(found: Explore) -> Iterator[str]:
    unbuilt = [row for row in found.rows if not row.solved]
    if unbuilt:
        first = unbuilt[0]
        yield (
            f"Marked, since they cannot be built or solved: {len(unbuilt)} of {len(found.rows)};"
            f" the first, {first.name}: {first.reason.split('; ')[0]}."
        )
    choked = sum(row.solved and row.assembly.is_choked for row in found.rows)
    if found.rows[found.best].assembly.is_choked:
        yield "Every one that can be built chokes the driver, this one too: try larger gaps."
    elif choked:
        yield f"Not recommended, since the ring is smaller than the driver and chokes it: {choked}."


def _facts(found: Explore) -> tuple[Fact, ...]:
    best, built = found.rows[found.best], found.rows[found.best].assembly
    size, plate_gap = found.sizes_at(found.best)
    return (
        Fact(_size_column(found)[0], _size_value(found, size), "best size of the reflector"),
        Fact("plate_gap_mm", mm(plate_gap), "plate gap that goes with it, mm"),
        Fact("base_diameter_mm", mm(2 * built.hung_reflector.base_radius), "check: flat, mm"),
        Fact("rim_gap_mm", mm(built.rim_gap), "baffle to the reflector's base edge, mm"),
        Fact("tip_clearance_mm", mm(built.tip_clearance), "tip to driver at rest, upright, mm"),
        Fact("post_length_mm", mm(built.post_length), "cut length of a post with sockets, mm"),
        Fact("score_db", best.score, "score of the best, dB; less is better"),
        Fact("near_best_db", found.design.target.near_best_db, "what counts as near-best, dB"),
        Fact("near_best_cells", int(found.region.sum()), "cells of the near-best region"),
        Fact("cells", len(found.rows), "pairs tried"),
        Fact("cells_solved", sum(row.solved for row in found.rows), "pairs solved"),
    )


def _size_column(found: Explore) -> tuple[str, str]:
    """Key and heading of the reflector's size."""
    knob = found.knob
    if knob.is_angle:
        return f"{knob.key}_deg", f"{knob.name}\ndeg"
    return f"{knob.key}_mm", f"{knob.name}\nmm (in)"


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
            "plate_gap_mm", "plate gap\nmm (in)", "baffle to underside of plate, mm", both_short
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
    standing = "near-best" if found.region.flat[place] else ""
    return (
        row.name,
        "best" if place == found.best else standing,
        _size_value(found, size),
        mm(plate_gap),
        row.assembly.is_choked if row.solved else None,
        *score_cells(row),
        row.reason,
    )


def _leaders(found: Explore) -> Table:
    free = [n for n, row in enumerate(found.rows) if is_free(row)] or [found.best]
    free.sort(key=lambda n: (n != found.best, found.rows[n].score))
    caption = (
        f"* best, + within {found.design.target.near_best_db:g} dB of it;"
        f" the files have all {len(found.rows)}\n{SCORE_CAPTION}"
    )
    rows = tuple(_row(found, n) for n in free[:MOST_ROWS])
    title = f"The best {len(rows)}" if len(rows) > 1 else "The best"
    return Table("leaders", title, _columns(found), rows, caption)


def _cells(found: Explore) -> Table:
    rows = tuple(_row(found, n) for n in range(len(found.rows)))
    return Table("cells", "Every cell of the map", _columns(found), rows, scope="data")
