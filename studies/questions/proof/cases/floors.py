"""Bodies on and above a rigid floor.

Sources:
- a rigid plane is a mirror: the field above it is that of the bodies and their images (Pierce,
  Acoustics, 1.4 [from memory]). So the doubled bodies in free air must give the same.
- pulsating sphere: p = -rho a_n R^2 exp(ik(r - R)) / (r (1 - ikR)), elementary; half of it on a
  plane is the same.
- rigid sphere in a plane wave: Morse & Ingard, Theoretical Acoustics, 8.2 [from memory]; two waves,
  one the other's image, need no plane.
- pulsating sphere above a plane: multipoles about its middle and about its image's, matched on the
  sphere (addition theorem: Gaunaurd & Huang, J. Acoust. Soc. Am. 96, 2526, 1994 [from memory]; its
  coefficients are taken here by Gauss quadrature over the sphere).
"""

from __future__ import annotations

import numpy as np
from scipy.special import eval_legendre

from dispersion.waves import Drive, PlaneWave, WaveSettings, axial_motion, normal_motion, solve
from shapes.meridian import Arc, Line, Meridian
from shapes.pieces import Piece, Point
from studies.questions.proof.cases.check import (
    LEVEL_TOLERANCE_DB,
    POWER_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    compare_levels,
    degrees,
    joined,
    level,
)
from studies.questions.proof.cases.series import hankel, scattered_by_sphere
from studies.questions.proof.cases.solids import AIR, built, frequency_of, hertz, sphere

SAME_DB = 0.01
"""The doubled bodies are cut into the same elements, so nothing but rounding is left."""

UP = np.arange(0.0, 91.0, 3.0)

NEAR = np.array([[2.0, 0.3]])
HALF_BALL = Meridian((Arc((1.0, 0.0), (0.0, 1.0), (0.0, 0.0), clockwise=False, part="ball"),))


def image_of(body: Meridian, floor: float) -> Meridian:
    """Mirror image of a body of lines and arcs, its parts called "image ..."."""

    def across(point: Point) -> Point:
        return point[0], 2 * floor - point[1]

    def flipped(piece: Piece) -> Piece:
        part, start, end = f"image {piece.part}", across(piece.start), across(piece.end)
        if isinstance(piece, Arc):
            return Arc(end, start, across(piece.centre), clockwise=piece.clockwise, part=part)
        return Line(end, start, part)

    return Meridian(tuple(flipped(piece) for piece in body.pieces[::-1]))


def joined_with_image(standing: Meridian, floor: float) -> Meridian:
    """Body that stands on the floor and its image, in one."""
    return Meridian((*image_of(standing, floor).pieces, *standing.pieces))


def driven_with_image(drive: Drive) -> Drive:
    """Axial motion of the image against that of the body."""
    images = {f"image {part}": -1.0 for part in drive.parts}
    return Drive(drive.name, drive.parts | images.keys(), drive.gradient, images)


def driver() -> Drive:
    """Move the example's driver."""
    return axial_motion("driver", built().ways[0].parts, AIR)


def half_sphere_in_a_wave(ka: float, settings: WaveSettings) -> tuple[np.ndarray, np.ndarray, int]:
    """Far field found and exact, and the unknowns, of a wave that comes straight down."""
    wave = [PlaneWave(-90.0)]
    solution = solve([HALF_BALL], frequency_of(ka), wave, AIR, settings=settings, floor=0.0)
    sines = np.sin(np.radians(UP))
    exact = scattered_by_sphere(ka, sines) + scattered_by_sphere(ka, -sines)
    return solution.far_field(UP)[:, 0], exact, solution.mesh.unknowns


def multipoles_above_a_plane(ka: float, height: float) -> np.ndarray:
    """Far field at UP of a unit sphere that swells with a_n = 1 m/s^2, its middle that high."""
    n = np.arange(60)[:, None]
    c, weights = np.polynomial.legendre.leggauss(200)
    s = np.sqrt(1.0 - c**2)

    # A point of the sphere's image, seen from the sphere's middle, and the image's normal there.
    z = -2.0 * height - c
    rho = np.hypot(s, z)
    along = (s * s - c * z) / rho
    across = (-c - z / rho * along) / rho
    legendre = eval_legendre(n, z / rho)
    below = eval_legendre(np.maximum(n - 1, 0), z / rho)
    slope = n * (below - z / rho * legendre) / (1.0 - (z / rho) ** 2)
    own = ka * hankel(n, ka, True)
    image = (
        ka * hankel(n, ka * rho, True) * legendre * along + hankel(n, ka * rho) * slope * across
    ) / own
    # Rows: orders on the sphere; each multipole is scaled to a slope of 1 there.
    coupling = (n + 0.5) * (eval_legendre(n, c) * weights) @ image.T
    strengths = np.linalg.solve(np.eye(len(n)) + coupling, -AIR.density * (n[:, 0] == 0))
    sines = np.sin(np.radians(UP))
    phase = np.exp(-1j * ka * height * sines)
    patterns = eval_legendre(n, sines) * phase + eval_legendre(n, -sines) / phase
    return (strengths[:, None] * (-1j) ** (n + 1) / ka / own * patterns).sum(axis=0)


def doubled(frequency: float) -> Compared:
    """The example on a floor against itself and its mirror image in free air: one half of it."""
    lower, upper = built().bodies
    foot = -built().column.height
    on_floor = solve((lower, upper), frequency, [driver()], AIR, floor=foot)
    standing = Meridian(tuple(p for p in lower.pieces if p.part != "column bottom"))
    both = (joined_with_image(standing, foot), upper, image_of(upper, foot))
    mirrored = solve(both, frequency, [driven_with_image(driver())], AIR)
    found, known = on_floor.far_field(UP)[:, 0], mirrored.far_field(UP)[:, 0]
    at = degrees(UP)
    return compare_levels(f"{frequency:g} Hz", at, found, known, frequency, 60.0, SAME_DB)


def swelling_half_ball(ka: float) -> Compared:
    """Half of a pulsating sphere on a floor: far away, near by, power balance."""
    drive = normal_motion("swelling", {"ball"}, AIR)
    solution = solve([HALF_BALL], frequency_of(ka), [drive], AIR, floor=0.0)
    exact = AIR.density * np.exp(-1j * ka) / (1.0 - 1j * ka)
    far = level(solution.far_field(UP)[:, 0] / exact)
    near = level(solution.pressure_at(NEAR)[0] * np.hypot(*NEAR[0]) / exact)
    at = (*degrees(UP), "near by", "power balance")
    allowed = [*[LEVEL_TOLERANCE_DB] * (len(UP) + 1), POWER_TOLERANCE_DB]
    found = [*far, *near, *solution.power_error_db]
    return compare(f"ka {ka:g}", at, found, np.zeros(len(at)), allowed, hertz(ka))


def half_ball_in_a_wave(ka: float) -> Compared:
    """Half of a rigid sphere on a floor, a plane wave straight from above."""
    found, exact, _ = half_sphere_in_a_wave(ka, WaveSettings())
    return compare_levels(f"ka {ka:g}", degrees(UP), found, exact, hertz(ka))


def ball_above_a_plane(case: tuple[float, float]) -> Compared:
    """A pulsating sphere above a floor."""
    ka, height = case
    drive = normal_motion("swelling", {"ball"}, AIR)
    solution = solve([sphere()], frequency_of(ka), [drive], AIR, lifts=(height,), floor=0.0)
    found, exact = solution.far_field(UP)[:, 0], multipoles_above_a_plane(ka, height)
    far = compare_levels("far field", degrees(UP), found, exact, hertz(ka))
    balance = compare(
        "power", ["balance"], solution.power_error_db, 0.0, POWER_TOLERANCE_DB, hertz(ka)
    )
    return joined(f"ka {ka:g}, height {height:g}", (far, balance))


CHECKS = (
    Check(
        name="Example on a floor, and mirrored",
        kind=WAVES,
        source="a rigid plane is a mirror: Pierce, Acoustics, 1.4 [from memory]",
        unit="dB",
        cases=(50.0, 200.0, 1e3, 4e3, 16e3),
        run=doubled,
    ),
    Check(
        name="Half a pulsating ball on a floor",
        kind=WAVES,
        source="elementary",
        unit="dB",
        cases=(0.3, 1.0, 5.0, 15.0),
        run=swelling_half_ball,
    ),
    Check(
        name="Half a ball on a floor, in a wave",
        kind=WAVES,
        source="Morse & Ingard, Theoretical Acoustics, 8.2 [from memory], mirrored",
        unit="dB",
        cases=(0.5, 3.0, 10.0),
        run=half_ball_in_a_wave,
    ),
    Check(
        name="Pulsating ball above a floor",
        kind=WAVES,
        source="multipoles; Gaunaurd & Huang, J. Acoust. Soc. Am. 96, 2526 (1994) [from memory]",
        unit="dB",
        cases=tuple((ka, height) for ka in (0.2, 1.0, 4.0, 9.0) for height in (1.2, 1.7, 3.0)),
        run=ball_above_a_plane,
    ),
)
