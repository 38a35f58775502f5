"""Vertical gaps and shortest distances between polylines, each (N, 2) of [r, z] in metres.

A profile may double back: at every radius the lowest point of what hangs above and the highest
point of what stands below are compared, over all segments that pass that radius.
"""

import numpy as np

from shapes.crossings import polyline_crossings
from shapes.pieces import Array, Point


def lowest_at(line: Array, radii: Array) -> Array:
    """Lowest z of a polyline at each radius; inf where it does not reach."""
    return _extreme_at(line, radii, 1.0)


def highest_at(line: Array, radii: Array) -> Array:
    """Highest z of a polyline at each radius; -inf where it does not reach."""
    return -_extreme_at(line, radii, -1.0)


def vertical_gap(upper: Array, lower: Array) -> tuple[float, float]:
    """Smallest vertical distance from `lower` up to `upper`, and the radius where it is.

    Negative if they overlap, (inf, nan) if they share no radius. The gap between two straight
    segments is smallest at an end of one of them, so the vertices of both are all it takes.
    """
    radii = np.concatenate((upper[:, 0], lower[:, 0]))
    gaps = lowest_at(upper, radii) - highest_at(lower, radii)
    least = int(np.argmin(gaps))
    if np.isinf(gaps[least]):
        return float("inf"), float("nan")
    return float(gaps[least]), float(radii[least])


def shortest_distance(first: Array, second: Array) -> tuple[float, Point]:
    """Shortest distance in any direction, and the point of either polyline where it is.

    Zero where they cross.
    """
    crossings = polyline_crossings(first, second)
    if crossings:
        return 0.0, crossings[0]
    found = [_nearest(first, second), _nearest(second, first)]
    return min(found)


def _nearest(points: Array, line: Array) -> tuple[float, Point]:
    start, step = line[:-1], np.diff(line, axis=0)
    apart = points[:, None, :] - start
    share = np.sum(apart * step, axis=-1) / np.sum(step * step, axis=-1)
    off = apart - np.clip(share, 0.0, 1.0)[..., None] * step
    distances = np.hypot(off[..., 0], off[..., 1]).min(axis=1)
    least = int(np.argmin(distances))
    return float(distances[least]), (float(points[least, 0]), float(points[least, 1]))


def _extreme_at(line: Array, radii: Array, sign: float) -> Array:
    """Lowest of sign * z at each radius, by interpolation on every segment that passes it."""
    r0, z0 = line[:-1, 0], sign * line[:-1, 1]
    r1, z1 = line[1:, 0], sign * line[1:, 1]
    upright = r0 == r1
    share = (radii[:, None] - r0) / np.where(upright, 1.0, r1 - r0)
    z = np.where(upright, np.minimum(z0, z1), z0 + share * (z1 - z0))
    passes = (np.minimum(r0, r1) <= radii[:, None]) & (radii[:, None] <= np.maximum(r0, r1))
    return np.where(passes, z, np.inf).min(axis=1)
