"""Air: ranges, orders of magnitude and how the formulas hang together."""

import numpy as np
import pytest

from dispersion.air import Air, AirError, absorption, density, speed_of_sound, water_fraction
from studies.design.tables import AirTable


def test_air_gathers_the_three_formulas():
    air = Air(temperature_c=25.0, humidity_percent=40.0, pressure_pa=95e3)
    assert air.speed == speed_of_sound(25.0, 40.0, 95e3)
    assert air.density == density(25.0, 40.0, 95e3)
    assert np.array_equal(air.absorption([500.0, 5e3]), absorption([500.0, 5e3], 25.0, 40.0, 95e3))


def test_warm_and_humid_air_is_faster_and_lighter():
    assert Air(25.0).speed > Air(20.0).speed
    assert Air(20.0, 90.0).speed > Air(20.0, 10.0).speed
    assert Air(25.0).density < Air(20.0).density
    assert Air(20.0, 90.0).density < Air(20.0, 10.0).density


def test_dry_air_holds_no_water_and_water_follows_humidity():
    assert water_fraction(20.0, 0.0, 101325.0) == 0.0
    half, full = (water_fraction(20.0, humidity, 101325.0) for humidity in (50.0, 100.0))
    assert full == pytest.approx(2.0 * half)


def test_absorption_keeps_the_shape_of_the_frequencies():
    assert absorption(1000.0, 20.0, 50.0).shape == ()
    assert absorption(np.full((2, 3), 1000.0), 20.0, 50.0).shape == (2, 3)


def test_absorption_rises_with_frequency():
    assert np.all(np.diff(Air().absorption(np.geomspace(50.0, 20e3, 40))) > 0.0)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"temperature_c": 31.0}, "temperature 31 degrees Celsius"),
        ({"temperature_c": -1.0}, "0 to 30 degrees Celsius"),
        ({"temperature_c": float("nan")}, "temperature nan"),
        ({"humidity_percent": 101.0}, "humidity 101 percent"),
        ({"pressure_pa": 1013.25}, "75000 to 102000 Pa"),
    ],
)
def test_air_outside_the_formulas_is_refused(settings, words):
    with pytest.raises(AirError, match=words):
        Air(**settings)


@pytest.mark.parametrize(
    ("frequency", "temperature_c", "humidity_percent", "words"),
    [
        (20.0, 20.0, 50.0, "frequency 20 Hz"),
        (2e6, 20.0, 50.0, "frequency 2e\\+06 Hz"),
        (1e3, 51.0, 50.0, "ISO 9613-1"),
        (1e3, 20.0, 0.0, "humidity 0 percent"),
        (1e3, 20.0, 120.0, "humidity 120 percent"),
    ],
)
def test_absorption_outside_its_range_is_refused(frequency, temperature_c, humidity_percent, words):
    with pytest.raises(AirError, match=words):
        absorption(frequency, temperature_c, humidity_percent)


@pytest.mark.parametrize("temperature_c", [0.0, 15.0, 30.0])
def test_the_driest_air_of_a_design_file_is_within_every_formula(temperature_c):
    dry = AirTable.model_json_schema()["properties"]["humidity"]["minimum"]
    assert Air(temperature_c, dry).absorption(1e3) > 0.0
