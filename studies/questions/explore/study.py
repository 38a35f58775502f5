"""What do the reflector's size and the plate gap do together?

Every pair of the two is solved and scored: a map to walk on. Its ranges come from ``[explore]``,
else from ``[trim]`` and ``[gap]``, else they are a spread round the design as written. Pairs that
may be chosen are asked of every driver and build that the file may stand for
(`studies.solving.ensemble`): the best has the least regret.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from shapes.assembly import Assembly
from shapes.lengths import in_both, in_degrees
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.design.study_tables import sizes_of
from studies.solving.candidates import SAME_SIZE, Candidate, Row, Standing, contenders
from studies.solving.ensemble import Judged, judge, may_lead, say_so_far
from studies.solving.grid import (
    COARSE_PER_BAND,
    Fineness,
    Progress,
    Solver,
    leaders_fineness,
    read_per_band,
    require_one_solved,
    run,
    solve_again,
)
from studies.solving.lines import PlaceInLine
from studies.solving.ranking import to_rank
from studies.solving.verdicts import Lead, compared

MOST_CANDIDATES = 200
"""A map of this many takes about two minutes on two cores."""
SPREAD_STEPS, SPREAD_SHARE = 6, 1.0 / 15.0
"""A size that no table names: so many steps of about this share of it to either side."""
LEADERS_AT_ONCE = 8
"""So many coarse leaders are solved again before the best is looked for anew."""
HALF_MM, HALF_DEGREE = 0.5e-3, math.radians(0.5)

# The size that is turned, and the key that would contradict it; of other kinds it is the height.
KNOBS = {"ball": ("keep", "cut_off"), "cone": ("half_angle", "height")}
HEIGHT = ("height", None)


@dataclass(frozen=True)
class Knob:
    """One size that is changed, with its values to try.

    Attributes
    ----------
    key : str
        Its key in the design file.
    sizes : tuple of float
        The values to try, ascending, m or rad.
    written : float
        Its value in the design as written, m or rad.
    wanted : int
        Number of sizes before they were thinned.
    """

    key: str
    sizes: tuple[float, ...]
    written: float
    wanted: int

    @property
    def name(self) -> str:
        """Its name in print: the key with spaces."""
        return self.key.replace("_", " ")

    @property
    def is_angle(self) -> bool:
        """True for an angle, rad; False for a length, m."""
        return self.key == "half_angle"

    @property
    def nearest(self) -> int:
        """Place in `sizes` of the value closest to the design as written."""
        return int(np.argmin(np.abs(np.array(self.sizes) - self.written)))

    def in_words(self, size: float) -> str:
        """Write one of its values, m or rad, in mm and inches or in degrees."""
        return in_degrees(size) if self.is_angle else in_both(size)

    def thinned(self, stride: int) -> Knob:
        """Keep one value of every `stride`; the one closest to the design as written stays."""
        first = self.nearest % stride
        return Knob(self.key, self.sizes[first::stride], self.written, self.wanted)


@dataclass(frozen=True, eq=False, kw_only=True)
class Explore:
    """The map of two sizes: every pair of them, solved and scored.

    Attributes
    ----------
    design : Design
    knob, gap : Knob
        The reflector's size and the plate gap.
    rows : tuple of Row
        Every pair, solved or not: plate gaps run fastest.
    best : int
        Place in `rows` of the least regret, or of the lowest score where nothing was judged, among
        those that leak and hollow out the treble no more than wanted, if any.
    region : (K, G) array of bool
        Near-best: one of those, and within ``target.near_best_db`` of the lowest score. They
        need not hang together: a ridge of good pairs may run between the cells.
    judged : Judged or None
        What may be chosen, in every driver and build; None if not asked.
    """

    design: Design
    knob: Knob
    gap: Knob
    rows: tuple[Row, ...]
    best: int
    region: np.ndarray
    judged: Judged | None = None

    @property
    def best_row(self) -> Row:
        """The pair that is chosen."""
        return self.rows[self.best]

    @property
    def lowest(self) -> int:
        """Place in `rows` of the lowest score among those that may be chosen."""
        return self.contenders[0]

    @property
    def like_best(self) -> tuple[int, ...]:
        """Places of judged pairs that cannot be told from the best, itself not counted."""
        judged = self.judged
        if judged is None:
            return ()
        known = [place for place, row in enumerate(self.rows) if judged.knows(row)]
        others = (place for place in known if place != self.best)
        return tuple(place for place in others if not self.compare_at(place).told_apart)

    @property
    def written(self) -> int:
        """Place in `rows` of the pair that comes closest to the design as written."""
        return self.knob.nearest * len(self.gap.sizes) + self.gap.nearest

    @property
    def is_written_tried(self) -> bool:
        """True if the design as written is itself among the pairs."""
        sizes = zip(self.sizes_at(self.written), self.knobs, strict=True)
        return all(math.isclose(size, knob.written, abs_tol=SAME_SIZE) for size, knob in sizes)

    @property
    def knobs(self) -> tuple[Knob, Knob]:
        """The reflector's size, then the plate gap."""
        return self.knob, self.gap

    @property
    def solved(self) -> tuple[Row, ...]:
        """The rows that were solved, in the order of `rows`."""
        return tuple(row for row in self.rows if row.solved)

    @property
    def failed(self) -> tuple[Row, ...]:
        """The rows that were not solved, in the order of `rows`."""
        return tuple(row for row in self.rows if not row.solved)

    @property
    def choked(self) -> tuple[Row, ...]:
        """The solved rows whose ring is smaller than the driver, in the order of `rows`."""
        return tuple(row for row in self.solved if row.assembly.is_choked)

    @property
    def contenders(self) -> tuple[int, ...]:
        """Places in `rows` among which the best was chosen, lowest score first.

        The pairs that leak no more than wanted; every solved pair if all of them leak more.
        """
        return tuple(sorted(contenders(self.rows), key=lambda place: self.rows[place].score))

    @property
    def near_best_reach(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Least and largest size of either knob in the near-best region, m or rad."""
        first, second = (
            (knob.sizes[places.min()], knob.sizes[places.max()])
            for knob, places in zip(self.knobs, self.region.nonzero(), strict=True)
        )
        return first, second

    def steps_at(self, place: int) -> tuple[int, int]:
        """Return the places of both sizes in their knobs for a place in `rows`."""
        return divmod(place, len(self.gap.sizes))

    def sizes_at(self, place: int) -> tuple[float, float]:
        """Return the reflector's size, m or rad, and the plate gap, m, at a place in `rows`."""
        i, j = self.steps_at(place)
        return self.knob.sizes[i], self.gap.sizes[j]

    def behind_db(self, place: int) -> float:
        """Score at a place in `rows` less that of the best, dB."""
        return self.rows[place].score - self.best_row.score

    def compare_at(self, place: int) -> Lead:
        """Compare the best with a place in `rows`: in every member if both were judged."""
        judged, row = self.judged, self.rows[place]
        if judged is not None and judged.knows(row):
            return judged.compare(self.best_row, row)
        return compared(self.behind_db(place))

    def standing_at(self, place: int) -> Standing:
        """Return how a pair compares with the best: the best itself, near-best, or neither."""
        if place == self.best:
            return "best"
        return "near-best" if self.region.flat[place] else ""


def explore(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = COARSE_PER_BAND,
    *,
    ensemble: bool = False,
) -> Explore:
    """Solve every pair of the two sizes.

    All are compared as finely as `fineness` says. Those with the lowest scores are solved again at
    `FINE_PER_BAND`, a few at a time, until no near-best one is coarse.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.
    ensemble : bool
        Ask every driver and build that the file may stand for (wave solver only).

    Raises
    ------
    DesignError
        If the reflector has no size to change, or nothing can be built.
    """
    knob, gap = knobs_of(design)
    candidates = [
        _candidate(design, knob, size, height) for size in knob.sizes for height in gap.sizes
    ]
    solver = to_rank(solver, fineness)
    rows = list(run(design, candidates, solver, fineness, "the map", progress))
    require_one_solved(design, rows, "explore", "candidate")
    _settle_leaders(design, rows, solver, leaders_fineness(fineness), progress)
    free = contenders(rows)
    best = lowest = min(free, key=lambda place: rows[place].score)
    limit = rows[lowest].score + design.target.near_best_db
    region = np.zeros((len(knob.sizes), len(gap.sizes)), dtype=bool)
    region.flat[[place for place in free if rows[place].score <= limit]] = True
    found = Explore(design=design, knob=knob, gap=gap, rows=tuple(rows), best=best, region=region)
    if not ensemble:
        return found
    say_so_far(progress, found.best_row)
    judged = judge(design, _may_be_chosen(found), solver, fineness, progress)
    if judged is None:
        return found
    return replace(found, judged=judged, best=rows.index(judged.least))


def _may_be_chosen(found: Explore) -> list[Row]:
    """Rows of the pairs that may have the least regret, and of the file's if it may be chosen."""
    written = [found.rows[found.written]] if found.written in found.contenders else []
    return may_lead([found.rows[place] for place in sorted(found.contenders)], written)


def _settle_leaders(
    design: Design, rows: list[Row], solver: Solver, fine: Fineness, progress: Progress | None
) -> None:
    """Solve those again that have the lowest scores, until no near-best one is coarse."""
    free = contenders(rows)
    while leaders := _unsettled(rows, free, fine, design.target.near_best_db):
        settled = solve_again(design, [rows[n] for n in leaders], solver, fine, progress)
        for place, row in zip(leaders, settled, strict=True):
            rows[place] = row


def _unsettled(
    rows: Sequence[Row], free: Sequence[int], fine: Fineness, near_best_db: float
) -> list[int]:
    """Places of coarse rows that are near-best so far: the few with the lowest scores."""
    solved = [place for place in free if rows[place].solved]
    coarse = [place for place in solved if rows[place].per_band < read_per_band(fine)]
    leading = min((rows[n].score for n in solved if n not in coarse), default=math.inf)
    close = [place for place in coarse if rows[place].score <= leading + near_best_db]
    return sorted(close, key=lambda place: rows[place].score)[:LEADERS_AT_ONCE]


def knobs_of(design: Design) -> tuple[Knob, Knob]:
    """Return the reflector's size and the plate gap with the values to try.

    Both are thinned until they make no more than `MOST_CANDIDATES` pairs.

    Raises
    ------
    DesignError
        If the reflector has no such size, or ``[explore]`` names that of another kind.
    """
    table = design.tables.reflector
    if table.kind not in KNOBS and not hasattr(table, "height"):
        raise DesignError(design.path, (_no_knob(table.kind),))
    key, _ = KNOBS.get(table.kind, HEIGHT)
    asked = design.tables.explore
    strange = [name for name in _asked_keys(design) if name not in (key, "plate_gap")]
    if strange:
        message = f'is no size of a reflector of kind "{table.kind}": write {key} in its place'
        raise DesignError(design.path, [Mistake(f"explore.{name}", message) for name in strange])
    written = design.assembly().hung_reflector.fact(key.replace("_", " "))
    trim, gaps = design.tables.trim, design.tables.gap
    own = getattr(asked, key) if asked is not None else None
    if own is None and key == "keep" and trim is not None:
        own = trim.keep
    height = asked.plate_gap if asked is not None and asked.plate_gap is not None else gaps
    hung = design.tables.plate_gap
    gap = _knob("plate_gap", hung, None if height is None else sizes_of(height))
    reached = tuple(size for size in gap.sizes if design.reaches(size)) or (hung,)
    return _few_enough(
        _knob(key, written, None if own is None else sizes_of(own)),
        replace(gap, sizes=reached, wanted=len(reached)),
    )


def _no_knob(kind: str) -> Mistake:
    what = "no reflector" if kind == "none" else f'a reflector of kind "{kind}"'
    return Mistake(
        "reflector.kind",
        f"{what} has no single size to turn against the plate gap: ask roundcast gap, or take a"
        ' kind with one, such as "ball", "cone" or "flared"',
    )


def _asked_keys(design: Design) -> Sequence[str]:
    asked = design.tables.explore
    return [] if asked is None else [name for name, value in asked if value is not None]


def _knob(key: str, written: float, asked: Sequence[float] | None) -> Knob:
    sizes = tuple(sorted(set(asked))) if asked is not None else _spread_round(written, key)
    return Knob(key, sizes, written, len(sizes))


def _spread_round(written: float, key: str) -> tuple[float, ...]:
    unit = HALF_DEGREE if key == "half_angle" else HALF_MM
    step = unit * max(1, round(written * SPREAD_SHARE / unit))
    sizes = (written + n * step for n in range(-SPREAD_STEPS, SPREAD_STEPS + 1))
    return tuple(size for size in sizes if size > 0.0)


def _few_enough(first: Knob, second: Knob) -> tuple[Knob, Knob]:
    """Thin the knob with more sizes until there are no more than `MOST_CANDIDATES` pairs."""
    knobs, strides = [first, second], [1, 1]
    thin = list(knobs)
    while len(thin[0].sizes) * len(thin[1].sizes) > MOST_CANDIDATES:
        longer = 0 if len(thin[0].sizes) >= len(thin[1].sizes) else 1
        strides[longer] += 1
        thin[longer] = knobs[longer].thinned(strides[longer])
    return thin[0], thin[1]


def _candidate(design: Design, knob: Knob, size: float, plate_gap: float) -> Candidate:
    name = f"{knob.name} {knob.in_words(size)}, plate gap {in_both(plate_gap)}"
    built = partial(_built, design, knob.key, size, plate_gap)
    return Candidate(name, built, PlaceInLine(f"plate gap {plate_gap}", size))


def _built(design: Design, key: str, size: float, plate_gap: float) -> Assembly:
    table = design.tables.reflector
    _, other = KNOBS.get(table.kind, HEIGHT)
    changed = {key: size} if other is None else {other: None, key: size}
    reflector = table.model_copy(update=changed).build()
    return design.assembly().with_gap(plate_gap).with_reflector(reflector)
