"""Rigid plates as thin as the disc of the theory.

Numbers and sources: `studies.questions.proof.cases.discs`.
"""

from itertools import pairwise

import numpy as np
import pytest

from studies.questions.proof.cases.discs import (
    BROADSIDE_KA,
    POLAR,
    THICKNESSES,
    free_disc,
    in_plane_wave,
)

KH_OF_A_THIN_PLATE = 0.5


def broadside_field(ka: float, thickness: float) -> np.ndarray:
    """|f| at 0, 30 and 60 degrees from the direction of travel."""
    return np.abs(in_plane_wave(ka, thickness).far_field(90.0 - POLAR)[:, 0])


@pytest.mark.parametrize("ka", BROADSIDE_KA)
def test_differences_shrink_with_the_thickness(ka: float) -> None:
    thin = [h for h in THICKNESSES if ka * h <= KH_OF_A_THIN_PLATE]
    exact = np.abs(free_disc(ka).far_field(POLAR))
    away = [np.abs(broadside_field(ka, h) - exact).max() for h in thin]
    assert len(away) > 1
    assert all(thinner < thicker for thicker, thinner in pairwise(away))


@pytest.mark.parametrize("ka", [0.05, 0.1])
def test_the_reference_of_proof_is_that_of_long_waves(ka: float) -> None:
    """Bouwkamp (1954) [from memory]: three terms of a series in (ka)^2."""
    known = 16.0 * ka**4 / (27.0 * np.pi**2) * (1.0 + 8.0 / 25.0 * ka**2 + 311.0 / 6125.0 * ka**4)
    assert free_disc(ka).impedance.real == pytest.approx(known, rel=ka**6)
    # The optical theorem: the section from the field straight ahead.
    [ahead] = free_disc(ka).far_field([0.0])
    assert 4.0 / ka * abs(ahead.imag) == pytest.approx(known, rel=ka**6)


@pytest.mark.parametrize("thickness", THICKNESSES)
def test_plate_is_a_disc_a_little_larger(thickness: float) -> None:
    """Long waves: f(0) - f(180 deg) is the dipole, k^2 / (2 pi) times 8/3 of the radius cubed.

    The plate holds the thin disc of radius 1, and acts at most as a disc larger by the shift of
    its rim at the distance L = 1.
    """
    ka = 0.01
    far = in_plane_wave(ka, thickness).far_field([90.0, -90.0])[:, 0]
    dipole = abs(far[0] - far[1]) * 2.0 * np.pi / ka**2 / (8.0 / 3.0)
    at_most = 1.0 + thickness / (2.0 * np.pi) * (1.0 + np.log(4.0 * np.pi / thickness))
    assert 1.0 < dipole < at_most**3
