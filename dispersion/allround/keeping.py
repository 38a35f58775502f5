"""Ring answers as a store keeps them: by name, in the arrays of `dispersion.fields.Fields`.

Far field and answer matrices take the places of far and near field; all that is small is joined
end to end in the place of the arrived power. What follows from problem and frequency (the ring,
its modes, the units) is not kept.
"""

from collections.abc import Callable, Collection
from typing import NamedTuple, Protocol, TypeVar

import numpy as np

from dispersion.allround.flat_ring import flat_ring
from dispersion.allround.ring_answer import RingAnswer, units
from dispersion.fields import Fields
from dispersion.keys import solve_keys
from dispersion.problem import Problem
from dispersion.solvers import ALWAYS_AFFORDED, FINER, TRIES, is_balanced
from dispersion.waves import WaveSettings


class BalancedAnswer(NamedTuple):
    """A ring answer, and the power balance of each way with the problem's own posts, (W,) in dB."""

    answer: RingAnswer
    power_error_db: np.ndarray

    @property
    def unknowns(self) -> int:
        """Of each order."""
        return self.answer.unknowns


class Balanced(Protocol):
    """What was solved: with the power balance of each way, dB, and the unknowns of an order."""

    @property
    def power_error_db(self) -> np.ndarray:
        """(W,) dB."""

    @property
    def unknowns(self) -> int:
        """Of each order."""


Found = TypeVar("Found", bound=Balanced)


def mended(solve: Callable[[WaveSettings], Found], settings: WaveSettings) -> tuple[Found, float]:
    """Solve, and where power is out of balance again on a finer mesh, as `solve_waves` does.

    Returns
    -------
    found, finer
        The last that was solved, and how many times finer its mesh was than asked for.
    """
    found, finer = solve(settings), 1.0
    for tried in range(1, TRIES + 1):
        if is_balanced(found.power_error_db) or FINER * found.unknowns > ALWAYS_AFFORDED:
            break
        finer = FINER**tried
        found = solve(settings.finer(finer))
    return found, finer


SMALL = ("near", "incident", "way_far", "way_near", "volume_acceleration", "power", "work")
"""Attributes of a ring answer that are joined end to end."""


def keys_of(problem: Problem, settings: object, folds: Collection[int]) -> list[bytes]:
    """Name the ring answer of every frequency, for posts of these counts."""
    asked = ("posts", problem.assembly.standing_posts, tuple(sorted(folds)))
    return solve_keys(problem, settings, asked)


def packed(solved: BalancedAnswer) -> Fields:
    """Put a ring answer into the arrays that a store keeps."""
    answer = solved.answer
    small = [np.ravel(getattr(answer, name)).astype(complex) for name in SMALL]
    return Fields(
        far=answer.far,
        near=answer.reflected,
        power_error_db=solved.power_error_db,
        unknowns=answer.unknowns,
        arrived=np.concatenate((answer.orders.astype(complex), *small)),
    )


def unpacked(problem: Problem, frequency: float, fields: Fields) -> BalancedAnswer:
    """Take a ring answer out of them."""
    ring, k = flat_ring(problem.assembly), 2.0 * np.pi * frequency / problem.air.speed
    orders, heard, modes = fields.far.shape[:3]
    ways, points = len(problem.ways), len(problem.points)
    shapes = {
        "near": (orders, points, modes, 2),
        "incident": (ways, modes, 2),
        "way_far": (ways, heard),
        "way_near": (ways, points),
        "volume_acceleration": (ways,),
        "power": (ways,),
        "work": (ways, modes, 2),
    }
    sizes = [orders, *(int(np.prod(shapes[name])) for name in SMALL)]
    first, *parts = np.split(fields.arrived, np.cumsum(sizes)[:-1])
    small = {name: part.reshape(shapes[name]) for name, part in zip(SMALL, parts, strict=True)}
    m, kappa = first.real.round().astype(int), ring.wavenumbers(k, modes - 1 - ring.travelling(k))
    answer = RingAnswer(
        ring=ring,
        k=k,
        kappa=kappa,
        orders=m,
        unit=units(ring, m, kappa),
        reflected=fields.near,
        elevations=problem.elevations,
        points=problem.points,
        far=fields.far,
        near=small["near"],
        incident=small["incident"],
        way_far=small["way_far"],
        way_near=small["way_near"],
        volume_acceleration=small["volume_acceleration"].real,
        power=small["power"].real,
        work=small["work"],
        taken=None,
        unknowns=fields.unknowns,
    )
    return BalancedAnswer(answer, fields.power_error_db)
