"""The search itself: everywhere by differential evolution, then nearby by Nelder-Mead.

Both see a function of a few numbers that costs a solve, and end when the solves are used up.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from shapes.reflectors import Reflector
from studies.questions.carve.bench import Bench
from studies.questions.carve.curves import Form, Numbers, PointMm, reflector_through
from studies.questions.carve.limits import impossible

SEED = 5
GLOBAL_SHARE = 0.65
"""How much of what the scans leave goes to the global search."""
PENALTY_DB = 1e3
"""Score of what breaks a limit, and more the further it does."""
ASKED_PER_SOLVE = 50
"""How many candidates that break a limit may be asked for in the time of one that does not."""
STILL_SHARE, STILL_DB = 0.01, 0.005
"""The local search stands still when its guesses differ by less: half a millimetre where there is
room for 50 mm of height, as a workshop would have it, and less than any score can be trusted."""
_SCATTER, _STEP = 0.1, 0.06
"""Of the first guesses round the starts, and of the first local steps: shares of the range."""


class _Spent(Exception):  # noqa: N818 - it ends a search, it is no mistake
    """All solves of a stage are used up."""


@dataclass
class Search:
    """What the optimiser sees: numbers in, decibels out, until the solves are used up."""

    bench: Bench
    form: Form
    stage: str = ""
    until: int = 0
    known: dict[tuple[PointMm, ...], float] = field(default_factory=dict)
    best: Numbers | None = None
    best_db: float = PENALTY_DB

    def __call__(self, numbers: Numbers) -> float:
        """Score of a profile, or a penalty by how far it breaks the limits."""
        points = self.form.points_mm(numbers)
        if points not in self.known:
            if len(self.known) >= ASKED_PER_SOLVE * self.bench.solves:
                raise _Spent
            self.known[points] = self._judged(points)
        if self.known[points] < self.best_db:
            self.best, self.best_db = np.array(numbers), self.known[points]
        return self.known[points]

    def _judged(self, points: tuple[PointMm, ...]) -> float:
        try:
            reflector = reflector_through(points)
            missed = self.bench.missed_by(reflector)
        except ValueError:
            return 2.0 * PENALTY_DB
        if missed > 0.0:
            return PENALTY_DB * (1.0 + min(missed, 1.0))
        if len(self.bench.trials) >= self.until:
            raise _Spent
        return min(self.bench.solve(self.stage, reflector, points), PENALTY_DB)


def search_curves(bench: Bench, form: Form, starts: Sequence[Reflector]) -> None:
    """Spend what solves are left on curves, first everywhere, then near the best of them.

    Raises
    ------
    DesignError
        If no curve keeps the limits.
    """
    search, bench.nearest_miss = Search(bench, form), {}
    _search_everywhere(search, starts)
    if search.best is None:
        raise impossible(bench.design, "no curve through so few knots", bench.nearest_miss)
    _search_nearby(search, search.best)


def _search_everywhere(search: Search, starts: Sequence[Reflector]) -> None:
    """Differential evolution from the starts, blends of them, and what lies round those."""
    from scipy.optimize import differential_evolution

    bench, bounds = search.bench, search.form.bounds
    left = bench.solves - len(bench.trials)
    search.stage = "everywhere"
    search.until = len(bench.trials) + max(len(starts), round(GLOBAL_SHARE * left))
    random = np.random.default_rng(SEED)
    first = np.array([search.form.numbers(start) for start in starts])
    mixed = random.dirichlet(np.ones(len(starts)), 2 * len(bounds)) @ first
    low, high = np.transpose(bounds)
    scattered = mixed + random.normal(0.0, _SCATTER, mixed.shape) * (high - low)
    others = np.clip(scattered, low, high)
    with contextlib.suppress(_Spent):
        differential_evolution(
            search, bounds, init=np.vstack((first, others)), rng=random, tol=0.0, polish=False
        )


def _search_nearby(search: Search, start: Numbers) -> None:
    """Nelder-Mead from the best so far, until it stands still or the solves are used up."""
    from scipy.optimize import minimize

    bench, bounds = search.bench, np.array(search.form.bounds)
    search.stage, search.until = "nearby", bench.solves
    steps = np.diag(_STEP * (bounds[:, 1] - bounds[:, 0]))
    # Steps away from a bound that is near, so that no corner falls onto another.
    corners = np.where(start + steps > bounds[:, 1], start - steps, start + steps)
    with contextlib.suppress(_Spent):
        minimize(
            search,
            start,
            method="Nelder-Mead",
            bounds=bounds,
            options={
                "initial_simplex": np.vstack((start, corners)),
                "xatol": STILL_SHARE,
                "fatol": STILL_DB,
                "maxfev": ASKED_PER_SOLVE * bench.solves,
            },
        )
