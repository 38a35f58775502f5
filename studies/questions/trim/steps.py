"""Shaving from the tallest cap down to the best: what each step changes, and how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from studies.design import Design
from studies.solving.ensemble import Judged
from studies.solving.grid import Fineness, Progress, Solver, solve_again
from studies.solving.losses import Softened, least_change
from studies.solving.shaving import Cut, shaving_stops
from studies.solving.target import METER_DB


@dataclass(frozen=True, eq=False)
class ShaveStep:
    """One step of the shaving: from one keep height down to the next.

    Attributes
    ----------
    start, stop : Cut
        Before and after the step, both solved.
    softened : Softened or None
        The stops once more with a cone that absorbs; None where there is no such doubt.
    judged : Judged or None
        The stops in every driver and build; None where these were not asked.
    """

    start: Cut
    stop: Cut
    softened: Softened | None = None
    judged: Judged | None = None

    @property
    def change_db(self) -> np.ndarray:
        """(B,) change of the window level in each third-octave band, after less before, dB."""
        before, after = self.start.row.coverage, self.stop.row.coverage
        return after.window_level_db - before.window_level_db

    @cached_property
    def range_db(self) -> np.ndarray:
        """(2, B) the least and the most that it may be, dB.

        Over nine of ten drivers and builds where they were asked; else with a cone that absorbs
        and as it is, the same twice where there is no such doubt.
        """
        judged, rows = self.judged, (self.start.row, self.stop.row)
        if judged is not None and all(map(judged.knows, rows)):
            found = judged.change_range_db(*rows)
            if np.isfinite(found).all():
                return found
        return np.sort((self.change_db, self._soft_change_db), axis=0)

    @property
    def _soft_change_db(self) -> np.ndarray:
        """(B,) the change with a cone that absorbs; as it is where there is no such doubt, dB."""
        if self.softened is None:
            return self.change_db
        before, after = (self.softened.of(cut.row) for cut in (self.start, self.stop))
        if before is None or after is None:
            return self.change_db
        return after.coverage.window_level_db - before.coverage.window_level_db

    @property
    def sure_change_db(self) -> np.ndarray:
        """(B,) the end nearer to 0, 0 where the ends differ in sign: what a meter will show, dB."""
        return least_change(*self.range_db)

    @property
    def by_change(self) -> np.ndarray:
        """(B,) places of the bands by their sure change, the largest first; then by the likely."""
        likely = np.abs(self.range_db.mean(axis=0))
        return np.lexsort((-likely, -np.abs(self.sure_change_db)))

    @property
    def largest_change_db(self) -> float:
        """Sure change of the window level in the band where it is largest, with its sign, dB."""
        return float(self.sure_change_db[self.by_change[0]])

    @property
    def shows_on_a_meter(self) -> bool:
        """True if some band surely changes by `METER_DB` or more."""
        return abs(self.largest_change_db) >= METER_DB


def settled_stops(
    design: Design,
    cuts: Sequence[Cut],
    best: Cut,
    solver: Solver,
    fine: Fineness,
    progress: Progress | None,
) -> tuple[Cut, ...]:
    """Return the shaving's stops, from the tallest of `cuts` down to `best`, as fine as leaders.

    By need every cut has settled within a step's change already.
    """
    stops = shaving_stops(cuts, best)
    coarse = [stop for stop in stops[:-1] if stop.row.response.settling is None]
    rows = solve_again(design, [stop.row for stop in coarse], solver, fine, progress)
    finer = dict(zip((stop.keep for stop in coarse), rows, strict=True))
    return tuple(replace(stop, row=finer.get(stop.keep, stop.row)) for stop in stops)
