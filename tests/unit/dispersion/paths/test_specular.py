"""Mirror points beside what `proof` holds of them: caustics that are counted, and long waves."""

import numpy as np
import pytest

from dispersion.paths.fans import SourceRings
from dispersion.paths.half_rings import pressure
from dispersion.paths.scene import numbered_rows, scene_of
from dispersion.paths.specular import waves_at
from dispersion.paths.tubes import NEXT_TO, tubes_of
from shapes.meridian import Conic, Piece
from studies.questions.proof.cases.mirror_points import POINT, discs, towards


def test_a_focus_past_the_mirror_is_counted_where_it_is_passed() -> None:
    """An ellipsoid lit from one focus, 0.4 m by way of its wall to the other: half a wave beyond.

    Right after the wall no tube has been without width; the turn comes with the distance.
    """
    shell: Piece = Conic((0.0, 0.1), (0.15, 0.0), (0.0, 0.0), (0.0, -0.5), "shell")
    rings = SourceRings(scene_of(numbered_rows([(shell, 1)])), np.array([1e-9]), 0.0, 1.0)
    turns, ring = np.array([0.3, 0.8, 1.3]), np.zeros(3, dtype=int)
    rays, beside = rings.trace(ring, turns), rings.trace(ring, turns + NEXT_TO)
    assert np.all(rays.bounces == 1)
    tube = tubes_of(rays, beside)
    assert tube.caustics.tolist() == [0, 0, 0]
    other = 0.4 - rays.legs[:, 0]
    for share, turn in ((0.99, 0.0), (1.01, np.pi)):
        size, _ = tube.size(share * other)
        assert np.abs(np.angle(size)) == pytest.approx(turn)


def test_a_baffle_much_smaller_than_a_wave_doubles_nothing() -> None:
    """Long waves bend round it: the half of a point source in a wall, up and down alike."""
    elevations = np.array([-80.0, -30.0, 0.0, 30.0, 80.0])
    waves = waves_at(discs(POINT), towards(elevations))
    found = pressure(waves, 5, np.array([1e-6]), np.ones((1, 1)))
    assert np.abs(found) == pytest.approx(0.5, abs=2e-3)
