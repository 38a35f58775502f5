"""Ring kernels.

Azimuthal orders m > 0, and the reference of `proof`: mpmath quadrature of the same integrals.
"""

import mpmath
import numpy as np
import pytest

from dispersion.waves import ring_kernels
from studies.questions.proof.cases.rings import (
    CLOSE,
    DIGITS,
    FAR,
    NORMAL,
    ON_AXIS,
    by_quadrature,
)

pytestmark = pytest.mark.uncompiled


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


@pytest.mark.parametrize("k", [0.0, 5.0])
@pytest.mark.parametrize("pair", [FAR, CLOSE, ON_AXIS])
def test_the_reference_of_proof(pair, k: float) -> None:
    for found, exact in zip(by_quadrature(pair, k), _by_quadrature(*pair, k, 0), strict=True):
        assert abs(found - exact) < 1e-12 * abs(exact)


def test_order_of_a_point_on_the_axis_vanishes() -> None:
    g, d = ring_kernels(*ON_AXIS, 5.0, 2, NORMAL)
    assert abs(g) < 1e-14
    assert abs(d) < 1e-13


@pytest.mark.parametrize("m", [0, 2])
def test_a_point_that_is_rounded_beyond_the_axis_is_on_it(m: int) -> None:
    (_, z), ring = ON_AXIS
    on = ring_kernels((0.0, z), ring, 5.0, m, NORMAL)
    beyond = ring_kernels((-1e-17, z), ring, 5.0, m, NORMAL)
    assert beyond == pytest.approx(on, rel=1e-12, abs=1e-14)


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
