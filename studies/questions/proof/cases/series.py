"""Series of the rigid sphere, from scipy's spherical Bessel functions; Gauss's rule.

Sources on the sphere: Morse & Ingard, Theoretical Acoustics, 7.2; Beranek & Mellow, Acoustics:
Sound Fields and Transducers (2012), Eq. 12.46, 12.47 and 12.59 to 12.61. Scattering: Morse &
Ingard, 8.2; Bowman, Senior & Uslenghi (1969), ch. 10 [both from memory]. Time factor
exp(-i omega t); unit radius, so that k is ka. Above ka the orders fall off faster than
exponentially: 40 more leave rounding alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import eval_legendre, spherical_jn, spherical_yn


def gauss(stops: ArrayLike, points: int = 20) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of Gauss's rule, so many points between each two stops."""
    x, weights = np.polynomial.legendre.leggauss(points)
    half = 0.5 * np.diff(stops)[:, None]
    return (np.asarray(stops)[:-1, None] + half * (1.0 + x)).ravel(), (half * weights).ravel()


def orders(ka: float) -> np.ndarray:
    """Orders n = 0, 1, ... that count at this ka, as a column (N, 1)."""
    return np.arange(int(ka) + 40)[:, None]


def hankel(n: ArrayLike, x: ArrayLike, slope: bool = False) -> np.ndarray:
    """Spherical Hankel function h_n(x) of the first kind, or its derivative by x."""
    return spherical_jn(n, x, slope) + 1j * spherical_yn(n, x, slope)


def scattered_by_sphere(ka: float, cosines: ArrayLike) -> np.ndarray:
    """Far field f of a sphere in the plane wave exp(ikz), scattered pressure f exp(ikr) / r.

    f = (i / ka) sum (2n + 1) j_n'(ka) / h_n'(ka) P_n(cos theta), theta from the direction of
    travel; `cosines` holds cos theta.
    """
    n = orders(ka)
    terms = (2 * n + 1) * spherical_jn(n, ka, True) / hankel(n, ka, True)
    return 1j / ka * np.sum(terms * eval_legendre(n, cosines), axis=0)


def pressure_on_sphere(ka: float, cosines: ArrayLike) -> np.ndarray:
    """Total pressure on a sphere in the plane wave exp(ikz), over that of the wave.

    p = (i / (ka)^2) sum i^n (2n + 1) / h_n'(ka) P_n(cos theta).
    """
    n = orders(ka)
    terms = 1j**n * (2 * n + 1) / hankel(n, ka, True)
    return 1j / ka**2 * np.sum(terms * eval_legendre(n, cosines), axis=0)


def cross_section_of_sphere(ka: float) -> float:
    """Scattered power of a sphere in a plane wave over intensity and pi a^2.

    Q = (2 / ka)^2 sum (2n + 1) |j_n'(ka) / h_n'(ka)|^2.
    """
    n = orders(ka)
    shares = np.abs(spherical_jn(n, ka, True) / hankel(n, ka, True)) ** 2
    return float(4.0 / ka**2 * np.sum((2 * n + 1) * shares))


@dataclass(frozen=True, eq=False)
class MovingSphere:
    """A sphere whose surface moves with the normal velocity u sum V_n P_n(cos theta).

    Attributes
    ----------
    ka : float
    motion : (N, 1) array
        V_n for n = 0, 1, ...
    """

    ka: float
    motion: np.ndarray

    @property
    def _terms(self) -> np.ndarray:
        n = orders(self.ka)
        return self.motion * (-1j) ** n / hankel(n, self.ka, True)

    def far_field(self, cosines: ArrayLike) -> np.ndarray:
        """Far pressure times kr / (rho c u): sum V_n (-i)^n / h_n'(ka) P_n(cos theta)."""
        return np.sum(self._terms * eval_legendre(orders(self.ka), cosines), axis=0)

    @property
    def directivity_index(self) -> float:
        """Intensity at theta = 0 over its mean all round, dB; P_n^2 has the mean 1 / (2n + 1)."""
        mean = np.sum(np.abs(self._terms) ** 2 / (2 * orders(self.ka) + 1))
        return float(10.0 * np.log10(np.abs(self._terms.sum()) ** 2 / mean))


def point_on_sphere(ka: float) -> MovingSphere:
    """Sphere that moves in one point alone, so that its volume velocity is 4 pi u: V_n = 2n + 1."""
    return MovingSphere(ka, 2.0 * orders(ka) + 1.0)


def cap_on_sphere(ka: float, half_angle_deg: float, axial: bool) -> MovingSphere:
    """Sphere with a cap that moves outwards, or as one piece along the axis.

    V_n = (n + 1/2) int v(x) P_n(x) dx over the cap, x = cos theta, with v = 1 or, axially, x; by
    Gauss's rule, which is exact for polynomials.
    """
    n = orders(ka)
    x, weights = gauss([np.cos(np.radians(half_angle_deg)), 1.0], len(n))
    speed = x if axial else np.ones_like(x)
    moved = np.sum(weights * speed * eval_legendre(n, x), axis=1, keepdims=True)
    return MovingSphere(ka, (n + 0.5) * moved)
