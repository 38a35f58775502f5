"""Contestants at the sizes and the gap where they do best: of a cone slope and base, of a cap keep.

Good sizes of a shape lie along a ridge: the room over the driver, gap less height, is nearly the
same along it (`studies.solving.joint`). So what a contestant may be is described by its base, its
height and that room, few of each are solved, and a smooth surface through their scores (of
Gaussians, by `scipy.interpolate`) says which others are solved next. Of 341 cones over the example
(bases of 90 to 168 mm, 30 to 75 degrees, gaps of 52 to 100 mm) the 51 that are solved so held the
best, 3.29 dB, or one 0.03 dB behind, whether gaps began at 52, 58, 64 or 70 mm.

The lowest score is not the least regret: at last few sizes, evenly over all, are solved at the gap
that the surface promises, and those that are judged by drivers and builds are far from one another.
With the next best ones in their place the example's cap was judged at 44 to 55 mm and at 15 mm of
keep, not at 23 mm, which has the lowest mean, and a slim cone that has less to regret than any
other stayed unseen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from shapes.assembly import Assembly
from shapes.lengths import INCH, in_own_exactly, parse_angle, to_the_bit
from studies.design import ContestEntry, Design
from studies.design.reflector_tables import CHOOSABLE, BallTable, ConeTable, ReflectorTable
from studies.design.study_tables import sizes_of
from studies.solving.candidates import Candidate, Row, contenders
from studies.solving.ensemble import MAY_LEAD_DB, Judged
from studies.solving.grid import COARSE_BY_NEED, ByNeed, Fineness, Progress, Solver, run
from studies.solving.joint import MOST_GAPS, thinned
from studies.solving.limits import Limits, limits_of

LEAST_SHARE = 0.3
"""Of the largest base or keep: what is smaller comes near a bare plate."""
HALF_ANGLES_DEG = range(25, 76)
STEPS = {"mm": (10e-3, 1e-3), "in": (INCH * 3 / 8, INCH / 16)}
"""Of a base, and of a keep where no [trim] says it, by the design's unit, m."""
BROAD = {0: (1, 1, MOST_GAPS), 1: (6, 6, 5), 2: (3, 4, 3)}
"""How many of either size, and of gaps, are solved first, by how many sizes are chosen."""
ROUNDS, EACH_ROUND = 3, 6
"""How often a surface is laid through the scores, and how many sizes are solved each time."""
LENGTHS = (30e-3, 12e-3, 6e-3)
"""Over which a score changes: in base, in height, in room, m."""
APART = 0.5
"""Least distance of what is solved in one round, in those lengths."""
NOISE, HIGHEST_DB = 0.003, 3.0
"""Added to the diagonal; and what a score counts for at most above the lowest, dB."""
SPREAD_OVER = 3
"""Bases over which the last sizes are spread."""
FINALISTS = 6
"""Of each contestant, the sizes of the file not counted: how many are asked of every member."""

Places = NDArray[np.float64]
"""(N, 3) base, height and room of contestants, or (N,) scores there."""
Space = list[list[list[ContestEntry]]]
"""What a contestant may be: by base or ball, then by slope or keep, then by gap."""


@dataclass(frozen=True, eq=False)
class Contestant:
    """An entry of a contest at certain sizes under a plate at a certain gap.

    Attributes
    ----------
    entry : ContestEntry
    row : Row
    """

    entry: ContestEntry
    row: Row


def sizes_chosen(design: Design, entry: ContestEntry) -> int:
    """Count the sizes that an entry chooses, its gap not counted: 0, 1 or 2."""
    table = entry.table
    free = [size for size in CHOOSABLE.get(table.kind, ()) if size != entry.hold]
    if entry.hold == "sizes" or not free:
        return 0
    # A cap chooses its keep in any case, a ball only where there are several.
    return 1 + (len(_balls(design, entry)) > 1) if isinstance(table, BallTable) else len(free)


def most_solves(design: Design, entry: ContestEntry) -> int:
    """Count what is solved at most to find the best sizes and gap of an entry."""
    count = sizes_chosen(design, entry)
    there = len(design.gap_candidates()) if moves(design, entry) else 1
    first, second, gaps = BROAD[count]
    if not count:
        return min(there, gaps)
    broad = (first * second if count > 1 else first) * min(there, gaps)
    return min(there, MOST_GAPS) + broad + (ROUNDS + 1) * EACH_ROUND


def moves(design: Design, entry: ContestEntry) -> bool:
    """Return whether an entry chooses its gap."""
    return design.moves_plate and not entry.stays


def finalists(
    design: Design,
    entries: Sequence[ContestEntry],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[tuple[Contestant, ...], ...]:
    """Find the sizes and gaps at which each entry of a contest may have the least regret.

    Parameters
    ----------
    design : Design
        Its ``[gap]``, ``[trim]`` and ``[carve]`` say what can be had.
    entries : sequence of ContestEntry
    solver : callable
        The wave solver, as it ranks.
    fineness : int or ByNeed
    progress : callable or None
        Called with (stage, done, total) solves of one frequency.

    Returns
    -------
    tuple of (tuple of Contestant)
        For each entry a few, solved; or the entry as it is, not solved, if nothing of it can be.
    """
    coarse = COARSE_BY_NEED if isinstance(fineness, ByNeed) else fineness
    spaces = [_space(design, entry) for entry in entries]
    found: list[dict[ContestEntry, Row]] = [{} for _ in entries]
    asked = [_broad(design, *both) for both in zip(entries, spaces, strict=True)]
    for choose in (*[_promising] * ROUNDS, _of_every_size, None):
        if not any(asked):
            break
        candidates = [candidate_of(design, one) for each in asked for one in each]
        rows = iter(run(design, candidates, solver, coarse, "sizes of their own", progress))
        for known, each in zip(found, asked, strict=True):
            known.update({one: next(rows) for one in each})
        asked = [
            choose(space, known) if choose and sizes_chosen(design, entry) else []
            for entry, space, known in zip(entries, spaces, found, strict=True)
        ]
    return tuple(_may_lead(*both) for both in zip(entries, found, strict=True))


def least_regretted(few: Sequence[Contestant], judged: Judged | None) -> Contestant:
    """Return the one of least regret among a few; of the lowest score if none was judged."""
    if judged is None:
        return min(few, key=lambda one: one.row.score)
    known = [one for one in few if judged.knows(one.row)]
    return min(known, key=lambda one: judged.regret_of(one.row), default=few[0])


def candidate_of(design: Design, entry: ContestEntry) -> Candidate:
    """Return an entry as a candidate, named by what it chose."""
    label = "" if entry.reflector is None else f": {entry.reflector.label}"
    return Candidate(
        f"{entry.name}{label}, gap {in_own_exactly(entry.plate_gap)}", partial(hung, design, entry)
    )


def hung(design: Design, entry: ContestEntry) -> Assembly:
    """Return the design with an entry's reflector at its gap; ValueError if there is no such."""
    return design.assembly().with_gap(entry.plate_gap).with_reflector(entry.reflector)


def _space(design: Design, entry: ContestEntry) -> Space:
    """What an entry may be within the limits of the workshop, as it is written first.

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


def _broad(design: Design, entry: ContestEntry, space: Space) -> list[ContestEntry]:
    """Few of an entry's sizes and gaps, evenly over all, and as it is written."""
    first, second, gaps = BROAD[sizes_chosen(design, entry)]
    own, *groups = space
    few = [each for group in _thinned(groups, first) for each in thinned(group, second)]
    broad = [one for each in few for one in thinned(each, gaps)]
    return list(dict.fromkeys([*thinned(own[0], MOST_GAPS), *broad]))


def _thinned(groups: Space, most: int) -> Space:
    return thinned(groups, most) if groups else []


def _promising(space: Space, known: Mapping[ContestEntry, Row]) -> list[ContestEntry]:
    """Of what was not solved, the few that a smooth surface through the scores promises most."""
    left = [one for one in _every(space) if one not in known]
    if not left or not any(row.solved for row in known.values()):
        return []
    places = _places(left)
    chosen: list[int] = []
    for at in np.argsort(_surface(known)(places), kind="stable"):
        far = np.linalg.norm(places[chosen] - places[at], axis=1)
        if np.all(far >= APART):
            chosen.append(int(at))
        if len(chosen) == EACH_ROUND:
            break
    return [left[at] for at in chosen]


def _of_every_size(space: Space, known: Mapping[ContestEntry, Row]) -> list[ContestEntry]:
    """Few sizes, evenly over all, each at the gap that the surface promises most.

    What is best by the very sizes of the file is often not what has the least to regret.
    """
    if not any(row.solved for row in known.values()):
        return []
    surface, groups = _surface(known), space[1:]
    each = EACH_ROUND // min(len(groups), SPREAD_OVER)
    shapes = [one for group in _thinned(groups, SPREAD_OVER) for one in thinned(group, each)]
    best = [gaps[int(np.argmin(surface(_places(gaps))))] for gaps in shapes]
    return [one for one in best if one not in known]


def _every(space: Space) -> list[ContestEntry]:
    return list(dict.fromkeys(one for group in space for each in group for one in each))


def _surface(known: Mapping[ContestEntry, Row]) -> Callable[[Places], Places]:
    """A smooth surface through the scores of what was solved, from (N, 3) places to (N,) dB."""
    from scipy.interpolate import RBFInterpolator

    scores = np.array([row.score if row.is_contender else np.inf for row in known.values()])
    least = scores.min() if np.isfinite(scores).any() else 0.0
    return RBFInterpolator(
        _places(list(known)),
        np.minimum(scores, least + HIGHEST_DB),
        kernel="gaussian",
        epsilon=np.sqrt(0.5),
        degree=0,
        smoothing=NOISE,
    )


def _places(entries: Sequence[ContestEntry]) -> Places:
    """(N, 3) base, height and room of each, over the lengths on which a score changes."""
    of_table = {table: _size(one) for table, one in {one.table: one for one in entries}.items()}
    sizes = [(*of_table[one.table], one.plate_gap) for one in entries]
    return np.array([(base, high, gap - high) for base, high, gap in sizes]) / LENGTHS


def _may_lead(entry: ContestEntry, known: Mapping[ContestEntry, Row]) -> tuple[Contestant, ...]:
    """The few that may have the least regret, far from one another; one that failed else.

    Every size at the gap of its lowest score; the sizes that the file has are among them.
    """
    each = [Contestant(*both) for both in known.items()]
    free = [each[place] for place in contenders([one.row for one in each])]
    if not free:
        return tuple(each[:1])
    free.sort(key=lambda one: one.row.score)
    at_best = list({one.entry.table: one for one in reversed(free)}.values())[::-1]
    written = [one for one in at_best if one.entry.table == entry.table]
    if len(at_best) == 1:
        at_best = free  # nothing but the gap is chosen
    near = [one for one in at_best if one.row.score <= free[0].row.score + MAY_LEAD_DB]
    places = _places([one.entry for one in near])
    chosen = [0]
    while len(chosen) < min(FINALISTS, len(near)):
        away = np.linalg.norm(places[:, None] - places[chosen], axis=2).min(axis=1)
        chosen.append(int(np.argmax(away)))
    return tuple(dict.fromkeys([*(near[at] for at in chosen), *written]))


def _size(entry: ContestEntry) -> tuple[float, float]:
    """Base and height, m; none where nothing hangs under the plate."""
    reflector = entry.reflector
    return (0.0, 0.0) if reflector is None else (2.0 * reflector.base_radius, reflector.height)
