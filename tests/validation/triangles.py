"""Solids of revolution as flat triangles, for the comparisons in three dimensions."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shapes.meridian import Meridian


@dataclass(frozen=True)
class Rows:
    """How a meridian is cut into rows.

    None is longer than `longest` metres, nor than a share of a curve's radius: a chord h over a
    radius R lies h^2 / 8R inside. Rows are even, or crowd towards corners, where pressure bends
    most; then both are means over a piece.
    """

    longest: float
    share_of_radius: float = 0.3
    crowded: bool = False


def rows_of(body: Meridian, rows: Rows) -> tuple[np.ndarray, list[str]]:
    """Points (r, z) along a meridian, corners kept, and the part of each step."""
    points, parts = [np.array([body.start])], []
    for piece in body.pieces:
        limit = min(rows.longest, rows.share_of_radius * piece.min_radius)
        count = max(1, int(np.ceil(piece.length / limit)))
        steps = np.arange(1, count + 1) / count
        points.append(piece.point(0.5 - 0.5 * np.cos(np.pi * steps) if rows.crowded else steps))
        parts += [piece.part] * count
    return np.concatenate(points), parts


def surface_of_revolution(
    body: Meridian, around: int, rows: Rows
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Vertices (V, 3), triangles (T, 3) with normals into the air, and the part of each.

    Rings are polygons of the same area as the circles, so that a piston moves the same volume.
    """
    points, part_of_step = rows_of(body, rows)
    corner = 2.0 * np.pi / around
    points[:, 0] *= np.sqrt(corner / np.sin(corner))
    angle = corner * np.arange(around)
    rings = points[1:-1]
    ring_points = np.stack(
        (
            np.outer(rings[:, 0], np.cos(angle)),
            np.outer(rings[:, 0], np.sin(angle)),
            np.repeat(rings[:, 1:], around, axis=1),
        ),
        axis=-1,
    ).reshape(-1, 3)
    vertices = np.vstack(([0.0, 0.0, points[0, 1]], ring_points, [0.0, 0.0, points[-1, 1]]))
    this, following = np.arange(around), np.roll(np.arange(around), -1)
    triangles, parts = [], []
    for step, part in enumerate(part_of_step):
        low, high = 1 + (step - 1) * around, 1 + step * around
        if step == 0:
            new = np.column_stack((np.zeros(around, int), high + following, high + this))
        elif step == len(part_of_step) - 1:
            new = np.column_stack((low + this, low + following, np.full(around, high)))
        else:
            first = np.column_stack((low + this, low + following, high + following))
            new = np.vstack((first, np.column_stack((low + this, high + following, high + this))))
        triangles.append(new)
        parts += [part] * len(new)
    return vertices, np.concatenate(triangles), parts


def joined_surfaces(
    bodies: Sequence[Meridian], around: int, rows: Rows
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices, triangles and parts of several bodies together."""
    vertices, triangles, parts = [], [], []
    for body in bodies:
        points, corners, labels = surface_of_revolution(body, around, rows)
        triangles.append(corners + sum(map(len, vertices)))
        vertices.append(points)
        parts += labels
    return np.concatenate(vertices), np.concatenate(triangles), np.array(parts)
