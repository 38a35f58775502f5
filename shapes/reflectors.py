"""Reflectors: pure functions from the dimensions a builder has to a profile with its facts."""

import math

from shapes.lengths import in_both, in_degrees, in_own
from shapes.meridian import Arc, Line, Meridian
from shapes.profiles import conic_section, turned
from shapes.reflector import (
    PART,
    Reflector,
    ReflectorError,
    WorkshopFact,
    check_not_negative,
    check_positive,
    size_facts,
)

__all__ = [
    "WorkshopFact",
    "Reflector",
    "ReflectorError",
    "ball_cap",
    "base_of_cap",
    "cone",
    "conic_section",
    "flared",
    "keep_of_base",
    "turned",
]

SHARP = 1e-6
"""A tip rounded by less than this is made sharp, metres."""


def base_of_cap(ball_diameter: float, keep: float) -> float:
    """Diameter of the flat of a ball cap, b = 2 sqrt(h (D - h)), metres.

    Raises
    ------
    ReflectorError
        If keep is not between zero and the ball's diameter.
    """
    _check_keep(ball_diameter, keep)
    return 2 * math.sqrt(max(keep * (ball_diameter - keep), 0.0))


def keep_of_base(ball_diameter: float, base_diameter: float) -> float:
    """Keep height of the cap (at most half the ball) with this base diameter, metres.

    Raises
    ------
    ReflectorError
        If the base is wider than the ball.
    """
    check_positive("ball diameter", ball_diameter)
    check_positive("base diameter", base_diameter)
    if base_diameter > ball_diameter:
        raise ReflectorError(
            f"a base of {in_both(base_diameter)} cannot be cut from a ball of "
            f"{in_both(ball_diameter)}: take a larger ball or a smaller base."
        )
    half = math.sqrt((ball_diameter - base_diameter) * (ball_diameter + base_diameter)) / 2
    # Rounding must not reach beyond half of the ball.
    return min(base_diameter**2 / 4 / (ball_diameter / 2 + half), ball_diameter / 2)


def ball_cap(ball_diameter: float, keep: float) -> Reflector:
    """Cap cut from a ball.

    Parameters
    ----------
    ball_diameter : float
        As measured, metres.
    keep : float
        From the apex to the flat, metres. Over half the ball, the profile bulges beyond its base.

    Raises
    ------
    ReflectorError
        If keep is not between zero and the ball's diameter.
    """
    base = base_of_cap(ball_diameter, keep)
    radius = ball_diameter / 2
    arc = Arc((0.0, -keep), (base / 2, 0.0), (0.0, radius - keep), clockwise=False, part=PART)
    facts = (
        WorkshopFact("ball diameter", ball_diameter, "length"),
        WorkshopFact("keep", keep, "length"),
        WorkshopFact("cut off", ball_diameter - keep, "length"),
        WorkshopFact("base diameter", base, "length"),
        WorkshopFact("rim slope", math.acos(1 - keep / radius), "angle"),
    )
    label = f"ball {in_own(ball_diameter)}, keep {in_own(keep)}"
    return Reflector("ball cap", Meridian((arc,)), facts, label)


def cone(
    base_radius: float,
    half_angle: float | None = None,
    height: float | None = None,
    tip_radius: float = 0.0,
) -> Reflector:
    """Straight cone, its tip rounded by a tangent arc.

    Parameters
    ----------
    base_radius : float
        Metres.
    half_angle : float, optional
        Between the axis and the cone, radians. Give this or `height`.
    height : float, optional
        From the (rounded) tip to the base, metres.
    tip_radius : float
        Radius of the rounding, metres.

    Raises
    ------
    ReflectorError
        If both or neither of half angle and height are given, or the tip does not fit.
    """
    check_positive("base radius", base_radius)
    check_not_negative("tip radius", tip_radius)
    if tip_radius < SHARP:
        tip_radius = 0.0
    if (half_angle is None) == (height is None):
        raise ReflectorError("give a cone either its half angle or its height, not both.")
    if half_angle is None:
        assert height is not None
        slope = _slope_of_cone(base_radius, height, tip_radius)
    elif 0 < half_angle < math.pi / 2:
        slope = math.pi / 2 - half_angle
    else:
        raise ReflectorError(
            f"a cone's half angle of {in_degrees(half_angle)} is not between 0 and 90 deg: "
            "measure it between the axis and the cone (half of the included angle)."
        )
    return _cone_of_slope(base_radius, slope, tip_radius)


def flared(
    base_radius: float,
    height: float,
    tip_slope: float | None = None,
    rim_slope: float | None = None,
) -> Reflector:
    """Flare: one circular arc, hollow towards the driver, steep at the tip and flatter outwards.

    An arc through tip and rim has one freedom left: tip slope + rim slope = 2 atan(height /
    base radius). Give one of the two; with neither the rim runs out level with the plate.

    Parameters
    ----------
    base_radius, height : float
        Metres.
    tip_slope, rim_slope : float, optional
        Angles above horizontal, radians.

    Raises
    ------
    ReflectorError
        If both slopes are given, or the curve would not be steepest at the tip.
    """
    check_positive("base radius", base_radius)
    check_positive("height", height)
    if tip_slope is not None and rim_slope is not None:
        raise ReflectorError("give a flare either its tip slope or its rim slope, not both.")
    chord = math.atan2(height, base_radius)
    if tip_slope is None:
        tip_slope = 2 * chord - (rim_slope or 0.0)
    rim_slope = 2 * chord - tip_slope
    if not -1e-12 <= rim_slope < chord - 1e-6 or tip_slope > math.pi / 2 + 1e-12:
        raise ReflectorError(
            f"a flare {in_own(height)} high on a base radius of {in_own(base_radius)} cannot have "
            f"a tip slope of {in_degrees(tip_slope)} and a rim slope of {in_degrees(rim_slope)}: "
            f"keep the rim between 0 and {in_degrees(chord)} and the tip at or below 90 deg."
        )
    radius = math.hypot(base_radius, height) / (2 * math.sin((tip_slope - rim_slope) / 2))
    centre = (radius * math.sin(tip_slope), -height - radius * math.cos(tip_slope))
    arc = Arc((0.0, -height), (base_radius, 0.0), centre, clockwise=True, part=PART)
    facts = (
        *size_facts(base_radius, height),
        WorkshopFact("curve radius", radius, "length"),
        WorkshopFact("tip slope", tip_slope, "angle"),
        WorkshopFact("rim slope", rim_slope, "angle"),
    )
    label = f"flare {in_own(2 * base_radius)}, {in_own(height)} high"
    return Reflector("flared", Meridian((arc,)), facts, label)


def _cone_of_slope(base_radius: float, slope: float, tip_radius: float) -> Reflector:
    half_angle = math.pi / 2 - slope
    # The rounding touches the cone at this radius, this far above the sharp apex.
    touch = tip_radius * math.sin(slope)
    if touch >= base_radius:
        raise ReflectorError(
            f"a tip radius of {in_own(tip_radius)} leaves nothing of the cone: it must stay below "
            f"{in_own(base_radius / math.sin(slope))}."
        )
    lost = tip_radius * (1 / math.sin(half_angle) - 1)
    height = base_radius * math.tan(slope) - lost
    foot = (touch, touch * math.tan(slope) - lost - height)
    tip = (0.0, -height)
    profile = Meridian.joined(
        (
            Arc(tip, foot, (0.0, tip_radius - height), clockwise=False, part=PART),
            Line(foot, (base_radius, 0.0), PART),
        )
    )
    facts = (
        *size_facts(base_radius, height),
        WorkshopFact("half angle", half_angle, "angle"),
        WorkshopFact("included angle", 2 * half_angle, "angle"),
        WorkshopFact("slope", slope, "angle"),
        WorkshopFact("tip radius", tip_radius, "length"),
    )
    label = f"cone {in_own(2 * base_radius)}, half angle {in_degrees(half_angle)}"
    return Reflector("cone", profile, facts, label)


def _slope_of_cone(base_radius: float, height: float, tip_radius: float) -> float:
    """Slope of the line from the rim that touches the rounding of the tip."""
    check_positive("height", height)
    to_centre = math.hypot(base_radius, height - tip_radius)
    if tip_radius >= to_centre:
        raise ReflectorError(
            f"a tip radius of {in_own(tip_radius)} is too large for a cone {in_own(height)} high"
            f" on a base radius of {in_own(base_radius)}: make it smaller."
        )
    slope = math.atan2(height - tip_radius, base_radius) + math.asin(tip_radius / to_centre)
    if not 0 < slope < math.pi / 2:
        raise ReflectorError(
            f"a tip radius of {in_own(tip_radius)} is too large for a cone {in_own(height)} high"
            f" on a base radius of {in_own(base_radius)}: make it smaller."
        )
    return slope


def _check_keep(ball_diameter: float, keep: float) -> None:
    check_positive("ball diameter", ball_diameter)
    check_positive("keep", keep)
    if keep > ball_diameter:
        raise ReflectorError(
            f"cannot keep {in_both(keep)} of a ball of {in_both(ball_diameter)}: keep runs from "
            "the apex to the flat and is at most the ball's diameter."
        )
