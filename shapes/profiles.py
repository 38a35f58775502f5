"""Reflector profiles beyond ball, cone and flare: conic sections and the builder's own curve."""

import math
from collections.abc import Sequence
from itertools import pairwise

from shapes.conics import Conic, ConicKind, conics_through
from shapes.lengths import in_own
from shapes.meridian import Curve, Line, Meridian, MeridianError, Piece, Point
from shapes.pieces import TOLERANCE, place
from shapes.reflector import (
    PART,
    Reflector,
    ReflectorError,
    WorkshopFact,
    check_positive,
    size_facts,
    slope_at,
)


def conic_section(
    kind: ConicKind,
    base_radius: float,
    height: float,
    source_distance: float,
    focus_radius: float | None = None,
) -> Reflector:
    """Ellipse, parabola or hyperbola with one focus at the source, through tip and rim.

    Rays from the source, on the axis `source_distance` below the tip, leave

    - from a parabola in one direction (fact "ray elevation"),
    - from an ellipse through a ring of radius `focus_radius` (fact "second focus height"),
    - from a hyperbola as if from a point (or ring) behind the mirror.

    Parameters
    ----------
    kind : {"ellipse", "parabola", "hyperbola"}
        Which conic.
    base_radius, height : float
        Metres.
    source_distance : float
        From the tip down to the point from which the sound seems to come, metres.
    focus_radius : float, optional
        Radius of the second focus, metres: needed for an ellipse; zero (on the axis) if left out
        for a hyperbola, where a negative one lies across the axis; none for a parabola.

    Raises
    ------
    ReflectorError
        If the foci and the two ends allow no such curve below the base.
    """
    check_positive("base radius", base_radius)
    check_positive("height", height)
    check_positive("source distance", source_distance)
    if (kind == "parabola") != (focus_radius is None) and kind != "hyperbola":
        need = "has no second focus" if kind == "parabola" else "needs the radius of its focus ring"
        raise ReflectorError(f"the {kind} {need}: set 'focus_radius' accordingly.")
    piece = _conic_below_base(kind, base_radius, height, source_distance, focus_radius or 0.0)
    profile = Meridian((piece,))
    facts = (
        *size_facts(base_radius, height),
        WorkshopFact("source distance", source_distance, "length"),
        *_focus_facts(piece),
        WorkshopFact("tip slope", slope_at(profile, 0.0), "angle"),
        WorkshopFact("rim slope", slope_at(profile, 1.0), "angle"),
    )
    label = f"{kind} {in_own(2 * base_radius)}, {in_own(height)} high"
    return Reflector(kind, profile, facts, label)


def turned(points: Sequence[tuple[float, float]], *, smooth: bool = True) -> Reflector:
    """Profile of the builder's own, from a list of points.

    Parameters
    ----------
    points : sequence of (r, z)
        From the tip on the axis to the rim, in order, metres, z counting upwards as mounted.
        Any height may be zero: the rim is moved to z = 0. The profile may double back.
    smooth : bool
        A cubic spline through the points, or straight lines between them.

    Raises
    ------
    ReflectorError
        If the profile does not start on the axis, crosses itself or rises above its base.
    """
    if len(points) < 2:
        raise ReflectorError("a turned profile needs at least two points, tip and rim.")
    if abs(points[0][0]) > 1e-6:
        raise ReflectorError(
            f"the turned profile starts at {place(points[0])}, off the axis: begin with the tip "
            "at radius 0."
        )
    rim = points[-1][1]
    knots = [(0.0, points[0][1] - rim), *((float(r), float(z) - rim) for r, z in points[1:])]
    try:
        profile = Meridian(_pieces_through(knots, smooth=smooth))
    except MeridianError as error:
        raise ReflectorError(f"the turned profile cannot be made: {error}") from error
    _check_turned(profile)
    base_radius, height = profile.end[0], -float(profile.sample(1e-6)[:, 1].min())
    facts = (
        *size_facts(base_radius, height),
        WorkshopFact("tip slope", slope_at(profile, 0.0), "angle"),
        WorkshopFact("rim slope", slope_at(profile, 1.0), "angle"),
    )
    label = f"turned {in_own(2 * base_radius)}, {in_own(height)} high, {len(points)} points"
    return Reflector("turned", profile, facts, label)


def _conic_below_base(
    kind: ConicKind, base_radius: float, height: float, distance: float, ring: float
) -> Conic:
    tip, rim, source = (0.0, -height), (base_radius, 0.0), (0.0, -height - distance)
    for piece in conics_through(kind, tip, rim, source, ring, PART):
        points = Meridian((piece,)).sample(1e-5)
        if points[:, 1].max() <= TOLERANCE:
            return piece
    raise ReflectorError(
        f"no {kind} runs from a tip {in_own(height)} below the base to a rim of radius "
        f"{in_own(base_radius)} with its foci {in_own(distance)} below the tip and at radius "
        f"{in_own(ring)}: move the second focus farther out or change the height."
    )


def _focus_facts(piece: Conic) -> tuple[WorkshopFact, ...]:
    if piece.other_focus is None:
        e_r, e_z = piece.eccentricity
        return (WorkshopFact("ray elevation", math.atan2(e_z, e_r), "angle"),)
    r, z = piece.other_focus
    return (
        WorkshopFact("second focus radius", r, "length"),
        WorkshopFact("second focus height", z, "length"),
    )


def _pieces_through(knots: Sequence[Point], *, smooth: bool) -> tuple[Piece, ...]:
    if smooth:
        return (Curve(tuple(knots), PART),)
    return tuple(Line(a, b, PART) for a, b in pairwise(knots))


def _check_turned(profile: Meridian) -> None:
    crossings = profile.self_intersections()
    if crossings:
        raise ReflectorError(
            f"the turned profile meets itself near {place(crossings[0])}: put its points in order "
            "from tip to rim, or move them apart."
        )
    points = profile.sample(1e-5)
    above = points[points[:, 1] > 1e-6]
    if len(above):
        raise ReflectorError(
            f"the turned profile rises above its rim near {place(above[0])}: z counts upwards as "
            "mounted, the tip is the low end and the rim the top; turn the list over or mend it."
        )
    if profile.start[1] > -TOLERANCE:
        raise ReflectorError("the turned profile's tip is level with its base: lower the tip.")
    if profile.end[0] <= TOLERANCE:
        raise ReflectorError(
            "the turned profile ends on the axis and has no flat to fix it by: end it at a rim."
        )
