"""Reflector formulas and solids.

Focal properties of the conic sections: elementary, as found in any handbook (path lengths within
1e-12 m). Cap, frustum and ring are checks of `proof`.
"""

import math

import numpy as np
import pytest

from shapes.meridian import Line
from shapes.reflectors import Reflector, ball_cap, conic_section

CONICS = [
    conic_section("ellipse", 0.08, 0.05, 0.05, focus_radius=0.15),
    conic_section("ellipse", 0.06, 0.06, 0.04, focus_radius=0.12),
    conic_section("ellipse", 0.08, 0.03, 0.10, focus_radius=0.30),
    conic_section("parabola", 0.08, 0.05, 0.05),
    conic_section("parabola", 0.06, 0.04, 0.02),
    conic_section("hyperbola", 0.08, 0.05, 0.05),
    conic_section("hyperbola", 0.10, 0.05, 0.05, focus_radius=-0.05),
    conic_section("hyperbola", 0.06, 0.04, 0.02, focus_radius=-0.5),
]


def test_polygon_formulas_converge_to_the_cap() -> None:
    """The discrete formulas are exact for cones and of second order for the cap."""
    cap = ball_cap(0.60, 0.06)
    errors = []
    for count in (8, 16, 32):
        r, z = cap.profile.pieces[0].point(np.linspace(0, 1, count + 1)).T
        step = np.hypot(np.diff(r), np.diff(z))
        area = math.pi * np.sum((r[:-1] + r[1:]) * step)
        volume = math.pi * np.sum(np.diff(z) * (r[:-1] ** 2 + r[:-1] * r[1:] + r[1:] ** 2)) / 3
        errors.append((abs(area / cap.profile.area - 1), abs(volume / cap.volume - 1)))
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert np.allclose(orders, 2.0, atol=0.05)


@pytest.mark.parametrize("shape", CONICS, ids=lambda r: f"{r.kind} {r.height:g}")
def test_closed_surface_identities(shape: Reflector) -> None:
    """Normals of a closed surface: the integral of n_z is 0, that of x . n is 3 V."""
    base = Line((shape.base_radius, 0.0), (0.0, 0.0), "base")
    nodes, weights = np.polynomial.legendre.leggauss(40)
    through = moment = 0.0
    for piece in (*shape.profile.pieces, base):
        t, w = (1 + nodes) / 2, weights / 2
        (r, z), (dr, dz) = piece.point(t).T, piece.derivative(t).T
        through += np.sum(w * 2 * math.pi * r * -dr)
        moment += np.sum(w * 2 * math.pi * r * (r * dz - z * dr))
    assert through == pytest.approx(0.0, abs=1e-14)
    assert moment == pytest.approx(3 * shape.volume, rel=1e-11)


@pytest.mark.parametrize("shape", CONICS, ids=lambda r: f"{r.kind} {r.height:g}")
def test_path_lengths_of_the_conics(shape: Reflector) -> None:
    """Ellipse: sum of the focal distances; hyperbola: difference; parabola: to a normal plane."""
    points = shape.profile.pieces[0].point(np.linspace(0, 1, 201))
    from_source = np.linalg.norm(points - _source(shape), axis=1)
    if shape.kind == "parabola":
        paths = from_source - points @ _ray(shape)
    else:
        to_second = np.linalg.norm(points - _second_focus(shape), axis=1)
        paths = from_source + (to_second if shape.kind == "ellipse" else -to_second)
    if shape.kind == "hyperbola":
        paths = np.abs(paths)
    assert np.ptp(paths) < 1e-12


@pytest.mark.parametrize("shape", CONICS, ids=lambda r: f"{r.kind} {r.height:g}")
def test_rays_from_the_source_leave_as_the_conic_promises(shape: Reflector) -> None:
    """Reflect at the true normals: through F2, as if from F2, or all in one direction."""
    t = np.linspace(0, 1, 101)
    points, tangents = shape.profile.pieces[0].point(t), shape.profile.pieces[0].derivative(t)
    normals = np.stack((tangents[:, 1], -tangents[:, 0]), axis=-1)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    incoming = points - _source(shape)
    incoming /= np.linalg.norm(incoming, axis=1)[:, None]
    facing = np.sum(incoming * normals, axis=1)
    assert np.all(facing < 0)
    leaving = incoming - 2 * facing[:, None] * normals
    if shape.kind == "parabola":
        assert np.allclose(leaving, _ray(shape), atol=1e-12)
        return
    towards = _second_focus(shape) - points
    assert np.allclose(leaving[:, 0] * towards[:, 1], leaving[:, 1] * towards[:, 0], atol=1e-12)
    ahead = np.sum(leaving * towards, axis=1)
    assert np.all(ahead > 0) if shape.kind == "ellipse" else np.all(ahead < 0)


def _source(shape: Reflector) -> np.ndarray:
    return np.array([0.0, -shape.height - shape.fact("source distance")])


def _second_focus(shape: Reflector) -> np.ndarray:
    return np.array([shape.fact("second focus radius"), shape.fact("second focus height")])


def _ray(shape: Reflector) -> np.ndarray:
    elevation = shape.fact("ray elevation")
    return np.array([math.cos(elevation), math.sin(elevation)])
