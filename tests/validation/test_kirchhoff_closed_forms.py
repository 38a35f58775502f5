"""Kirchhoff's integrals against their closed forms, not against the exact field.

- Rigid sphere: the level over the exact series of Rayleigh and Morse is computed here.
- Disc with source and receiver together on its axis: image source less edge wave, elementary.
- Pressure on a piston: Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), sections
  4.19 and 13.7.
- Curvature: J. H. Rindel, "Attenuation of sound reflections from curved surfaces" (1985) [from
  memory]; for a source on the axis it is the ray law of the ball.
"""

import numpy as np
import pytest
from scipy.special import j0, spherical_jn, spherical_yn, struve

from dispersion.paths.kirchhoff import cut_rings, far_kernels, near_kernels, piston_plane_pressure
from shapes.meridian import Arc, Line
from studies.questions.proof.cases.quick_methods import FINE, SIX_DIGITS, backscatter

pytestmark = pytest.mark.uncompiled


def ones(r: np.ndarray) -> np.ndarray:
    return np.ones_like(r)


@pytest.mark.parametrize(
    ("ka", "level"),
    [(1, -0.42), (2, 4.36), (3, 2.80), (5, 0.25), (7, -0.60), (10, -0.21), (15, 0.62), (30, 0.01)],
)
def test_ball_is_off_the_exact_series_as_far_as_kirchhoff_is(ka: float, level: float) -> None:
    n = np.arange(int(ka) + 30)
    slope = spherical_jn(n, ka, derivative=True)
    outgoing = slope + 1j * spherical_yn(n, ka, derivative=True)
    exact = np.sum((2 * n + 1) * (-1.0) ** n * slope / outgoing) / ka
    assert 20.0 * np.log10(abs(backscatter(ka) / exact)) == pytest.approx(level, abs=0.005)


@pytest.mark.parametrize("k", [5.0, 20.0, 100.0])
def test_disc_sends_back_image_less_edge_wave(k: float) -> None:
    h, b = 0.2, 0.15
    rim = np.hypot(h, b)
    image_less_edge = np.exp(2j * k * h) / (2 * h) - h * np.exp(2j * k * rim) / (2 * rim**2)
    rings = cut_rings([Line((b, 0.0), (0.0, 0.0), "disc")], min(2.0 * np.pi / k, 0.15) / FINE)
    away = np.hypot(rings.r, h)
    dipole, _ = near_kernels(rings, k, np.array([[0.0, h]]))
    found = complex((dipole @ (2.0 * np.exp(1j * k * away) / away))[0])
    assert found == pytest.approx(image_less_edge, abs=SIX_DIGITS)


@pytest.mark.parametrize("ka", [0.5, 1.0, 3.0, 10.0, 30.0])
def test_piston_presses_on_its_middle_and_its_rim(ka: float) -> None:
    # In units of rho c u, and conjugate to the book's exp(+j omega t).
    middle, rim = piston_plane_pressure(ka, np.array([0.0, 1.0]), 1.0, ones) * ka / 1j
    assert middle == pytest.approx(1.0 - np.exp(1j * ka), abs=SIX_DIGITS)
    at_rim = 0.5 * (1.0 - j0(2 * ka) - 1j * struve(0, 2 * ka))
    assert rim == pytest.approx(at_rim, abs=SIX_DIGITS)


def test_pressure_on_the_baffle_is_the_field_just_above_it() -> None:
    k, radii = 20.0, np.array([0.03, 0.09, 0.13])
    rings = cut_rings([Line((0.1, 0.0), (0.0, 0.0), "piston")], 2e-4)
    above = np.column_stack([radii, np.full(3, 0.004)])
    _, monopole = near_kernels(rings, k, above)
    found = 2.0 * monopole.sum(axis=1)
    on_baffle = piston_plane_pressure(k, radii, 0.1, ones)
    # dp/dz is -1 over the piston and 0 beside it; what is left is of second order, (k z)^2 / 2.
    expected = on_baffle - np.where(radii < 0.1, 0.004, 0.0)
    assert found == pytest.approx(expected, abs=0.02 * abs(on_baffle).max())


def test_far_field_is_the_near_field_far_away() -> None:
    k, distance, elevations = 15.0, 2e3, np.array([-70.0, 5.0, 40.0])
    rings = cut_rings(
        [Arc((0.0, -0.1), (0.1, 0.0), (0.0, 0.0), clockwise=False, part="ball")], 0.005
    )
    eps = np.radians(elevations)
    points = distance * np.column_stack([np.cos(eps), np.sin(eps)])
    for far, near in zip(
        far_kernels(rings, k, elevations), near_kernels(rings, k, points), strict=True
    ):
        # What is left falls as k a^2 / distance.
        expected = near * distance * np.exp(-1j * k * distance)
        assert (
            np.abs(far - expected).max() < 2.0 * k * 0.1**2 / distance * np.abs(far).max() + 1e-12
        )


def test_ball_spreads_sound_as_its_curvature_says() -> None:
    # Source 0.05 m below a ball of 0.15 m radius: -20 lg(1 + 2 d/R) = -4.4370 dB straight back.
    radius, d = 0.15, 0.05
    depth = radius * radius / (radius + d)  # light ends where it grazes
    edge = (np.sqrt(radius**2 - depth**2), -depth)
    cap = Arc((0.0, -radius), edge, (0.0, 0.0), clockwise=False, part="ball")
    wavenumbers = np.linspace(400.0, 600.0, 41)[1:-1]
    found = []
    for k in wavenumbers:
        rings = cut_rings([cap], 2.0 * np.pi / k / 6.0)
        away = np.hypot(rings.r, rings.z + radius + d)
        kernel, _ = far_kernels(rings, k, np.array([-90.0]))
        wave = complex((kernel @ (2.0 * np.exp(1j * k * away) / away))[0])
        found.append(wave * np.exp(1j * k * (radius - d)))
    # In a smooth mean in step with the reflection, the rim's wave, which comes later, drops out.
    mean = np.average(found, weights=np.sin(np.pi * (wavenumbers - 400.0) / 200.0) ** 2)
    # k R is 75: the next order of the expansion, 1/(kR), is a tenth of a decibel.
    assert 20.0 * np.log10(abs(mean)) == pytest.approx(-4.4370, abs=0.12)
