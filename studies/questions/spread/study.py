"""One design: where does its sound go?"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.elevations import level_db, power_at
from dispersion.paths.posts import post_ripple
from dispersion.ripple import Ripple
from shapes.assembly import Assembly
from studies.design import Design
from studies.solving.alignment import Alignment, alignment
from studies.solving.alignment_of_members import lead_of_best
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import COARSE_PER_BAND, FINE_PER_BAND, Fineness, Progress, Solver, run
from studies.solving.leaning import RoundLevels, as_hung, levels_askew
from studies.solving.posted import are_solved, solved_ripple
from studies.solving.ranking import to_rank
from studies.solving.target import NO_DIFFERENCE_DB
from studies.solving.verdicts import Lead

STRAIGHT_UP_DEG = 90.0
STEEPEST_DEG = 89.0
"""The estimate of posts is made for elevations short of straight up and straight down."""


class BandSwing(NamedTuple):
    """By how much the level swings in one third-octave band: exact centre, Hz, and dB."""

    centre_hz: float
    swing_db: float


class Destination(NamedTuple):
    """Where power goes, and its share of it in each third-octave band, (B,) of 1."""

    name: str
    shares: np.ndarray


class AroundColumn(NamedTuple):
    """Window level round the column with its posts, each (B,) by third octave, dB re 0 dB."""

    lowest_db: np.ndarray
    mean_db: np.ndarray
    highest_db: np.ndarray


@dataclass(frozen=True, eq=False, kw_only=True)
class Spread:
    """The design as written, solved and scored.

    Attributes
    ----------
    design : Design
    row : Row
        Its geometry, solution with the far field, and score.
    driver_alone_db : (F,) array
        What 0 dB is: the driver alone, straight ahead in an endless wall, over what constant
        acceleration makes of its volume there, or re the 0 dB of its measured curve.
    ceiling_deg : float or None
        Elevation at which the first bounce off the ceiling leaves towards the main seat, which is
        the first in the file; None without seats, or if the ceiling is not above ring and ears.
    ripple : Ripple or None
        Change of the level round the column by the file's posts, solved where the file asks for
        it, else an estimate; None without posts.
    askew : RoundLevels or None
        Levels round the column as it hangs askew; None where the file does not say that it does.
    alignment : Alignment or None
        How two ways add about their crossover, as written and at best; None without two.
    alignment_lead : Lead or None
        The best of it against the written, over the drivers and builds that the file may stand for;
        None where the best gains nothing, and for quick methods.
    """

    design: Design
    row: Row
    driver_alone_db: np.ndarray
    ceiling_deg: float | None = None
    ripple: Ripple | None = field(default=None, repr=False)
    askew: RoundLevels | None = field(default=None, repr=False)
    alignment: Alignment | None = field(default=None, repr=False)
    alignment_lead: Lead | None = None

    @property
    def ceiling_curve_db(self) -> np.ndarray | None:
        """(F,) level towards the first bounce off the ceiling, dB re 0 dB; None without one."""
        return None if self.ceiling_deg is None else self.curve_towards_db(self.ceiling_deg)

    @property
    def ceiling_loss_db(self) -> float | None:
        """Level towards the main seat less that towards the ceiling, mean of the curves, dB.

        None without a bounce off the ceiling.
        """
        curve = self.ceiling_curve_db
        return None if curve is None else float(np.mean(self.row.seat_curves_db[:, 0] - curve))

    @property
    def straight_up_curve_db(self) -> np.ndarray:
        """(F,) level far away straight up, dB re 0 dB."""
        return self.curve_towards_db(STRAIGHT_UP_DEG)

    @property
    def around_column(self) -> AroundColumn | None:
        """Window level round the column with its posts, by third octave; None without posts."""
        if self.ripple is None:
            return None
        level, ripple = self.row.coverage.window_level_db, self.ripple
        changes = (ripple.minimum_db, ripple.mean_db, ripple.maximum_db)
        return AroundColumn(*(level + change for change in changes))

    @property
    def where_it_goes(self) -> tuple[Destination, ...]:
        """Share of the power that each destination takes; empty where nothing is absorbed.

        Far away first, then the parts from the one that takes most in any band.
        """
        response, centres = self.row.response, self.row.coverage.centres
        shares = response.shares_of_power(centres)
        if shares is None or shares.shape[1] == 1:
            return ()
        names = response.problem.destinations
        far, *taken = (Destination(*pair) for pair in zip(names, shares.T, strict=True))
        return (far, *sorted(taken, key=lambda one: -one.shares.max()))

    @property
    def widest_swing(self) -> BandSwing | None:
        """The band in which the posts make the level swing most; None without posts."""
        if self.ripple is None:
            return None
        swings = self.ripple.peak_to_peak_db
        most = int(np.argmax(swings))
        return BandSwing(float(self.ripple.centres[most]), float(swings[most]))

    def curve_towards_db(self, elevation_deg: float) -> np.ndarray:
        """(F,) level far away at one elevation, dB re 0 dB: power linear between computed ones."""
        response = self.row.response
        return level_db(power_at(response.power, response.problem.elevations, elevation_deg))


def spread(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    fineness: Fineness = FINE_PER_BAND,
) -> Spread:
    """Solve a design as it is written, with its far field.

    Parameters
    ----------
    design : Design
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    progress : callable, optional
        Called with (stage, done, total).
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.

    Raises
    ------
    NotSolvedError
        If it cannot be solved; the message says why.
    """
    (row,) = run(
        design,
        [Candidate("as designed", design.assembly)],
        solver,
        fineness,
        "one design",
        progress,
        keep_far=True,
        settle_seats=True,
    )
    if not row.solved:
        raise NotSolvedError(row.reason)
    aligned = alignment(row.response, design.window_deg)
    return Spread(
        design=design,
        row=row,
        driver_alone_db=level_db(np.abs(row.response.alone) ** 2),
        ceiling_deg=ceiling_angle(design),
        ripple=_ripple(design, row.assembly, solver, progress),
        askew=_askew(design, row.assembly, solver, progress),
        alignment=aligned,
        alignment_lead=_lead(design, row, aligned, to_rank(solver, fineness), progress),
    )


def _lead(
    design: Design, row: Row, found: Alignment | None, solver: Solver, progress: Progress | None
) -> Lead | None:
    if found is None or found.gain_db < NO_DIFFERENCE_DB or row.response.method != "waves":
        return None
    return lead_of_best(design, row.assembly, found, solver, progress)


def ceiling_angle(design: Design) -> float | None:
    """Return the elevation of the ceiling's first bounce towards the main seat, degrees.

    Seen from the ring.

    The seat's image in a ceiling of height H lies at 2 H - h_ear:
    atan((2 H - h_ring - h_ear) / distance). None without seats, or if the ceiling is not above
    both ring and ears.
    """
    if not design.seats:
        return None
    seat, ceiling = design.seats[0], design.tables.room.ceiling
    ring = design.assembly().height_of_ring
    if ceiling <= max(ring, seat.ear_height):
        return None
    return math.degrees(math.atan2(2.0 * ceiling - ring - seat.ear_height, seat.r))


def _askew(
    design: Design, assembly: Assembly, solver: Solver, progress: Progress | None
) -> RoundLevels | None:
    displaced = as_hung(design, assembly, solver)
    if displaced is None:
        return None
    return levels_askew(design, assembly, displaced, solver, progress)


def _ripple(
    design: Design, assembly: Assembly, solver: Solver, progress: Progress | None
) -> Ripple | None:
    if assembly.posts is None:
        return None
    if are_solved(design, assembly, solver):
        return solved_ripple(design, assembly, solver, progress)
    low, high = (float(edge) for edge in np.clip(design.window_deg, -STEEPEST_DEG, STEEPEST_DEG))
    frequencies = study_frequencies(*design.target.band, COARSE_PER_BAND)
    return post_ripple(assembly, design.air, frequencies, window_deg=(low, high))
