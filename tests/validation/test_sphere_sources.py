"""Sources on a rigid sphere: numbers and sources in `proof.cases.sphere_sources`."""

import pytest

from studies.questions.proof.cases.sphere_sources import (
    AXIAL_CAP_CURVES,
    CAPS,
    POINT_SOURCE,
    POINT_SOURCE_ON_AXIS,
    SPHERE_KA,
    axial_cap_as_drawn,
    cap,
    oscillating_sphere,
    point_source,
    point_source_as_drawn,
    pulsating_sphere,
)


@pytest.mark.parametrize("kr", POINT_SOURCE)
def test_point_source(kr: float) -> None:
    compared = point_source(kr)
    assert len(compared.at) == 8
    assert compared.held


@pytest.mark.parametrize("point", POINT_SOURCE_ON_AXIS)
def test_point_source_on_the_axis_as_the_book_draws_it(point: tuple[float, float]) -> None:
    assert point_source_as_drawn(point).held


@pytest.mark.parametrize("row", CAPS, ids=lambda row: f"{row[0]}-{row[1]}deg-kR{row[2]}")
def test_cap(row) -> None:
    compared = cap(row)
    # The axis, some directions, directivity index, strength, power balance.
    assert len(compared.at) >= 7
    assert compared.held


@pytest.mark.parametrize("ka", AXIAL_CAP_CURVES)
def test_axial_cap_as_the_book_draws_it(ka: float) -> None:
    assert axial_cap_as_drawn(ka).held


@pytest.mark.parametrize("ka", SPHERE_KA)
def test_pulsating_sphere(ka: float) -> None:
    assert pulsating_sphere(ka).held


@pytest.mark.parametrize("ka", SPHERE_KA)
def test_oscillating_sphere(ka: float) -> None:
    assert oscillating_sphere(ka).held
