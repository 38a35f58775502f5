"""Ring kernels.

Sources:
- int_0^2pi exp(ikR) / (4 pi R) dphi and its derivative along the ring's normal (0.6, 0.8), by
  Gauss's rule on steps that crowd towards the nearest point of the ring;
- k = 0: G = K(m) / (pi S), S^2 = (r + r')^2 + (z - z')^2, m = 4 r r' / S^2, the potential of a
  charged ring, elementary.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ellipkm1

from dispersion.waves import ring_kernels
from studies.questions.proof.cases.check import WAVES, Check, Compared, compare
from studies.questions.proof.cases.series import gauss

Pair = tuple[tuple[float, float], tuple[float, float]]
"""Where the field is wanted and where the ring is, (r, z) each."""
NORMAL = (0.6, 0.8)

FAR, CLOSE, ON_AXIS = (
    ((1.0, 0.0), (0.8, 0.3)),
    ((1.0, 0.0), (0.99, 0.001)),
    ((0.0, 0.0), (0.8, 0.3)),
)

CASES: tuple[tuple[Pair, float], ...] = (
    *((FAR, k) for k in (0, 1, 5, 20)),
    (CLOSE, 5),
    (ON_AXIS, 5),
)

DIGITS = 1e-10


def by_quadrature(pair: Pair, k: float) -> tuple[complex, complex]:
    """The kernel int_0^2pi exp(ikR) / (4 pi R) dphi and its derivative along `NORMAL`."""
    (r, z), (rs, zs) = pair
    near = math.hypot(r - rs, z - zs)
    phi, weights = gauss(np.concatenate(([0.0], np.geomspace(0.1 * near, np.pi, 25))))
    distance = np.sqrt(near**2 + 4.0 * r * rs * np.sin(0.5 * phi) ** 2)
    field = np.exp(1j * k * distance) / distance * weights / (2.0 * np.pi)
    along = (NORMAL[0] * (rs - r * np.cos(phi)) + NORMAL[1] * (zs - z)) / distance
    return complex(field.sum()), complex(np.sum(field * (1j * k - 1.0 / distance) * along))


def integrated(case: tuple[Pair, float]) -> Compared:
    """Kernel and normal derivative, real and imaginary parts over the size of the known value."""
    pair, k = case
    exact = np.array(by_quadrature(pair, k))
    size = np.abs(exact)
    found = np.array(ring_kernels(*pair, k, normal=NORMAL))
    at = ("G, real", "G, imaginary", "dG/dn, real", "dG/dn, imaginary")
    name = f"{pair[0]} and {pair[1]}, k {k:g}"
    return compare(name, at, _parts(found / size), _parts(exact / size), DIGITS)


def _parts(values: np.ndarray) -> np.ndarray:
    return np.column_stack((values.real, np.imag(values))).ravel()


def charged_ring(pair: Pair) -> Compared:
    """Kernel of still air over the elliptic integral."""
    (r, z), (rs, zs) = pair
    s = math.hypot(r + rs, z - zs)
    # 1 - m = (d / S)^2 keeps its digits where the rings nearly touch.
    exact = ellipkm1((math.hypot(r - rs, z - zs) / s) ** 2) / (math.pi * s)
    found, _ = ring_kernels(*pair, 0.0)
    return compare(f"{pair[0]} and {pair[1]}", ["G"], abs(found) / exact, 1.0, DIGITS)


STILL = (FAR, CLOSE, ((0.5, 2.0), (3.0, -1.0)), ((1.0, 0.0), (1.0, 1e-4)))
CHECKS = (
    Check(
        name="From ring to ring",
        kind=WAVES,
        source="the integral, by Gauss's rule",
        cases=CASES,
        run=integrated,
    ),
    Check(
        name="From ring to ring, in still air",
        kind=WAVES,
        source="elliptic integral, elementary",
        cases=STILL,
        run=charged_ring,
    ),
)
