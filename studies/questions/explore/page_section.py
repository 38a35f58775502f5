"""The section on the explorer's page: outlines in mm, and where its gaps are dimensioned."""

from __future__ import annotations

from typing import Any

import numpy as np

from shapes.assembly import MOVING_PARTS, Assembly
from shapes.gaps import highest_at
from shapes.lengths import in_both
from shapes.meridian import Meridian
from studies.questions.explore.study import Explore

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


def section_of(found: Explore) -> Data:
    """Outlines in mm, both halves; what hangs is drawn for a plate gap of zero."""
    built = found.design.assembly()
    foot = max(-built.column.height, min(0.0, built.driver.neck_z) - BELOW_CONE)
    lower = built.lower.sample(DRAWN_ERROR)
    hidden = lower[:, 1] < foot
    lower[hidden, 0] = np.minimum(lower[hidden, 0], built.column.radius)
    lower[:, 1] = np.maximum(lower[:, 1], foot)
    plate = None
    if built.plate is not None:
        alone = built.bare_plate.sample(DRAWN_ERROR)
        plate = _both_halves(alone - (0.0, built.plate_gap))
    solids = [row.drawn for row in found.rows if row.drawn is not None]
    return {
        "lower": _both_halves(lower),
        "moving": [
            _both_sides(Meridian((piece,)).sample(DRAWN_ERROR))
            for piece in built.lower.of_parts(*MOVING_PARTS, "dome")
        ],
        "reflectors": _reflectors(found),
        "plate": plate,
        "posts": _posts(built),
        "foot": rounded(foot * 1e3),
        "column": rounded(built.column.face.radius * 1e3),
        "half": rounded(1e3 * max(_half_width(assembly) for assembly in solids)),
        "top": rounded(
            1e3 * (found.gap.sizes[-1] + (built.plate.thickness if built.plate else 0.0))
        ),
        "names": [in_both(size) for size in found.gap.sizes],
    }


def _half_width(assembly: Assembly) -> float:
    plate = assembly.plate.radius if assembly.plate is not None else 0.0
    return max(plate, assembly.column.face.radius, assembly.hung_reflector.widest_radius)


def _reflectors(found: Explore) -> list[Data | None]:
    """Outline of the reflector of every size; None for one that cannot be made."""
    shapes: list[Data | None] = []
    count = len(found.gap.sizes)
    for first in range(0, len(found.rows), count):
        built = found.rows[first].drawn
        profile = None if built is None else built.hung_reflector.profile.sample(DRAWN_ERROR)
        shapes.append(None if profile is None else _both_halves(profile))
    return shapes


def _posts(built: Assembly) -> Data | None:
    posts = built.posts
    if posts is None:
        return None
    return {
        "x": rounded(posts.circle_radius * 1e3),
        "half": rounded(posts.radius * 1e3),
        "below": rounded(posts.socket_baffle * 1e3),
        "above": rounded(posts.socket_plate * 1e3),
    }


def _both_halves(half: np.ndarray) -> Data:
    """Closed outline in mm from the polyline of its right half."""
    whole = np.vstack((half, half[::-1] * (-1.0, 1.0))) * 1e3
    return {"x": rounded(whole[:, 0], 2), "z": rounded(whole[:, 1], 2)}


def _both_sides(line: np.ndarray) -> Data:
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
