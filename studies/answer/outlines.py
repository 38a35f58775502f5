"""The section on a page that moves: outlines in mm, and where its gaps are dimensioned."""

from __future__ import annotations

from typing import Any

import numpy as np

from shapes.assembly import MOVING_PARTS, Assembly
from shapes.gaps import highest_at
from shapes.lengths import in_both
from shapes.meridian import Meridian
from shapes.parts import FeltBand

DRAWN_ERROR = 1e-4
BELOW_CONE = 0.06
"""How much of the column is drawn below the driver's neck, metres."""
Data = dict[str, Any]


def gaps_of(assembly: Assembly | None) -> Data:
    """Rim gap and tip clearance in words, and where they are drawn; nothing if there is none."""
    if assembly is None:
        return {"drawn": False, "rim": None, "tip": None}
    try:
        nearest = assembly.nearest_at_rest
        foot = float(highest_at(assembly.lower_line, np.array([nearest.radius]))[0])
    except ValueError:
        return {"drawn": False, "rim": None, "tip": None}
    return {
        "drawn": True,
        "rim": {
            "words": in_both(assembly.rim_gap),
            "x": rounded(assembly.hung_reflector.base_radius * 1e3),
            "z": rounded(assembly.rim_gap * 1e3),
        },
        "tip": {
            "name": "tip clearance" if nearest.gap >= 0.0 else "reaches into the driver",
            "words": in_both(abs(nearest.gap)),
            "x": rounded(nearest.radius * 1e3),
            "foot": rounded(foot * 1e3),
            "z": rounded((foot + nearest.gap) * 1e3),
        },
    }


def foot_of(assembly: Assembly) -> float:
    """Lowest height that is drawn, m: some way below the driver's neck, where the column ends."""
    return max(-assembly.column.height, min(0.0, assembly.driver.neck_z) - BELOW_CONE)


def lower_outline(assembly: Assembly) -> Data:
    """Column, baffle and driver as one solid, broken off at `foot_of`."""
    foot = foot_of(assembly)
    lower = assembly.lower.sample(DRAWN_ERROR)
    # A foot lies below where the column is broken off.
    hidden = lower[:, 1] < foot
    lower[hidden, 0] = np.minimum(lower[hidden, 0], assembly.column.radius)
    lower[:, 1] = np.maximum(lower[:, 1], foot)
    return both_halves(lower)


def moving_lines(assembly: Assembly) -> list[Data]:
    """Whatever moves: cone, dust cap, whizzer, a tweeter's dome."""
    return [
        both_sides(Meridian((piece,)).sample(DRAWN_ERROR))
        for piece in assembly.lower.of_parts(*MOVING_PARTS, "dome")
    ]


def plate_outline(assembly: Assembly) -> Data | None:
    """The top plate, for a plate gap of zero; None without one."""
    if assembly.plate is None:
        return None
    return both_halves(assembly.bare_plate.sample(DRAWN_ERROR) - (0.0, assembly.plate_gap))


def reflector_outline(assembly: Assembly) -> Data | None:
    """What hangs, for a plate gap of zero; None if nothing does."""
    if assembly.reflector is None:
        return None
    return both_halves(assembly.reflector.profile.sample(DRAWN_ERROR))


def posts_outline(assembly: Assembly) -> Data | None:
    """Circle, half thickness and sockets of the posts; None without any."""
    posts = assembly.posts
    if posts is None:
        return None
    return {
        "x": rounded(posts.circle_radius * 1e3),
        "half": rounded(posts.radius * 1e3),
        "below": rounded(posts.socket_baffle * 1e3),
        "above": rounded(posts.socket_plate * 1e3),
    }


def half_width(assembly: Assembly) -> float:
    """How far plate, baffle and reflector reach from the axis, m."""
    plate = assembly.plate.radius if assembly.plate is not None else 0.0
    reflector = assembly.reflector.widest_radius if assembly.reflector is not None else 0.0
    return max(plate, assembly.column.face.radius, reflector)


def felt_outline(felt: FeltBand, face: float = 0.0, *, hung: bool) -> Data:
    """Inner and outer radius, lower and upper side of a ring of felt, mm.

    Parameters
    ----------
    felt : FeltBand
    face : float
        Height of the board's face, m.
    hung : bool
        True for a ring under the plate.
    """
    low = face - felt.proud if hung else face + felt.proud - felt.thickness
    return {
        "inner": rounded(felt.inner * 1e3),
        "outer": rounded(felt.outer * 1e3),
        "low": rounded(low * 1e3),
        "high": rounded((low + felt.thickness) * 1e3),
    }


def both_halves(half: np.ndarray) -> Data:
    """Closed outline in mm from the polyline of its right half."""
    whole = np.vstack((half, half[::-1] * (-1.0, 1.0))) * 1e3
    return {"x": rounded(whole[:, 0], 2), "z": rounded(whole[:, 1], 2)}


def both_sides(line: np.ndarray) -> Data:
    """A polyline and its mirror image in mm, not joined."""
    x, z = (line * 1e3).T
    gap = [None]
    return {
        "x": [*rounded(x, 2), *gap, *rounded(-x, 2)],
        "z": [*rounded(z, 2), *gap, *rounded(z, 2)],
    }


def rounded(numbers: Any, digits: int = 4) -> Any:
    """Plain numbers or lists for JSON, without digits that nobody sees."""
    return np.round(np.asarray(numbers, dtype=float), digits).tolist()
