"""The edge integral against exact fields of a point source beside a half plane and a wedge.

- Half plane against H. M. Macdonald (1915); a square edge about the end of light against the modes
  of the wedge, `studies.questions.proof.cases.quick_methods`.
- Knife edge: Rec. ITU-R P.526, section 4.1 [formula from memory], by Fresnel's integrals.
- Transition through the light's end, null wedges, reciprocity: theory.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import fresnel, hankel1

from dispersion.paths.rims import edge_wave, far_rim, wedge_field
from studies.questions.proof.cases.quick_methods import (
    EDGE_SOURCE,
    HALF_PLANE,
    SIX_DIGITS,
    SQUARE_EDGE,
    field_of_modes,
    receiver,
)

pytestmark = pytest.mark.uncompiled


def integral(function: Callable[[complex], complex], start: complex, end: complex) -> complex:
    """Along the straight line from start to end in the complex plane."""
    step = end - start

    def share(s: float) -> complex:
        return step * function(start + s * step)

    return quad(share, 0.0, 1.0, limit=200, epsabs=1e-11, complex_func=True)[0]


@pytest.mark.parametrize("angle", [20.0, 90.0, 134.0, 136.0, 224.0, 226.0, 340.0])
@pytest.mark.parametrize("k", [2.0, 10.0])
def test_half_plane_against_macdonald(k: float, angle: float) -> None:
    r0, t0, _ = EDGE_SOURCE
    r, t, z = receiver(angle)

    def part(phi: float) -> complex:
        R = np.sqrt(r0**2 + r**2 - 2 * r0 * r * np.cos(phi) + z**2)
        start = -np.arcsinh(2.0 * np.sqrt(r * r0) * np.cos(0.5 * phi) / R)
        # Hankel's function turns about itself: a small imaginary way out makes the end decay.
        turned = 0.5j

        def along(s: complex) -> complex:
            return hankel1(1, k * R * np.cosh(s))

        corner = max(start, 0.0)
        total = integral(along, start, corner)
        total += integral(along, corner, corner + turned)
        total += integral(along, corner + turned, corner + turned + 8.0)
        return 0.5j * k * total

    exact = part(t - t0) + part(t + t0)
    assert abs(wedge_field(k, EDGE_SOURCE, (r, t, z), HALF_PLANE) - exact) < SIX_DIGITS


@pytest.mark.parametrize("k", [2.0, 10.0])
@pytest.mark.parametrize("angle", [132.0, 138.0, 222.0, 228.0])
def test_square_edge_about_the_ends_of_light_and_image(k: float, angle: float) -> None:
    found = wedge_field(k, EDGE_SOURCE, receiver(angle), SQUARE_EDGE)
    assert found == pytest.approx(field_of_modes(k, angle, SQUARE_EDGE), abs=SIX_DIGITS)


@pytest.mark.parametrize("boundary", [135.0, 225.0])
def test_no_step_where_light_and_image_end(boundary: float) -> None:
    before, on, after = (
        wedge_field(10.0, EDGE_SOURCE, receiver(boundary + turn), SQUARE_EDGE)
        for turn in (-1e-5, 0, 1e-5)
    )
    assert abs(after - before) < 1e-5
    assert abs(0.5 * (after + before) - on) < SIX_DIGITS


@pytest.mark.parametrize("wedge", [np.pi, 0.5 * np.pi])
def test_plane_and_right_corner_diffract_nothing(wedge: float) -> None:
    assert abs(edge_wave(10.0, EDGE_SOURCE, (1.5, np.radians(70.0), 0.4), wedge)) < 1e-14
    rim = far_rim(0.1, wedge, 0.05, np.array([20.0, 50.0, 80.0]), 100.0)
    assert np.abs(rim.at(100.0)).max() < 1e-12


def test_source_and_receiver_change_places() -> None:
    there = edge_wave(7.0, EDGE_SOURCE, receiver(200.0), SQUARE_EDGE)
    back = edge_wave(7.0, receiver(200.0), EDGE_SOURCE, SQUARE_EDGE)
    assert there == pytest.approx(back, rel=1e-10)


def test_knife_edge() -> None:
    # Far from the edge against the wavelength, and near the end of light, a rigid half plane
    # sends what a knife edge does; what is left falls as the angle, at most 0.03 here.
    k, distance = 2.0 * np.pi / 1e-3, 10.0
    for nu in (-1.0, -0.5, 0.0, 0.5, 1.0, 2.0):
        # nu = 2 sqrt(detour / wavelength), and two equal ways bent by b take 4 d sin^2(b/4) more.
        bend = 4.0 * np.arcsin(0.25 * nu * np.sqrt(1e-3 / distance))
        # The plane stands across the way: 90 degrees from its back to the source.
        source = (distance, np.pi / 2.0, 0.0)
        field = wedge_field(k, source, (distance, 1.5 * np.pi + bend, 0.0), HALF_PLANE)
        free = 1.0 / (2.0 * distance * np.cos(0.5 * bend))
        s, c = fresnel(nu)
        loss = -20.0 * np.log10(np.hypot(1.0 - c - s, c - s) / 2.0)
        assert -20.0 * np.log10(abs(field) / free) == pytest.approx(loss, abs=0.1)
