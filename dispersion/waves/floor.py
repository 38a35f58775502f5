"""A rigid floor without end: what stands on it, and the mirror image that takes its place.

Above a rigid plane the field is that of the bodies and their mirror images together in free air
(Pierce, Acoustics, 1.4 [from memory]). Pressure is the same on a body and on its image, so the
system keeps its size: each pair of elements only gets a second term, of the one with the other's
image. A body that stands on the floor goes on into its image: no sound reaches its foot, and an
upright wall is smooth there.

It agrees with the doubled assembly in free air to 1e-8 dB and takes a quarter more time. What a
body does to its own image is shared like its other blocks, by its height above the floor.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from shapes.meridian import Meridian
from shapes.pieces import TOLERANCE

from .elements import Mesh, SurfacePoints

LEAST_SLOPE_DEG = 30.0
"""Between a standing body's wall and the floor; no test covers the slit under a flatter foot."""
CHORD_ERROR = 1e-5
_ALONG = np.linspace(0.0, 1.0, 9)


def above_floor(
    bodies: Sequence[Meridian], lifts: Sequence[float] | None, floor: float
) -> tuple[Meridian, ...]:
    """Return the bodies without the pieces that lie on the floor.

    Parameters
    ----------
    bodies : sequence of Meridian
    lifts : sequence of float, optional
        How far each body is lifted from where its meridian lies, in metres; 0 if left out.
    floor : float
        Height of the floor in metres.

    Raises
    ------
    ValueError
        If a body reaches below the floor, touches it elsewhere than with its foot, or leans over
        it too flatly.
    """
    given = np.zeros(len(bodies)) if lifts is None else lifts
    return tuple(
        _above(body, floor - float(lift)) for body, lift in zip(bodies, given, strict=True)
    )


@lru_cache(maxsize=64)
def _above(body: Meridian, floor: float) -> Meridian:
    pieces = body.pieces
    while pieces and all(abs(z - floor) <= TOLERANCE for _, z in pieces[0].point(_ALONG)):
        pieces = pieces[1:]
    if not pieces:
        raise ValueError("a body lies flat on the floor: nothing of it is in the air")
    rest = Meridian(pieces)
    stands = abs(rest.start[1] - floor) <= TOLERANCE
    if rest.end[0] > TOLERANCE or (rest.start[0] > TOLERANCE and not stands):
        raise ValueError(
            "a body's meridian must start on the axis (r = 0) or on the floor, and end on the axis"
        )
    line = rest.sample(CHORD_ERROR)
    if line[:, 1].min() < floor - TOLERANCE:
        depth = 1e3 * (floor - line[:, 1].min())
        raise ValueError(f"a body reaches {depth:.3g} mm below the floor: lift it")
    if line[1:, 1].min() <= floor + TOLERANCE:
        raise ValueError("a body touches the floor beside its foot: lift it off, or cut it there")
    if stands:
        r, z = pieces[0].derivative(np.array([0.0]))[0]
        if math.degrees(math.atan2(z, abs(r))) < LEAST_SLOPE_DEG:
            raise ValueError(
                f"'{pieces[0].part}' rises from the floor at less than {LEAST_SLOPE_DEG:.0f} "
                "degrees: make its foot steeper"
            )
    return rest


def mirrored(mesh: Mesh, floor: float) -> Mesh:
    """Return the mirror image: the same unknowns, each element walked the other way.

    So its normals, too, point out of the solid.
    """
    curve = mesh.own_curve * (-1.0) ** np.arange(mesh.own_curve.shape[2])
    curve[:, 1] *= -1.0
    lifts = 2.0 * floor - mesh.lifts
    return replace(
        mesh, own_curve=curve, lifts=lifts, nodes=mesh.nodes[:, ::-1], floor=None, bodies=()
    )


def mirrored_points(points: np.ndarray, floor: float) -> np.ndarray:
    """Return the mirror images of points (r, z), (X, 2)."""
    return points * (1.0, -1.0) + (0.0, 2.0 * floor)


def mirrored_surface(at: SurfacePoints, floor: float) -> SurfacePoints:
    """Return the mirror images of surface points, in their order."""
    return replace(at, z=2.0 * floor - at.z, tangent_r=-at.tangent_r)


def is_above(heights: np.ndarray, floor: float) -> np.ndarray:
    """Return which heights (or elevations) are not below the floor."""
    return np.asarray(heights) >= floor - TOLERANCE
