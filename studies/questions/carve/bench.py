"""Where one reflector after another is held against the limits and solved."""

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
from studies.solving.grid import COARSE_PER_BAND, Progress, Solver, run


@dataclass(frozen=True)
class Trial:
    """One profile that was solved in the search.

    Attributes
    ----------
    stage : str
        "caps", "cones", "everywhere" or "nearby".
    reflector : Reflector
    score : float
        At `COARSE_PER_BAND` frequencies; infinite if it could not be solved.
    points_mm : tuple of (r, z)
        Knots of a curve, mm; empty for a cap or a cone.
    """

    stage: str
    reflector: Reflector
    score: float
    points_mm: tuple[PointMm, ...] = ()


@dataclass
class Bench:
    """Holds one reflector after another against the limits, solves it, and remembers both.

    Attributes
    ----------
    solves : int
        Solves that the search may spend.
    trials : list of Trial
        What was solved, in its order.
    nearest_miss : mapping
        Limits broken by what came nearest to keeping them, see `Limits.broken_by`.
    """

    design: Design
    solver: Solver
    limits: Limits
    solves: int
    progress: Progress | None = None
    trials: list[Trial] = field(default_factory=list)
    nearest_miss: Mapping[str, float] = field(default_factory=dict)

    def hung(self, reflector: Reflector) -> Assembly:
        """The design with this reflector."""
        return self.design.assembly().with_reflector(reflector)

    def missed_by(self, reflector: Reflector) -> float:
        """Tell by how much a reflector breaks the limits, 0 if it keeps them all.

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
        """Coarse score of a reflector that keeps the limits; infinite if it cannot be solved."""
        assembly, spent = self.hung(reflector), len(self.trials)

        def advance(_: str, done: int, total: int) -> None:
            if self.progress is not None:
                self.progress("carving", spent * total + done, self.solves * total)

        candidate = Candidate(reflector.label, lambda: assembly)
        row = run(self.design, [candidate], self.solver, COARSE_PER_BAND, stage, advance)[0]
        self.trials.append(Trial(stage, reflector, row.score, points))
        return row.score

    def of_stages(self, *stages: str) -> list[Trial]:
        """What could be solved at these stages, best first."""
        found = [t for t in self.trials if t.stage in stages and math.isfinite(t.score)]
        return sorted(found, key=lambda trial: trial.score)
