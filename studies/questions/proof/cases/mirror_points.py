"""Mirror points, each against the closed form of the problem that it claims to solve.

- Plane mirrors: the images of a point, found by unfolding; which are heard follows from the angle.
- A ring in an endless baffle: J0 is the mean of exp(ix cos(azimuth)), elementary.
- Ball far away: a / (2 R) in every direction; Bowman, Senior & Uslenghi, Electromagnetic and
  Acoustic Scattering by Simple Shapes (1969), 10.3 [from memory]. Conics: their foci, elementary.
- The edge of a screen on the boundary of its shadow: Born & Wolf, Principles of Optics, 8.7 [from
  memory].
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0

from dispersion.paths.fans import SourceRings
from dispersion.paths.half_rings import pressure
from dispersion.paths.images import FAR
from dispersion.paths.scene import numbered_rows, scene_of
from dispersion.paths.specular import waves_at
from dispersion.paths.tubes import NEXT_TO, tubes_of
from shapes.meridian import Arc, Conic, Line, Piece
from studies.questions.proof.cases.check import QUICK, Check, Compared, compare, degrees

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

GAP, BAFFLE, PLATE = 0.1, 0.15, 0.2
"""Baffle to plate, and the radius of each, m."""
POINT = 1e-7
"""Radius of a ring that is almost a point, m."""
TABLES = 1e-4
"""Required; special functions are read from tables by straight lines, some 1e-5 off each."""


def discs(radius: float, height: float = 0.0, plate: bool = False) -> SourceRings:
    """A ring of sources at or over a baffle, under a plate or under nothing."""
    pieces: list[tuple[Piece, int]] = [(Line((BAFFLE, 0.0), (0.0, 0.0), "baffle"), 1)]
    if plate:
        pieces.append((Line((0.0, GAP), (PLATE, GAP), "plate"), 2))
    return SourceRings(scene_of(numbered_rows(pieces)), np.array([radius]), height, BAFFLE)


def towards(elevations: Real) -> Real:
    """Places far away."""
    angle = np.radians(elevations)
    return FAR * np.column_stack((np.cos(angle), np.sin(angle)))


def heard(rings: SourceRings, points: Real, k: float, *, edges: bool = False) -> Complex:
    """Pressure over that of a point in the baffle; without what edges send, or with it."""
    waves = waves_at(rings, points)
    if not edges:
        waves = replace(waves, size=np.where(np.isnan(waves.detour), waves.size, 0.0))
    return pressure(waves, len(points), np.array([k]), np.ones((1, 1), dtype=complex))[0]


def _both_parts(
    case: str, at: tuple[str, ...], found: Complex, known: Real | Complex, allowed: float
) -> Compared:
    names = [f"{one}, {part}" for part in ("real", "imaginary") for one in at]
    there, exact = (np.concatenate((np.real(p), np.imag(p))) for p in (found, known))
    return compare(case, names, there, exact, allowed)


BOUNCES = {-50.0: 1, -33.0: 1, -20.0: None, 8.0: 0, 21.0: 0, 35.0: None, 55.0: 2}
"""How a ray from the middle of the baffle gets out at an elevation; None: none does.

It runs 1 / tan(elevation) outwards a metre of height, and a gap higher or lower at every bounce: at
55 degrees it meets plate, baffle and not the plate at 70, 140 and 210 mm from the axis.
"""


def under_a_plate(k: float) -> Compared:
    """A point in the baffle's plane: its image lies 2 gaps up after the plate, down after both."""
    elevations = np.array(list(BOUNCES))
    heights = {0: 0.0, 1: 2.0 * GAP, 2: -2.0 * GAP, None: np.nan}
    image = np.array([heights[bounces] for bounces in BOUNCES.values()])
    known = np.nan_to_num(np.exp(-1j * k * image * np.sin(np.radians(elevations))))
    found = heard(discs(POINT, plate=True), towards(elevations), k)
    return _both_parts(f"k {k:g}", degrees(elevations), found, known, TABLES)


HEIGHT = 0.03
"""Of a point over the baffle, m."""


def over_a_baffle(k: float) -> Compared:
    """A point over the baffle and its image: far away cos(k h sin(elevation)), and at a place."""
    elevations = np.array([20.0, 50.0, 75.0])
    place = np.array([[0.3, 0.3]])
    known = np.cos(k * HEIGHT * np.sin(np.radians(elevations)))
    distance = float(np.hypot(*place[0]))
    ways = np.hypot(place[0, 0], place[0, 1] + np.array([-HEIGHT, HEIGHT]))
    nearby = 0.5 * np.sum(distance / ways * np.exp(1j * k * (ways - distance)))
    points = np.concatenate((towards(elevations), place))
    # A point in free air has half of the pressure that one in the baffle has.
    found = 0.5 * heard(discs(POINT, HEIGHT), points, k)
    at = (*degrees(elevations), "0.3 m out, 0.3 m up")
    return _both_parts(f"k {k:g}", at, found, np.append(known, nearby), TABLES)


def ring_in_a_baffle(k: float) -> Compared:
    """J0(k s cos(elevation)), by the near half of the ring and the far one."""
    elevations, radius = np.array([1.0, 20.0, 60.0, 85.0]), 0.05
    found = heard(discs(radius), towards(elevations), k)
    known = j0(k * radius * np.cos(np.radians(elevations)))
    return _both_parts(f"k {k:g}", degrees(elevations), found, known, TABLES)


@dataclass(frozen=True)
class Curved:
    """A mirror, rays to it from a point on the axis, and what they bring past it.

    `ends` are metres from the mirror; `known` is what arrives there, times the distance from the
    source to the mirror.
    """

    name: str
    mirror: Piece
    source: float
    turns: tuple[float, ...]
    ends: tuple[float, ...]
    allowed: float

    def known(self, way: Real, end: float) -> Real:
        """By the closed form: a ball from far away, a focus at infinity, a focus near."""
        if self.name == "ball":
            return np.full(len(way), 0.5 * BALL / end)
        if self.name == "paraboloid":
            return np.ones(len(way))
        return -(BETWEEN - way) / (end - (BETWEEN - way))


BALL, FAR_OFF = 0.1, 100.0
BETWEEN = 2.0 * 0.15 / (1.0 - 0.5**2)
"""From one focus of the ellipsoid by way of its wall to the other: its long axis, m."""
MIRRORS = (
    Curved(
        "ball",
        Arc((0.0, -BALL), (BALL, 0.0), (0.0, 0.0), clockwise=False, part="ball"),
        -FAR_OFF,
        tuple(np.arcsin(np.array([0.05, 0.3, 0.7, 0.95]) * BALL / FAR_OFF)),
        (1e7,),
        # The wave is plane to a part in this over the distance.
        2.0 * BALL / FAR_OFF,
    ),
    Curved(
        "paraboloid",
        Conic((0.0, 0.1), (0.2, 0.0), (0.0, 0.0), (0.0, -1.0), "dish"),
        0.0,
        (0.2, 0.7, 1.2),
        (0.0, 1.0, 50.0),
        TABLES,
    ),
    Curved(
        "ellipsoid",
        Conic((0.0, 0.1), (0.15, 0.0), (0.0, 0.0), (0.0, -0.5), "shell"),
        0.0,
        (0.3, 0.8, 1.3),
        (1.0, 3.0),
        1e-3,
    ),
)


def off_a_curved_mirror(case: Curved) -> Compared:
    """What arrives over what is known to: 1, and no phase; past a focus the sign turns."""
    scene = scene_of(numbered_rows([(case.mirror, 1)]))
    rings = SourceRings(scene, np.array([1e-9]), case.source, 1.0)
    turns = np.array(case.turns)
    ring = np.zeros(len(turns), dtype=int)
    rays, beside = rings.trace(ring, turns), rings.trace(ring, turns + NEXT_TO * turns.max())
    tubes, way = tubes_of(rays, beside), rays.legs[:, 0]
    found = [tubes.size(np.full(len(turns), e))[0] * way / case.known(way, e) for e in case.ends]
    at = tuple(f"ray at {turn:.4g}, {end:g} m on" for end in case.ends for turn in case.turns)
    one = np.ones(len(at))
    return _both_parts(case.name, at, np.concatenate(found), one, case.allowed)


def on_the_boundary_of_a_shadow(k: float) -> Compared:
    """Along a baffle past its edge: half, at every frequency."""
    found = heard(discs(POINT), towards(np.array([0.0])), k, edges=True)
    return compare(f"k {k:g}", degrees([0.0]), np.abs(found), [0.5], 1e-3)


WAVENUMBERS = (20.0, 90.0, 300.0)
_IMAGES = "images by unfolding, elementary"
CHECKS = (
    Check(
        name="Mirror points: baffle and plate",
        kind=QUICK,
        source=_IMAGES,
        cases=WAVENUMBERS,
        run=under_a_plate,
    ),
    Check(
        name="Mirror points: over a baffle",
        kind=QUICK,
        source=_IMAGES,
        cases=WAVENUMBERS,
        run=over_a_baffle,
    ),
    Check(
        name="Mirror points: ring",
        kind=QUICK,
        source="J0 as a mean over the azimuth, elementary",
        cases=(5.0, 80.0, 400.0),
        run=ring_in_a_baffle,
    ),
    Check(
        name="Mirror points: ball and conics",
        kind=QUICK,
        source="Bowman, Senior & Uslenghi (1969), 10.3 [from memory]; foci, elementary",
        cases=MIRRORS,
        run=off_a_curved_mirror,
    ),
    Check(
        name="Mirror points: edge",
        kind=QUICK,
        source="Born & Wolf, Principles of Optics, 8.7 [from memory]",
        cases=(0.5, 30.0, 700.0),
        run=on_the_boundary_of_a_shadow,
    ),
)
