"""What the best cap is held against: half a ball, no cap, an uneven ball, what rays say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.paths.rays import solve_rays
from shapes.assembly import Assembly
from shapes.reflectors import ball_cap
from studies.design import Design
from studies.questions.trim.heights import is_own_ball
from studies.solving.candidates import SAME_SIZE, Candidate, Row
from studies.solving.grid import COARSE_PER_BAND, Fineness, Progress, Solver, run
from studies.solving.shaving import Cut, cut_candidate

OPINION_RAYS = 2**14
"""Rays that are followed for the comparison with the wave solver."""


@dataclass(frozen=True, eq=False)
class BallSpread:
    """What it costs that the ball is not round: the same keep, two measured diameters.

    Attributes
    ----------
    smallest, largest : Cut
        The best keep of a ball of the least and of the largest measured diameter.
    """

    smallest: Cut
    largest: Cut

    @property
    def score_change_db(self) -> float:
        """Difference of the score between the two, without sign, dB."""
        return abs(self.largest.row.score - self.smallest.row.score)

    @property
    def level_change_db(self) -> float:
        """Largest difference of the window level in any third-octave band, without sign, dB."""
        change = (
            self.largest.row.coverage.window_level_db - self.smallest.row.coverage.window_level_db
        )
        return float(np.max(np.abs(change)))


@dataclass(frozen=True, eq=False)
class RaysOpinion:
    """What rays alone would choose, beside the wave solver.

    Attributes
    ----------
    favourite : Cut
        The cut of the best ball that rays score best, with the wave solver's row.
    best : Cut
        The wave solver's best cut, with its row.
    best_by_rays : Row
        The same cut as rays see it.
    """

    favourite: Cut
    best: Cut
    best_by_rays: Row

    @property
    def agrees(self) -> bool:
        """True if rays would keep the same height."""
        return abs(self.favourite.keep - self.best.keep) < SAME_SIZE

    @property
    def widest(self) -> int:
        """Place of the band in which both methods' window levels of the best cut differ most."""
        rays, waves = self.best_by_rays.coverage, self.best.row.coverage
        return int(np.argmax(np.abs(rays.window_level_db - waves.window_level_db)))


def references(design: Design, best: Cut) -> list[Candidate]:
    """Return half of the best ball, the plate alone, the bare column, the file's own reflector."""
    hangs = design.assembly().reflector is not None
    written = [Candidate("as the file has it", design.assembly)] if hangs else []
    return [
        Candidate("half ball", lambda: _half_ball(best)),
        Candidate("top plate alone", lambda: best.row.assembly.with_reflector(None)),
        Candidate("bare column", lambda: best.row.assembly.without_upper()),
        *written,
    ]


def _half_ball(best: Cut) -> Assembly:
    """Half of the best ball, hung so that its tip clears the driver as the best cap does."""
    cap = ball_cap(best.ball_diameter, 0.5 * best.ball_diameter)
    # Its posts would have to stand farther out; they make no sound here.
    built = replace(best.row.assembly, posts=None)
    return built.with_gap(built.plate_gap + cap.height - best.keep).with_reflector(cap)


def ball_spread(
    design: Design, best: Cut, solver: Solver, fine: Fineness, progress: Progress | None
) -> BallSpread | None:
    """Cut the best keep from a ball of the least and of the largest measured diameter.

    None unless the best ball is the design's own, was measured more than once, and both fit.
    """
    ball = design.ball
    if ball is None or not ball.spread or not is_own_ball(design, best.ball_diameter):
        return None
    half = 0.5 * ball.spread
    gap = best.row.assembly.plate_gap if design.moves_plate else None
    ends = [best.ball_diameter - half, best.ball_diameter + half]
    candidates = [cut_candidate(design, end, best.keep, gap) for end in ends]
    rows = run(design, candidates, solver, fine, "uneven ball", progress)
    if not all(row.solved for row in rows):
        return None
    return BallSpread(*(Cut(end, best.keep, row) for end, row in zip(ends, rows, strict=True)))


def rays_opinion(
    design: Design, cuts: Sequence[Cut], best: Cut, progress: Progress | None
) -> RaysOpinion | None:
    """Ask rays for the same cuts; None where another method solved them."""
    if best.row.response.method != "waves":
        return None
    solver = partial(solve_rays, rays=OPINION_RAYS)
    solved = [cut for cut in cuts if cut.row.solved]
    candidates = [Candidate(cut.row.name, partial(_itself, cut.row.assembly)) for cut in solved]
    rows = run(design, candidates, solver, COARSE_PER_BAND, "what rays say", progress)
    if any(not row.solved for row in rows):
        return None
    favourite = min(range(len(rows)), key=lambda place: rows[place].score)
    return RaysOpinion(solved[favourite], best, rows[solved.index(best)])


def _itself(assembly: Assembly) -> Assembly:
    return assembly
