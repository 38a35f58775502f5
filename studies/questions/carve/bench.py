"""One reflector after another: checked against the limits, solved, remembered."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from shapes.assembly import Assembly
from shapes.lengths import to_the_bit
from shapes.reflectors import Reflector
from studies.design import Design
from studies.questions.carve.curves import PointMm
from studies.solving.candidates import Candidate
from studies.solving.grid import COARSE_BY_NEED, Fineness, Progress, Solver, run
from studies.solving.limits import Limits

Hung = tuple[Reflector, float]
"""A reflector and the plate gap at which it hangs, m."""
NOT_WANTED_DB = 10.0
"""What the search adds to the score of what leaks or hollows out the treble too much."""


@dataclass(frozen=True)
class Trial:
    """One profile that was solved in the search.

    Attributes
    ----------
    stage : str
        "caps", "cones", "everywhere" or "nearby".
    reflector : Reflector
    plate_gap : float
        At which it hung, m.
    score : float
        As finely as the search solves; infinite if it could not be solved.
    contends : bool
        Whether it was solved and leaks or hollows out the treble no more than is wanted.
    points_mm : tuple of (r, z)
        Knots of a curve, mm; empty for a cap or a cone.
    """

    stage: str
    reflector: Reflector
    plate_gap: float
    score: float
    contends: bool = True
    points_mm: tuple[PointMm, ...] = ()


@dataclass(kw_only=True)
class Bench:
    """Checks one reflector after another against the limits, solves it, and remembers both.

    Each hangs at a plate gap, m: that of the file, or one out of ``[gap]`` where plates may move.

    Attributes
    ----------
    design : Design
        What the reflectors hang in.
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    limits : Limits
        Of the workshop.
    solves : int
        Solves that the search may spend.
    fineness : int or ByNeed
        Frequencies in a third-octave band of the search, or as many as it takes.
    progress : callable or None
        Called with (stage, done, total).
    trials : list of Trial
        What was solved, in order.
    nearest_miss : mapping of str to float
        Limits broken by the reflector that came nearest to keeping all, see `Limits.broken_by`.
    """

    design: Design
    solver: Solver
    limits: Limits
    solves: int
    fineness: Fineness = COARSE_BY_NEED
    progress: Progress | None = None
    trials: list[Trial] = field(default_factory=list)
    nearest_miss: Mapping[str, float] = field(default_factory=dict)

    @property
    def written_gap(self) -> float:
        """Plate gap of the file, m."""
        return self.design.tables.plate_gap

    @property
    def gaps(self) -> tuple[float, ...]:
        """Plate gaps at which a reflector may hang, m, smallest first."""
        if not self.design.moves_plate:
            return (self.written_gap,)
        least = self.limits.tip_clearance
        return tuple(to_the_bit(gap) for gap in self.design.gap_candidates() if gap > least)

    def hung(self, reflector: Reflector, plate_gap: float) -> Assembly:
        """Return the design's assembly with this reflector at this gap."""
        return self.design.assembly().with_gap(plate_gap).with_reflector(reflector)

    def missed_by(self, reflector: Reflector, plate_gap: float) -> float:
        """Sum of the shares by which a reflector breaks the limits; 0 if it keeps them all.

        Raises
        ------
        ValueError
            If it cannot even be drawn.
        """
        broken = self.limits.broken_by(self.hung(reflector, plate_gap))
        amount = sum(broken.values())
        if broken and (not self.nearest_miss or amount < sum(self.nearest_miss.values())):
            self.nearest_miss = broken
        return amount

    def solve(
        self,
        stage: str,
        reflector: Reflector,
        plate_gap: float,
        points: tuple[PointMm, ...] = (),
    ) -> float:
        """Solve a reflector that keeps the limits; return its coarse score, inf if it has none.

        What leaks or hollows out the treble too much scores `NOT_WANTED_DB` worse.
        """
        known = {(trial.reflector, trial.plate_gap): trial for trial in self.trials}
        trial = known.get((reflector, plate_gap)) or self._tried(
            stage, reflector, plate_gap, points
        )
        return trial.score if trial.contends else trial.score + NOT_WANTED_DB

    def _tried(
        self, stage: str, reflector: Reflector, plate_gap: float, points: tuple[PointMm, ...]
    ) -> Trial:
        assembly, spent = self.hung(reflector, plate_gap), len(self.trials)

        def advance(_: str, done: int, total: int) -> None:
            if self.progress is not None:
                self.progress("carving", spent * total + done, self.solves * total)

        candidate = Candidate(reflector.label, lambda: assembly)
        row = run(self.design, [candidate], self.solver, self.fineness, stage, advance)[0]
        trial = Trial(stage, reflector, plate_gap, row.score, row.is_contender, points)
        self.trials.append(trial)
        return trial

    def of_stages(self, *stages: str) -> list[Trial]:
        """Trials of these stages that may be chosen, the lowest score first.

        Those that leak and hollow out the treble no more than wanted; if there is none, every one
        that could be solved.
        """
        solved = [t for t in self.trials if t.stage in stages and math.isfinite(t.score)]
        free = [trial for trial in solved if trial.contends] or solved
        return sorted(free, key=lambda trial: trial.score)
