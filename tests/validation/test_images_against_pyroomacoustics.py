"""First bounces of an omnidirectional source against the image source model of pyroomacoustics.

Scheibler, Bezzam & Dokmanic, Pyroomacoustics, ICASSP 2018: `ShoeBox` with `max_order=1` gives the
image positions and the product of the walls' amplitude reflection factors, sqrt(1 - absorption);
a path of length d then has the amplitude factor / (4 pi d). It computes in single precision.
"""

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.room import SURFACES, Place, Room, first_bounces

pra = pytest.importorskip("pyroomacoustics")

SINGLE = 1e-6
"""A few units of single precision's 1.2e-7, in metres at the room's size and in ratios."""

ABSORPTION = {
    "floor": 0.05,
    "ceiling": 0.6,
    "west wall": 0.1,
    "east wall": 0.2,
    "south wall": 0.3,
    "north wall": 0.4,
}
SIDES = (6.1, 4.3, 2.6)
SPEAKER, SEAT = (1.2, 1.5, 0.95), (3.9, 2.7, 1.15)


@pytest.fixture(scope="module")
def theirs() -> dict[tuple[float, ...], float]:
    """Position of each image of the speaker, and the pressure of its path at the seat."""
    materials = {name.split()[0]: pra.Material(share) for name, share in ABSORPTION.items()}
    room = pra.ShoeBox(SIDES, fs=48000, materials=materials, max_order=1)
    room.add_source(SPEAKER)
    room.add_microphone(SEAT)
    room.image_source_model()
    source = room.sources[0]
    images = source.images.T.astype(float)
    distance = np.linalg.norm(images - SEAT, axis=1)
    pressure = source.damping[0].astype(float) / (4.0 * np.pi * distance)
    return {tuple(i): float(p) for i, p in zip(images, pressure, strict=True)}


def test_positions_and_amplitudes_of_the_six_images(theirs) -> None:
    air = Air()
    elevations = np.linspace(-90.0, 90.0, 181)
    found = first_bounces(
        Room(*SIDES, ABSORPTION),
        Place(*SPEAKER),
        Place(*SEAT),
        elevations,
        np.zeros((1, elevations.size)),
        [1000.0],
        air,
    )
    direct = float(np.linalg.norm(np.subtract(SEAT, SPEAKER)))
    images = np.array(list(theirs))
    assert len(images) == 1 + len(SURFACES)
    unmatched = set(range(len(images)))
    for bounce in found:
        azimuth, elevation = np.radians([bounce.azimuth_deg, bounce.elevation_deg])
        towards = np.array(
            [
                np.cos(elevation) * np.cos(azimuth),
                np.cos(elevation) * np.sin(azimuth),
                np.sin(elevation),
            ]
        )
        image = np.array(SEAT) + bounce.path_m * towards
        apart = np.linalg.norm(images - image, axis=1)
        match = int(np.argmin(apart))
        assert apart[match] < SINGLE * max(SIDES) * 2
        unmatched.remove(match)
        pressure = theirs[tuple(images[match])]
        # Their model has no air absorption unless asked for: it is taken out of ours.
        level = bounce.level_db[0] + float(air.absorption(1000.0)) * (bounce.path_m - direct)
        ours = 10.0 ** (level / 20.0) / (4.0 * np.pi * direct)
        assert ours == pytest.approx(pressure, rel=SINGLE)
        assert bounce.delay_s == pytest.approx((np.linalg.norm(image - SEAT) - direct) / air.speed)
    (left,) = unmatched
    assert np.allclose(images[left], SPEAKER, rtol=0.0, atol=SINGLE)
