"""A rigid sphere in a plane wave and beside a point source.

Numbers and sources: `studies.questions.proof.cases.sphere_scattering`.
"""

import pytest

from studies.questions.proof.cases.sphere_scattering import (
    BOSS,
    PLANE_WAVE,
    POINT_SOURCE,
    beside_off_the_axis,
    beside_on_the_axis,
    boss,
    optical_theorem,
    scattered,
    surface_pressure,
    wave_across_the_axis,
)


@pytest.mark.parametrize("ka", PLANE_WAVE)
def test_pressure_on_the_surface(ka: float) -> None:
    assert surface_pressure(ka).held


@pytest.mark.parametrize("ka", PLANE_WAVE)
def test_scattered_far_field(ka: float) -> None:
    compared = scattered(ka)
    assert len(compared.at) >= 5
    assert compared.held


@pytest.mark.parametrize("ka", [1, 2, 3, 5, 10, 20])
def test_optical_theorem(ka: float) -> None:
    assert optical_theorem(ka).held


@pytest.mark.parametrize("ka", [1, 5, 10])
def test_plane_wave_across_the_axis(ka: int) -> None:
    assert wave_across_the_axis(ka).held


@pytest.mark.parametrize("ka", BOSS)
def test_hemispherical_boss(ka: float) -> None:
    assert boss(ka).held


@pytest.mark.parametrize("k", POINT_SOURCE)
def test_point_source_on_the_axis(k: float) -> None:
    assert beside_on_the_axis(k).held


@pytest.mark.parametrize("k", POINT_SOURCE)
def test_point_source_off_the_axis(k: int) -> None:
    assert beside_off_the_axis(k).held
