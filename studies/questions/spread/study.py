"""One design: where does its sound go?"""

import math
from dataclasses import dataclass, field

import numpy as np

from dispersion.bands import study_frequencies
from dispersion.elevations import level_db, power_at
from dispersion.paths.posts import Ripple, post_ripple
from shapes.assembly import Assembly
from studies.design import Design
from studies.solving.candidates import Candidate, NotSolvedError, Row
from studies.solving.grid import COARSE_PER_BAND, FINE_PER_BAND, Progress, Solver, run

STRAIGHT_UP_DEG = 90.0
STEEPEST_DEG = 89.0
"""The estimate of posts is made for elevations short of straight up and straight down."""


@dataclass(frozen=True, eq=False)
class Spread:
    """The design as written, solved and scored.

    Attributes
    ----------
    design : Design
    row : Row
    bare_driver_db : (F,) array
        The driver's own on-axis curve: 0 dB, but for crossover, level and driver curve.
    ceiling_deg : float or None
        Elevation at which the first bounce off the ceiling leaves towards the main seat, which is
        the first in the file; None without seats, or if the ceiling is not above ring and ears.
    ripple : Ripple or None
        Level round the column as the file's posts leave it, re no posts: an estimate. None without
        posts.
    """

    design: Design
    row: Row
    bare_driver_db: np.ndarray
    ceiling_deg: float | None = None
    ripple: Ripple | None = field(default=None, repr=False)

    @property
    def ceiling_curve_db(self) -> np.ndarray | None:
        """(F,) level towards the first bounce off the ceiling, dB re 0 dB at that distance."""
        return None if self.ceiling_deg is None else self.curve_towards_db(self.ceiling_deg)

    @property
    def straight_up_curve_db(self) -> np.ndarray:
        """(F,) level straight up, dB re 0 dB at that distance."""
        return self.curve_towards_db(STRAIGHT_UP_DEG)

    def curve_towards_db(self, elevation_deg: float) -> np.ndarray:
        """(F,) level far away at one elevation, power linear between the computed ones."""
        response = self.row.response
        return level_db(power_at(response.power, response.problem.elevations, elevation_deg))


def spread(
    design: Design,
    solver: Solver,
    progress: Progress | None = None,
    per_band: int = FINE_PER_BAND,
) -> Spread:
    """Solve a design as it is written.

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
    NotSolvedError
        If it cannot be solved; the message says why.
    """
    (row,) = run(
        design,
        [Candidate("as designed", design.assembly)],
        solver,
        per_band,
        "one design",
        progress,
        keep_far=True,
    )
    if not row.solved:
        raise NotSolvedError(row.reason)
    summed = np.abs(row.response.transfer.sum(axis=0))
    bare = 20.0 * np.log10(np.maximum(summed, 1e-10))
    return Spread(design, row, bare, ceiling_angle(design), _ripple(design, row.assembly))


def ceiling_angle(design: Design) -> float | None:
    """Elevation of the ceiling's first bounce towards the main seat, degrees seen from the ring.

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


def _ripple(design: Design, assembly: Assembly) -> Ripple | None:
    if assembly.posts is None:
        return None
    low, high = (float(edge) for edge in np.clip(design.window_deg, -STEEPEST_DEG, STEEPEST_DEG))
    frequencies = study_frequencies(*design.target.band, COARSE_PER_BAND)
    return post_ripple(assembly, design.air, frequencies, window_deg=(low, high))
