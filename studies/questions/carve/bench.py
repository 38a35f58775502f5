"""One reflector after another: checked against the limits, solved, remembered."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from shapes.assembly import Assembly
from shapes.reflectors import Reflector
from studies.design import Design
from studies.questions.carve.curves import PointMm
from studies.questions.carve.limits import Limits
from studies.solving.candidates import Candidate
from studies.solving.grid import COARSE_BY_NEED, Fineness, Progress, Solver, run


@dataclass(frozen=True)
class Trial:
    """One profile that was solved in the search.

    Attributes
    ----------
    stage : str
        "caps", "cones", "everywhere" or "nearby".
    reflector : Reflector
    score : float
        As finely as the search solves; infinite if it could not be solved.
    points_mm : tuple of (r, z)
        Knots of a curve, mm; empty for a cap or a cone.
    """

    stage: str
    reflector: Reflector
    score: float
    points_mm: tuple[PointMm, ...] = ()


@dataclass(kw_only=True)
class Bench:
    """Checks one reflector after another against the limits, solves it, and remembers both.

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

    def hung(self, reflector: Reflector) -> Assembly:
        """Return the design's assembly with this reflector."""
        return self.design.assembly().with_reflector(reflector)

    def missed_by(self, reflector: Reflector) -> float:
        """Sum of the shares by which a reflector breaks the limits; 0 if it keeps them all.

        Raises
        ------
        ValueError
            If it cannot even be drawn.
        """
        broken = self.limits.broken_by(self.hung(reflector))
        amount = sum(broken.values())
        if broken and (not self.nearest_miss or amount < sum(self.nearest_miss.values())):
            self.nearest_miss = broken
        return amount

    def solve(self, stage: str, reflector: Reflector, points: tuple[PointMm, ...] = ()) -> float:
        """Solve a reflector that keeps the limits; return its coarse score, inf if it has none."""
        assembly, spent = self.hung(reflector), len(self.trials)

        def advance(_: str, done: int, total: int) -> None:
            if self.progress is not None:
                self.progress("carving", spent * total + done, self.solves * total)

        candidate = Candidate(reflector.label, lambda: assembly)
        row = run(self.design, [candidate], self.solver, self.fineness, stage, advance)[0]
        self.trials.append(Trial(stage, reflector, row.score, points))
        return row.score

    def of_stages(self, *stages: str) -> list[Trial]:
        """Trials of these stages that could be solved, the lowest score first."""
        found = [t for t in self.trials if t.stage in stages and math.isfinite(t.score)]
        return sorted(found, key=lambda trial: trial.score)
