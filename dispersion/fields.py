"""What the wave solver finds of a problem at single frequencies: the fields of each way."""

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple, Protocol

import numpy as np

from dispersion.air import Air
from dispersion.elevations import mean_square, sphere_weights
from dispersion.problem import AIR, FAR_AWAY, Problem
from dispersion.sources import ConeWave, LettingGo
from dispersion.waves import (
    Drive,
    SharedBlocks,
    WaveSettings,
    WaveSolution,
    at_each,
    axial_motion,
    solve,
)
from shapes.assembly import Assembly, DrivenWay
from shapes.meridian import Meridian

Moves = tuple[DrivenWay, LettingGo | ConeWave | None]
"""A way, and how it moves: as one piece if None."""
LEAST_DEPTH = 0.05
"""Of a shortened column below the baffle's face, metres, besides a number of wavelengths."""
HORIZON_DEG = 1e-6  # a sample this close to 0 is that of the horizon, rounded


class Fields(NamedTuple):
    """Fields of W ways at one frequency, in E elevations and at P points; travels as a tuple.

    Attributes
    ----------
    far : (W, E) complex array
        Far field r p exp(-ikr) of each way over rho A / (2 pi), A being the volume acceleration of
        its surface: over what a flat piston that moves as much gives flush, straight ahead.
    near : (W, P) complex array
        Pressure of each way at the points, over that at their distance from the middle of the
        baffle, the phase of that distance taken off.
    power_error_db : (W,) array
        Far-field power over power through the driven surface less what walls take; see
        `waves.balance_db`.
    unknowns : int
        Size of the system that was solved.
    arrived : (L, W, W) complex array
        Power at each of the problem's destinations, as Hermitian matrices: with ways of transfer t
        it is t @ matrix @ conj(t), in the measure of the mean of |far|^2 over all directions.
    """

    far: np.ndarray
    near: np.ndarray
    power_error_db: np.ndarray
    unknowns: int
    arrived: np.ndarray


class Store(Protocol):
    """Where finished solves are kept, by the names of `dispersion.keys`; used from any thread."""

    def fetch(self, key: bytes) -> Fields | None:
        """Return what was kept under a name, None if there is nothing."""

    def keep(self, key: bytes, fields: Fields) -> None:
        """Keep a finished solve."""

    def __hash__(self) -> int:
        """Tell one from another."""


def solve_fields(
    problem: Problem,
    frequencies: Sequence[float],
    settings: WaveSettings,
    workers: int | None = None,
    shared: SharedBlocks | None = None,
    each: Callable[[float, Fields], None] | None = None,
    also: Sequence[tuple[Problem, Callable[[float, Fields], None]]] = (),
) -> dict[float, Fields]:
    """Solve a problem at some frequencies, here and now.

    Parameters
    ----------
    problem : Problem
    frequencies : sequence of float
        Hz; the problem's own frequencies do not matter.
    settings : WaveSettings
    workers : int, optional
        Threads; as many as there are processors when left out.
    shared : SharedBlocks, optional
        Where the blocks of column and reflector are kept for other problems.
    each : callable, optional
        Called with (frequency, fields) as soon as one is done, from the worker's thread.
    also : sequence of (Problem, callable)
        Problems that differ from this one in how their ways move: other right-hand sides of the
        same systems. Each callable is called as `each` is.

    Raises
    ------
    ValueError
        If the wave solver refuses it.
    """
    problems = (problem, *(other for other, _ in also))
    drives = [drive_of(*move, one.air) for one in problems for move in moves_of(one)]

    def one(frequency: float) -> Fields:
        bodies, lifts = zip(*_bodies(problem, settings, frequency), strict=True)
        labels = (piece.part for body in bodies for piece in body.pieces)
        solution = solve(
            bodies,
            frequency,
            drives,
            problem.air,
            settings=settings,
            lifts=lifts,
            shared=shared,
            floor=problem.floor_z,
            walls=problem.walls.on(labels).taking(frequency, problem.air),
            absorbing_air=problem.absorbing_air,
        )
        result, *others = _relative_fields(solution, problems, shared)
        if each is not None:
            each(frequency, result)
        for (_, note), other in zip(also, others, strict=True):
            note(frequency, other)
        return result

    return dict(zip(frequencies, at_each(frequencies, one, workers), strict=True))


def _bodies(
    problem: Problem, settings: WaveSettings, frequency: float
) -> Sequence[tuple[Meridian, float]]:
    """Placed bodies, with as much of the column as the settings ask for if it hangs in free air.

    The depth changes with frequency without a step, so that fits along it see none.
    """
    placed = problem.assembly.placed_bodies
    if problem.floor or np.isinf(settings.column_wavelengths):
        return placed
    depth = LEAST_DEPTH + settings.column_wavelengths * problem.air.speed / frequency
    return ((_lower(problem.assembly.without_upper(), depth), 0.0), *placed[1:])


@lru_cache(maxsize=256)
def _lower(bare: Assembly, depth: float) -> Meridian:
    return bare.with_column_to(depth).lower


def moves_of(problem: Problem) -> tuple[Moves, ...]:
    """Return the ways of a problem, each with how it moves."""
    both = zip(problem.assembly.ways, problem.ways, strict=True)
    return tuple((built, way.lets_go) for built, way in both)


def drive_of(built: DrivenWay, lets_go: LettingGo | ConeWave | None, air: Air) -> Drive:
    """Return the motion of a way along the axis, all of it or as the cone lets go."""
    if lets_go is None:
        return axial_motion(built.name, built.parts, air)

    def weight(r: np.ndarray, frequency: float) -> np.ndarray:
        return lets_go.weight(r, frequency, built.effective_radius)

    return axial_motion(built.name, built.parts, air, weight=weight)


def _relative_fields(
    solution: WaveSolution, problems: Sequence[Problem], shared: SharedBlocks | None
) -> list[Fields]:
    """Fields of problems that were solved together: the ways of the first, of the next, ..."""
    problem, air, k = problems[0], solution.air, solution.wavenumber
    reference = units(solution, [move for one in problems for move in moves_of(one)])
    far = solution.far_field(problem.elevations, shared).T
    distance = np.hypot(*problem.points.T)
    near = solution.pressure_at(problem.points).T * (distance * np.exp(-1j * k * distance))
    power = np.abs(far) ** 2
    half = np.ones(len(problem.elevations))
    if problem.floor:
        # The grid's weights see a pattern that ends at the horizon: half of that sample is above.
        half[np.abs(problem.elevations) < HORIZON_DEG] = 0.5
    watts = 4.0 * np.pi / (2.0 * air.density * air.speed)
    error = solution.balance_with(mean_square(power * half, problem.elevations) * watts)
    scale = 1.0 / reference[:, None]
    weights = sphere_weights(problem.elevations) * half
    arrived = _arrived(solution, problem, (far * weights) @ far.conj().T * watts)
    arrived *= scale * scale.T / watts
    far, near, unknowns, count = (
        far * scale,
        near * scale,
        solution.mesh.unknowns,
        len(problem.ways),
    )
    own = [slice(first, first + count) for first in range(0, len(far), count)]
    return [Fields(far[i], near[i], error[i], unknowns, arrived[:, i, i]) for i in own]


def units(solution: WaveSolution, moves: Sequence[Moves]) -> np.ndarray:
    """Far field rho A / (2 pi) by which each way counts, A its volume acceleration, (W,) in Pa m.

    That of a wave in the cone is taken without its lag: with it the volume may vanish.
    """
    volumes = solution.volume_acceleration()
    for w, (built, lets_go) in enumerate(moves):
        if isinstance(lets_go, ConeWave):
            volumes[w] = np.pi * built.effective_radius**2
    return solution.air.density * volumes / (2.0 * np.pi)


def _arrived(solution: WaveSolution, problem: Problem, far_away: np.ndarray) -> np.ndarray:
    """Power in watts at each destination, (L, W, W), that far away being known."""
    taken = solution.absorbed_power
    nothing = np.zeros_like(far_away)
    found = {FAR_AWAY: far_away, **taken}
    if problem.absorbing_air:
        found[AIR] = solution.driven_power_of_all() - far_away - sum(taken.values())
    return np.array([found.get(name, nothing) for name in problem.destinations])
