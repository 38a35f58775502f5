"""Meridians cut into elements."""

import math

import numpy as np
import pytest

from dispersion.waves import MeshSettings, build_mesh
from dispersion.waves.elements import DEGREE, basis
from shapes.meridian import Arc, Line, Meridian

SETTINGS = MeshSettings()
LONG_WAVE, SHORT_WAVE = 2.0, 0.02


def ball(radius: float = 0.1) -> Meridian:
    return Meridian((Arc((0.0, -radius), (0.0, radius), (0.0, 0.0), clockwise=False, part="ball"),))


def can(radius: float = 0.1, height: float = 0.9) -> Meridian:
    """Cylinder whose top's middle is the part "piston"."""
    corners = [(0.0, 0.0), (radius, 0.0), (radius, height), (0.5 * radius, height), (0.0, height)]
    labels = ("bottom", "side", "top", "piston")
    sides = zip(corners, corners[1:], labels, strict=False)
    return Meridian(tuple(Line(a, b, part) for a, b, part in sides))


def rounded_can() -> Meridian:
    return Meridian(
        (
            Line((0.0, 0.0), (0.1, 0.0), "bottom"),
            Line((0.1, 0.0), (0.1, 0.197), "side"),
            Arc((0.1, 0.197), (0.097, 0.2), (0.097, 0.197), clockwise=False, part="edge"),
            Line((0.097, 0.2), (0.0, 0.2), "top"),
        )
    )


def lengths(mesh) -> np.ndarray:
    shape = basis()
    return mesh.at(shape.points).jacobian @ shape.weights


@pytest.mark.parametrize(
    ("body", "beyond"),
    [
        (can(), {"side", "top", "piston"}),
        (rounded_can(), {"side", "edge", "top"}),
        (ball(), {"ball"}),
    ],
    ids=["can", "rounded", "ball"],
)
@pytest.mark.parametrize("wavelength", [LONG_WAVE, SHORT_WAVE])
def test_the_far_side_begins_at_the_widest_ring(
    body: Meridian, beyond: set[str], wavelength: float
) -> None:
    mesh = build_mesh([body], wavelength)
    assert set(mesh.parts[mesh.far_from :]) == beyond
    ends = mesh.at(np.array([-1.0, 1.0])).r
    assert ends[mesh.far_from, 0] == pytest.approx(ends.max(), rel=1e-9)
    assert mesh.unknowns_from(mesh.far_from).start == mesh.nodes[mesh.far_from, 0]


def test_what_ends_at_its_widest_ring_has_no_far_side() -> None:
    cone = Meridian((Line((0.0, 0.0), (0.1, 0.1), "cone"),))
    mesh = build_mesh([cone], LONG_WAVE)
    assert mesh.far_from == mesh.elements
    assert mesh.unknowns_from(mesh.far_from) == slice(mesh.unknowns, None)


@pytest.mark.parametrize("wavelength", [LONG_WAVE, SHORT_WAVE])
def test_arcs_are_arcs_to_ten_digits(wavelength: float) -> None:
    mesh = build_mesh([ball()], wavelength)
    at = mesh.at(np.linspace(-1.0, 1.0, 33))
    assert np.abs(np.hypot(at.r, at.z) / 0.1 - 1.0).max() < 1e-10
    assert lengths(mesh).sum() == pytest.approx(math.pi * 0.1, rel=1e-8)


def test_normals_point_into_the_air() -> None:
    mesh = build_mesh([ball()], 0.1)
    at = mesh.node_points()
    assert np.abs(at.normal_r - at.r / 0.1).max() < 1e-8
    assert np.abs(at.normal_z - at.z / 0.1).max() < 1e-8


@pytest.mark.parametrize("body", [ball(), can(), rounded_can()], ids=["ball", "can", "rounded"])
@pytest.mark.parametrize("wavelength", [LONG_WAVE, 0.1, SHORT_WAVE])
def test_no_element_is_longer_than_wave_and_curvature_allow(body, wavelength: float) -> None:
    mesh = build_mesh([body], wavelength)
    longest = DEGREE * wavelength / SETTINGS.unknowns_per_wavelength
    curvature = np.array([body.pieces[i].min_radius for i in mesh.piece]) * SETTINGS.most_turn
    # The count of elements on a piece is rounded to the nearest twentieth from below.
    assert np.all(lengths(mesh) <= 1.06 * np.minimum(longest, curvature))


def test_elements_shrink_towards_edges_and_where_the_drive_jumps() -> None:
    mesh = build_mesh([can()], SHORT_WAVE, SETTINGS, (frozenset({"piston"}),))
    longest = DEGREE * SHORT_WAVE / SETTINGS.unknowns_per_wavelength
    size, piece = lengths(mesh), mesh.piece
    for before in np.flatnonzero(piece[1:] != piece[:-1]):
        assert max(size[before], size[before + 1]) < 0.5 * longest
    # On the axis there is no edge.
    assert size[0] > 0.8 * longest


def test_a_flat_face_is_cut_at_the_drive_only_if_it_is_driven() -> None:
    assert build_mesh([can()], SHORT_WAVE, SETTINGS, (frozenset({"piston"}),)).elements > (
        build_mesh([can()], SHORT_WAVE).elements
    )


def test_elements_grow_no_faster_than_the_slope() -> None:
    """Sizes along the path differ by at most `growth` times the path between their middles."""
    mesh = build_mesh([rounded_can()], LONG_WAVE)
    size = lengths(mesh)
    apart = 0.5 * (size[1:] + size[:-1])
    assert np.all(np.abs(np.diff(size)) <= 1.15 * SETTINGS.growth * apart)


def test_neighbours_share_their_end_and_bodies_share_nothing() -> None:
    mesh = build_mesh([can(), ball(0.05).shifted(1.2)], 0.1)
    same = mesh.body[1:] == mesh.body[:-1]
    assert np.array_equal(mesh.nodes[1:, 0] == mesh.nodes[:-1, -1], same)
    assert mesh.unknowns == DEGREE * mesh.elements + 2
    at = mesh.node_points()
    r, z = np.empty(mesh.unknowns), np.empty(mesh.unknowns)
    r[mesh.nodes], z[mesh.nodes] = at.r, at.z
    assert np.abs(r[mesh.nodes] - at.r).max() < 1e-12
    assert np.abs(z[mesh.nodes] - at.z).max() < 1e-12
    assert np.abs(r[mesh.axis_nodes]).max() < 1e-12
    assert len(mesh.axis_nodes) == 4


def test_parts_follow_the_walk() -> None:
    mesh = build_mesh([can()], 0.2)
    assert tuple(dict.fromkeys(mesh.parts)) == ("bottom", "side", "top", "piston")


def test_finer_settings_give_finer_meshes() -> None:
    """Twice as fine: about twice the unknowns, whatever governs the size."""
    for wavelength in (LONG_WAVE, SHORT_WAVE):
        plain = build_mesh([rounded_can()], wavelength, SETTINGS).unknowns
        fine = build_mesh([rounded_can()], wavelength, SETTINGS.finer(2.0)).unknowns
        assert 1.7 < fine / plain < 2.4


def test_shape_functions_carry_quartics_exactly() -> None:
    shape = basis(7)
    quartic = np.polynomial.Polynomial([0.3, -1.0, 0.5, 2.0, -0.7])
    assert shape.values @ quartic(shape.nodes) == pytest.approx(quartic(shape.points), abs=1e-13)
    assert shape.slopes @ quartic(shape.nodes) == pytest.approx(
        quartic.deriv()(shape.points), abs=1e-12
    )
    assert shape.values.sum(axis=1) == pytest.approx(np.ones(7), abs=1e-14)
