"""Images against exact solutions for rigid planes without end.

Half space: the field that a rigid plane sends back is that of a plane which moves so as to cancel
the incident motion, by Rayleigh's integral (Pierce, Acoustics, 5.2 [from memory]); in the integral
there are no images. Two planes against their modes are a check of `proof`.
"""

import numpy as np
import pytest

from dispersion.paths.mirrors import Mirrors, paths_to
from studies.questions.proof.cases.quick_methods import H, unit_field

ROUNDING = 1e-10


def sent_back_by_rayleigh(k: complex, height: float, z: float) -> complex:
    """On the axis: 1/(2 pi) times the integral of dp/dz of the source over the plane."""
    edges = np.concatenate([[0.0], np.geomspace(0.02, 60.0 / k.imag, 60)])
    nodes, weights = np.polynomial.legendre.leggauss(60)
    half = np.diff(edges)[:, None] / 2.0
    r = edges[:-1, None] + half * (nodes + 1.0)
    to_plane, from_plane = np.hypot(r, height), np.hypot(r, z)
    # d/dz of exp(ikR)/R at the plane, from a source above it.
    slope = -(1j * k - 1.0 / to_plane) * np.exp(1j * k * to_plane) / to_plane**2 * height
    spread = np.exp(1j * k * from_plane) / from_plane
    return complex(np.sum(half * weights * slope * spread * r))


@pytest.mark.parametrize("k", [5.0 + 2.0j, 40.0 + 3.0j])
@pytest.mark.parametrize(("height", "z"), [(0.05, 0.3), (0.2, 0.1)])
def test_rigid_plane_against_rayleighs_integral(k: complex, height: float, z: float) -> None:
    point = np.array([[0.0, z]])
    total = unit_field(paths_to(Mirrors(1.0, np.inf), point, height), point, k)[0]
    direct = np.exp(1j * k * abs(z - height)) / abs(z - height)
    # A plane that moves with -dp/dz sends out p = 1/(2 pi) integral of dp/dz exp(ikR)/R.
    assert total - direct == pytest.approx(sent_back_by_rayleigh(k, height, z), rel=ROUNDING)


def test_rigid_plane_off_the_axis() -> None:
    k, height = 30.0, 0.07
    points = np.array([[0.4, 0.0], [0.2, 0.5], [3.0, 0.9]])
    below, above = (np.hypot(points[:, 0], points[:, 1] + s * height) for s in (1.0, -1.0))
    expected = np.exp(1j * k * above) / above + np.exp(1j * k * below) / below
    got = unit_field(paths_to(Mirrors(1.0, np.inf), points, height), points, k)
    assert np.allclose(got, expected, rtol=ROUNDING)


def test_rigid_plane_does_not_move() -> None:
    k, step = 30.0, 1e-3
    points = np.array([[0.1, 0.0], [0.4, 0.0]])
    # Images mirror the field itself, so a point just above serves as the one just below.
    near, level = (
        unit_field(paths_to(Mirrors(1.0, np.inf), at, 0.07), at, k)
        for at in (points + [0.0, step], points)
    )
    far = points + [0.0, 2.0 * step]
    further = unit_field(paths_to(Mirrors(1.0, np.inf), far, 0.07), far, k)
    slope = (-3.0 * level + 4.0 * near - further) / (2.0 * step)
    # One-sided differences of second order leave a third derivative: k^3 step^2 / 3 and less
    # than twice the pressure, over k times it.
    assert np.all(np.abs(slope) < 2.0 * (k * step) ** 2 * k * np.abs(level).max())


def test_two_planes_need_all_their_images() -> None:
    points = np.array([[0.3, 0.05]])
    k = 50.0 + 2.0j
    few, many = (
        unit_field(paths_to(Mirrors(H, np.inf, np.inf), points, 0.0, bounces=b), points, k)[0]
        for b in (3, 200)
    )
    assert abs(few - many) > 0.01 * abs(many)
