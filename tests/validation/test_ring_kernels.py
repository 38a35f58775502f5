"""Ring kernels.

Sources:
- the table holds int_0^2pi exp(ikR) / (4 pi R) dphi and its derivative along the ring's normal
  (0.6, 0.8), computed for this project with mpmath at 25 digits from that formula;
- k = 0: G = K(m) / (pi S), S^2 = (r + r')^2 + (z - z')^2, m = 4 r r' / S^2, the potential of a
  charged ring, elementary;
- azimuthal orders m > 0: mpmath quadrature of the same integrals, here.
"""

import math

import mpmath
import numpy as np
import pytest
from scipy.special import ellipkm1

from dispersion.waves import ring_kernels

NORMAL = (0.6, 0.8)
FAR, CLOSE, ON_AXIS = (
    ((1.0, 0.0), (0.8, 0.3)),
    ((1.0, 0.0), (0.99, 0.001)),
    ((0.0, 0.0), (0.8, 0.3)),
)
TABLE = [
    (FAR, 0, 0.528163628209, -0.298397754215),
    (FAR, 1, 0.274115985127 + 0.372510506945j, -0.372909680163 - 0.0939133603743j),
    (FAR, 5, -0.163812949458 + 0.159663606002j, -0.276612455912 - 0.451259760384j),
    (FAR, 20, -0.0261385463306 + 0.0487941479469j, -0.0468184639294 - 0.345086822813j),
    (CLOSE, 5, 0.435892662817 + 0.271011198247j, 8.09021690535 - 0.249268262967j),
    (ON_AXIS, 5, -0.249467159782 - 0.529369331955j, 2.47653758192 - 0.5290075152j),
]
DIGITS = 1e-10


@pytest.mark.parametrize(("pair", "k", "g", "d"), TABLE)
def test_printed_values(pair, k: float, g: complex, d: complex) -> None:
    found_g, found_d = ring_kernels(*pair, k, normal=NORMAL)
    assert abs(found_g - g) < DIGITS * abs(g)
    assert abs(found_d - d) < DIGITS * abs(d)


@pytest.mark.parametrize("pair", [FAR, CLOSE, ((0.5, 2.0), (3.0, -1.0)), ((1.0, 0.0), (1.0, 1e-4))])
def test_still_air_is_an_elliptic_integral(pair) -> None:
    (r, z), (rs, zs) = pair
    s = math.hypot(r + rs, z - zs)
    # 1 - m = (d / S)^2 keeps its digits where the rings nearly touch.
    exact = ellipkm1((math.hypot(r - rs, z - zs) / s) ** 2) / (math.pi * s)
    found, _ = ring_kernels(*pair, 0.0)
    assert abs(found - exact) < DIGITS * exact


@pytest.mark.parametrize("m", [1, 2, 7])
@pytest.mark.parametrize("k", [1.0, 20.0])
@pytest.mark.parametrize("pair", [FAR, CLOSE])
def test_orders_against_quadrature(pair, k: float, m: int) -> None:
    g, d = _by_quadrature(*pair, k, m)
    found_g, found_d = ring_kernels(*pair, k, m, NORMAL)
    # A high order of rings well apart is a small number: digits count from the order 0.
    g0, d0 = (abs(value) for value in ring_kernels(*pair, k, 0, NORMAL))
    assert abs(found_g - g) < DIGITS * g0
    assert abs(found_d - d) < DIGITS * max(abs(d), d0)


def test_order_of_a_point_on_the_axis_vanishes() -> None:
    g, d = ring_kernels(*ON_AXIS, 5.0, 2, NORMAL)
    assert abs(g) < 1e-14
    assert abs(d) < 1e-13


def _by_quadrature(point, ring, k: float, m: int) -> tuple[complex, complex]:
    with mpmath.workdps(20):
        (r, z), (rs, zs) = ([mpmath.mpf(x) for x in place] for place in (point, ring))
        nr, nz = (mpmath.mpf(n) for n in NORMAL)
        near = mpmath.hypot(r - rs, z - zs)
        stops = [0, *sorted(s for s in (near / 2, near, 4 * near, 0.5, 1.5) if s < 3), mpmath.pi]

        def distance(phi):
            return mpmath.sqrt(near**2 + 2 * r * rs * (1 - mpmath.cos(phi)))

        def g(phi):
            R = distance(phi)
            return mpmath.expjpi(k * R / mpmath.pi) / R * mpmath.cos(m * phi)

        def d(phi):
            R = distance(phi)
            along = nr * (rs - r * mpmath.cos(phi)) + nz * (zs - z)
            return g(phi) * (1j * k - 1 / R) * along / R

        values = [complex(mpmath.quad(f, stops) / (2 * mpmath.pi)) for f in (g, d)]
    return np.complex128(values[0]), np.complex128(values[1])
