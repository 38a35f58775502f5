"""The pressure at points, read at any frequency between those that were solved.

Impulse responses need the pressure on thousands of evenly spaced frequencies, and a solve is too
dear for that. By need it is read from the fit of `dispersion.settling`, solved until fits agree at
every single frequency and frequencies in the widest gaps had been foretold; as a check, from a
spline through an even grid, which knows nothing of resonances between its frequencies.

The seats of the three examples with their images in floor and ceiling, 24 points, against 491 to
509 solves (twelve a band, closer until a spline had settled): solves, error at those frequencies
over the rms value of the band, rms and largest, and foretold in the widest gaps, rms and largest:

    ================  ======  ==============  ==============
    ..                solves  error           foretold
    ================  ======  ==============  ==============
    reading room      281     0.11   3.6      0.6   1.7 %
    with a cone       181     0.09   1.9      0.9   2.2 %
    with two ways     200     0.07   1.3      0.7   2.7 %
    ================  ======  ==============  ==============

Left out: band values alone within 0.05 dB (162 solves), which leaves 0.5 per cent rms and 21 at
worst; no trial in the gaps, which missed a resonance of the cone's (23 per cent at 10.95 kHz);
within 0.01, which no number of solves reaches, since the mesh changes with frequency.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline

from dispersion.problem import Problem
from dispersion.rational import Complex, Real
from dispersion.response import Response
from dispersion.settling import settled_response

WITHIN = 0.03
"""Doubt at which the pressure at a point has settled, over its rms value in the third octave."""
LEAST_ON_A_GRID = 8

Solver = Callable[[Problem], Response]


@dataclass(frozen=True, eq=False, kw_only=True)
class Curves:
    """A response whose pressure at the points can be read between its frequencies.

    Attributes
    ----------
    response : Response
    power : (B, E) array
        Mean |p|^2 over each third octave at each elevation, all ways together.
    between : callable
        (N,) frequencies in Hz, none beyond `ends` -> (N, W, P) pressure of each way at the points.
    ends : (float, float)
        Lowest and highest frequency that was solved, Hz.
    errors : (N,) array
        By need, errors at frequencies in the widest gaps before they were added; on a grid, change
        at every frequency when every second one is left out. The largest over the points, over the
        rms value of the pressure in the third octave.
    """

    response: Response = field(repr=False)
    power: Real = field(repr=False)
    between: Callable[[Real], Complex] = field(repr=False)
    ends: tuple[float, float]
    errors: Real = field(repr=False)

    @property
    def worst_error(self) -> float:
        """Largest of the errors."""
        return float(self.errors.max())

    def near(self, frequencies: Real, points: Sequence[int] | slice = slice(None)) -> Complex:
        """(N, P) pressure at some of the points as in `Response`, all ways together.

        Beyond the lowest and the highest solved frequency the value there is held.
        """
        held = np.clip(frequencies, *self.ends)
        transfer = self.response.reference.transfer(held)
        return np.einsum("wf,fwp->fp", transfer, self.between(held)[:, :, points])

    def alone(self, frequencies: Real) -> Complex:
        """(N,) the driver alone, see `Response`, held beyond the same ends."""
        return self.response.reference.alone(np.clip(frequencies, *self.ends))


def curves_by_need(
    problem: Problem, solver: Solver, window: tuple[float, float], within_db: float
) -> Curves:
    """Solve until the pressure at every point has settled at every frequency.

    Parameters
    ----------
    problem : Problem
        With points; its frequencies are those of the response, whole third octaves.
    solver : callable
        (problem) -> Response, called once for each round.
    window : (float, float)
        Elevations, degrees, of which the mean has to settle in every band as well.
    within_db : float
        Doubt at which that has settled, dB.
    """
    directions, ways = len(problem.elevations), len(problem.ways)
    response, found, _ = settled_response(
        problem,
        solver,
        window,
        within_db=within_db,
        curves=directions + np.arange(len(problem.points)),
        within=WITHIN,
    )
    columns = np.arange(ways * found.samples.shape[2]).reshape(ways, -1)
    at_points = found.fit.of(columns[:, directions:].ravel())
    return Curves(
        response=response,
        power=found.power[:, :directions],
        between=lambda f: at_points.at(f).reshape(len(f), ways, -1),
        ends=(float(found.frequencies[0]), float(found.frequencies[-1])),
        errors=found.foretold,
    )


def curves_on_a_grid(problem: Problem, solver: Solver) -> Curves:
    """Solve a problem at its own frequencies, and read between them by cubic splines.

    Parameters
    ----------
    problem : Problem
        At least `LEAST_ON_A_GRID` frequencies, ascending, and a point.
    solver : callable
        (problem) -> Response.
    """
    f = problem.frequencies
    if len(f) < LEAST_ON_A_GRID or not len(problem.points):
        raise ValueError(f"to read between frequencies takes {LEAST_ON_A_GRID} of them and a point")
    response = solver(problem)
    spline = CubicSpline(np.log(f), response.near_by_way.transpose(1, 0, 2))
    return Curves(
        response=response,
        power=response.band_means(response.power),
        between=lambda at: spline(np.log(at)),
        ends=(float(f[0]), float(f[-1])),
        errors=_without_every_second(response),
    )


def _without_every_second(response: Response) -> Real:
    """(F,) change of the pressure when every second frequency is left out, see `Curves`."""
    at, near = np.log(response.problem.frequencies), response.near
    change = np.zeros(near.shape)
    for first in (0, 1):
        kept = np.zeros(len(at), dtype=bool)
        kept[first::2] = kept[[0, -1]] = True
        change[~kept] = np.abs(CubicSpline(at[kept], near[kept])(at[~kept]) - near[~kept])
    size = np.sqrt(response.band_means(np.abs(near) ** 2))
    bands = len(at) // len(size)
    return (change / np.repeat(size, bands, axis=0)).max(axis=1)
