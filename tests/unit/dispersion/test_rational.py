import time

import numpy as np
import pytest

from dispersion.rational import PiecewiseFit, fit_rational

SPEED = 343.0


def modes(
    frequencies: np.ndarray, poles: np.ndarray, columns: int, delay: float = 0.0
) -> np.ndarray:
    """Sum of residue / (f - pole) with random residues, later by a delay: the definition."""
    random = np.random.default_rng(1)
    residues = random.normal(size=(len(poles), columns)) + 1j * random.normal(
        size=(len(poles), columns)
    )
    scaled = residues * np.abs(poles.imag)[:, None]
    late = np.exp(2j * np.pi * frequencies * delay)[:, None]
    return late * ((1.0 / (frequencies[:, None] - poles)) @ scaled)


def pole(frequency: float, q: float) -> complex:
    """exp(-i 2 pi f t) decays for Im f < 0; the half-power bandwidth is twice that."""
    return complex(frequency, -frequency / (2.0 * q))


def test_poles_of_a_rational_function_are_found_exactly() -> None:
    poles = np.array([pole(1200.0, 8.0), pole(1500.0, 60.0), pole(2100.0, 15.0)])
    f = np.linspace(1000.0, 2500.0, 16)
    fit = fit_rational(f, modes(f, poles, columns=20))
    found = fit.resonances()
    assert [one.frequency for one in found] == pytest.approx([1200.0, 1500.0, 2100.0], rel=1e-6)
    assert [one.q for one in found] == pytest.approx([8.0, 60.0, 15.0], rel=1e-4)
    assert all(one.trusted for one in found)


def test_between_samples_a_rational_function_is_read_exactly() -> None:
    poles = np.array([pole(1200.0, 8.0), pole(1530.0, 300.0)])
    f, between = np.linspace(1000.0, 2500.0, 12), np.linspace(1000.0, 2500.0, 700)
    fit = fit_rational(f, modes(f, poles, columns=9))
    exact = modes(between, poles, columns=9)
    assert np.abs(fit.at(between) - exact).max() < 1e-6 * np.abs(exact).max()
    assert np.array_equal(fit.at(f[[0, -1]]).shape, (2, 9))


def test_two_modes_behind_a_delay() -> None:
    poles = np.array([pole(5000.0, 30.0), pole(7000.0, 90.0)])
    f = np.geomspace(4000.0, 9000.0, 20)
    fit = fit_rational(f, modes(f, poles, columns=30, delay=0.6e-3), delay=0.5e-3)
    trusted = [one for one in fit.resonances() if one.trusted]
    for frequency, q in ((5000.0, 30.0), (7000.0, 90.0)):
        (one,) = [one for one in trusted if abs(one.frequency / frequency - 1.0) < 1e-3]
        assert one.q == pytest.approx(q, rel=0.02)


def test_a_tube_closed_at_one_end_resonates_at_odd_quarters() -> None:
    """cos(k x) / cos(k L), k = 2 pi f / c (1 + i / 2Q): f_n = (2 n - 1) c / 4 L, all of one Q."""
    length, q = 0.25, 25.0
    x = np.linspace(0.0, 0.9 * length, 12)
    f = np.linspace(150.0, 3000.0, 30)
    k = 2.0 * np.pi * f / SPEED * (1.0 + 0.5j / q)
    fit = fit_rational(f, np.cos(np.outer(k, x)) / np.cos(k * length)[:, None])
    found = [one for one in fit.resonances() if one.trusted]
    odd = (2.0 * np.arange(1, 5) - 1.0) * SPEED / (4.0 * length)
    assert [one.frequency for one in found] == pytest.approx(list(odd), rel=1e-3)
    assert [one.q for one in found] == pytest.approx([q] * 4, rel=0.02)


def test_columns_of_one_set_have_the_poles_of_all() -> None:
    """A column that hardly shows a mode still has its pole, known from the others."""
    poles = np.array([pole(1200.0, 20.0), pole(1700.0, 40.0)])
    f = np.linspace(1000.0, 2000.0, 12)
    values = modes(f, poles, columns=8)
    alone = (1e-3 * poles[1].imag / (f - poles[1]))[:, None]
    fit = fit_rational(f, np.hstack((values, alone)))
    at = np.array([1690.0, 1700.0, 1710.0])
    assert fit.at(at)[:, 8] == pytest.approx(1e-3 * poles[1].imag / (at - poles[1]), rel=1e-3)


def test_noise_makes_no_trusted_resonance() -> None:
    random = np.random.default_rng(5)
    f = np.linspace(4000.0, 9000.0, 32)
    for size in (1e-3, 1e-2, 1.0):
        noise = size * (random.normal(size=(32, 60)) + 1j * random.normal(size=(32, 60)))
        smooth = np.exp(2j * np.pi * f * 1e-4)[:, None] * np.ones(60)
        fit = fit_rational(f, smooth + noise)
        assert not [one for one in fit.resonances(error=size) if one.trusted]


def test_a_resonance_stands_out_of_noise() -> None:
    random = np.random.default_rng(6)
    f = np.linspace(4000.0, 9000.0, 32)
    values = 1.0 + modes(f, np.array([pole(6000.0, 40.0)]), columns=60)
    values += 1e-3 * (random.normal(size=(32, 60)) + 1j * random.normal(size=(32, 60)))
    (one,) = [one for one in fit_rational(f, values).resonances(error=1e-3) if one.trusted]
    assert one.frequency == pytest.approx(6000.0, rel=2e-3)
    assert one.q == pytest.approx(40.0, rel=0.1)


def test_a_pole_that_grows_in_time_is_not_trusted() -> None:
    f = np.linspace(1000.0, 2000.0, 12)
    growing = np.array([pole(1500.0, 30.0).conjugate()])
    (one,) = fit_rational(f, modes(f, growing, columns=5)).resonances()
    assert one.frequency == pytest.approx(1500.0) and not one.trusted


def test_windows_give_way_to_each_other() -> None:
    f = np.linspace(1000.0, 2000.0, 9)
    one, two = (fit_rational(f, np.full((9, 1), level)) for level in (1.0, 3.0))
    both = PiecewiseFit(fits=(one, two), edges=np.array([1500.0]), overlap=1.1)
    at = np.array([1200.0, 1500.0, 1900.0])
    assert both.at(at)[:, 0] == pytest.approx([1.0, 2.0, 3.0])


def test_a_constant_needs_one_support() -> None:
    fit = fit_rational(np.linspace(100.0, 200.0, 8), np.full((8, 3), 2.0 + 1.0j))
    assert len(fit.support) == 1
    assert fit.at([120.5]) == pytest.approx(np.full((1, 3), 2.0 + 1.0j))


@pytest.mark.parametrize(
    ("frequencies", "values"),
    [([1.0, 2.0, 3.0], np.ones((3, 2))), ([1.0, 2.0, 2.0, 3.0], np.ones((4, 2)))],
)
def test_what_cannot_be_fitted_is_refused(frequencies: list[float], values: np.ndarray) -> None:
    with pytest.raises(ValueError, match="samples or more|must ascend"):
        fit_rational(frequencies, values)


def test_a_fit_is_quick_against_a_solve() -> None:
    """A solve takes 15 ms and more; twice the aim of 3 ms, since the machine has other work."""
    random = np.random.default_rng(2)
    f = np.geomspace(4000.0, 9000.0, 20)
    values = random.normal(size=(20, 400)) + 1j * random.normal(size=(20, 400))
    taken = []
    for _ in range(20):
        begun = time.process_time()
        fit_rational(f, values)
        taken.append(time.process_time() - begun)
    assert min(taken) < 6e-3
