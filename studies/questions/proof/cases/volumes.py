"""Volumes, areas and slopes of solids.

Sources: spherical cap, frustum and Pappus' theorems, elementary solid geometry as found in any
handbook.
Printed values are held to half a unit of their last digit.
"""

from __future__ import annotations

import math

from shapes.meridian import Arc, Line, Meridian
from shapes.reflectors import ball_cap, base_of_cap, cone
from studies.questions.proof.cases.check import REST, Check, Compared, compare


def cap_of_a_three_four_five_triangle(_: None) -> Compared:
    """Cap height 0.06 on a sphere of radius 0.30: base 0.18, edge slope 36.87 deg."""
    cap = ball_cap(0.60, 0.06)
    return compare(
        "keep 60 mm of a ball of 600 mm",
        ("base radius, m", "base diameter, m", "volume, m3", "area, m2", "edge slope, deg"),
        [
            cap.base_radius,
            base_of_cap(0.60, 0.06),
            cap.volume,
            cap.profile.area,
            math.degrees(cap.rim_slope),
        ],
        [0.18, 0.36, 0.00316672539, 0.113097336, 36.869898],
        [1e-13, 1e-13, 5e-12, 5e-10, 1e-6],
    )


def frustum(_: None) -> Compared:
    """r1 = 0.05, r2 = 0.12, H = 0.10: volume, lateral area, wall angle."""
    wall = Line((0.05, 0.0), (0.12, 0.10), "wall")
    solid = Meridian((Line((0.0, 0.0), (0.05, 0.0), "foot"), wall))
    half_angle = math.degrees(cone(0.07, height=0.10).fact("half angle"))
    return compare(
        "radii 50 and 120 mm, height 100 mm",
        ("volume, m3", "area, m2", "half angle, deg"),
        [solid.volume, Meridian((wall,)).area, half_angle],
        [0.00239808239, 0.0651916433, 34.992020],
        [5e-12, 5e-11, 1e-6],
    )


def torus() -> Meridian:
    """Ring R = 0.1, r = 0.02."""
    low, high, middle = (0.1, -0.02), (0.1, 0.02), (0.1, 0.0)
    return Meridian((Arc(low, high, middle, False, "ring"), Arc(high, low, middle, False, "ring")))


def ring(_: None) -> Compared:
    """V = 2 pi R times pi r^2, S = 2 pi R times 2 pi r."""
    at, found = ("volume, m3", "area, m2"), (torus().volume, torus().area)
    return compare("torus", at, found, [7.8956835e-4, 0.0789568352], [5e-12, 5e-11])


_HANDBOOK = "solid geometry, as found in any handbook"
CHECKS = (
    Check("Cap cut from a ball", REST, _HANDBOOK, "", (None,), cap_of_a_three_four_five_triangle),
    Check("Frustum of a cone", REST, _HANDBOOK, "", (None,), frustum),
    Check("Ring", REST, "Pappus' theorems, as found in any handbook", "", (None,), ring),
)
