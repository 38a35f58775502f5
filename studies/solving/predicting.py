"""Band levels that the model predicts at measuring positions: one solve for all of them.

Where something else hung over the driver at some of them, as `studies.measured.hung` has it, one
solve for each that hung.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from dispersion.bands import study_frequencies, third_octave_centres
from dispersion.elevations import level_db
from dispersion.response import Response
from dispersion.settling import settled_at_points
from shapes.assembly import Assembly
from studies.design import Design
from studies.measured.positions import Position, by_hung
from studies.solving.candidates import Candidate
from studies.solving.grid import (
    EXPECTED_SOLVES,
    ByNeed,
    Fineness,
    Progress,
    Solver,
    as_expected,
    built,
    counted,
    expected_solves,
    problem_of,
    read_per_band,
)

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
        Band level, dB re the driver's own on-axis level at 1 m; with a measured curve of the
        driver, re the 0 dB of that curve at 1 m.
    responses : tuple of Response
        The solves behind it, one for each that hung over the driver, what the design says first.
    """

    positions: tuple[Position, ...]
    centres: np.ndarray
    level_db: np.ndarray
    responses: tuple[Response, ...] = field(repr=False)

    @property
    def response(self) -> Response:
        """The first solve: where the same hung at all positions, its points are these."""
        return self.responses[0]

    @property
    def begin(self) -> np.ndarray:
        """Frequencies of the last solve, which began at those of all others."""
        return self.responses[-1].solved_frequencies


def predict(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    fineness: Fineness,
    progress: Progress | None = None,
    band: tuple[float, float] | None = None,
    *,
    settled: int | None = None,
    begin: np.ndarray | None = None,
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
    fineness : int or ByNeed
        Frequencies in a third-octave band, four or more, or as many as it takes.
    progress : callable, optional
        Called with (stage, done, total) solves of one frequency.
    band : (float, float), optional
        Lowest and highest band, Hz; the design's own if left out.
    settled, begin
        As for `predicted_at`.

    Returns
    -------
    Predicted

    Notes
    -----
    Band value re 0 dB at the distance R of the position from the middle of the baffle, less
    20 lg(R / 1 m); see `as_read` for a driver with a measured curve.
    """
    wanted = band or design.target.band
    advance = counted(progress, PREDICTING, solves_at(positions, wanted, fineness))
    return predicted_at(
        design,
        assembly,
        positions,
        solver,
        fineness,
        advance,
        wanted,
        settled=settled,
        begin=begin,
    )


def predicted_at(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    fineness: Fineness,
    advance: Callable[[int], None],
    band: tuple[float, float],
    *,
    settled: int | None = None,
    begin: np.ndarray | None = None,
) -> Predicted:
    """Solve one assembly at all positions, as `predict` does, as part of a longer run.

    What hung over the driver is solved one after the other, each begun at the frequencies of those
    before: so errors of the next run that begins at `Predicted.begin` are like those of this one.

    Parameters
    ----------
    design, assembly, positions, solver, fineness
        As for `predict`.
    advance : callable
        Called with the number of solves that were just finished, `solves_at` in all.
    band : (float, float)
        Lowest and highest third octave, Hz.
    settled : int, optional
        By need: how many positions, the first ones, are to settle; all if left out. Levels at the
        others are as good as the same frequencies make them.
    begin : (N,) array, optional
        By need: frequencies that are asked for first, such as those of a design that differs
        little: errors of both then have much in common.
    """
    level, responses = np.empty((len(positions), len(third_octave_centres(*band)))), []
    for hung, numbers in by_hung(positions).items():
        own = [positions[number] for number in numbers]
        wanted = len(own) if settled is None else sum(number < settled for number in numbers)
        response = _solved(
            design, hung.of(assembly), own, solver, fineness, advance, band, wanted, begin
        )
        begin = response.solved_frequencies
        level[numbers] = levels_at(response)
        responses.append(response)
    return Predicted(tuple(positions), third_octave_centres(*band), level, tuple(responses))


def solves_at(positions: Sequence[Position], band: tuple[float, float], fineness: Fineness) -> int:
    """Return how many solves a prediction at positions will take, about: for the progress bar."""
    return len(by_hung(positions)) * expected_solves(band, fineness)


def _solved(
    design: Design,
    assembly: Assembly,
    positions: Sequence[Position],
    solver: Solver,
    fineness: Fineness,
    advance: Callable[[int], None],
    band: tuple[float, float],
    settled: int,
    begin: np.ndarray | None,
) -> Response:
    problem = replace(
        problem_of(design, assembly, read_per_band(fineness)),
        frequencies=study_frequencies(*band, read_per_band(fineness)),
        points=places(positions, design.column_height),
    )
    if not isinstance(fineness, ByNeed):
        return solver(problem, progress=advance)
    with as_expected(advance, EXPECTED_SOLVES) as count:
        return settled_at_points(
            problem,
            partial(solver, progress=count),
            within_db=fineness.within_db,
            points=range(settled),
            start=begin,
        )


def why_not(assembly: Assembly, positions: Sequence[Position]) -> str:
    """Return why what hung at positions cannot be built; empty if it can."""
    rows = (built(Candidate("", partial(one.of, assembly))) for one in by_hung(positions))
    return next((row.reason for row in rows if row.reason), "")


def places(positions: Sequence[Position], column_height: float) -> np.ndarray:
    """(P, 2) distance from the axis and height above the baffle, m."""
    return np.array([(at.r, at.z_over(column_height)) for at in positions]).reshape(-1, 2)


def levels_at(response: Response) -> np.ndarray:
    """(P, B) band levels at the problem's points, dB re 0 dB at 1 m."""
    if response.settling is not None:
        bands = response.settling.near_power
    else:
        bands = response.band_means(np.abs(response.near) ** 2)
    level = level_db(as_read(response, bands)).T
    distance = np.hypot(*response.problem.points.T)
    return level - 20.0 * np.log10(distance)[:, None]


def as_read(response: Response, bands: np.ndarray) -> np.ndarray:
    """(B, ...) band values re 0 dB, (B, ...), as readings hold them.

    Readings hold the driver's own curve, which 0 dB takes away. Where the design has it measured it
    is put back, and they are re the 0 dB of that curve; elsewhere nobody knows it.
    """
    reference = response.reference
    if all(way.curve is None for way in reference.ways):
        return bands
    own = reference.rms_in_band(_centres(response)) ** 2
    return bands * own.reshape((-1,) + (1,) * (bands.ndim - 1))


def _centres(response: Response) -> np.ndarray:
    return third_octave_centres(*response.problem.frequencies[[0, -1]])
