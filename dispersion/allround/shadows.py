"""What bodies make of sound that meets them from beside: a bounce whose path leads through them.

The source is a point off the axis, such as the image of a speaker in a wall behind it. Its field is
solved order by order, until an order adds less than `ENDS_AT` of the free field; what comes out is
the pressure over that which the source alone would give, 1 where nothing stands in the way.

The point stands for a speaker that is as large as what it meets; how much that matters stands in
`studies.questions.seat.shadows`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from dispersion.air import Air
from dispersion.allround.by_frequency import HERE, Solving, solve_each
from dispersion.allround.flat_ring import orders_up_to
from dispersion.fields import Fields
from dispersion.problem import Problem
from dispersion.walls import RIGID_WALLS, Walls
from dispersion.waves import DEFAULT_SETTINGS, Monopole, WaveSettings, solve
from shapes.meridian import Meridian

ENDS_AT = 3e-4
"""Share of the free field; 0.003 dB."""
LONGEST_STEP = 1e-3
"""Of the outline that is searched for its widest place, m."""


@dataclass(frozen=True)
class Crossing:
    """A straight path past or through bodies of revolution.

    Attributes
    ----------
    source, place : (float, float)
        r from the axis and z, m, of the point source and of who hears it.
    azimuth : float
        Between them round the axis, radians.
    """

    source: tuple[float, float]
    place: tuple[float, float]
    azimuth: float

    @property
    def length(self) -> float:
        """Of the straight line, m."""
        (r, z), (there, above) = self.source, self.place
        level = r * r + there * there - 2.0 * r * there * np.cos(self.azimuth)
        return float(np.sqrt(max(level, 0.0) + (z - above) ** 2))


def solve_shadows(
    problem: Problem, crossings: Sequence[Crossing], how: Solving = HERE
) -> np.ndarray:
    """Solve what the bodies of a problem, in free air, make of sound that passes them.

    Parameters
    ----------
    problem : Problem
        Its assembly, air, walls and frequencies.
    crossings : sequence of N Crossing
    how : Solving

    Returns
    -------
    (F, N) complex array
        Pressure over that of the source alone.

    Raises
    ------
    ValueError
        If the wave solver refuses the bodies.
    """
    passed = tuple(crossings)
    bare = replace(problem, elevations=np.zeros(1), points=problem.points[:0])
    fields, _ = solve_each(bare, partial(_solved, passed), ("shadows", passed), how)
    return np.array([one.near[0] for one in fields])


def _solved(crossings: Sequence[Crossing], alone: Problem, settings: WaveSettings) -> Fields:
    """Pressure as `pressure_past`, as if at N points; there is no power to balance."""
    bodies, frequency = alone.assembly.placed_bodies, float(alone.frequencies[0])
    labels = (piece.part for body, _ in bodies for piece in body.pieces)
    walls = alone.walls.on(labels).taking(frequency, alone.air)
    found = pressure_past(bodies, crossings, frequency, alone.air, settings=settings, walls=walls)[
        None
    ]
    none = np.zeros((1, 1), dtype=complex)
    return Fields(none, found, np.zeros(1), 0, np.zeros((1, 0, 0)))


def pressure_past(
    bodies: Sequence[tuple[Meridian, float]],
    crossings: Sequence[Crossing],
    frequency: float,
    air: Air,
    *,
    settings: WaveSettings = DEFAULT_SETTINGS,
    walls: Walls = RIGID_WALLS,
) -> np.ndarray:
    """Solve point sources beside bodies at one frequency, Hz.

    Parameters
    ----------
    bodies : sequence of (Meridian, float)
        Each with how far it is lifted, m.
    crossings : sequence of N Crossing
    frequency : float
    air : Air
    settings : WaveSettings
    walls : Walls

    Returns
    -------
    (N,) complex array
        Pressure over that of the source alone.
    """
    meridians, lifts = zip(*bodies, strict=True)
    sources = list(dict.fromkeys(one.source for one in crossings))
    pairs = np.arange(len(crossings)), [sources.index(one.source) for one in crossings]
    places = np.array([one.place for one in crossings])
    azimuths = np.array([one.azimuth for one in crossings])
    lengths = np.array([one.length for one in crossings])
    k = 2.0 * np.pi * frequency / air.speed
    free = np.exp(1j * k * lengths) / (4.0 * np.pi * lengths)
    widest = max(float(body.sample(LONGEST_STEP)[:, 0].max()) for body in meridians)
    monopoles = [Monopole(z, r) for r, z in sources]
    total = np.ones(len(crossings), dtype=complex)
    for m in range(orders_up_to(k, widest) + 1):
        solution = solve(meridians, frequency, monopoles, air, m, settings, lifts, walls=walls)
        scattered = solution.pressure_at(places)[pairs] / free
        total += (1 if m == 0 else 2) * np.cos(m * azimuths) * scattered
        if m > k * widest and np.abs(scattered).max() < ENDS_AT:
            break
    return total
