"""One size off at a time: which single error of a size would explain the residuals?

Judged by the covariance by which readings are judged, of meter, driver and build together: what
another driver would leave as well is no sign of a wrong size. Tried by need, beginning at the
frequencies that the design as written took; on an even grid at four a band, the best of each size
then settled like the prediction. Whether the residuals need an explanation at all is asked before:
1.5 dB of model and 1 dB of meter, both common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design
from studies.design.design import assemble
from studies.design.moves import Dimension, dimensions_of
from studies.measured.comparing import Comparison, compare
from studies.measured.positions import MeasuredBands
from studies.solving.candidates import Candidate
from studies.solving.grid import Fineness, Progress, Solver, built, counted
from studies.solving.predicting import Predicted, predicted_at, solves_at, why_not

ONE_SIZE_OFF, SETTLING = "one size off at a time", "settling the best of each size"
STEPS = (-4.0, -2.0, -1.0, 1.0, 2.0, 4.0)
"""How far a size is moved, in its own steps (millimetres, half degrees)."""
NEVER_MEASURED_WRONG = ("plate diameter", "temperature")
"""Sizes that are not tried: one is easily measured, the other no geometry."""

Advance = Callable[[int], None]


@dataclass(frozen=True, eq=False)
class SizeOff:
    """The residuals as they would be with one size off.

    Attributes
    ----------
    dimension : Dimension
    change : float
        Added to what is written, SI.
    rms_db, weighed_db : float
        Root mean square of the residuals, and weighed by the covariance of their errors, as
        `studies.measured.comparing.Comparison` has them; nan if it cannot be built.
    reason : str
        Why it cannot be built; empty if it can.
    response : Response or None
    """

    dimension: Dimension
    change: float
    rms_db: float
    weighed_db: float
    reason: str = ""
    response: Response | None = field(default=None, repr=False)

    @property
    def rank(self) -> float:
        """Order among others, the best first: `weighed_db`, infinite if it cannot be built."""
        return math.inf if math.isnan(self.weighed_db) else self.weighed_db


@dataclass(frozen=True, eq=False)
class Comparer:
    """Predicts levels of an assembly at the positions and compares them with the readings.

    Attributes
    ----------
    design : Design
    measured : MeasuredBands
    shared_db : (N, P, B) array
        How the prediction may be off because nobody knows driver and build, dB.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable or None
        Called with (stage, done, total).
    """

    design: Design
    measured: MeasuredBands
    shared_db: np.ndarray = field(repr=False)
    solver: Solver
    progress: Progress | None

    @property
    def band(self) -> tuple[float, float]:
        """Lowest and highest third octave, Hz."""
        return float(self.measured.centres[0]), float(self.measured.centres[-1])

    def watch(self, stage: str, trials: int, fineness: Fineness) -> Advance:
        """Return a function that reports progress through so many solves of all bands."""
        return counted(self.progress, stage, trials * self.solves(fineness))

    def solves(self, fineness: Fineness) -> int:
        """Return how many solves one trial will take, about."""
        return solves_at(self.measured.positions, self.band, fineness)

    def compared(
        self,
        assembly: Assembly,
        fineness: Fineness,
        advance: Advance,
        begin: np.ndarray | None = None,
    ) -> tuple[Comparison, Predicted]:
        """Return the residuals with this assembly, and the prediction behind them.

        `begin` are the frequencies that are asked for first where they are chosen by need.
        """
        found = predicted_at(
            self.design,
            assembly,
            self.measured.positions,
            self.solver,
            fineness,
            advance,
            self.band,
            begin=begin,
        )
        return compare(self.measured.level_db, found.level_db, self.shared_db), found


def one_size_off(comparer: Comparer, fineness: Fineness) -> tuple[Comparison, tuple[SizeOff, ...]]:
    """Return the residuals as written, and every size moved by every step, solved as coarsely."""
    moves = list(_moves(comparer.design))
    advance = comparer.watch(ONE_SIZE_OFF, 1 + len(moves), fineness)
    as_written, first = comparer.compared(comparer.design.assembly(), fineness, advance)
    begin, tables = first.begin, comparer.design.tables
    tried = []
    for dimension, change in moves:
        row = built(Candidate("", partial(assemble, dimension.move(tables, change))))
        reason = row.reason or why_not(row.assembly, comparer.measured.positions)
        if reason:
            advance(comparer.solves(fineness))
            tried.append(SizeOff(dimension, change, math.nan, math.nan, reason))
        else:
            held, found = comparer.compared(row.assembly, fineness, advance, begin)
            tried.append(_size_off(dimension, change, held, found))
    return as_written, tuple(tried)


def settled(comparer: Comparer, tried: Sequence[SizeOff], fineness: Fineness) -> list[SizeOff]:
    """Solve the best change of every size again, as finely as the prediction."""
    best = [one for one in best_by_size(tried) if not one.reason]
    advance = comparer.watch(SETTLING, len(best), fineness)
    finer = [one for one in best_by_size(tried) if one.reason]
    for one in best:
        assembly = assemble(one.dimension.move(comparer.design.tables, one.change))
        held, found = comparer.compared(assembly, fineness, advance)
        finer.append(_size_off(one.dimension, one.change, held, found))
    return finer


def _size_off(dimension: Dimension, change: float, held: Comparison, found: Predicted) -> SizeOff:
    response = found.response.without_far()
    return SizeOff(dimension, change, held.rms_db, held.weighed_db, "", response)


def best_by_size(sizes: Sequence[SizeOff]) -> tuple[SizeOff, ...]:
    """Return for each size the change that leaves least, weighed, the best size first."""
    names = dict.fromkeys(one.dimension.name for one in sizes)
    best = [
        min((one for one in sizes if one.dimension.name == name), key=lambda one: one.rank)
        for name in names
    ]
    return tuple(sorted(best, key=lambda one: one.rank))


def _moves(design: Design) -> Iterator[tuple[Dimension, float]]:
    """Yield every size with every change that is tried."""
    proud = design.tables.driver.proud
    for dimension in dimensions_of(design.tables):
        if dimension.name in NEVER_MEASURED_WRONG:
            continue
        for step in STEPS:
            change = step * dimension.unit.size
            if dimension.name == "driver proud height" and proud + change < 0.0:
                continue  # a frame does not sink below the baffle
            yield dimension, change
