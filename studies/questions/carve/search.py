"""The search: caps and cones by scans, curves by differential evolution and by Nelder-Mead.

Differential evolution searches everywhere, Nelder-Mead goes on from its best. Both minimise a
function of a few numbers that costs a solve, and end when the solves are used up.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from shapes.reflectors import Reflector, ReflectorError, ball_cap, cone
from studies.questions.carve.bench import Bench, Hung
from studies.questions.carve.curves import LEAST_SHARE, Form, Numbers, PointMm, reflector_through
from studies.solving.limits import impossible

MOST_SCANNED = 9
"""Sizes that are solved over the whole range, and again round the best of them."""
SCANS, SCANS_OF_GAPS, SCANNED_SHARE = 3, 7, 0.4
"""Scans of caps and cones at one gap, or over many, and their share of all solves at most."""
_SHARES = np.linspace(LEAST_SHARE, 1.0, 86)
SEED = 5
GLOBAL_SHARE = 0.65
"""How much of what the scans leave goes to the global search."""
PENALTY_DB = 1e3
"""Score of what breaks a limit, and more the further it does."""
ASKED_PER_SOLVE = 50
"""Profiles that may be asked for, most of which break a limit, for each solve allowed."""
STILL_SHARE, STILL_DB = 0.01, 0.005
"""The local search stands still when its guesses differ by less: half a millimetre where there is
room for 50 mm of height, as a workshop would have it, and less than any score can be trusted."""
_SCATTER, _STEP = 0.1, 0.06
"""Of the first guesses round the starts, and of the first local steps: shares of the range."""


class _Spent(Exception):  # noqa: N818 - it ends a search, it is no mistake
    """All solves of a stage are used up."""


@dataclass(kw_only=True)
class ProfileSearch:
    """The function that an optimiser minimises: score of a profile by the numbers that make it.

    Attributes
    ----------
    bench : Bench
        Solves the profiles.
    form : Form
        Makes a profile of numbers.
    stage : str
        Name of the present stage.
    until : int
        The stage ends once the bench has solved this many in all.
    known : dict
        Score or penalty, dB, of every profile asked for, by its knots and its plate gap.
    best, best_db : array or None, float
        Numbers with the lowest score, and that score.
    """

    bench: Bench
    form: Form
    stage: str = ""
    until: int = 0
    known: dict[tuple[tuple[PointMm, ...], float], float] = field(default_factory=dict)
    best: Numbers | None = None
    best_db: float = PENALTY_DB

    def __call__(self, numbers: Numbers) -> float:
        """Score of a profile, dB, or a penalty by how far it breaks the limits."""
        hung = self.form.points_mm(numbers), self.form.plate_gap(numbers)
        if hung not in self.known:
            if len(self.known) >= ASKED_PER_SOLVE * self.bench.solves:
                raise _Spent
            self.known[hung] = self._judged(*hung)
        if self.known[hung] < self.best_db:
            self.best, self.best_db = np.array(numbers), self.known[hung]
        return self.known[hung]

    def _judged(self, points: tuple[PointMm, ...], plate_gap: float) -> float:
        try:
            reflector = reflector_through(points)
            missed = self.bench.missed_by(reflector, plate_gap)
        except ValueError:
            return 2.0 * PENALTY_DB
        if missed > 0.0:
            return PENALTY_DB * (1.0 + min(missed, 1.0))
        if len(self.bench.trials) >= self.until:
            raise _Spent
        return min(self.bench.solve(self.stage, reflector, plate_gap, points), PENALTY_DB)


def scan_caps(bench: Bench) -> None:
    """Every keep of the design's ball; where it has none, of whatever ball there may be."""
    ball = bench.design.ball
    if ball is not None:
        _scan_heights(bench, "caps", lambda height: ball_cap(ball.diameter, height))
    else:
        _scan_slope_and_size(
            bench, "caps", lambda radius, height: ball_cap(height + radius**2 / height, height)
        )


def scan_cones(bench: Bench) -> None:
    """Every slope, then every size."""
    _scan_slope_and_size(bench, "cones", lambda radius, height: cone(radius, height=height))


def _scan_slope_and_size(
    bench: Bench, stage: str, shape: Callable[[float, float], Reflector]
) -> None:
    """Every height on the largest base, then the best of them made smaller as a whole."""
    radius, highest = bench.limits.largest_diameter / 2.0, bench.limits.largest_height
    best = _scan_heights(bench, stage, partial(shape, radius))
    if best is not None:
        height, gap = best
        # Not lower than the curves of the search may be: they begin at the best of these.
        shares = _SHARES[_SHARES * height >= LEAST_SHARE * highest]
        _scan(bench, stage, lambda share: (shape(share * radius, share * height), gap), shares)


def _scan_heights(
    bench: Bench, stage: str, shape: Callable[[float], Reflector]
) -> tuple[float, float] | None:
    """Find a height and its gap: heights at the file's gap, then gaps, then heights once more.

    Good pairs of both lie along a ridge of the same room over the driver
    (`studies.solving.joint`), so along the gaps the height grows with the gap.
    """
    heights, gap = _SHARES * bench.limits.largest_height, bench.written_gap
    height = _scan(bench, stage, lambda h: (shape(h), gap), heights)
    if len(bench.gaps) < 2:
        return None if height is None else (height, gap)
    room = gap - height if height is not None else bench.limits.tip_clearance
    best = _scan(bench, stage, lambda g: (shape(g - room), g), np.array(bench.gaps))
    gap = bench.gaps[-1] if best is None else best
    height = _scan(bench, stage, lambda h: (shape(h), gap), heights)
    return None if height is None else (height, gap)


def _scan(bench: Bench, stage: str, hung: Callable[[float], Hung], sizes: Numbers) -> float | None:
    """Solve a few sizes over all that keep the limits, then a few round the best; return it."""
    left = [float(size) for size in sizes if _fits(bench, hung, size)]
    scores: dict[float, float] = {}
    scans = SCANS if len(bench.gaps) < 2 else SCANS_OF_GAPS
    count = max(1, min(MOST_SCANNED, int(SCANNED_SHARE * bench.solves / (2 * scans))))
    for _ in range(2 if left else 0):
        # The outermost say least, so that the steps begin and end inside.
        for at in np.linspace(0, len(left) - 1, count + 2).round().astype(int)[1:-1]:
            if left[at] not in scores:
                scores[left[at]] = bench.solve(stage, *hung(left[at]))
        left = _between_neighbours(left, scores)
    return min(scores, key=scores.__getitem__, default=None)


def _between_neighbours(sizes: Sequence[float], scores: dict[float, float]) -> list[float]:
    """Sizes from the one tried below the best to the one tried above it."""
    tried = [-math.inf, *sorted(scores), math.inf]
    at = tried.index(min(scores, key=scores.__getitem__))
    return [size for size in sizes if tried[at - 1] <= size <= tried[at + 1]]


def _fits(bench: Bench, hung: Callable[[float], Hung], size: float) -> bool:
    try:
        return bench.missed_by(*hung(size)) == 0.0
    except ReflectorError:
        return False


def search_curves(bench: Bench, form: Form, starts: Sequence[Hung]) -> None:
    """Spend what solves are left on curves, first everywhere, then near the best of them.

    Begins with reflectors that are known, each at its plate gap, m.

    Raises
    ------
    DesignError
        If no curve keeps the limits.
    """
    search, bench.nearest_miss = ProfileSearch(bench=bench, form=form), {}
    _search_everywhere(search, starts)
    if search.best is None:
        raise impossible(bench.design, "no curve through so few knots", bench.nearest_miss)
    _search_nearby(search, search.best)


def _search_everywhere(search: ProfileSearch, starts: Sequence[Hung]) -> None:
    """Differential evolution from the starts, blends of them, and what lies round those."""
    from scipy.optimize import differential_evolution

    bench, bounds = search.bench, search.form.bounds
    left = bench.solves - len(bench.trials)
    search.stage = "everywhere"
    search.until = len(bench.trials) + max(len(starts), round(GLOBAL_SHARE * left))
    random = np.random.default_rng(SEED)
    first = np.array([search.form.numbers(*start) for start in starts])
    mixed = random.dirichlet(np.ones(len(starts)), 2 * len(bounds)) @ first
    low, high = np.transpose(bounds)
    scattered = mixed + random.normal(0.0, _SCATTER, mixed.shape) * (high - low)
    others = np.clip(scattered, low, high)
    with contextlib.suppress(_Spent):
        differential_evolution(
            search, bounds, init=np.vstack((first, others)), rng=random, tol=0.0, polish=False
        )


def _search_nearby(search: ProfileSearch, start: Numbers) -> None:
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
