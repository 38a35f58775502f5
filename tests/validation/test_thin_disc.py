"""Rigid plates as thin as the disc of the theory.

Numbers and sources: `studies.questions.proof.cases.discs`.
"""

from itertools import pairwise

import numpy as np
import pytest

from studies.questions.proof.cases.discs import (
    BROADSIDE,
    OSCILLATING,
    THICKNESSES,
    both_faces,
    broadside,
    in_plane_wave,
    oscillating,
)

KH_OF_A_THIN_PLATE = 0.5


def broadside_field(ka: float, thickness: float) -> np.ndarray:
    """|f| at 0, 30 and 60 degrees from the direction of travel."""
    return np.abs(in_plane_wave(ka, thickness).far_field([90.0, 60.0, 30.0])[:, 0])


@pytest.mark.parametrize("ka", BROADSIDE)
def test_differences_shrink_with_the_thickness(ka: float) -> None:
    thin = [h for h in THICKNESSES if ka * h <= KH_OF_A_THIN_PLATE]
    exact = np.array(BROADSIDE[ka][:3])
    away = [np.abs(broadside_field(ka, h) - exact).max() for h in thin]
    assert len(away) > 1
    assert all(thinner < thicker for thicker, thinner in pairwise(away))


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


@pytest.mark.parametrize("ka", BROADSIDE)
def test_broadside_scattering(ka: float) -> None:
    assert broadside(ka).held


@pytest.mark.parametrize("ka", BROADSIDE)
def test_pressure_on_both_faces(ka: float) -> None:
    assert both_faces(ka).held


@pytest.mark.parametrize("ka", OSCILLATING)
def test_oscillating_disc(ka: float) -> None:
    assert oscillating(ka).held
