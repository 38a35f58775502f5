"""Solids of the published cases, and the project's own examples.

Frequencies follow from ka, so the speed of sound of the air drops out of every comparison.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import numpy as np

from dispersion.air import Air
from dispersion.waves import Drive, Monopole
from dispersion.waves.elements import SurfacePoints
from shapes.assembly import Assembly
from shapes.conics import Conic
from shapes.meridian import Arc, Line, Meridian
from studies.design import Design, read_design

AIR = Air()
SPEAKER_RADIUS = 0.1
"""Metres: the size at which solids of unit radius get their place on a frequency axis."""
EXAMPLES = ("reading_room", "reading_room_coaxial", "reading_room_cone")


def frequency_of(ka: float, radius: float = 1.0) -> float:
    """Frequency in Hz at which 2 pi f a / c is ka."""
    return ka * AIR.speed / (2.0 * math.pi * radius)


def hertz(ka: float) -> float:
    """Frequency in Hz at which a solid of the size of a speaker has that ka."""
    return frequency_of(ka, SPEAKER_RADIUS)


def on_circle(polar_deg: float, radius: float = 1.0) -> tuple[float, float]:
    """Point (r, z) at an angle from the upward axis."""
    if polar_deg in (0.0, 180.0):
        return (0.0, radius if polar_deg == 0.0 else -radius)
    angle = math.radians(polar_deg)
    return (radius * math.sin(angle), radius * math.cos(angle))


def sphere(radius: float = 1.0, breaks_deg: Iterable[float] = ()) -> Meridian:
    """Ball about the origin; nodes fall on the polar angles `breaks_deg`."""
    stops = [180.0, *sorted(breaks_deg, reverse=True), 0.0]
    ends = [on_circle(stop, radius) for stop in stops]
    arcs = (Arc(a, b, (0.0, 0.0), clockwise=False, part="ball") for a, b in pairwise(ends))
    return Meridian(tuple(arcs))


def capped_sphere(half_angle_deg: float) -> Meridian:
    """Unit ball whose part "cap" reaches down to the half angle."""
    edge = on_circle(half_angle_deg)
    rest = Arc((0.0, -1.0), edge, (0.0, 0.0), clockwise=False, part="rest")
    return Meridian((rest, Arc(edge, (0.0, 1.0), (0.0, 0.0), clockwise=False, part="cap")))


def spheroid(half_length: float, half_width: float) -> Meridian:
    """Prolate spheroid about the origin: true ellipses about the upper focus."""
    focal = math.sqrt(half_length**2 - half_width**2)
    pieces = (
        Conic(start, end, (0.0, focal), (0.0, -focal / half_length), "hull")
        for start, end in (
            ((0.0, -half_length), (half_width, 0.0)),
            ((half_width, 0.0), (0.0, half_length)),
        )
    )
    return Meridian(tuple(pieces))


def cylinder(radius: float, top: float, bottom: float, piston_radius: float | None) -> Meridian:
    """Flat-ended cylinder with square edges; the middle of its top is the part "piston"."""
    corner, foot = (radius, top), (radius, bottom)
    pieces = [Line((0.0, bottom), foot, "bottom"), Line(foot, corner, "side")]
    if piston_radius is None:
        pieces.append(Line(corner, (0.0, top), "top"))
    else:
        rim = (piston_radius, top)
        pieces += [Line(corner, rim, "top"), Line(rim, (0.0, top), "piston")]
    return Meridian(tuple(pieces))


def plate(thickness: float) -> Meridian:
    """Disc of unit radius with square edges, its middle plane at z = 0."""
    return cylinder(1.0, 0.5 * thickness, -0.5 * thickness, None)


@lru_cache(maxsize=len(EXAMPLES))
def example(name: str) -> Design:
    """One of the project's own example designs."""
    return read_design(Path(str(files("studies.examples").joinpath(f"{name}.toml"))))


@lru_cache(maxsize=len(EXAMPLES))
def built(name: str = "reading_room") -> Assembly:
    """The same, built."""
    return example(name).assembly()


def parts_of(bodies: Sequence[Meridian]) -> frozenset[str]:
    """Every label on the bodies."""
    return frozenset(piece.part for body in bodies for piece in body.pieces)


def hidden(
    source: Monopole, bodies: Sequence[Meridian], order: int, name: str = "", beta: complex = 0.0
) -> Drive:
    """Drive of all surfaces that a monopole inside a solid would pass through unchanged.

    Walls of an admittance beta take -i k beta p from it, which they must be given besides.
    """

    def gradient(points: SurfacePoints, frequency: float) -> np.ndarray:
        k = 2.0 * math.pi * frequency / AIR.speed
        p, q = source.on(points, k, order)
        return q + 1j * k * beta * p

    return Drive(name, parts_of(bodies), gradient)


def around(orders: Sequence[np.ndarray], azimuth: np.ndarray | float) -> np.ndarray:
    """Sum orders m = 0, 1, ... of a field even in azimuth: p_0 + 2 sum p_m cos(m phi)."""
    terms = [
        (1.0 if m == 0 else 2.0) * np.cos(m * np.asarray(azimuth)) * p for m, p in enumerate(orders)
    ]
    return np.sum(terms, axis=0)
