"""The pressure in a slice through the axis, at a few frequencies: what the sound does in the ring.

Levels are re the driver's own on-axis level at 1 m, wherever the point is: 0 dB is the pressure
of the driver itself, flush in an endless rigid baffle, straight ahead, at 1 m from its middle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from dispersion.checks import problems_before
from dispersion.problem import Problem
from dispersion.rational import Resonance
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.waves import WaveSettings
from shapes.assembly import Assembly
from studies.design import Design, DesignError
from studies.design.errors import Mistake
from studies.questions.slice.slices import SKIN, Slices, short_name
from studies.solving.candidates import Candidate
from studies.solving.grid import FINE_BY_NEED, Progress, counted, run

STAGE = "slice"
USUAL_HZ = (500.0, 2000.0, 8000.0)
HALF_WIDTH, ABOVE, BELOW = 2.6, 1.1, 0.8
"""How far the slice reaches: aside, above what is highest, below the baffle; in largest radii."""
USUAL_POINTS, MOST_POINTS = 9_000, 150_000
"""Points in one half; a point takes 0.13 ms (500 Hz) to 0.4 ms (16 kHz) a frequency."""
LEAST_PER_WAVELENGTH = 8.0
CHORD_ERROR = 1e-5


def slice_study(
    design: Design,
    frequencies_hz: Sequence[float] = (),
    workers: int | None = None,
    progress: Progress | None = None,
    finer: float = 1.0,
) -> Slices:
    """Solve a design at a few frequencies and find the pressure all over a slice.

    Parameters
    ----------
    design : Design
    frequencies_hz : sequence of float
        About 500 Hz, 2 kHz and 8 kHz where they lie in the design's band, if left out.
    workers : int, optional
        Threads; as many as there are processors when left out.
    progress : callable, optional
        Called with (stage, done, total) frequencies.
    finer : float
        How many times finer the mesh is than by default.

    Raises
    ------
    DesignError
        If a frequency makes no sense for this design; the message names the remedy.
    """
    asked = frequencies_hz or usual_frequencies(design)
    if not all(0.0 < frequency < math.inf for frequency in asked):
        _refuse(design, ("a slice needs frequencies above 0 Hz",))
    frequencies = np.array(sorted({short_name(f): float(f) for f in asked}.values()))
    assembly = design.assembly()
    x, z, solid = _grid(design, assembly, frequencies)
    air = np.column_stack([axis[~solid] for axis in np.meshgrid(x, z)])
    problem = Problem(
        assembly=assembly,
        ways=design.ways,
        frequencies=frequencies,
        air=design.air,
        points=air,
        walls=design.walls_on(assembly),
    )
    _refuse(design, problems_before(problem))
    advance = counted(progress, STAGE, len(frequencies))
    response = solve_waves(problem, WaveSettings().finer(finer), workers, advance)
    half = np.full((len(frequencies), *solid.shape), np.nan, dtype=complex)
    half[:, ~solid] = pressure_re_1m(response)
    return Slices(
        design=design,
        assembly=assembly,
        response=response,
        x=np.concatenate((-x[::-1], x)),
        z=z,
        pressure=np.concatenate((half[:, :, ::-1], half), axis=2),
        solid=np.concatenate((solid[:, ::-1], solid), axis=1),
    )


def sharp_resonances(
    design: Design,
    workers: int | None = None,
    progress: Progress | None = None,
    finer: float = 1.0,
) -> tuple[Resonance, ...]:
    """Find where a design rings within its target's band, so that one knows where to look.

    Parameters
    ----------
    design, workers, progress, finer
        As for `slice_study`; progress is of frequencies chosen by need.

    Returns
    -------
    tuple of Resonance
        Ascending; none if the design cannot be solved in its whole band.
    """
    solver = partial(solve_waves, settings=WaveSettings().finer(finer), workers=workers)
    candidates = [Candidate("as designed", design.assembly)]
    # As `spread` solves it: a resonance has the same number in both lists.
    (row,) = run(
        design,
        candidates,
        solver,
        FINE_BY_NEED,
        "resonances",
        progress,
        keep_far=True,
        settle_seats=True,
    )
    return row.response.sharp_resonances if row.solved else ()


def by_number(
    design: Design, resonances: Sequence[Resonance], numbers: Sequence[int]
) -> tuple[float, ...]:
    """Return the frequencies of resonances by their numbers from 1, Hz.

    Raises
    ------
    DesignError
        If there are not so many.
    """
    for number in numbers:
        if not 1 <= number <= len(resonances):
            known = f"give 1 to {len(resonances)}" if resonances else "leave it out"
            message = f"number {number} of {len(resonances)} sharp resonances: {known}"
            raise DesignError(design.path, [Mistake("--resonance", message)])
    return tuple(resonances[number - 1].frequency for number in numbers)


def usual_frequencies(design: Design) -> tuple[float, ...]:
    """About 500 Hz, 2 kHz and 8 kHz within the design's band, else the middle of the band."""
    low, high = design.target.band
    return tuple(f for f in USUAL_HZ if low <= f <= high) or (math.sqrt(low * high),)


def pressure_re_1m(response: Response) -> np.ndarray:
    """(F, P) pressure at a problem's points over the driver's own on-axis pressure at 1 m.

    A response gives it over 0 dB at the point's own distance, the phase of that distance taken
    off: both are put back.
    """
    problem = response.problem
    distance = np.hypot(*problem.points.T)
    k = 2.0 * np.pi * problem.frequencies[:, None] / problem.air.speed
    return response.near * np.exp(1j * k * distance) / distance


def inside(bodies: Sequence[np.ndarray], r: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Find which points of a grid lie in solids of revolution.

    From a point inside, an outline is crossed an odd number of times on the way outwards.

    Parameters
    ----------
    bodies : sequence of (N, 2) arrays
        Outlines (r, z) as polylines from axis to axis, m.
    r, z : (R,) and (Z,) arrays
        A grid of points, m.

    Returns
    -------
    (Z, R) bool array
    """
    found = np.zeros((len(z), len(r)), dtype=bool)
    for line in bodies:
        (r0, z0), (r1, z1) = line[:-1].T, line[1:].T
        for row, height in enumerate(z):
            cut = (z0 <= height) != (z1 <= height)
            share = (height - z0[cut]) / (z1[cut] - z0[cut])
            crossings = r0[cut] + share * (r1[cut] - r0[cut])
            found[row] ^= np.count_nonzero(crossings > r[:, None], axis=1) % 2 == 1
    return found


def _grid(
    design: Design, assembly: Assembly, frequencies: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Radii (R,), heights (Z,) and solids (Z, R) of one half, spaced alike both ways."""
    corners = np.vstack((assembly.lower_line, assembly.upper_line))
    widest, top = corners.max(axis=0)
    half, low = HALF_WIDTH * widest, max(-BELOW * widest, -0.98 * assembly.column.height)
    high = top + ABOVE * widest
    area = half * (high - low)
    coarsest = design.air.speed / frequencies.max() / LEAST_PER_WAVELENGTH
    step = min(math.sqrt(area / USUAL_POINTS), coarsest)
    if area / step**2 > MOST_POINTS:
        limit = frequencies.max() * math.sqrt(MOST_POINTS / area) * step
        _refuse(
            design, (f"a slice this fine has too many points: ask for less than {limit:.0f} Hz",)
        )
    r = (np.arange(math.ceil(half / step)) + 0.5) * step
    z = low + (np.arange(math.ceil((high - low) / step)) + 0.5) * step
    bodies = [body.sample(CHORD_ERROR) for body in assembly.bodies]
    shifts = ((0.0, 0.0), (SKIN, 0.0), (-SKIN, 0.0), (0.0, SKIN), (0.0, -SKIN))
    solid = np.any([inside(bodies, r + dr, z + dz) for dr, dz in shifts], axis=0)
    return r, z, solid


def _refuse(design: Design, problems: Sequence[str]) -> None:
    if problems:
        raise DesignError(design.path, [Mistake("--at", problem) for problem in problems])
