"""Images against the exact solution between two rigid planes without end.

Two parallel planes at a distance H, source at h, place at z and r:
p = (i pi / H) sum e_n cos(n pi h / H) cos(n pi z / H) H0(k_n r), k_n^2 = k^2 - (n pi / H)^2,
e_0 = 1, e_n = 2, for a source exp(ikR) / R (mode sum, elementary: cosines are complete over the
gap, and i/4 H0 is the field of a line source). The images converge only because air absorbs:
an imaginary part of k makes both sums finite to all digits.
"""

from __future__ import annotations

import numpy as np
from scipy.special import hankel1

from dispersion.paths.mirrors import Mirrors, Paths, paths_to
from studies.questions.proof.cases.check import QUICK, Check, Compared, compare

H = 0.1


def unit_field(paths: Paths, points: np.ndarray, k: complex) -> np.ndarray:
    """Return the pressure of a free source exp(ikR) / R from the house's convention."""
    distance = np.hypot(*np.asarray(points).T)
    return 2.0 * paths.pressure([k])[0] * np.exp(1j * k * distance) / distance


def between_two_planes(case: tuple[complex, float, float]) -> Compared:
    """Images against the sum of modes, at two distances, over the latter."""
    k, height, z = case
    r = np.array([0.05, 0.3])
    n = np.arange(400)
    radial = np.sqrt(k**2 - (n * np.pi / H) ** 2 + 0j)
    shape = np.where(n == 0, 1.0, 2.0) * np.cos(n * np.pi * height / H) * np.cos(n * np.pi * z / H)
    modes = (1j * np.pi / H) * (shape[:, None] * hankel1(0, radial[:, None] * r)).sum(axis=0)
    points = np.stack([r, np.full(2, z)], axis=1)
    found = unit_field(paths_to(Mirrors(H, np.inf, np.inf), points, height, bounces=200), points, k)
    # 200 bounces on, a path is 20 m longer: exp(-2 * 20) of the first.
    allowed = (TWO_PLANES * (1.0 + np.abs(modes))).repeat(2)
    at = [f"r {distance:g} m, {part}" for distance in r for part in ("real", "imaginary")]
    there, exact = (np.column_stack((p.real, p.imag)).ravel() for p in (found, modes))
    return compare(f"k {k:g}, from {height:g} to {z:g} m", at, there, exact, allowed)


TWO_PLANES = 1e-9
GAPS = tuple(
    (k, height, z)
    for k in (12.0 + 2.0j, 50.0 + 2.0j, 140.0 + 2.0j)
    for height, z in ((0.0, 0.0), (0.0, 0.1), (0.03, 0.06), (0.08, 0.02))
)
CHECKS = (
    Check(
        "Images between two planes",
        QUICK,
        "sum of modes, elementary",
        "",
        GAPS,
        between_two_planes,
    ),
)
