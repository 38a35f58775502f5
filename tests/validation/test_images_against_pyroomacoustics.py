"""First bounces of an omnidirectional source against the image source model of pyroomacoustics.

Scheibler, Bezzam & Dokmanic, Pyroomacoustics, ICASSP 2018 [from memory]: `ShoeBox` with
`max_order=1` gives the image positions and, for each octave, the product of the walls' amplitude
reflection factors, sqrt(1 - absorption); a path of length d then has the amplitude
factor / (4 pi d). It computes in single precision, and that is all the difference allowed.

Found: images within 4e-7 m of ours, amplitudes within 1e-7 of theirs, with one absorption for each
surface and with one for each surface and octave (six octaves, 125 Hz to 4 kHz).
"""

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.room import SURFACES, Absorption, Bounce, Place, Room, first_bounces

pra = pytest.importorskip("pyroomacoustics")

SINGLE = 1e-6
"""A few units of single precision's 1.2e-7, in metres at the room's size and in ratios."""

SIDES = (6.1, 4.3, 2.6)
SPEAKER, SEAT = (1.2, 1.5, 0.95), (3.9, 2.7, 1.15)
DIRECT = float(np.linalg.norm(np.subtract(SEAT, SPEAKER)))
OCTAVES = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0)
SAMPLE_RATE = 8000
"""Its octave bands then end with the last of `OCTAVES`."""

ONE_NUMBER: dict[str, Absorption] = {
    "floor": 0.05,
    "ceiling": 0.6,
    "corner end wall": 0.1,
    "far end wall": 0.2,
    "corner side wall": 0.3,
    "far side wall": 0.4,
}
BY_OCTAVE: dict[str, Absorption] = {
    surface: dict(zip(OCTAVES, shares, strict=True))
    for surface, shares in {
        "floor": (0.11, 0.14, 0.37, 0.43, 0.27, 0.25),
        "ceiling": (0.45, 0.55, 0.6, 0.75, 0.8, 0.7),
        "corner end wall": (0.28, 0.22, 0.17, 0.09, 0.10, 0.11),
        "far end wall": (0.01, 0.02, 0.02, 0.03, 0.04, 0.05),
        "corner side wall": (0.05, 0.15, 0.35, 0.40, 0.50, 0.50),
        "far side wall": (0.35, 0.25, 0.18, 0.12, 0.07, 0.04),
    }.items()
}
THEIR_NAMES = {
    "floor": "floor",
    "ceiling": "ceiling",
    "corner end wall": "west",
    "far end wall": "east",
    "corner side wall": "south",
    "far side wall": "north",
}
"""Of our surfaces in `ShoeBox`: west is x = 0, south is y = 0."""
KINDS = pytest.mark.parametrize(
    "absorption", [ONE_NUMBER, BY_OCTAVE], ids=["one number", "octaves"]
)


def theirs(absorption: dict[str, Absorption]) -> tuple[np.ndarray, np.ndarray]:
    """Images of the speaker (I, 3), and the pressure of each path at the seat, (I, B)."""
    materials = {}
    for surface, share in absorption.items():
        if isinstance(share, dict):
            share = {"coeffs": list(share.values()), "center_freqs": list(share)}
        materials[THEIR_NAMES[surface]] = pra.Material(share)
    room = pra.ShoeBox(SIDES, fs=SAMPLE_RATE, materials=materials, max_order=1)
    room.add_source(SPEAKER)
    room.add_microphone(SEAT)
    room.image_source_model()
    source = room.sources[0]
    images = source.images.T.astype(float)
    distance = np.linalg.norm(images - SEAT, axis=1)
    return images, source.damping.T.astype(float) / (4.0 * np.pi * distance[:, None])


def ours(absorption: dict[str, Absorption]) -> tuple[Bounce, ...]:
    elevations = np.linspace(-90.0, 90.0, 181)
    level = np.zeros((len(OCTAVES), elevations.size))
    room, speaker, seat = Room(*SIDES, absorption), Place(*SPEAKER), Place(*SEAT)
    return first_bounces(room, speaker, seat, elevations, level, OCTAVES, Air())


def image_of(bounce: Bounce) -> np.ndarray:
    """Where the sound seems to come from, (3,)."""
    azimuth, elevation = np.radians([bounce.azimuth_deg, bounce.elevation_deg])
    flat = np.cos(elevation)
    towards = [flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)]
    return np.array(SEAT) + bounce.path_m * np.array(towards)


@KINDS
def test_the_six_images(absorption: dict[str, Absorption]) -> None:
    images, _ = theirs(absorption)
    found = [SPEAKER, *(image_of(bounce) for bounce in ours(absorption))]
    apart = np.linalg.norm(images[:, None] - np.array(found), axis=2)
    assert len(images) == 1 + len(SURFACES)
    assert sorted(apart.argmin(axis=1)) == list(range(len(images)))
    print(f"images apart by {apart.min(axis=1).max():.1e} m")
    assert apart.min(axis=1).max() < SINGLE * max(SIDES) * 2


@KINDS
def test_amplitude_and_delay_of_each_bounce(absorption: dict[str, Absorption]) -> None:
    images, pressure = theirs(absorption)
    air = Air()
    for bounce in ours(absorption):
        apart = np.linalg.norm(images - image_of(bounce), axis=1)
        # Their model has no air absorption unless asked for: it is taken out of ours.
        loss = air.absorption(np.array(OCTAVES)) * (bounce.path_m - DIRECT)
        found = 10.0 ** ((bounce.level_db + loss) / 20.0) / (4.0 * np.pi * DIRECT)
        expected = np.broadcast_to(pressure[apart.argmin()], found.shape)
        print(f"{bounce.surface}: amplitudes differ by {np.abs(found / expected - 1.0).max():.1e}")
        assert found == pytest.approx(expected, rel=SINGLE)
        path = np.linalg.norm(images[apart.argmin()] - SEAT)
        assert bounce.delay_s == pytest.approx((path - DIRECT) / air.speed, rel=SINGLE)
