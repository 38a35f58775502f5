"""Where each sharp resonance sits: its part of the pressure in the air below what hangs above.

A resonance of half-power bandwidth b adds A / (f - f0 + i b / 2) to a pressure that else changes
little within b. So p(f0) less the mean of p(f0 - b) and p(f0 + b) leaves 0.8 of the resonance at
its peak, and nothing of any background that runs straight across it: three solves tell its shape.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from dispersion.problem import Problem
from dispersion.rational import Resonance
from dispersion.solvers import solve_waves
from dispersion.waves import WaveSettings
from shapes.assembly import Assembly
from studies.design import Design
from studies.questions.slice.slices import RingPlace
from studies.questions.slice.study import CHORD_ERROR, inside, pressure_re_1m
from studies.solving.grid import Progress, counted

ACROSS = (-1.0, 0.0, 1.0)
"""Bandwidths from a resonance at which it is solved."""
POINTS = 700
"""About so many in one half of the air below what hangs above."""
IN_CONE, OVER_DRIVER, OUTWARDS = "in the cone", "over the driver", "farther out"


def where_they_ring(
    design: Design,
    resonances: Sequence[Resonance],
    workers: int | None = None,
    progress: Progress | None = None,
    finer: float = 1.0,
) -> tuple[RingPlace, ...]:
    """Find where each resonance sits; nothing is solved where there is none.

    Parameters
    ----------
    design, workers, progress, finer
        As for `slice_study`.
    resonances : sequence of Resonance

    Returns
    -------
    tuple of RingPlace
        In the order of the resonances.
    """
    if not resonances:
        return ()
    assembly = design.assembly()
    points = _air_below(assembly)
    across = [one.frequency + one.bandwidth * step for one in resonances for step in ACROSS]
    problem = Problem(
        assembly=assembly,
        ways=design.ways,
        frequencies=np.array(across),
        air=design.air,
        points=points,
        walls=design.walls_on(assembly),
    )
    advance = counted(progress, "where it rings", len(across))
    response = solve_waves(problem, WaveSettings().finer(finer), workers, advance)
    pressure = pressure_re_1m(response) * response.alone[:, None]
    modes = ringing_part(pressure.reshape(len(resonances), len(ACROSS), -1))
    return tuple(_place(mode, points, assembly) for mode in modes)


def ringing_part(pressure: np.ndarray) -> np.ndarray:
    """(N, P) part of a pressure (N, 3, P) that rings, from one bandwidth below, at, and above."""
    below, at, above = np.moveaxis(pressure, 1, 0)
    return np.asarray(at - 0.5 * (below + above))


def _air_below(assembly: Assembly) -> np.ndarray:
    """(P, 2) points r, z of the air from the cone's neck up to what hangs above."""
    driver, upper = assembly.driver, assembly.upper_line
    reach = 2.0 * driver.frame_radius if assembly.upper is None else float(upper[:, 0].max())
    top = reach if assembly.upper is None else assembly.plate_gap
    bottom = float(assembly.lower_line[assembly.lower_line[:, 0] < driver.frame_radius, 1].min())
    bottom = max(bottom, -2.0 * driver.frame_radius)
    step = math.sqrt(reach * (top - bottom) / POINTS)
    r = np.arange(0.5 * step, reach, step)
    z = np.arange(bottom + 0.5 * step, top, step)
    bodies = [body.sample(CHORD_ERROR) for body in assembly.bodies]
    air = ~inside(bodies, r, z)
    return np.column_stack([axis[air] for axis in np.meshgrid(r, z)])


def _place(mode: np.ndarray, points: np.ndarray, assembly: Assembly) -> RingPlace:
    r, z = points.T
    energy = np.abs(mode) ** 2 * r
    over = (z >= 0.0) & (r < assembly.driver.frame_radius)
    regions = {IN_CONE: z < 0.0, OVER_DRIVER: over, OUTWARDS: ~over & (z >= 0.0)}
    shares = {name: float(energy[among].sum() / energy.sum()) for name, among in regions.items()}
    where = max(shares, key=lambda name: shares[name])
    loudest = int(np.argmax(np.abs(mode)))
    return RingPlace(
        where=where, share=shares[where], radius=float(r[loudest]), height=float(z[loudest])
    )
