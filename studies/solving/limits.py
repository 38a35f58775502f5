"""What the workshop can make, and by how much a reflector asks for more.

The ring stays as large as the driver, although a smaller one is no fault elsewhere: searched
without that, the example's best curve in 240 solves scored 4.04 dB at 50 mm, not 3.36 at 62 mm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from shapes.lengths import in_own
from studies.design import Design, DesignError
from studies.design.errors import Mistake

POST_SPACE = 2e-3
"""Left between rim and posts where nobody says how wide, m: common practice, no source."""
_LINE_ERROR = 1e-5
"""Distance of the polyline on which an undercut is looked for from the profile, at most, m."""
_ROUNDING = 1e-9
"""A limit that is broken by less than this share of itself is kept."""
_REFUSALS = {
    "carve.largest_diameter": "{what} is narrow enough: allow a larger diameter",
    "carve.largest_height": "{what} is low enough: allow more height",
    "carve.smallest_radius": "{what} does without a tighter bend: allow a smaller radius",
    "carve.tip_clearance": (
        "{what} leaves so much room over the driver in motion: allow less, or make plate_gap larger"
    ),
    "carve.undercut": "{what} does without one: write undercut = true if your tools can make it",
    "plate_gap": "{what} hangs free of all parts and lets the driver breathe: make it larger",
}
"""By the key of the design file that would have to change."""


@dataclass(frozen=True)
class Limits:
    """What the workshop can make; lengths in metres.

    Attributes
    ----------
    largest_diameter, largest_height : float
        Of the reflector.
    smallest_radius : float
        Smallest radius of curvature of its profile; the tip may be a point.
    tip_clearance : float
        Least distance from the driver in motion.
    undercut : bool
        Whether the radius may shrink from the tip towards the base.
    """

    largest_diameter: float
    largest_height: float
    smallest_radius: float
    tip_clearance: float
    undercut: bool

    def height_at(self, plate_gap: float) -> float:
        """Height that a reflector may have at a gap, m."""
        return min(self.largest_height, plate_gap - self.tip_clearance)

    def broken_by(self, assembly: Assembly) -> dict[str, float]:
        """Limits that an assembly's reflector breaks, each with the share by which it does.

        Returns
        -------
        dict
            By the key of the design file that would have to change; empty if all are kept. A choked
            driver and parts that meet count against the plate gap.
        """
        reflector = assembly.hung_reflector
        tightest = min(piece.min_radius for piece in reflector.profile.pieces)
        line = reflector.profile.sample(_LINE_ERROR)
        inwards = -np.minimum(np.diff(line[:, 0]), 0.0).sum()
        short = self.tip_clearance - assembly.tip_clearance_in_motion
        shares = {
            "carve.largest_diameter": 2.0 * reflector.widest_radius / self.largest_diameter - 1.0,
            "carve.largest_height": reflector.height / self.largest_height - 1.0,
            "carve.smallest_radius": (
                1.0 - tightest / self.smallest_radius if self.smallest_radius else 0.0
            ),
            "carve.tip_clearance": short / self.largest_height,
            "carve.undercut": 0.0 if self.undercut else inwards / reflector.base_radius,
            "plate_gap": assembly.driver_area / max(assembly.throat_area, 1e-12) - 1.0,
        }
        broken = {key: float(share) for key, share in shares.items() if share > _ROUNDING}
        if not broken and (clashes := find_clashes(assembly)):
            return {"plate_gap": float(len(clashes))}
        return broken


def limits_of(design: Design, built: Assembly | None = None) -> Limits:
    """Limits of the workshop as written in ``[carve]``, else those of the space there is.

    Parameters
    ----------
    design : Design
    built : Assembly, optional
        What hangs there, which tells how wide it may be where there is no plate; the design as it
        is written if left out.

    Raises
    ------
    DesignError
        If nothing limits how wide the reflector may be, or there is no space for its height.
    """
    asked, assembly = design.tables.carve, built or design.assembly()
    widest = asked.largest_diameter
    if widest is None:
        widest = _space_across(assembly)
    if widest is None:
        message = "is missing, and there is neither a plate nor a reflector to tell it: write one"
        raise DesignError(design.path, (Mistake("carve.largest_diameter", message),))
    gap = max(design.gap_candidates()) if design.moves_plate else assembly.plate_gap
    space = gap - asked.tip_clearance
    height = space if asked.largest_height is None else asked.largest_height
    if space <= 0.0:
        message = f"leaves no room in a plate gap of {in_own(gap)}: make it smaller"
        raise DesignError(design.path, (Mistake("carve.tip_clearance", message),))
    return Limits(widest, height, asked.smallest_radius, asked.tip_clearance, asked.undercut)


def impossible(design: Design, what: str, broken: Mapping[str, float]) -> DesignError:
    """Make the error for limits that nothing keeps; `broken` are those of the nearest miss."""
    mistakes = [
        Mistake(key, _REFUSALS[key].format(what=what))
        for key in sorted(broken, key=broken.__getitem__, reverse=True)
    ]
    nothing = Mistake("carve", f"{what} can be made within these limits: allow more")
    return DesignError(design.path, mistakes or (nothing,))


def _space_across(assembly: Assembly) -> float | None:
    """Diameter of the plate's flat inside the posts; without a plate, of the present reflector."""
    plate, posts, reflector = assembly.plate, assembly.posts, assembly.reflector
    if plate is None:
        return None if reflector is None else 2.0 * reflector.widest_radius
    inside = math.inf if posts is None else posts.inner_radius - POST_SPACE
    return 2.0 * min(plate.flat_radius, inside)
