"""The edge integral against exact fields of a point source beside a half plane and a wedge.

- Half plane: H. M. Macdonald (1915), Bowman & Senior; two independent forms agree to 3e-15.
- Wedge of 270 degrees: the line integral of Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106,
  2331 (1999), computed independently.
- Knife edge: Rec. ITU-R P.526, section 4.1 [formula from memory], by Fresnel's integrals.
- Transition through the light's end, null wedges, reciprocity: theory.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import fresnel, hankel1

from dispersion.paths.rims import edge_wave, far_rim, wedge_field

HALF_PLANE, BOX_EDGE = 2.0 * np.pi, 1.5 * np.pi
SOURCE = (1.0, np.radians(45.0), 0.0)
PUBLISHED = 1e-6

FIELD = [
    # k, angle of the receiver, half plane, box edge
    (2, 20, -0.894061 + 1.433135j, -0.866491 + 1.414699j),
    (2, 90, -0.706444 + 0.388498j, -0.675719 + 0.367295j),
    (2, 150, -0.276029 - 0.478029j, -0.238184 - 0.506172j),
    (2, 200, 0.088418 - 0.340336j, 0.137393 - 0.381795j),
    (2, 260, 0.138611 - 0.155818j, 0.209068 - 0.239929j),
    (2, 340, 0.116156 - 0.089929j, None),
    (10, 20, -0.903390 + 1.621963j, -0.894249 + 1.634373j),
    (10, 90, 0.211938 - 1.331076j, 0.222346 - 1.317057j),
    (10, 150, 0.069754 + 0.511941j, 0.083326 + 0.529847j),
    (10, 200, 0.322660 - 0.168217j, 0.342478 - 0.143215j),
    (10, 260, 0.092607 + 0.087334j, 0.138088 + 0.133911j),
    (10, 340, 0.043398 + 0.056348j, None),
]


def integral(function: Callable[[complex], complex], start: complex, end: complex) -> complex:
    """Along the straight line from start to end in the complex plane."""
    step = end - start

    def share(s: float) -> complex:
        return step * function(start + s * step)

    return quad(share, 0.0, 1.0, limit=200, epsabs=1e-11, complex_func=True)[0]


def receiver(angle: float) -> tuple[float, float, float]:
    return 1.5, np.radians(angle), 0.4


@pytest.mark.parametrize(("k", "angle", "half_plane", "box_edge"), FIELD)
def test_published_fields(
    k: float, angle: float, half_plane: complex, box_edge: complex | None
) -> None:
    assert abs(wedge_field(k, SOURCE, receiver(angle), HALF_PLANE) - half_plane) < PUBLISHED
    if box_edge is not None:
        assert abs(wedge_field(k, SOURCE, receiver(angle), BOX_EDGE) - box_edge) < PUBLISHED


@pytest.mark.parametrize("angle", [20.0, 90.0, 134.0, 136.0, 224.0, 226.0, 340.0])
@pytest.mark.parametrize("k", [2.0, 10.0])
def test_half_plane_against_macdonald(k: float, angle: float) -> None:
    r0, t0, _ = SOURCE
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
    assert abs(wedge_field(k, SOURCE, (r, t, z), HALF_PLANE) - exact) < PUBLISHED


@pytest.mark.parametrize(
    ("k", "angle", "level"),
    [(2, 222, 0.358621), (2, 228, 0.348727), (10, 222, 0.280483), (10, 228, 0.258435)],
)
def test_published_levels_about_the_end_of_light(k: float, angle: float, level: float) -> None:
    found = abs(wedge_field(k, SOURCE, receiver(angle), BOX_EDGE))
    assert found == pytest.approx(level, abs=PUBLISHED)


@pytest.mark.parametrize("boundary", [135.0, 225.0])
def test_no_step_where_light_and_image_end(boundary: float) -> None:
    before, on, after = (
        wedge_field(10.0, SOURCE, receiver(boundary + turn), BOX_EDGE) for turn in (-1e-5, 0, 1e-5)
    )
    assert abs(after - before) < 1e-5
    assert abs(0.5 * (after + before) - on) < PUBLISHED


@pytest.mark.parametrize("wedge", [np.pi, 0.5 * np.pi])
def test_plane_and_right_corner_diffract_nothing(wedge: float) -> None:
    assert abs(edge_wave(10.0, SOURCE, (1.5, np.radians(70.0), 0.4), wedge)) < 1e-14
    rim = far_rim(0.1, wedge, 0.05, np.array([20.0, 50.0, 80.0]), 100.0)
    assert np.abs(rim.at(100.0)).max() < 1e-12


def test_source_and_receiver_change_places() -> None:
    there = edge_wave(7.0, SOURCE, receiver(200.0), BOX_EDGE)
    back = edge_wave(7.0, receiver(200.0), SOURCE, BOX_EDGE)
    assert there == pytest.approx(back, rel=1e-10)


def test_knife_edge() -> None:
    # Far from the edge against the wavelength, and near the end of light, a rigid half plane
    # sends what a knife edge does; what is left falls as the angle, at most 0.03 here.
    k, distance = 2.0 * np.pi / 1e-3, 10.0
    table = {0.0: 6.0206, 0.5: 10.2338, 1.0: 13.8641, 2.0: 19.0910, -0.5: 1.8586, -1.0: -1.0010}
    for nu, published in table.items():
        # nu = 2 sqrt(detour / wavelength), and two equal ways bent by b take 4 d sin^2(b/4) more.
        bend = 4.0 * np.arcsin(0.25 * nu * np.sqrt(1e-3 / distance))
        # The plane stands across the way: 90 degrees from its back to the source.
        source = (distance, np.pi / 2.0, 0.0)
        field = wedge_field(k, source, (distance, 1.5 * np.pi + bend, 0.0), HALF_PLANE)
        free = 1.0 / (2.0 * distance * np.cos(0.5 * bend))
        assert -20.0 * np.log10(abs(field) / free) == pytest.approx(published, abs=0.1)
        s, c = fresnel(nu)
        loss = -20.0 * np.log10(np.hypot(1.0 - c - s, c - s) / 2.0)
        assert loss == pytest.approx(published, abs=5e-5)
