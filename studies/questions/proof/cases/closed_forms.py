"""Directivity indices, what surfaces take and solids, against closed forms.

- Directivity index: ANSI/ASA S1.1, 6.66 and 6.67. Baffled piston: Beranek & Mellow, Acoustics:
  Sound Fields and Transducers (2012), section 13.7, Eq. 13.102; its index follows from its
  resistance, 1 - J1(2ka) / ka. Radial cap on a rigid sphere: Morse & Ingard, Theoretical Acoustics,
  section 7.2.
- Felt: Y. Miki, J. Acoust. Soc. Jpn. (E) 11, 19 (1990), evaluated apart from this program with 40
  digits. What a real admittance takes from all sides at once: Paris's integral [from memory].
- Spherical cap, frustum and Pappus' theorems: elementary, as found in any handbook.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import j1

from dispersion.absorbers import PorousLayer, diffuse_absorption
from dispersion.air import Air
from dispersion.coverage import directivity_index
from shapes.meridian import Arc, Line, Meridian
from shapes.reflectors import ball_cap, base_of_cap, cone
from studies.questions.proof.cases.check import REST, Check, Compared, compare
from studies.questions.proof.cases.series import cap_on_sphere

# Patterns

GRID = np.linspace(-90.0, 90.0, 361)
UP = np.sin(np.radians(GRID))
PISTON_KA = (0.1, 0.2, 0.5, 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 15, 20, 30)
RADIAL_CAPS = tuple((half_angle, kr) for half_angle in (15, 30, 60) for kr in (1, 2, 5, 10))
FOUR_DECIMALS_DB = 6e-5
"""Half of the fourth decimal of an index, and a little for the pattern's steps of half a degree."""


def in_upper_half(pattern: np.ndarray) -> np.ndarray:
    """Nothing below the baffle, and half the power on its edge, where the pattern jumps."""
    return pattern * np.select([GRID > 0.0, GRID == 0.0], [1.0, 0.5])


def piston(ka: float) -> np.ndarray:
    """|D|^2 of a baffled piston that faces up, D = 2 J1(x) / x with x = ka cos(elevation)."""
    x = ka * np.maximum(np.cos(np.radians(GRID)), 1e-9)
    return in_upper_half((2.0 * j1(x) / x) ** 2)


def index_of_piston(ka: float) -> float:
    """Directivity index of a baffled piston, dB: 10 lg((ka)^2 / (1 - J1(2ka) / ka))."""
    return float(10.0 * np.log10(ka**2 / (1.0 - j1(2.0 * ka) / ka)))


def piston_index(ka: float) -> Compared:
    """Directivity index of a baffled piston."""
    pattern = piston(ka)
    found = directivity_index(pattern, GRID, pattern[-1])
    return compare(f"ka {ka:g}", ["on axis"], found, index_of_piston(ka), FOUR_DECIMALS_DB)


def cap_index(case: tuple[int, int]) -> Compared:
    """Directivity index of a cap on a sphere that moves outwards."""
    half_angle, kr = case
    sphere = cap_on_sphere(kr, half_angle, axial=False)
    pattern = np.abs(sphere.far_field(UP)) ** 2
    found = directivity_index(pattern, GRID, pattern[-1])
    name = f"{half_angle:g} deg, kR {kr:g}"
    return compare(name, ["on axis"], found, sphere.directivity_index, FOUR_DECIMALS_DB)


_BOOK = "Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012)"
PATTERNS = (
    Check(
        name="Directivity index of a piston",
        kind=REST,
        source=f"ANSI/ASA S1.1, 6.66; {_BOOK}, Eq. 13.102; evaluated for this project",
        unit="dB",
        cases=PISTON_KA,
        run=piston_index,
    ),
    Check(
        name="Directivity index of a cap",
        kind=REST,
        source="ANSI/ASA S1.1, 6.66; Morse & Ingard, Theoretical Acoustics, 7.2; evaluated for this"
        " project",
        unit="dB",
        cases=RADIAL_CAPS,
        run=cap_index,
    ),
)

# Surfaces


class PlainAir(Air):
    """Air in which sound runs at 343 m/s."""

    speed = 343.0


FELT = PorousLayer(thickness=5e-3, flow_resistivity=50e3)
FELT_TAKES = {5e3: 0.14469211085 - 0.57491113153j, 16e3: 1.7198824979 + 0.31125297571j}
"""Admittance by frequency, Hz."""
TEN_DIGITS = 1e-9
ADMITTANCES = (0.03, 0.3, 3.0)
RULE = np.polynomial.legendre.leggauss(200)


def felt_as_worked_out(frequency: float) -> Compared:
    """Real and imaginary part of what 5 mm of felt on a hard back takes."""
    found, known = FELT.admittance(frequency, PlainAir()), FELT_TAKES[frequency]
    return compare(
        f"{frequency:g} Hz",
        ["real part", "imaginary part"],
        [found.real, found.imag],
        [known.real, known.imag],
        TEN_DIGITS * abs(known),
        frequency,
    )


def taken_from_all_sides(beta: float) -> Compared:
    """Mean of 4 beta cos / (beta + cos)^2 over the half space, weighted by 2 sin cos."""
    x, weights = RULE
    cos = 0.5 * (x + 1.0)
    known = np.sum(weights * cos * 4.0 * beta * cos / (beta + cos) ** 2)
    return compare(f"admittance {beta:g}", ["share"], diffuse_absorption(beta), known, 1e-6 * known)


SURFACES = (
    Check(
        name="Admittance of felt",
        kind=REST,
        source="Miki, J. Acoust. Soc. Jpn. (E) 11, 19 (1990), evaluated for this project",
        cases=tuple(FELT_TAKES),
        run=felt_as_worked_out,
    ),
    Check(
        name="Absorption from all sides",
        kind=REST,
        source="Paris's integral [from memory], by Gauss's rule",
        cases=ADMITTANCES,
        run=taken_from_all_sides,
    ),
)

# Solids

ROUNDING = 1e-12
"""Of each value."""


def _to_rounding(
    case: str, at: Sequence[str], found: Sequence[float], exact: Sequence[float]
) -> Compared:
    return compare(case, at, found, exact, ROUNDING * np.asarray(exact))


def cap_of_a_three_four_five_triangle(_: None) -> Compared:
    """Cap of height h = 0.06 on a sphere of radius R = 0.30: its base, 0.18, makes 3 : 4 : 5."""
    cap, R, h = ball_cap(0.60, 0.06), 0.30, 0.06
    return _to_rounding(
        "keep 60 mm of a ball of 600 mm",
        ("base radius, m", "base diameter, m", "volume, m3", "area, m2", "edge slope, deg"),
        [
            cap.base_radius,
            base_of_cap(0.60, 0.06),
            cap.volume,
            cap.profile.area,
            math.degrees(cap.rim_slope),
        ],
        [
            0.18,
            0.36,
            math.pi * h**2 * (3.0 * R - h) / 3.0,
            2.0 * math.pi * R * h,
            math.degrees(math.atan2(3.0, 4.0)),
        ],
    )


def frustum(_: None) -> Compared:
    """Frustum: volume pi H / 3 (r1^2 + r1 r2 + r2^2), area pi (r1 + r2) times the slant."""
    r1, r2, height = 0.05, 0.12, 0.10
    wall = Line((r1, 0.0), (r2, height), "wall")
    solid = Meridian((Line((0.0, 0.0), (r1, 0.0), "foot"), wall))
    half_angle = math.degrees(cone(r2 - r1, height=height).fact("half angle"))
    return _to_rounding(
        "radii 50 and 120 mm, height 100 mm",
        ("volume, m3", "area, m2", "half angle, deg"),
        [solid.volume, Meridian((wall,)).area, half_angle],
        [
            math.pi * height / 3.0 * (r1**2 + r1 * r2 + r2**2),
            math.pi * (r1 + r2) * math.hypot(r2 - r1, height),
            math.degrees(math.atan2(r2 - r1, height)),
        ],
    )


def torus() -> Meridian:
    """Ring R = 0.1, r = 0.02."""
    low, high, middle = (0.1, -0.02), (0.1, 0.02), (0.1, 0.0)
    return Meridian(
        (
            Arc(low, high, middle, clockwise=False, part="ring"),
            Arc(high, low, middle, clockwise=False, part="ring"),
        )
    )


def ring(_: None) -> Compared:
    """Torus: volume 2 pi R times pi r^2, area 2 pi R times 2 pi r."""
    R, r = 0.1, 0.02
    at, found = ("volume, m3", "area, m2"), (torus().volume, torus().area)
    exact = [2.0 * math.pi**2 * R * r**2, 4.0 * math.pi**2 * R * r]
    return _to_rounding("torus", at, found, exact)


_HANDBOOK = "solid geometry, as found in any handbook"
SOLIDS = (
    Check(
        name="Cap cut from a ball",
        kind=REST,
        source=_HANDBOOK,
        cases=(None,),
        run=cap_of_a_three_four_five_triangle,
    ),
    Check(
        name="Frustum of a cone",
        kind=REST,
        source=_HANDBOOK,
        cases=(None,),
        run=frustum,
    ),
    Check(
        name="Ring",
        kind=REST,
        source="Pappus' theorems, as found in any handbook",
        cases=(None,),
        run=ring,
    ),
)
