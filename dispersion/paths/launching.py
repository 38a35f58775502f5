"""Where rays start: even samples of a driven disc and of the directions above it."""

import warnings

import numpy as np

from shapes.assembly import Assembly, DrivenWay
from shapes.gaps import highest_at

Array = np.ndarray

REPLICATES = 8
"""Scrambles from whose spread the error is estimated: 7 degrees of freedom, so the error is itself
known within a quarter (1 / sqrt(14))."""

AT_ONCE = 1e-9
"""Width in which an outline jumps, metres."""

LIFT = 2e-6
"""Rays start this far above a part that stands in the disc, metres: its outline is a polyline."""


def even_points(count: int, dimensions: int, seed: int) -> tuple[Array, Array]:
    """Points in the unit cube, and the scramble each belongs to."""
    from scipy.stats import qmc

    replicates = min(REPLICATES, count)
    sizes = [count // replicates + (n < count % replicates) for n in range(replicates)]
    with warnings.catch_warnings():
        # Any number of rays is allowed; those short of a power of two are less even.
        warnings.filterwarnings("ignore", message="The balance properties")
        points = [
            qmc.Sobol(dimensions, rng=np.random.default_rng((seed, n))).random(size)
            for n, size in enumerate(sizes)
        ]
    return np.concatenate(points), np.repeat(np.arange(replicates), sizes)


def launch_places(assembly: Assembly, way: DrivenWay, share: Array) -> tuple[Array, Array]:
    """Radius and height of the places that hold the given shares of the launching area."""
    pieces = assembly.lower.of_parts(*way.parts)
    level = pieces[0].start[1]
    outer = way.effective_radius
    # The last piece ends on the axis, or at a tweeter's pod.
    inner = pieces[-1].end[0]
    r = np.sqrt(inner**2 + share * (outer**2 - inner**2))
    low, high = inner + AT_ONCE, outer - AT_ONCE
    r = np.clip(r, low, high)
    # The outline is straight between its points and may jump at them (the rim of a whizzer).
    corners = assembly.lower_line[:, 0]
    at = np.unique(np.clip([corners - AT_ONCE, corners + AT_ONCE], low, high))
    z = np.interp(r, at, np.maximum(highest_at(assembly.lower_line, at), level))
    return r, z + np.where(z > level, LIFT, 0.0)
