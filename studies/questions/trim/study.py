"""How much of the ball do I keep?

Every keep height of every ball is solved and scored. What stays in place while the cap changes,
plate gap or tip clearance, is the design's choice (`trim.hold`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np

from dispersion.paths.rays import solve_rays
from shapes.assembly import Assembly
from shapes.reflectors import ball_cap
from studies.design import Design
from studies.solving.candidates import Candidate, NearBest, Row, near_best, winner_of
from studies.solving.grid import (
    COARSE_PER_BAND,
    FINE_PER_BAND,
    Progress,
    Solver,
    require_one_solved,
    run,
    settle,
)
from studies.solving.shaving import Cut, shaving_stops
from studies.solving.target import METER_DB

OPINION_RAYS = 2**16


@dataclass(frozen=True, eq=False)
class ShaveStep:
    """One shaving: from one keep height to the next, and what a meter should show.

    `change_db` (B,) is the change of the window level in each third-octave band.
    """

    start: Cut
    stop: Cut
    change_db: np.ndarray

    @property
    def tell_tale(self) -> int:
        """Index of the band that changes most."""
        return int(np.argmax(np.abs(self.change_db)))

    @property
    def shows_on_a_meter(self) -> bool:
        """Tell whether some band changes by `METER_DB` or more."""
        return bool(np.max(np.abs(self.change_db)) >= METER_DB)


@dataclass(frozen=True, eq=False)
class BallSpread:
    """What it costs that the ball is not round: keep held, diameter at either measured end."""

    smallest: Cut
    largest: Cut

    @property
    def score_change_db(self) -> float:
        """Largest difference of the score between the two."""
        return abs(self.largest.row.score - self.smallest.row.score)

    @property
    def level_change_db(self) -> float:
        """Largest difference of the window level in any third-octave band."""
        change = (
            self.largest.row.coverage.window_level_db - self.smallest.row.coverage.window_level_db
        )
        return float(np.max(np.abs(change)))


@dataclass(frozen=True, eq=False)
class RaysOpinion:
    """What rays alone would say, beside the wave solver.

    Attributes
    ----------
    favourite : Cut
        Candidate of the best ball that rays score best, with the wave solver's row.
    at_best : Row
        The wave solver's best cap, by rays.
    """

    favourite: Cut
    at_best: Row


@dataclass(frozen=True, eq=False)
class Trim:
    """The answer.

    Attributes
    ----------
    design : Design
    cuts : tuple of Cut
        Every candidate, solved or not.
    best : Cut
    near_best : NearBest
        Range of keep heights of the best ball, metres.
    runner_up : Cut or None
        Best candidate outside that range.
    half_ball, plate_alone, bare_column : Row
        For comparison: half of the best ball at the same tip clearance (longer posts), the top
        plate without a reflector, and nothing above the driver.
    steps : tuple of ShaveStep
        From the tallest cap down to the best.
    ball_spread : BallSpread or None
        Where the file gives several measured diameters.
    rays_opinion : RaysOpinion or None
        None if the method asked for was not the wave solver.
    """

    design: Design
    cuts: tuple[Cut, ...]
    best: Cut
    near_best: NearBest
    runner_up: Cut | None
    half_ball: Row
    plate_alone: Row
    bare_column: Row
    steps: tuple[ShaveStep, ...]
    ball_spread: BallSpread | None
    rays_opinion: RaysOpinion | None = None


def trim(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = COARSE_PER_BAND,
) -> Trim:
    """Solve every keep height and choose.

    All candidates are compared at `per_band` frequencies; the leaders, the comparisons and the
    steps of the shaving are solved again at `FINE_PER_BAND`.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    per_band : int
        Frequencies in a third-octave band, four or more.

    Raises
    ------
    DesignError
        If there is nothing to try, or nothing that can be built.
    """
    fine = max(per_band, FINE_PER_BAND)
    sizes = design.trim_candidates()
    candidates = [_candidate(design, ball, keep) for ball, keep in sizes]
    rows = run(design, candidates, solver, per_band, "keep heights", progress)
    require_one_solved(design, rows, "trim.keep", "candidate")
    rows = settle(design, rows, solver, fine, progress)
    cuts = tuple(Cut(ball, keep, row) for (ball, keep), row in zip(sizes, rows, strict=True))
    winner = winner_of(rows)
    best = next(cut for cut in cuts if cut.row is winner)
    same_ball = [cut for cut in cuts if cut.ball_diameter == best.ball_diameter]
    good = near_best(
        [cut.keep for cut in same_ball], [cut.row for cut in same_ball], design.target.near_best_db
    )
    stops = shaving_stops(same_ball, best)
    coarse = [stop for stop in stops if stop.row.per_band < fine]
    asked = _references(design, best)
    again = [_candidate(design, stop.ball_diameter, stop.keep) for stop in coarse]
    more = run(design, [*asked, *again], solver, fine, "comparisons and shaving steps", progress)
    half_ball, plate_alone, bare_column, *spread = more[: len(asked)]
    finer = dict(zip((stop.keep for stop in coarse), more[len(asked) :], strict=True))
    stops = tuple(replace(stop, row=finer.get(stop.keep, stop.row)) for stop in stops)
    return Trim(
        design,
        cuts,
        best,
        good,
        _runner_up(cuts, best, good),
        half_ball,
        plate_alone,
        bare_column,
        _steps(stops),
        _ball_spread(design, best, spread),
        _rays_opinion(design, same_ball, best, per_band, progress),
    )


def _runner_up(cuts: tuple[Cut, ...], best: Cut, good: NearBest) -> Cut | None:
    others = [
        cut
        for cut in cuts
        if cut.row.solved
        and not (cut.ball_diameter == best.ball_diameter and good.low <= cut.keep <= good.high)
    ]
    return min(others, key=lambda cut: cut.row.score, default=None)


def _candidate(design: Design, ball: float, keep: float) -> Candidate:
    name = f"ball {ball * 1e3:.4g} mm, keep {keep * 1e3:.4g} mm"
    return Candidate(name, lambda: design.trimmed(ball, keep))


def _references(design: Design, best: Cut) -> list[Candidate]:
    references = [
        Candidate("half ball", lambda: _half_ball(best)),
        Candidate("top plate alone", lambda: best.row.assembly.with_reflector(None)),
        Candidate("bare column", lambda: best.row.assembly.without_upper()),
    ]
    if spread := _measured_spread(design, best):
        low = best.ball_diameter - 0.5 * spread
        high = best.ball_diameter + 0.5 * spread
        references += [_candidate(design, ball, best.keep) for ball in (low, high)]
    return references


def _measured_spread(design: Design, best: Cut) -> float:
    """Spread of the measured diameters if the best ball is the design's own, m; else 0."""
    ball = design.ball
    return ball.spread if ball is not None and ball.diameter == best.ball_diameter else 0.0


def _half_ball(best: Cut) -> Assembly:
    """Half of the best ball, hung so that its tip clears the driver as the best cap does."""
    cap = ball_cap(best.ball_diameter, 0.5 * best.ball_diameter)
    # Its posts would have to stand farther out; they make no sound here.
    built = replace(best.row.assembly, posts=None)
    return built.with_gap(built.plate_gap + cap.height - best.keep).with_reflector(cap)


def _rays_opinion(
    design: Design, cuts: Sequence[Cut], best: Cut, per_band: int, progress: Progress | None
) -> RaysOpinion | None:
    if best.row.response.method != "waves":
        return None
    solver = partial(solve_rays, rays=OPINION_RAYS)
    solved = [cut for cut in cuts if cut.row.solved]
    candidates = [_candidate(design, cut.ball_diameter, cut.keep) for cut in solved]
    rows = run(design, candidates, solver, per_band, "what rays say", progress)
    if any(not row.solved for row in rows):
        return None
    favourite = min(range(len(rows)), key=lambda i: rows[i].score)
    at_best = next(row for row, cut in zip(rows, solved, strict=True) if cut is best)
    return RaysOpinion(solved[favourite], at_best)


def _ball_spread(design: Design, best: Cut, rows: list[Row]) -> BallSpread | None:
    if len(rows) != 2 or not all(row.solved for row in rows):
        return None
    half = 0.5 * _measured_spread(design, best)
    return BallSpread(
        Cut(best.ball_diameter - half, best.keep, rows[0]),
        Cut(best.ball_diameter + half, best.keep, rows[1]),
    )


def _steps(stops: Sequence[Cut]) -> tuple[ShaveStep, ...]:
    return tuple(
        ShaveStep(
            start,
            stop,
            stop.row.coverage.window_level_db - start.row.coverage.window_level_db,
        )
        for start, stop in pairwise(stops)
    )
