"""Rigid cylinders across the wave, in the plane, against laws; their series are checks of `proof`.

The optical theorem in two dimensions: Martin, Multiple Scattering (2006) [from memory]; the other
laws are elementary.
"""

import numpy as np
import pytest
from scipy import special

from dispersion.paths.cylinders import (
    about_axis,
    cylinder_orders,
    far_pattern,
    line_source,
    plane_wave,
    scatter,
)
from studies.questions.proof.cases.quick_methods import AZIMUTHS

PAIR = np.array([0.3 + 0.1j, -0.2 + 0.4j])
EXACT = 1e-9


def total(k: float, centres: np.ndarray, sent: np.ndarray, place: np.ndarray) -> np.ndarray:
    """What cylinders send out, at points x + iy, summed order by order."""
    orders = np.arange(sent.shape[1]) - sent.shape[1] // 2
    away = place[:, None] - centres
    waves = special.hankel1(orders, k * np.abs(away)[..., None])
    return np.einsum("pjl,jl->p", waves * np.exp(1j * orders * np.angle(away)[..., None]), sent)


@pytest.mark.parametrize("ka", [0.02, 0.05])
def test_thin_cylinder_far_amplitude(ka: float) -> None:
    """Rayleigh limit: f = -i pi (ka)^2 / 4 (1 - 2 cos phi), for H_0, ka -> 0."""
    centre = np.zeros(1, dtype=complex)
    sent = scatter(ka, centre, 1.0, plane_wave(ka, centre, 1.0, 0.0))
    limit = -0.25j * np.pi * ka**2 * (1.0 - 2.0 * np.cos(AZIMUTHS))
    found = far_pattern(ka, centre, sent, AZIMUTHS)
    assert np.abs(found - limit).max() < 10.0 * ka**2 * abs(np.log(ka)) * np.abs(limit).max()


@pytest.mark.parametrize("ka", [0.3, 1.5])
def test_energy_of_what_is_scattered(ka: float) -> None:
    """Optical theorem: mean |f|^2 over the azimuth is -Re f forwards, with p_inc = 1, p_s = f H_0.

    Holds term by term for one cylinder, |T|^2 = -Re T, and for any number together.
    """
    radius, forwards = 0.1, 0.7
    k = ka / radius
    sent = scatter(k, PAIR, radius, plane_wave(k, PAIR, radius, forwards))
    around = 2.0 * np.pi * np.arange(256) / 256
    mean = np.mean(np.abs(far_pattern(k, PAIR, sent, around)) ** 2)
    onwards = far_pattern(k, PAIR, sent, np.array([forwards]))[0]
    assert mean == pytest.approx(-onwards.real, rel=1e-6)


def test_two_cylinders_are_rigid() -> None:
    """The normal derivative of the total field vanishes on both, by central differences."""
    k, radius, step = 15.0, 0.1, 1e-5
    source = 0.05 + 0.0j
    sent = scatter(k, PAIR, radius, line_source(k, PAIR, radius, source))
    turn = np.exp(1j * AZIMUTHS)
    for centre in PAIR:
        near, far = (centre + (radius + s) * turn for s in (-step, step))
        slopes = []
        for field in (
            lambda x: special.hankel1(0, k * np.abs(x - source)),
            lambda x: total(k, PAIR, sent, x),
        ):
            slopes.append((field(far) - field(near)) / (2.0 * step))
        assert np.abs(sum(slopes)).max() < 1e-3 * np.abs(slopes[0]).max()


def test_two_cylinders_reciprocity() -> None:
    """A plane wave from one way heard the other way, and back: f(a -> b) = f(-b -> -a)."""
    k, radius = 20.0, 0.1

    def heard(towards: float, azimuth: float) -> complex:
        sent = scatter(k, PAIR, radius, plane_wave(k, PAIR, radius, towards))
        return far_pattern(k, PAIR, sent, np.array([azimuth]))[0]

    assert heard(0.4, 2.1) == pytest.approx(heard(2.1 + np.pi, 0.4 + np.pi), rel=EXACT)


def test_source_and_listener_change_places() -> None:
    """A line source heard far away at phi is a plane wave from phi heard at the source."""
    k, radius, source, azimuth = 20.0, 0.1, 0.05 + 0.02j, 1.3
    sent = scatter(k, PAIR, radius, line_source(k, PAIR, radius, source))
    there = far_pattern(k, PAIR, sent, np.array([azimuth]))[0]
    sent = scatter(k, PAIR, radius, plane_wave(k, PAIR, radius, azimuth + np.pi))
    assert there == pytest.approx(total(k, PAIR, sent, np.array([source]))[0], rel=EXACT)


def test_far_apart_they_tend_to_single_scattering() -> None:
    """What multiple scattering adds falls like the root of the distance, as 1 / sqrt(k d)."""
    k, radius = 10.0, 0.05
    added = []
    for apart in (10.0, 1000.0):
        pair = np.array([0.0, 1j * apart])
        incident = plane_wave(k, pair, radius, 0.3)
        alone = np.concatenate(
            [scatter(k, pair[j : j + 1], radius, incident[j : j + 1]) for j in range(2)]
        )
        together = scatter(k, pair, radius, incident)
        added.append(np.abs(together - alone).max() / np.abs(alone).max())
    assert added[1] < 0.01
    assert added[0] / added[1] == pytest.approx(10.0, rel=0.1)


def test_orders_about_the_axis_are_the_same_far_field() -> None:
    k, radius = 20.0, 0.1
    sent = scatter(k, PAIR, radius, line_source(k, PAIR, radius))
    m = np.arange(-40, 41)
    orders = about_axis(k, PAIR, sent, m)
    found = np.exp(1j * np.outer(AZIMUTHS, m)) @ ((-1j) ** m * orders)
    exact = far_pattern(k, PAIR, sent, AZIMUTHS)
    assert np.abs(found - exact).max() < EXACT * np.abs(exact).max()


def test_pattern_repeats_from_post_to_post() -> None:
    """Three cylinders about a line source: general solver, no symmetry used."""
    k, radius = 30.0, 0.05
    centres = 0.4 * np.exp(2j * np.pi * np.arange(3) / 3)
    sent = scatter(k, centres, radius, line_source(k, centres, radius))
    first = np.linspace(-np.pi / 3, np.pi / 3, 41)
    pattern, turned, mirrored = (
        far_pattern(k, centres, sent, a) for a in (first, first + 2.0 * np.pi / 3.0, -first)
    )
    assert turned == pytest.approx(pattern, rel=1e-9, abs=1e-12)
    assert mirrored == pytest.approx(pattern, rel=1e-9, abs=1e-12)


def test_orders_reach_past_the_size() -> None:
    assert cylinder_orders(10.0, 1.0)[-1] >= 16
    assert cylinder_orders(1e-3, 1e-3)[-1] >= 6
