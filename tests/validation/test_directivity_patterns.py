"""Directivity index and sound power of patterns whose values are known.

Definition: ANSI/ASA S1.1, 6.66 and 6.67. Baffled piston: Beranek & Mellow, Acoustics: Sound
Fields and Transducers (2012), section 13.7, Eq. 13.102. Radial cap on a rigid sphere: Morse &
Ingard, Theoretical Acoustics, section 7.2. The tables of directivity indices are evaluated from
these formulas.
"""

import numpy as np
import pytest
from scipy.special import eval_legendre, j1, spherical_jn, spherical_yn

from dispersion.bands import study_frequencies
from dispersion.coverage import (
    directivity_index,
    level_db,
    measure_coverage,
    power_at,
    share_above,
    sound_power,
)

GRID = np.linspace(-90.0, 90.0, 361)
UP = np.sin(np.radians(GRID))

PISTON = {
    0.1: 3.0175, 0.2: 3.0393, 0.5: 3.1913, 1: 3.7338, 1.5: 4.6346, 2: 5.8795, 2.5: 7.4241,
    3: 9.1593, 4: 12.3037, 5: 14.0173, 6: 15.4042, 8: 18.1112, 10: 20.0291, 15: 23.4876,
    20: 26.0481, 30: 29.5492,
}  # fmt: skip
# (half angle in degrees, kR): DI re on axis.
RADIAL_CAP = {
    (15, 1): 2.4551, (15, 2): 3.0871, (15, 5): 4.4653, (15, 10): 8.0359,
    (30, 1): 2.6059, (30, 2): 3.7276, (30, 5): 7.8383, (30, 10): 13.5076,
    (60, 1): 2.9706, (60, 2): 5.3940, (60, 5): 10.9753, (60, 10): 7.6834,
}  # fmt: skip


def in_upper_half(pattern: np.ndarray) -> np.ndarray:
    """Nothing below the baffle, and half the power on its edge, where the pattern jumps."""
    return pattern * np.select([GRID > 0.0, GRID == 0.0], [1.0, 0.5])


@pytest.mark.parametrize(
    ("pattern", "best", "ring"),
    [
        (np.ones(GRID.size), 0.0, 0.0),
        (in_upper_half(np.ones(GRID.size)), 3.0103, 0.0),
        (UP**2, 4.7712, None),
        (((1.0 + UP) / 2.0) ** 2, 4.7712, 4.7712 - 6.0206),
        (1.0 - UP**2, 1.7609, 1.7609),
    ],
    ids=["even", "half space", "dipole", "cardioid", "cosine of elevation"],
)
def test_directivity_index_of_simple_patterns(pattern, best, ring):
    assert directivity_index(pattern, GRID, pattern.max()) == pytest.approx(best, abs=6e-5)
    if ring is not None:
        at_ring = power_at(pattern, GRID, 0.0)
        assert directivity_index(pattern, GRID, at_ring) == pytest.approx(ring, abs=1.1e-4)


def test_sound_power_of_an_even_source():
    # L_p = L_W + 10 lg(Q / 4 pi) at 1 m: 10.99 dB between them for Q = 1.
    assert level_db(sound_power(np.ones(GRID.size), GRID)) == pytest.approx(10.9921, abs=5e-5)


def piston(ka: float) -> np.ndarray:
    """|D|^2 of a baffled piston that faces up, D = 2 J1(x) / x with x = ka cos(elevation)."""
    x = ka * np.maximum(np.cos(np.radians(GRID)), 1e-9)
    return in_upper_half((2.0 * j1(x) / x) ** 2)


@pytest.mark.parametrize(("ka", "expected"), PISTON.items())
def test_baffled_piston(ka, expected):
    pattern = piston(ka)
    assert directivity_index(pattern, GRID, pattern[-1]) == pytest.approx(expected, abs=6e-5)


def test_baffled_piston_through_the_whole_coverage():
    # Four equal frequencies per band at the same ka: the band mean changes nothing.
    frequencies = study_frequencies(1000.0, 1250.0)
    power = np.repeat(np.stack([piston(2.0), piston(8.0)]), 4, axis=0)
    coverage = measure_coverage(frequencies, GRID, power, (-5.0, 15.0), (1000.0, 1250.0))
    assert np.allclose(coverage.di_best_db, [PISTON[2], PISTON[8]], atol=6e-5)
    assert np.allclose(coverage.sound_power_db, [-PISTON[2], -PISTON[8]], atol=6e-5)


def test_everything_above_the_baffle_leaves_upwards():
    assert share_above(piston(2.0), GRID, 0.0) == pytest.approx(1.0, abs=2e-3)
    # D is even in elevation, so above the horizon lies half of the mirrored pattern.
    mirrored = piston(2.0) + piston(2.0)[::-1]
    assert share_above(mirrored, GRID, 0.0) == pytest.approx(0.5, abs=1e-12)


def radial_cap(half_angle: float, kr: float) -> np.ndarray:
    """|sum W_n (-i)^(n+1) P_n(cos theta) / h_n'(kR)|^2, theta from straight up."""
    n = np.arange(int(kr) + 30)
    edge = np.cos(np.radians(half_angle))
    weights = (eval_legendre(np.abs(n - 1), edge) - eval_legendre(n + 1, edge)) / 2.0
    weights[0] = (1.0 - edge) / 2.0
    slope = spherical_jn(n, kr, derivative=True) + 1j * spherical_yn(n, kr, derivative=True)
    terms = weights * (-1j) ** (n + 1) / slope
    return np.abs(terms @ eval_legendre(n[:, None], UP[None, :])) ** 2


@pytest.mark.parametrize(("case", "expected"), RADIAL_CAP.items())
def test_radial_cap_on_a_sphere(case, expected):
    pattern = radial_cap(*case)
    assert directivity_index(pattern, GRID, pattern[-1]) == pytest.approx(expected, abs=6e-5)
