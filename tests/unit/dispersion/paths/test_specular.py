"""Mirror points in curved surfaces against closed forms: planes, a ball, conics, edges."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import j0

from dispersion.paths.fans import SourceRings
from dispersion.paths.half_rings import pressure
from dispersion.paths.images import FAR
from dispersion.paths.mirrors import Mirrors, paths_to, paths_towards
from dispersion.paths.scene import numbered_rows, scene_of
from dispersion.paths.specular import Waves, waves_at
from dispersion.paths.tubes import NEXT_TO, Tubes, tubes_of
from shapes.meridian import Arc, Conic, Line, Piece

GAP, BAFFLE, PLATE = 0.1, 0.15, 0.2
ALMOST_A_POINT = 1e-7
BALL = 0.1


def discs(
    radii: np.ndarray, z: float = 0.0, baffle: float = BAFFLE, plate: float = PLATE
) -> SourceRings:
    pieces: list[tuple[Piece, int]] = [(Line((baffle, 0.0), (0.0, 0.0), "baffle"), 1)]
    if plate:
        pieces.append((Line((0.0, GAP), (plate, GAP), "plate"), 2))
    return SourceRings(scene_of(numbered_rows(pieces)), radii, z, baffle)


def towards(elevations: np.ndarray) -> np.ndarray:
    angle = np.radians(elevations)
    return FAR * np.column_stack((np.cos(angle), np.sin(angle)))


def without_edges(waves: Waves) -> Waves:
    return replace(waves, size=np.where(np.isnan(waves.detour), waves.size, 0.0))


def tubes(piece: Piece, turns: np.ndarray, z: float = 0.0) -> tuple[Tubes, np.ndarray]:
    """Tubes from a point on the axis, once reflected, and how far it is to the mirror."""
    rings = SourceRings(scene_of(numbered_rows([(piece, 1)])), np.array([1e-9]), z, 1.0)
    ring = np.zeros(len(turns), dtype=int)
    rays, beside = rings.trace(ring, turns), rings.trace(ring, turns + NEXT_TO * turns.max())
    assert np.all(rays.bounces == 1)
    return tubes_of(rays, beside), rays.legs[:, 0]


@pytest.mark.parametrize("height", [0.0, 0.03])
def test_plane_mirrors_are_exactly_their_images(height: float) -> None:
    """Paths and levels of the image sources; at these angles none has more than a few bounces."""
    elevations = np.array([-50.0, -33.0, -20.0, -7.0, 8.0, 21.0, 35.0, 48.0, 55.0])
    k, rings = np.array([20.0, 90.0, 300.0]), discs(np.array([ALMOST_A_POINT]), height)
    gain = 1.0 if height == 0.0 else 0.5
    waves = without_edges(waves_at(rings, towards(elevations)))
    found = gain * pressure(waves, len(elevations), k, np.ones((3, 1)))
    exact = paths_towards(Mirrors(GAP, BAFFLE, PLATE), elevations, height).pressure(k)
    assert found == pytest.approx(exact, abs=1e-4)


def test_places_nearby_hear_the_images_too() -> None:
    points, k = np.array([[0.3, 0.02], [0.6, -0.1], [0.25, 0.09]]), np.array([20.0, 90.0])
    waves = without_edges(waves_at(discs(np.array([ALMOST_A_POINT]), 0.04), points))
    found = 0.5 * pressure(waves, len(points), k, np.ones((2, 1)))
    exact = paths_to(Mirrors(GAP, BAFFLE, PLATE), points, 0.04).pressure(k)
    assert found == pytest.approx(exact, abs=1e-5)


def test_both_halves_of_a_ring_are_the_ring() -> None:
    """J0(k s cos(elevation)): a ring of sources in an endless baffle."""
    elevations, k = np.array([1.0, 20.0, 60.0, 85.0]), np.array([5.0, 80.0, 400.0])
    waves = without_edges(waves_at(discs(np.array([0.05]), plate=0.0), towards(elevations)))
    found = pressure(waves, len(elevations), k, np.ones((3, 1)))
    ring = j0(k[:, None] * 0.05 * np.cos(np.radians(elevations)))
    assert found == pytest.approx(ring + 0j, abs=1e-4)


def test_a_ball_far_away_sends_half_its_radius_everywhere() -> None:
    """Geometrical optics of a rigid ball in a plane wave: a / (2 R) in every direction.

    Bowman, Senior & Uslenghi, Electromagnetic and Acoustic Scattering by Simple Shapes (1969),
    10.3. The wave is plane to a part in `BALL` over the distance to the source.
    """
    below = Arc((0.0, -BALL), (BALL, 0.0), (0.0, 0.0), clockwise=False, part="ball")
    source = 100.0
    turns = np.arcsin(np.array([0.05, 0.3, 0.7, 0.95]) * BALL / source)
    tube, _ = tubes(below, turns, -source)
    far = np.full(4, 1e7)
    size, _ = tube.size(far)
    assert size * source * far == pytest.approx(BALL / 2.0 + 0j, rel=2.0 * BALL / source)


def test_a_paraboloid_sends_a_plane_wave_from_its_focus() -> None:
    """Rays leave it parallel: the level stays that at the mirror, one over the way there."""
    dish = Conic((0.0, 0.1), (0.2, 0.0), (0.0, 0.0), (0.0, -1.0), "dish")
    tube, way = tubes(dish, np.array([0.2, 0.7, 1.2]))
    assert tube.widens * way == pytest.approx(0.0, abs=1e-6 * way.max())
    for end in (0.0, 1.0, 50.0):
        size, _ = tube.size(np.full(3, end))
        assert size == pytest.approx(1.0 / way + 0j, rel=1e-4)


def test_a_focus_turns_the_phase_by_half_a_wave() -> None:
    """From one focus of an ellipsoid to the other, and 1 m beyond it as from a point there."""
    shell = Conic((0.0, 0.1), (0.15, 0.0), (0.0, 0.0), (0.0, -0.5), "shell")
    tube, way = tubes(shell, np.array([0.3, 0.8, 1.3]))
    assert tube.caustics.tolist() == [0, 0, 0]
    other = 0.4 - way  # twice half the long axis, 0.15 / (1 - 0.5^2)
    size, _ = tube.size(other + 1.0)
    assert size == pytest.approx(-other / way, rel=1e-3)


def test_an_edge_halves_the_pressure_on_the_boundary() -> None:
    """Along a baffle past its edge, at every frequency: the knife edge of Fresnel."""
    k = np.array([0.5, 30.0, 700.0])
    waves = waves_at(discs(np.array([ALMOST_A_POINT]), plate=0.0), towards(np.array([0.0])))
    assert np.abs(pressure(waves, 1, k, np.ones((3, 1)))) == pytest.approx(0.5, abs=1e-3)


def test_a_baffle_much_smaller_than_a_wave_doubles_nothing() -> None:
    """Long waves bend round it: the half of a point source in a wall, up and down alike."""
    elevations = np.array([-80.0, -30.0, 0.0, 30.0, 80.0])
    waves = waves_at(discs(np.array([ALMOST_A_POINT]), plate=0.0), towards(elevations))
    found = pressure(waves, 5, np.array([1e-6]), np.ones((1, 1)))
    assert np.abs(found) == pytest.approx(0.5, abs=2e-3)
