"""Rows of a scene: single surfaces, and boxes that a ray may pass by with all they hold."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dispersion.paths import tracing


@dataclass(frozen=True, kw_only=True)
class SurfaceRow:
    """One surface, or a box before the rows it holds.

    Attributes
    ----------
    kind : int
        One of the kinds of `dispersion.paths.tracing`.
    group : int
        Number of the surface group, 0 for a box.
    moves : bool
        True if it belongs to the upper body.
    bounds : tuple of float
        (r, z) limits, four of them, or six in x, y and z for what is not round.
    data : tuple of float
        Sizes by kind.
    holds : int
        How many of the following rows are inside.
    """

    kind: int
    group: int
    moves: bool
    bounds: tuple[float, ...]
    data: tuple[float, ...] = ()
    holds: int = 0


def boxed(rows: Sequence[SurfaceRow]) -> list[SurfaceRow]:
    """Put a box before rows that all move alike."""
    limits = np.array([row.bounds for row in _outermost(rows)])
    bounds = np.empty(limits.shape[1])
    bounds[0::2], bounds[1::2] = limits[:, 0::2].min(axis=0), limits[:, 1::2].max(axis=0)
    kind = tracing.BOX if len(bounds) == 4 else tracing.MESH_BOX
    return [
        SurfaceRow(kind=kind, group=0, moves=rows[0].moves, bounds=tuple(bounds), holds=len(rows)),
        *rows,
    ]


def _outermost(rows: Sequence[SurfaceRow]) -> list[SurfaceRow]:
    """Pass over what boxes hold: it lies within their bounds."""
    found, at = [], 0
    while at < len(rows):
        found.append(rows[at])
        at += 1 + rows[at].holds
    return found


def halved(rows: Sequence[SurfaceRow], smallest: int = 2) -> list[SurfaceRow]:
    """Box rows in order, by halves, down to `smallest` in a box."""
    if len(rows) <= smallest:
        return boxed(rows)
    middle = len(rows) // 2
    return boxed([*halved(rows[:middle], smallest), *halved(rows[middle:], smallest)])
