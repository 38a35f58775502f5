"""Contestants at the sizes and the gap where they do best: of a cone slope and base, of a cap keep.

Good sizes of a shape lie along a ridge: the room over the driver, gap less height, is nearly the
same along it (`studies.solving.joint`). So what a contestant may be is described by its base, its
height and that room, few of each are solved, and a smooth surface through their scores (of
Gaussians, by `scipy.interpolate`) says which others are solved next. Of 341 cones over the example
(bases of 90 to 168 mm, 30 to 75 degrees, gaps of 52 to 100 mm) 51 that were solved so, 36 of them
first, held the best, 3.29 dB, or one 0.03 dB behind, whether gaps began at 52, 58, 64 or 70 mm. Now
bases begin at a quarter of the largest, angles at 20 degrees, and 90 are first: 36 missed the slim
cones, which there have the least to regret.

The lowest score is not the least regret: at last few sizes, evenly over all, are solved at the gap
that the surface promises, and those that are judged by drivers and builds are far from one another.
With the next best ones in their place the example's cap was judged at 44 to 55 mm and at 15 mm of
keep, not at 23 mm, which has the lowest mean, and a slim cone that has less to regret than any
other stayed unseen. Then three that lie round the least regretted of each are judged as well:
without them 0.01 dB of regret decided between cones of 98 and of 58 mm, and with that whether the
cone leads the cap for sure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from studies.design import ContestEntry, Design
from studies.solving.candidates import Row, contenders
from studies.solving.ensemble import MAY_LEAD_DB, Judged
from studies.solving.entries import (
    Space,
    candidate_of,
    every_one,
    moves,
    size_of,
    sizes_chosen,
    space_of,
)
from studies.solving.grid import COARSE_BY_NEED, ByNeed, Fineness, Progress, Solver, run
from studies.solving.joint import MOST_GAPS, thinned

BROAD = {0: (1, 1, MOST_GAPS), 1: (6, 6, 5), 2: (5, 6, 3)}
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
BESIDE, AWAY = 3, (0.3, 1.5)
"""How many round that of the least regret are asked of every member then, in those lengths."""

Places = NDArray[np.float64]
"""(N, 3) base, height and room of contestants, or (N,) scores there."""


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


@dataclass(frozen=True, eq=False, kw_only=True)
class Tried:
    """What an entry may be, and what of it was solved.

    Attributes
    ----------
    space : list of list of (list of ContestEntry)
    known : mapping of ContestEntry to Row
    few : tuple of Contestant
        Those that may have the least regret; one that was not solved if nothing of it can be.
    """

    space: Space
    known: Mapping[ContestEntry, Row]
    few: tuple[Contestant, ...]

    def with_more(self, more: Sequence[ContestEntry], solved: Mapping[ContestEntry, Row]) -> Tried:
        """Return the same with more among the few, solved before or just now."""
        known = {**self.known, **solved}
        return replace(self, few=(*self.few, *(Contestant(one, known[one]) for one in more)))


def most_solves(design: Design, entry: ContestEntry) -> int:
    """Count what is solved at most to find the best sizes and gap of an entry."""
    count = sizes_chosen(design, entry)
    there = len(design.gap_candidates()) if moves(design, entry) else 1
    first, second, gaps = BROAD[count]
    if not count:
        return min(there, gaps)
    broad = (first * second if count > 1 else first) * min(there, gaps)
    return min(there, MOST_GAPS) + broad + (ROUNDS + 1) * EACH_ROUND + BESIDE


def finalists(
    design: Design,
    entries: Sequence[ContestEntry],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[Tried, ...]:
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
    tuple of Tried
        One for each entry.
    """
    coarse = COARSE_BY_NEED if isinstance(fineness, ByNeed) else fineness
    spaces = [space_of(design, entry) for entry in entries]
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
    return tuple(
        Tried(space=space, known=known, few=_may_lead(entry, known))
        for entry, space, known in zip(entries, spaces, found, strict=True)
    )


def beside(
    design: Design,
    entries: Sequence[ContestEntry],
    tried: Sequence[Tried],
    judged: Judged,
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None,
) -> tuple[Tried, ...]:
    """Solve what lies round the least regretted of each entry, and put it among its few.

    Parameters
    ----------
    design, entries, solver, fineness, progress
        As for `finalists`.
    tried : sequence of Tried
        What `finalists` found of each entry.
    judged : Judged
        Their few in every driver and build.

    Returns
    -------
    tuple of Tried
        One for each entry, with at most `BESIDE` more where sizes are chosen.
    """
    coarse = COARSE_BY_NEED if isinstance(fineness, ByNeed) else fineness
    asked = [
        _beside(one, judged) if sizes_chosen(design, entry) else []
        for entry, one in zip(entries, tried, strict=True)
    ]
    each = zip(tried, asked, strict=True)
    left = [new for one, some in each for new in some if new not in one.known]
    candidates = [candidate_of(design, new) for new in left]
    rows = run(design, candidates, solver, coarse, "round the least regretted", progress)
    solved = dict(zip(left, rows, strict=True))
    return tuple(one.with_more(some, solved) for one, some in zip(tried, asked, strict=True))


def _beside(tried: Tried, judged: Judged) -> list[ContestEntry]:
    """The few near the least regretted that the surface through the scores promises most."""
    least = least_regretted(tried.few, judged)
    if not judged.knows(least.row):
        return []
    asked = {one.entry for one in tried.few}
    others = [one for one in every_one(tried.space) if one not in asked]
    others = [one for one in others if one not in tried.known or tried.known[one].is_contender]
    away = np.linalg.norm(_places(others) - _places([least.entry]), axis=1) if others else []
    near = [one for one, far in zip(others, away, strict=True) if AWAY[0] <= far <= AWAY[1]]
    return _most_promising(near, tried.known, BESIDE) if near else []


def least_regretted(few: Sequence[Contestant], judged: Judged | None) -> Contestant:
    """Return the one of least regret among a few; of the lowest score if none was judged."""
    if judged is None:
        return min(few, key=lambda one: one.row.score)
    known = [one for one in few if judged.knows(one.row)]
    return min(known, key=lambda one: judged.regret_of(one.row), default=few[0])


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
    left = [one for one in every_one(space) if one not in known]
    if not left or not any(row.solved for row in known.values()):
        return []
    return _most_promising(left, known, EACH_ROUND)


def _most_promising(
    left: Sequence[ContestEntry], known: Mapping[ContestEntry, Row], most: int
) -> list[ContestEntry]:
    """At most so many of what is left, apart from one another, lowest on the surface first."""
    places = _places(left)
    chosen: list[int] = []
    for at in np.argsort(_surface(known)(places), kind="stable"):
        far = np.linalg.norm(places[chosen] - places[at], axis=1)
        if np.all(far >= APART):
            chosen.append(int(at))
        if len(chosen) == most:
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
    of_table = {table: size_of(one) for table, one in {one.table: one for one in entries}.items()}
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
