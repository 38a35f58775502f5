"""Band levels that the model predicts at measuring positions: one solve for all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dispersion.bands import band_means, study_frequencies
from dispersion.elevations import level_db
from dispersion.response import Response
from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.positions import Position
from studies.solving.grid import Progress, Solver, counted, problem_of

PREDICTING = "levels at the positions"


@dataclass(frozen=True, eq=False)
class Predicted:
    """Levels at positions, distance included.

    Attributes
    ----------
    positions : tuple of Position
    centres : (B,) array
        Exact centres of the third-octave bands, Hz.
    level_db : (P, B) array
        Band level, dB re the driver's own on-axis level at 1 m.
    response : Response
        The solve behind it; its points are the positions.
    """

    positions: tuple[Position, ...]
    centres: np.ndarray
    level_db: np.ndarray
    response: Response = field(repr=False)


def predict(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    per_band: int,
    progress: Progress | None = None,
    band: tuple[float, float] | None = None,
) -> Predicted:
    """Solve one assembly of a design at all positions.

    Parameters
    ----------
    design : Design
        Gives ways, air, band and the column's height.
    assembly : Assembly
    positions : sequence of Position
    solver : callable
        One of `dispersion.solvers.SOLVERS`.
    per_band : int
        Frequencies in a third-octave band, four or more.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.
    band : (float, float), optional
        Lowest and highest band, Hz; the design's own if left out.

    Returns
    -------
    Predicted

    Notes
    -----
    10 lg mean |p|^2 over the band - 20 lg(R / 1 m), where p is relative to 0 dB at the distance
    R of the position from the middle of the baffle.
    """
    wanted = band or design.target.band
    total = len(study_frequencies(*wanted, per_band))
    advance = counted(progress, PREDICTING, total)
    return predicted_at(design, assembly, positions, solver, per_band, advance, wanted)


def predicted_at(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    per_band: int,
    advance: Callable[[int], None] | None,
    band: tuple[float, float],
) -> Predicted:
    """Solve one assembly at all positions, as `predict` does, as part of a longer run.

    `advance`, if given, is called with the number of solves that were just finished; `band` is the
    lowest and highest third octave, Hz.
    """
    problem = replace(
        problem_of(design, assembly, per_band),
        frequencies=study_frequencies(*band, per_band),
        points=places(positions, design.column_height),
    )
    response = solver(problem, progress=advance)
    return Predicted(tuple(positions), *levels_at(response), response)


def places(positions: Sequence[Position], column_height: float) -> np.ndarray:
    """(P, 2) distance from the axis and height above the baffle, m."""
    return np.array([(at.r, at.z_over(column_height)) for at in positions]).reshape(-1, 2)


def levels_at(response: Response) -> tuple[np.ndarray, np.ndarray]:
    """(B,) exact centres, Hz, and (P, B) band levels at the problem's points, dB re 0 dB at 1 m."""
    centres, power = band_means(response.problem.frequencies, np.abs(response.near) ** 2)
    distance = np.hypot(*response.problem.points.T)
    return centres, level_db(power).T - 20.0 * np.log10(distance)[:, None]
