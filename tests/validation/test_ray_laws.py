"""Rays held against the laws of reflection.

Sources: the law of reflection and the conservation of energy along a tube of rays, applied to
cone and ball (elevations, and levels relative to a bare point source, computed from the formulas
given beside the tables); focal properties of the conic sections, elementary geometry; directivity
of a rigid piston in an infinite baffle: Beranek & Mellow, Acoustics: Sound Fields and Transducers
(2012), Eq. 13.102.

Printed levels have three or four decimals and are held to half a unit of the last and five
standard errors of the histogram, estimated from 64 scrambles of 16384 rays: a bin holds some 25
rays of each, give or take one, and few such counts say little of their own error.
"""

import math
from functools import lru_cache

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.paths.launching import even_points
from dispersion.paths.rays import follow, solve_rays
from dispersion.paths.scene import meridian_rows, scene_of
from dispersion.problem import Problem
from dispersion.sources import Way
from shapes.assembly import Assembly, Column, Driver
from shapes.meridian import Arc, Line, Meridian
from shapes.profiles import conic_section

RAYS = 2**17
SEEDS = 8
STANDARD_ERRORS = 5.0

CONE = [
    (45, 5, -10.580), (45, 10, -7.537), (45, 20, -4.389), (45, 30, -2.386), (45, 40, -0.762),
    (40, 10, -7.603), (40, 20, -4.593), (40, 30, -2.740), (40, 40, -1.295),
    (35, 20, -4.659), (35, 30, -2.944), (35, 40, -1.649),
    (50, 5, -10.446), (50, 10, -7.333), (50, 20, -4.035), (50, 30, -1.853),
]  # fmt: skip
"""Slope, launch angle, level 10 lg(sin alpha / cos gamma)."""

BALL = [
    (0.05, 5, 8.3466, -4.4547), (0.05, 10, 16.7744, -4.5096), (0.05, 20, 34.2620, -4.7548),
    (0.05, 30, 53.6206, -5.2877), (0.05, 40, 77.9739, -6.5429),
    (0.10, 5, 11.7046, -7.3913), (0.10, 10, 23.6457, -7.4907), (0.10, 20, 49.5051, -7.9610),
    (0.10, 30, 82.8854, -9.2323), (0.10, 35, 110.8654, -11.3121),
]  # fmt: skip
"""Distance, launch angle, outgoing angle from straight down, level; radius 0.15 m."""

RADIUS = 0.15


def cone_mirror(slope_deg: float):
    rim = (10.0, 10.0 * math.tan(math.radians(slope_deg)))
    return scene_of(meridian_rows(Meridian((Line((0.0, 0.0), rim, "reflector"),))))


def ball_mirror():
    arc = Arc((0.0, 0.0), (0.0, 2 * RADIUS), (0.0, RADIUS), clockwise=False, part="reflector")
    return scene_of(meridian_rows(Meridian((arc,))))


def leaving(scene, distance: float, launch: np.ndarray, azimuth: np.ndarray):
    """Elevation and bounces of rays from a point on the axis, angles in radians."""
    origins = np.tile([0.0, 0.0, -distance], (launch.size, 1))
    side = np.sin(launch)
    directions = np.column_stack((side * np.cos(azimuth), side * np.sin(azimuth), np.cos(launch)))
    out, code, _ = follow(scene, origins, directions)
    return np.arctan2(out[:, 2], np.hypot(out[:, 0], out[:, 1])), code[:, 0]


@lru_cache(maxsize=1)
def samples() -> tuple[np.ndarray, np.ndarray]:
    drawn = [even_points(RAYS, 2, seed) for seed in range(SEEDS)]
    each = drawn[0][1].max() + 1
    return (
        np.concatenate([points for points, _ in drawn]),
        np.concatenate([replicate + n * each for n, (_, replicate) in enumerate(drawn)]),
    )


def level_at(scene, distance: float, elevation_deg: float, half_deg: float = 0.25):
    """Level in an elevation bin relative to the bare point source, and its standard error."""
    points, replicate = samples()
    elevation, bounces = leaving(
        scene, distance, np.arccos(1.0 - points[:, 0]), 2.0 * math.pi * points[:, 1]
    )
    low, high = np.radians((elevation_deg - half_deg, elevation_deg + half_deg))
    inside = (bounces == 1) & (elevation > low) & (elevation < high)
    # Shares of the half space of the launch, over the share of it that the bin fills.
    density = np.bincount(replicate, inside) / np.bincount(replicate)
    density /= math.sin(high) - math.sin(low)
    error = density.std(ddof=1) / math.sqrt(density.size)
    return 10.0 * math.log10(density.mean()), 10.0 / math.log(10.0) * error / density.mean()


@pytest.mark.parametrize(("slope", "launch", "level"), CONE)
def test_cone(slope: float, launch: float, level: float) -> None:
    """gamma = 2 beta - 90 deg + alpha, and the level of the tube of rays."""
    scene, gamma = cone_mirror(slope), 2 * slope - 90 + launch
    turns = np.linspace(0.0, 2 * math.pi, 17)
    elevation, bounces = leaving(scene, 0.1, np.full(17, math.radians(launch)), turns)
    assert np.all(bounces == 1)
    assert np.abs(elevation - math.radians(gamma)).max() < 1e-10
    found, error = level_at(scene, 0.1, gamma)
    assert abs(found - level) < 0.0005 + STANDARD_ERRORS * error


@pytest.mark.parametrize(("distance", "launch", "psi", "level"), BALL)
def test_ball(distance: float, launch: float, psi: float, level: float) -> None:
    """psi = 2 i - alpha with sin i = (s / R) sin alpha, and the level of the tube of rays."""
    scene, alpha = ball_mirror(), math.radians(launch)
    incidence = math.asin((RADIUS + distance) / RADIUS * math.sin(alpha))
    turns = np.linspace(0.0, 2 * math.pi, 17)
    elevation, bounces = leaving(scene, distance, np.full(17, alpha), turns)
    assert np.all(bounces == 1)
    assert np.abs(elevation - (2 * incidence - alpha - math.pi / 2)).max() < 1e-10
    assert np.degrees(elevation[0]) + 90 == pytest.approx(psi, abs=5e-5)
    found, error = level_at(scene, distance, psi - 90)
    assert abs(found - level) < 0.00005 + STANDARD_ERRORS * error


@pytest.mark.parametrize(("distance", "limit"), [(0.05, 48.590378), (0.10, 36.869898)])
def test_ball_is_missed_beyond_grazing(distance: float, limit: float) -> None:
    launch = np.radians([limit - 1e-6, limit + 1e-6])
    _, bounces = leaving(ball_mirror(), distance, launch, np.zeros(2))
    assert bounces.tolist() == [1, 0]


def test_nothing_leaves_below_the_apex_ray_of_a_cone() -> None:
    """The dark side of the apex ray: no energy below gamma = 2 beta - 90 deg, little above."""
    scene = cone_mirror(50.0)
    launch = np.arccos(1.0 - even_points(RAYS, 1, seed=1)[0][:, 0] * 0.5)
    elevation, _ = leaving(scene, 0.1, launch, np.linspace(0.0, 50.0, launch.size))
    assert elevation.min() >= math.radians(10.0) - 1e-12
    for above in (1.0, 2.0, 4.0):
        share = np.mean(elevation < math.radians(10.0 + above))
        exact = 2.0 * (1.0 - math.cos(math.radians(above)))
        assert share == pytest.approx(exact, abs=20 / RAYS)


@pytest.mark.parametrize(
    ("kind", "sizes", "ring"),
    [
        ("ellipse", (0.08, 0.05, 0.05), 0.15),
        ("ellipse", (0.08, 0.03, 0.10), 0.30),
        ("hyperbola", (0.08, 0.05, 0.05), None),
        ("hyperbola", (0.06, 0.04, 0.02), -0.5),
        ("parabola", (0.08, 0.05, 0.05), None),
    ],
)
def test_foci(kind: str, sizes: tuple[float, float, float], ring: float | None) -> None:
    """Paths have one length: over the ellipse's second focus, from the hyperbola's, to a plane."""
    base, height, distance = sizes
    reflector = conic_section(kind, base, height, distance, ring)
    piece = reflector.profile.pieces[0]
    steepest = math.atan2(base, height + distance)
    angles, turns = np.meshgrid(np.linspace(0.02, 0.98, 33) * steepest, np.linspace(0.0, 6.0, 5))
    alpha, turn = angles.ravel(), turns.ravel()
    outwards = np.column_stack((np.cos(turn), np.sin(turn), np.zeros(turn.size)))
    up = np.array([0.0, 0.0, 1.0])
    origins = np.tile((-height - distance) * up, (turn.size, 1))
    directions = np.sin(alpha)[:, None] * outwards + np.cos(alpha)[:, None] * up
    out, code, places = follow(
        scene_of(meridian_rows(reflector.profile)), origins, directions, 1, keep_places=True
    )
    assert np.all(code[:, 0] == 1)
    hit, after = places[:, 1], out[:, :3]
    if piece.other_focus is None:
        e_r, e_z = piece.eccentricity
        axis = e_r * outwards + e_z * up
        assert np.abs(after - axis).max() < 1e-12
        # Up to a plane square to the parallel rays.
        path = out[:, 3] - np.sum(hit * axis, axis=1)
    else:
        r, z = piece.other_focus
        focus = r * outwards + z * up
        onward = np.sum((focus - hit) * after, axis=1)
        assert np.abs(hit + onward[:, None] * after - focus).max() < 1e-12
        # Negative on a hyperbola, whose second focus lies behind the mirror.
        path = out[:, 3] + onward
    assert np.ptp(path) < 1e-12


@pytest.mark.parametrize(
    ("ka", "at_30", "at_60"),
    [(1.0, -0.273, -0.827), (2.0, -1.109, -3.491), (3.0, -2.570, -8.806)],
)
def test_bare_piston_in_a_wide_baffle(ka: float, at_30: float, at_60: float) -> None:
    """D(theta)^2; the mean over a bin of 2 degrees differs by less than 0.01 dB here."""
    assembly = Assembly(
        column=Column(width=100.0, height=1.0),
        driver=Driver(effective_radius=0.05, frame_radius=0.06),
        plate_gap=0.1,
        reflector=None,
        plate=None,
    )
    frequency = ka * Air().speed / (2 * math.pi * 0.05)
    problem = Problem(
        assembly=assembly, ways=(Way(name="driver"),), frequencies=np.array([frequency])
    )
    response = solve_rays(problem, rays=2**15)
    levels = 20 * np.log10(np.abs(response.far[0]) + 1e-12)
    at = {e: levels[np.flatnonzero(problem.elevations == e)[0]] for e in (30.0, 60.0, 90.0)}
    assert at[90.0] == pytest.approx(0.0, abs=0.02)
    assert at[60.0] == pytest.approx(at_30, abs=0.02)
    assert at[30.0] == pytest.approx(at_60, abs=0.02)
    assert levels[problem.elevations < -2.0].max() < -200.0
    assert abs(response.worst_power_error_db) < 1e-12
