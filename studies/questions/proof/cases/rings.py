"""Ring kernels.

Sources:
- the table holds int_0^2pi exp(ikR) / (4 pi R) dphi and its derivative along the ring's normal
  (0.6, 0.8), computed for this project with mpmath at 25 digits from that formula;
- k = 0: G = K(m) / (pi S), S^2 = (r + r')^2 + (z - z')^2, m = 4 r r' / S^2, the potential of a
  charged ring, elementary.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ellipkm1

from dispersion.waves import ring_kernels
from studies.questions.proof.cases.check import WAVES, Check, Compared, compare

Pair = tuple[tuple[float, float], tuple[float, float]]
"""Where the field is wanted and where the ring is, (r, z) each."""
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


def tabulated(row: tuple[Pair, float, complex, complex]) -> Compared:
    """Kernel and normal derivative, real and imaginary parts over the size of the known value."""
    pair, k, *known = row
    found = ring_kernels(*pair, k, normal=NORMAL)
    scaled = [(f / abs(x), x / abs(x)) for f, x in zip(found, known, strict=True)]
    there, exact = (np.array([pair[i] for pair in scaled]) for i in (0, 1))
    at = ("G, real", "G, imaginary", "dG/dn, real", "dG/dn, imaginary")
    case = f"{pair[0]} and {pair[1]}, k {k:g}"
    return compare(case, at, _parts(there), _parts(exact), DIGITS)


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
        "From ring to ring",
        WAVES,
        "the integral, computed with 25 digits by mpmath; printed to 12",
        "",
        tuple(TABLE),
        tabulated,
    ),
    Check(
        "From ring to ring, in still air",
        WAVES,
        "elliptic integral, elementary",
        "",
        STILL,
        charged_ring,
    ),
)
