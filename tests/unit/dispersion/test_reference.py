import numpy as np
import pytest

from dispersion.bands import band_edges, study_frequencies, third_octave_centres
from dispersion.driver_curve import DriverCurve
from dispersion.reference import FAINTEST, Reference, flat
from dispersion.sources import Crossover, Way

F = np.geomspace(100.0, 10e3, 40)
CURVE = DriverCurve((50.0, 20e3), (90.0, 78.0), (0.0, -120.0), zero_db=84.0)
UNTIMED = DriverCurve((50.0, 20e3), (90.0, 78.0))
LOW = Crossover("linkwitz-riley", 4, 2000.0, "low")
HIGH = Crossover("linkwitz-riley", 4, 2000.0, "high")


def cone(frequencies: np.ndarray) -> np.ndarray:
    """Two ways whose cones do something: a dip and a delay, a rise."""
    dip = 1.0 - 0.6 / (1.0 + 1j * (frequencies / 3000.0 - 3000.0 / frequencies))
    return np.array([dip * np.exp(1e-4j * frequencies), 1.0 + frequencies / 5000.0])


def test_a_driver_alone_is_0_db_whatever_its_ways() -> None:
    ways = (
        Way(name="driver", crossovers=(LOW,), level_db=3.0, curve=CURVE),
        Way(name="tweeter", crossovers=(HIGH,), polarity=-1),
    )
    reference = Reference(ways, cone)
    assert np.sum(reference.transfer(F) * cone(F), axis=0) == pytest.approx(1.0 + 0j)


def test_a_curve_counts_the_cone_once() -> None:
    """Alone it is the curve, its phase if it has one, else the cone's; the cone is not in twice."""
    timed = Reference((Way(name="driver", curve=CURVE),), lambda f: cone(f)[:1])
    assert timed.alone(F) == pytest.approx(CURVE.response(F))
    untimed = Reference((Way(name="driver", curve=UNTIMED),), lambda f: cone(f)[:1])
    assert np.abs(untimed.alone(F)) == pytest.approx(UNTIMED.response(F).real)
    assert np.angle(untimed.alone(F)) == pytest.approx(np.angle(cone(F)[0]))
    # One way alone: what is heard re 0 dB does not depend on its curve.
    plain = Reference((Way(name="driver"),), lambda f: cone(f)[:1])
    assert timed.transfer(F) == pytest.approx(plain.transfer(F))


def test_ways_that_cancel_leave_a_floor_under_0_db() -> None:
    ways = (Way(name="driver"), Way(name="tweeter", polarity=-1))
    assert np.abs(Reference(ways, flat(2)).alone(F)) == pytest.approx(FAINTEST * np.sqrt(2.0))


def test_a_band_value_is_the_mean_power_over_that_of_the_driver_alone() -> None:
    reference = Reference((Way(name="driver"),), lambda f: cone(f)[:1])
    f = study_frequencies(2500.0, 3150.0, 24)
    low, high = np.split(np.abs(cone(f)[0]) ** 2, 2)
    drive = np.abs(reference.in_bands(f)[0]) ** -2.0
    assert drive == pytest.approx(np.repeat([low.mean(), high.mean()], 24))
    # An edge belongs to the band above it.
    edge = band_edges(third_octave_centres(2500.0, 2500.0))[1]
    assert np.abs(reference.in_bands(edge)[0]) ** -2.0 == pytest.approx(high.mean())
