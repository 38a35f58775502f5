"""What an entry of a contest may be: sizes and gaps within the limits of the workshop."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from shapes.assembly import Assembly
from shapes.lengths import INCH, in_own_exactly, parse_angle, to_the_bit
from studies.design import ContestEntry, Design
from studies.design.reflector_tables import CHOOSABLE, BallTable, ConeTable, ReflectorTable
from studies.design.study_tables import sizes_of
from studies.solving.candidates import Candidate
from studies.solving.joint import at_end
from studies.solving.limits import Limits, limits_of

LEAST_SHARE = 0.25
"""Of the largest base or keep: smaller ones are not tried."""
HALF_ANGLES_DEG = range(20, 76)
"""Both are judgements, no source; where a choice ends up there, `ends_of` says so."""
STEPS = {"mm": (10e-3, 1e-3), "in": (INCH * 3 / 8, INCH / 16)}
"""Of a base, and of a keep where no [trim] says it, by the design's unit, m."""

Space = list[list[list[ContestEntry]]]
"""What a contestant may be: by base or ball, then by slope or keep, then by gap."""


def sizes_chosen(design: Design, entry: ContestEntry) -> int:
    """Count the sizes that an entry chooses, its gap not counted: 0, 1 or 2."""
    table = entry.table
    free = [size for size in CHOOSABLE.get(table.kind, ()) if size != entry.hold]
    if entry.hold == "sizes" or not free:
        return 0
    # A cap chooses its keep in any case, a ball only where there are several.
    return 1 + (len(_balls(design, entry)) > 1) if isinstance(table, BallTable) else len(free)


def moves(design: Design, entry: ContestEntry) -> bool:
    """Return whether an entry chooses its gap."""
    return design.moves_plate and not entry.stays


def every_one(space: Space) -> list[ContestEntry]:
    """Return all that an entry may be, as it is written first."""
    return list(dict.fromkeys(one for group in space for each in group for one in each))


def size_of(entry: ContestEntry) -> tuple[float, float]:
    """Return base and height, m; none where nothing hangs under the plate."""
    reflector = entry.reflector
    return (0.0, 0.0) if reflector is None else (2.0 * reflector.base_radius, reflector.height)


def ends_of(design: Design, entry: ContestEntry) -> list[str]:
    """Name what an entry chose at the least or the largest that was tried: better may lie beyond.

    Sizes by their names in a file, in words ("half angle"); the ball is among those on sale.
    """
    written, *groups = space_of(design, entry)
    others = [one for group in groups for each in group for one in each[:1]]
    tried = {name: [_chosen(one)[name] for one in others] for name in _chosen(entry) if others}
    tried |= {"plate gap": [one.plate_gap for one in written[0]]}
    chose = {**_chosen(entry), "plate gap": entry.plate_gap}
    return [name for name, sizes in tried.items() if at_end(chose[name], sizes)]


def _chosen(entry: ContestEntry) -> dict[str, float]:
    """Sizes that an entry may choose, m or rad."""
    if isinstance(entry.table, BallTable):
        return {"keep": entry.table.kept}
    reflector = entry.reflector
    if not isinstance(entry.table, ConeTable) or reflector is None:
        return {}
    base = 2.0 * reflector.base_radius
    return {"base diameter": base, "half angle": reflector.fact("half angle")}


def candidate_of(design: Design, entry: ContestEntry) -> Candidate:
    """Return an entry as a candidate, named by what it chose."""
    label = "" if entry.reflector is None else f": {entry.reflector.label}"
    return Candidate(
        f"{entry.name}{label}, gap {in_own_exactly(entry.plate_gap)}", partial(hung, design, entry)
    )


def hung(design: Design, entry: ContestEntry) -> Assembly:
    """Return the design with an entry's reflector at its gap; ValueError if there is no such."""
    return design.assembly().with_gap(entry.plate_gap).with_reflector(entry.reflector)


def space_of(design: Design, entry: ContestEntry) -> Space:
    """Return what an entry may be within the limits of the workshop, as it is written first.

    What touches the driver, or leaves no room for felt, shows when it is built.
    """
    gaps: tuple[float, ...] = (entry.plate_gap,)
    if moves(design, entry):
        gaps = tuple(map(to_the_bit, design.gap_candidates()))
    own = [[[replace(entry, plate_gap=gap) for gap in gaps]]]
    if not sizes_chosen(design, entry):
        return own
    limits = limits_of(design, hung(design, entry))
    groups = [
        [_with_room(replace(entry, table=table), gaps, limits) for table in tables]
        for tables in _tables(design, entry, limits)
    ]
    there = [[each for each in group if each] for group in groups]
    return [*own, *(group for group in there if group)]


def _tables(design: Design, entry: ContestEntry, limits: Limits) -> Iterator[list[ReflectorTable]]:
    """Sizes of an entry as tables of a file: by base or ball, then by slope or keep."""
    table, (step, whole) = entry.table, STEPS[design.unit]
    if isinstance(table, ConeTable):
        slopes = tuple(map(parse_angle, HALF_ANGLES_DEG))
        bases = _stepped(limits.largest_diameter, step, whole)
        if entry.hold == "half angle" and entry.reflector is not None:
            slopes = (entry.reflector.fact("half angle"),)
        if entry.hold == "base diameter":
            bases = (table.base_diameter,)
        for base in bases:
            sizes = {"base_diameter": base, "height": None}
            yield [table.model_copy(update={**sizes, "half_angle": slope}) for slope in slopes]
    elif isinstance(table, BallTable):
        trim, keeps = design.tables.trim, _stepped(limits.largest_height, whole, whole)
        if trim is not None:
            keeps = tuple(map(to_the_bit, sizes_of(trim.keep)))
        own, *others = _balls(design, entry)
        for ball, named in ((own, table.ball_diameter), *((one, (one,)) for one in others)):
            whole_ball = table.model_copy(update={"ball_diameter": named, "cut_off": None})
            fit = [keep for keep in keeps if keep < ball]
            yield [whole_ball.model_copy(update={"keep": keep}) for keep in fit]


def _balls(design: Design, entry: ContestEntry) -> tuple[float, ...]:
    """Diameters of the balls from which an entry's cap may be cut, m."""
    table, trim = entry.table, design.tables.trim
    if not isinstance(table, BallTable):
        return ()
    on_sale = () if trim is None or entry.hold == "ball diameter" else trim.balls_on_sale or ()
    return tuple(dict.fromkeys(map(to_the_bit, (table.diameter, *on_sale))))


def _stepped(largest: float, step: float, whole: float) -> tuple[float, ...]:
    """Sizes from the largest whole one down to the least share of it, m."""
    first = np.floor(largest / whole + 1e-6) * whole
    return tuple(to_the_bit(size) for size in np.arange(first, LEAST_SHARE * largest, -step))


def _with_room(entry: ContestEntry, gaps: Sequence[float], limits: Limits) -> list[ContestEntry]:
    """Return an entry at every gap at which it keeps the limits; none if there is no such shape."""
    try:
        reflector = entry.table.build()
    except ValueError:
        return []
    if reflector is None or 2.0 * reflector.base_radius > limits.largest_diameter:
        return []
    return [
        replace(entry, plate_gap=gap) for gap in gaps if reflector.height <= limits.height_at(gap)
    ]
