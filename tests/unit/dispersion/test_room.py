"""First bounces at a seat: geometry and levels by hand, and what is refused."""

import math

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.room import SURFACES, Bounce, Place, Room, RoomError, first_bounces

AIR = Air()
ELEVATIONS = np.linspace(-90.0, 90.0, 361)
OMNI = np.zeros((1, ELEVATIONS.size))
ROOM = Room(5.0, 4.0, 2.5, 0.0)
SPEAKER, SEAT = Place(1.0, 2.0, 0.9), Place(2.0, 2.0, 0.9)


def bounces(room: Room = ROOM, speaker=SPEAKER, seat=SEAT, level=OMNI, f=(1000.0,)):
    found = first_bounces(room, speaker, seat, ELEVATIONS, level, f, AIR)
    return {bounce.surface: bounce for bounce in found}


def air_loss(bounce: Bounce, direct: float, f: float = 1000.0) -> float:
    return float(AIR.absorption(f)) * (bounce.path_m - direct)


def test_floor_bounce_of_two_points_a_metre_apart():
    # Common practice, no source: at 0.9 m height and 1 m apart the floor comes 3.1 ms late.
    floor = bounces()["floor"]
    assert round(floor.delay_ms, 1) == 3.1
    assert floor.path_m == pytest.approx(math.hypot(1.0, 1.8))
    assert floor.level_db[0] == pytest.approx(
        -20.0 * math.log10(math.hypot(1.0, 1.8)) - air_loss(floor, 1.0)
    )


def test_directions():
    found = bounces(seat=Place(2.0, 2.0, 1.2))
    assert tuple(found) == SURFACES
    down, up = -math.degrees(math.atan(2.1)), math.degrees(math.atan(2.9))
    floor, ceiling = found["floor"], found["ceiling"]
    assert (floor.elevation_deg, floor.departure_elevation_deg) == pytest.approx((down, down))
    assert (ceiling.elevation_deg, ceiling.departure_elevation_deg) == pytest.approx((up, up))
    azimuths = {name: bounce.azimuth_deg for name, bounce in found.items()}
    # Speaker 1 m from the seat towards the corner end, both midway between the sides 4 m apart.
    aside = math.degrees(math.atan2(4.0, -1.0))
    assert azimuths == pytest.approx(
        {
            "floor": 180.0,
            "ceiling": 180.0,
            "corner end wall": 180.0,
            "far end wall": 0.0,
            "corner side wall": -aside,
            "far side wall": aside,
        }
    )
    end = found["corner end wall"]
    rise = math.degrees(math.atan(0.3 / 3.0))
    assert (end.elevation_deg, end.departure_elevation_deg) == pytest.approx((-rise, rise))


def test_pattern_counts_at_the_departure_angle():
    # Power cos^2(elevation): the floor bounce leaves at atan(1.8), the direct sound level.
    power = np.cos(np.radians(ELEVATIONS)) ** 2
    level = 10.0 * np.log10(np.maximum(power, 1e-20))[None, :]
    floor = bounces(level=level)["floor"]
    path = math.hypot(1.0, 1.8)
    expected = 20.0 * math.log10((1.0 / path) / path) - air_loss(floor, 1.0)
    # Linear between samples half a degree apart: within the chord's h^2 / 8 of cos^2's curvature.
    chord = 2.0 * math.radians(0.5) ** 2 / 8.0 * path**2
    assert floor.level_db[0] == pytest.approx(expected, abs=10.0 * math.log10(1.0 + chord))


def test_pattern_has_no_reference():
    level = np.stack([np.full(ELEVATIONS.size, 7.0), np.full(ELEVATIONS.size, -50.0)])
    two = bounces(level=level, f=(1000.0, 1000.0))["ceiling"].level_db
    assert two == pytest.approx(np.repeat(bounces()["ceiling"].level_db, 2))


def test_absorption_by_octave_and_surface():
    felt = {500.0: 0.3, 1000.0: 0.5, 2000.0: 0.9}
    surfaces = dict.fromkeys(SURFACES, 0.0) | {"ceiling": felt, "floor": 0.2}
    f = (100.0, 630.0, 800.0, 2500.0)
    bare, covered = (
        bounces(Room(5.0, 4.0, 2.5, a), level=np.zeros((4, ELEVATIONS.size)), f=f)
        for a in (0.0, surfaces)
    )
    loss = covered["ceiling"].level_db - bare["ceiling"].level_db
    # Straight over the logarithm of the frequency from 0.3 to 0.5 and to 0.9; beyond, held.
    at_630, at_800 = (0.3 + 0.2 * math.log2(f / 500.0) for f in (630.0, 800.0))
    kept = 1.0 - np.array([0.3, at_630, at_800, 0.9])
    assert loss == pytest.approx(10.0 * np.log10(kept))
    assert covered["floor"].level_db - bare["floor"].level_db == pytest.approx(10 * np.log10(0.8))
    assert np.array_equal(covered["corner end wall"].level_db, bare["corner end wall"].level_db)


def test_all_absorbed_is_silence_and_no_error():
    assert bounces(Room(5.0, 4.0, 2.5, 1.0))["floor"].level_db[0] < -200.0


def test_air_takes_the_treble_of_the_longer_path():
    found = bounces(level=np.zeros((3, ELEVATIONS.size)), f=(25.0, 1000.0, 16000.0))["far end wall"]
    # 7 m against 1 m.
    spread = -20.0 * math.log10(7.0)
    assert found.level_db[0] == pytest.approx(spread, abs=1e-2)
    assert found.level_db[2] == pytest.approx(spread - 6.0 * float(AIR.absorption(16000.0)))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Room(5000.0, 4.0, 2.5), "room length .* metres"),
        (lambda: Room(5.0, 4.0, math.nan), "room height"),
        (lambda: Room(5.0, 4.0, 2.5, 1.2), "floor: absorption 1.2 .* count as 1"),
        (lambda: Room(5.0, 4.0, 2.5, {"floor": 0.1}), "one for each of floor, ceiling"),
        (lambda: Room(5.0, 4.0, 2.5, {key: {} for key in SURFACES}), "octave centres"),
        (lambda: bounces(speaker=Place(5.5, 2.0, 0.9)), "speaker is outside .* 0 and 5 m"),
        (lambda: bounces(seat=Place(2.0, 2.0, 2.5)), "seat is outside .* its height of 2.5 m"),
        (lambda: bounces(seat=Place(1.1, 2.0, 0.9)), "move it at least 0.3 m away"),
        (lambda: bounces(level=np.zeros((2, ELEVATIONS.size))), "one row"),
        (lambda: bounces(f=(0.0,)), "above 0"),
    ],
)
def test_complaints_name_the_remedy(call, words):
    with pytest.raises(RoomError, match=words):
        call()
