"""The example designs on finer meshes; the order of convergence is a check of `proof`."""

import pytest
from bodies import (
    AIR,
    EXAMPLES,
    LEVEL_TOLERANCE_DB,
    built,
    level_error,
)

from dispersion.waves import WaveSettings, axial_motion, solve
from studies.questions.proof.cases.meshes import ELEVATIONS


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("frequency", [250.0, 1e3, 4e3, 8e3, 16e3])
def test_default_mesh_of_the_examples(name: str, frequency: float) -> None:
    """The examples' own ways: the default mesh against one four times as fine."""
    assembly = built(name)
    drives = [axial_motion(way.name, way.parts, AIR) for way in assembly.ways]
    found, fine = (
        solve(assembly.bodies, frequency, drives, AIR, settings=choice).far_field(ELEVATIONS)
        for choice in (WaveSettings(), WaveSettings().finer(4.0))
    )
    for w in range(len(drives)):
        assert level_error(found[:, w], fine[:, w]) < LEVEL_TOLERANCE_DB
