"""Air against published tables.

Absorption: ISO 9613-1:1993, Table 1 (dB/km at 101.325 kPa, exact midband frequencies), and
ISO 9613-2:1996, Table 2. Speed of sound: O. Cramer, J. Acoust. Soc. Am. 93, 2510 (1993), and
ISO 9613-1, as evaluated by pyfar 0.8.1. Density: Ostashev and Wilson, Acoustics in Moving
Inhomogeneous Media (2015), section 6.3, as evaluated by pyfar 0.8.1.
"""

import numpy as np
import pytest

from dispersion.air import REFERENCE_PRESSURE, Air
from studies.questions.proof.cases.standards import exact_midband


def test_absorption_at_every_octave_of_the_equation():
    # ISO 9613-1, Eq. (3) to (5), at 20 degrees and 50 percent, evaluated by pyfar 0.8.1.
    nominal = (125, 250, 500, 1000, 2000, 4000, 8000, 16000, 20000)
    expected = (0.4453, 1.3180, 2.7335, 4.6647, 9.8552, 29.4192, 103.9122, 358.7567, 522.2123)
    per_km = 1000.0 * Air(20.0, 50.0).absorption([exact_midband(f) for f in nominal])
    assert np.allclose(per_km, expected, atol=6e-5)


def test_humidity_is_worth_less_than_three_parts_in_a_thousand():
    # Against ISO 9613-1's 343.2 sqrt(T / 293.15), which leaves it out.
    for temperature in (0.0, 10.0, 20.0):
        without = 343.2 * np.sqrt((temperature + 273.15) / 293.15)
        assert Air(temperature, 50.0).speed == pytest.approx(without, rel=3e-3)


def test_pyfar_agrees_where_it_is_installed():
    constants = pytest.importorskip("pyfar").constants
    f = np.geomspace(50.0, 20e3, 30)
    for temperature, humidity, pressure in ((3.0, 30.0, 80e3), (27.0, 85.0, REFERENCE_PRESSURE)):
        air = Air(temperature, humidity, pressure)
        attenuation, _, _ = constants.air_attenuation(temperature, f, humidity / 100.0, pressure)
        speed = constants.speed_of_sound_cramer(
            temperature, humidity / 100.0, co2_ppm=425.0, atmospheric_pressure=pressure
        )
        density = constants.density_of_air(temperature, humidity / 100.0, pressure)
        assert air.speed == pytest.approx(float(speed), rel=1e-9)
        assert air.density == pytest.approx(float(density), rel=5e-4)
        if pressure == REFERENCE_PRESSURE:
            assert np.allclose(air.absorption(f), np.ravel(attenuation), rtol=1e-9)
