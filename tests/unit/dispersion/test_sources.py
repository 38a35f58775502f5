"""Sources: crossovers, ways, a cone that lets go."""

import numpy as np
import pytest
from numpy.polynomial import chebyshev

from dispersion.air import Air
from dispersion.driver_curve import DriverCurve
from dispersion.sources import Crossover, LettingGo, SourceError, Way, travel_level_db

FREQUENCIES = np.geomspace(20.0, 20e3, 61)


def test_first_order_low_pass_follows_the_time_factor():
    # For exp(-i omega t) a lag turns the phase forward: 1 / (1 - i f/f0).
    response = Crossover("butterworth", 1, 2000.0, "low").response(FREQUENCIES)
    assert np.allclose(response, 1.0 / (1.0 - 1j * FREQUENCIES / 2000.0), rtol=1e-12)


def test_response_keeps_the_shape_of_the_frequencies():
    crossover = Crossover("butterworth", 2, 1000.0, "high")
    assert crossover.response(500.0).shape == ()
    assert crossover.response(np.full((2, 3), 500.0)).shape == (2, 3)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (("bessel", 2, 1000.0, "low"), "butterworth or linkwitz-riley"),
        (("butterworth", 0, 1000.0, "low"), "order 0"),
        (("butterworth", 2.5, 1000.0, "low"), "order 2.5"),
        (("linkwitz-riley", 3, 1000.0, "low"), "even orders only"),
        (("butterworth", 2, -1.0, "low"), "above 0 Hz"),
        (("butterworth", 2, 1000.0, "top"), "low or high"),
    ],
)
def test_filters_that_do_not_exist_are_refused(settings, words):
    with pytest.raises(SourceError, match=words):
        Crossover(*settings)


def test_a_bare_way_is_constant_acceleration():
    assert np.array_equal(Way(name="driver").transfer(FREQUENCIES), np.ones(FREQUENCIES.size))


def test_a_way_multiplies_all_it_is_made_of():
    band_pass = (
        Crossover("linkwitz-riley", 4, 2500.0, "low"),
        Crossover("butterworth", 2, 80.0, "high"),
    )
    curve = DriverCurve((100.0, 1000.0, 10e3), (0.0, 6.0, -6.0), (0.0, -90.0, -170.0))
    way = Way(name="driver", crossovers=band_pass, level_db=-6.0, polarity=-1, curve=curve)
    f = np.array([200.0, 2000.0])
    expected = -(10.0**-0.3) * band_pass[0].response(f) * band_pass[1].response(f)
    assert np.allclose(way.transfer(f), expected * curve.response(f), rtol=1e-12)


def test_a_delay_turns_the_phase_forward():
    # A quarter of a period at 2.5 kHz; exp(+i omega t0) for exp(-i omega t).
    late = Way(name="driver", delay=0.1e-3).transfer(np.array([2500.0]))
    assert late == pytest.approx(np.array([1j]))
    with pytest.raises(SourceError, match="delay"):
        Way(name="driver", delay=-1e-3)


def test_travel_gives_the_power_of_a_small_source_in_a_wall():
    """P = 4 pi^3 rho f^4 V^2 / c, rms of a sine of peak volume V (Small 1972 [from memory]), over

    the half sphere of 1 m: p^2 = P rho c / (2 pi).
    """
    air, f, swept = Air(), np.array([40.0, 100.0]), 35e-6
    power = 4.0 * np.pi**3 * air.density * f**4 * swept**2 / air.speed
    expected = 10.0 * np.log10(power * air.density * air.speed / (2.0 * np.pi) / 20e-6**2)
    assert np.allclose(travel_level_db(f, swept, air), expected, atol=1e-9)


def test_a_polarity_of_neither_kind_is_refused():
    with pytest.raises(SourceError, match="tweeter: polarity 0"):
        Way(name="tweeter", polarity=0)
    with pytest.raises(SourceError, match="finite"):
        Way(name="tweeter", level_db=float("nan"))


EFFECTIVE = 0.05
CONE = LettingGo(frequency=2000.0, least_radius=0.0125)


def test_radiating_radius_shrinks_as_one_over_f_and_stops():
    radii = [CONE.radius(f, EFFECTIVE) for f in (500.0, 2000.0, 4000.0, 8000.0, 16000.0)]
    assert np.allclose(radii, [0.05, 0.05, 0.025, 0.0125, 0.0125])


def test_the_whole_cone_moves_exactly_at_and_below_its_frequency():
    r = np.linspace(0.0, 1.2 * EFFECTIVE, 50)
    for f in (20.0, 1999.9, 2000.0):
        assert np.all(CONE.weight(r, f, EFFECTIVE) == 1.0)


def test_a_whizzer_as_large_as_the_cone_never_lets_go():
    stiff = LettingGo(2000.0, 2.0 * EFFECTIVE)
    assert np.all(stiff.weight(np.linspace(0.0, EFFECTIVE, 9), 20e3, EFFECTIVE) == 1.0)


@pytest.mark.parametrize("f", [2001.0, 2200.0, 4000.0, 8000.0, 16000.0])
def test_moving_area_is_that_of_the_radiating_radius(f):
    nodes, weights = np.polynomial.legendre.leggauss(40)
    r = EFFECTIVE * (nodes + 1.0) / 2.0
    moving = np.sum(weights * EFFECTIVE / 2.0 * CONE.weight(r, f, EFFECTIVE) * 2.0 * np.pi * r)
    assert moving == pytest.approx(np.pi * CONE.radius(f, EFFECTIVE) ** 2, rel=1e-6)


def test_weight_starts_from_one_without_a_step():
    r = np.linspace(0.0, EFFECTIVE, 30)
    just_above = CONE.weight(r, 2000.0 * (1 + 1e-6), EFFECTIVE)
    assert np.max(np.abs(just_above - 1.0)) < 1e-5


def test_weight_falls_outwards_within_nought_and_one():
    r = np.linspace(0.0, EFFECTIVE, 30)
    for f in np.geomspace(2001.0, 20e3, 12):
        weight = CONE.weight(r, f, EFFECTIVE)
        assert weight[0] == 1.0
        assert np.all(np.diff(weight) < 0.0)
        assert np.all(weight >= 0.0)


@pytest.mark.parametrize("f", [2100.0, 3000.0, 6000.0, 12000.0])
def test_weight_is_smooth_on_elements_a_third_of_a_wavelength_long(f):
    # A cone that lets go at ka = 1.8, six points per element: within a thousandth.
    element = 343.0 / f / 3.0
    inside = np.linspace(-1.0, 1.0, 201)
    for start in np.arange(0.0, EFFECTIVE, element):
        middle = start + element / 2.0

        def weight(x, middle=middle):
            return CONE.weight(middle + x * element / 2.0, f, EFFECTIVE)

        polynomial = chebyshev.chebinterpolate(weight, 5)
        assert np.max(np.abs(chebyshev.chebval(inside, polynomial) - weight(inside))) < 1e-3


@pytest.mark.parametrize("settings", [(0.0, 0.01), (2000.0, 0.0), (2000.0, float("nan"))])
def test_impossible_cones_are_refused(settings):
    with pytest.raises(SourceError):
        LettingGo(*settings)


def test_letting_go_is_finite_and_continuous_at_its_frequency() -> None:
    lets_go = LettingGo(4000.0, 0.017)
    radii = np.array([0.0, 0.03, 0.052])
    for above in np.logspace(-16, -2, 300):
        weight = lets_go.weight(radii, 4000.0 * (1.0 + above), 0.052)
        assert np.all(np.isfinite(weight))
        assert np.max(np.abs(weight - 1.0)) < 5.0 * above + 1e-9
