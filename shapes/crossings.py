"""Where polylines cross, touch or run back over themselves."""

import math

import numpy as np
from numpy.typing import NDArray

from shapes.pieces import TOLERANCE, Array, Point


def polyline_crossings(first: Array, second: Array) -> tuple[Point, ...]:
    """Points (r, z) in which two polylines, (N, 2) and (M, 2), cross or touch."""
    i, j = _close_pairs(first, second)
    hits, where = _meetings(first, second, i, j)
    return _merged(where[hits])


def polyline_self_crossings(line: Array) -> tuple[Point, ...]:
    """Points (r, z) in which a polyline (N, 2) crosses, touches or runs back over itself."""
    i, j = _close_pairs(line, line)
    closed = math.dist(line[0], line[-1]) <= TOLERANCE
    neighbours = (j - i <= 1) | (closed & (i == 0) & (j == len(line) - 2))
    i, j = i[~neighbours], j[~neighbours]
    hits, where = _meetings(line, line, i, j)
    return _merged(np.concatenate((where[hits], _folds(line))))


def _folds(line: Array) -> Array:
    """Vertices in which a polyline turns straight back."""
    steps = np.diff(line, axis=0)
    steps = steps / np.hypot(steps[:, 0], steps[:, 1])[:, None]
    cosines = np.einsum("ij,ij->i", steps[:-1], steps[1:])
    # Short steps carry the rounding of their ends into the direction.
    return line[1:-1][cosines < -1 + 1e-10]


def _close_pairs(first: Array, second: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the indices of the pairs of segments whose bounding boxes meet."""
    low_a, high_a = np.minimum(first[:-1], first[1:]), np.maximum(first[:-1], first[1:])
    low_b, high_b = np.minimum(second[:-1], second[1:]), np.maximum(second[:-1], second[1:])
    meet = np.ones((len(low_a), len(low_b)), dtype=bool)
    for axis in (0, 1):
        meet &= low_a[:, None, axis] <= high_b[None, :, axis] + TOLERANCE
        meet &= low_b[None, :, axis] <= high_a[:, None, axis] + TOLERANCE
    i, j = np.nonzero(meet)
    return i, j


def _meetings(
    first: Array, second: Array, i: NDArray[np.intp], j: NDArray[np.intp]
) -> tuple[NDArray[np.bool_], Array]:
    """Which pairs of segments meet, (P,), and where, (P, 2)."""
    a, u = first[i], first[i + 1] - first[i]
    apart, v = second[j] - a, second[j + 1] - second[j]
    size_u, size_v = np.hypot(*u.T), np.hypot(*v.T)
    turn = _cross(u, v)
    parallel = np.abs(turn) <= 1e-12 * size_u * size_v
    divisor = np.where(parallel, 1.0, turn)
    s, t = _cross(apart, v) / divisor, _cross(apart, u) / divisor
    crossing = _within(s, size_u) & _within(t, size_v)
    overlap, middle = _overlaps(apart, u, v, size_u)
    along = np.where(parallel, middle, s)
    return np.where(parallel, overlap, crossing), a + along[:, None] * u


def _overlaps(apart: Array, u: Array, v: Array, size: Array) -> tuple[NDArray[np.bool_], Array]:
    """Whether parallel segments share a stretch, and the middle of it as a share of u."""
    offset = np.abs(_cross(apart, u)) / size
    near = np.sum(apart * u, axis=-1) / size
    far = np.sum((apart + v) * u, axis=-1) / size
    low = np.maximum(np.minimum(near, far), 0.0)
    high = np.minimum(np.maximum(near, far), size)
    return (offset <= TOLERANCE) & (high - low >= -TOLERANCE), (low + high) / 2 / size


def _within(share: Array, size: Array) -> NDArray[np.bool_]:
    slack = TOLERANCE / size
    return (share >= -slack) & (share <= 1 + slack)


def _cross(u: Array, v: Array) -> Array:
    return u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]


def _merged(points: Array) -> tuple[Point, ...]:
    """Leave out points within a tenth of a millimetre of one already kept."""
    kept: list[Point] = []
    for r, z in points:
        if all(math.dist((r, z), known) > 1e-4 for known in kept):
            kept.append((float(r), float(z)))
    return tuple(kept)
