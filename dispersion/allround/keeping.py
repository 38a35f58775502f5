"""Ring answers as a store keeps them: by name, in the arrays of `dispersion.fields.Fields`.

Far field and answer matrices take the places of far and near field; all that is small is joined
end to end in the place of the arrived power. What follows from problem and frequency (the ring,
its modes, the units) is not kept.
"""

import numpy as np

from dispersion.allround.flat_ring import flat_ring
from dispersion.allround.ring_answer import RingAnswer, units
from dispersion.fields import Fields
from dispersion.problem import Problem

SMALL = ("near", "incident", "way_far", "way_near", "volume_acceleration", "power", "work")
"""Attributes of a ring answer that are joined end to end."""


def packed(answer: RingAnswer, power_error_db: np.ndarray) -> Fields:
    """Put a ring answer, and the balance (W,) in dB with posts, into the arrays of a store."""
    small = [np.ravel(getattr(answer, name)).astype(complex) for name in SMALL]
    return Fields(
        far=answer.far,
        near=answer.reflected,
        power_error_db=power_error_db,
        unknowns=answer.unknowns,
        arrived=np.concatenate((answer.orders.astype(complex), *small)),
    )


def unpacked(problem: Problem, frequency: float, fields: Fields) -> RingAnswer:
    """Take the ring answer out of them."""
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
    return RingAnswer(
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
