"""Directivity index and sound power of patterns whose values are known.

Definition: ANSI/ASA S1.1, 6.66 and 6.67. Baffled piston: Beranek & Mellow, Acoustics: Sound
Fields and Transducers (2012), section 13.7, Eq. 13.102. Radial cap on a rigid sphere: Morse &
Ingard, Theoretical Acoustics, section 7.2. The tables of directivity indices are evaluated from
these formulas.
"""

from __future__ import annotations

import numpy as np
from scipy.special import eval_legendre, j1, spherical_jn, spherical_yn

from dispersion.coverage import directivity_index
from studies.questions.proof.cases.check import REST, Check, Compared, compare

GRID = np.linspace(-90.0, 90.0, 361)

UP = np.sin(np.radians(GRID))

PISTON: dict[float, float] = {
    0.1: 3.0175, 0.2: 3.0393, 0.5: 3.1913, 1: 3.7338, 1.5: 4.6346, 2: 5.8795, 2.5: 7.4241,
    3: 9.1593, 4: 12.3037, 5: 14.0173, 6: 15.4042, 8: 18.1112, 10: 20.0291, 15: 23.4876,
    20: 26.0481, 30: 29.5492,
}  # fmt: skip

# (half angle in degrees, kR): DI re on axis.
RADIAL_CAP: dict[tuple[float, float], float] = {
    (15, 1): 2.4551, (15, 2): 3.0871, (15, 5): 4.4653, (15, 10): 8.0359,
    (30, 1): 2.6059, (30, 2): 3.7276, (30, 5): 7.8383, (30, 10): 13.5076,
    (60, 1): 2.9706, (60, 2): 5.3940, (60, 5): 10.9753, (60, 10): 7.6834,
}  # fmt: skip


def in_upper_half(pattern: np.ndarray) -> np.ndarray:
    """Nothing below the baffle, and half the power on its edge, where the pattern jumps."""
    return pattern * np.select([GRID > 0.0, GRID == 0.0], [1.0, 0.5])


def piston(ka: float) -> np.ndarray:
    """|D|^2 of a baffled piston that faces up, D = 2 J1(x) / x with x = ka cos(elevation)."""
    x = ka * np.maximum(np.cos(np.radians(GRID)), 1e-9)
    return in_upper_half((2.0 * j1(x) / x) ** 2)


def radial_cap(half_angle: float, kr: float) -> np.ndarray:
    """|sum W_n (-i)^(n+1) P_n(cos theta) / h_n'(kR)|^2, theta from straight up."""
    n = np.arange(int(kr) + 30)
    edge = np.cos(np.radians(half_angle))
    weights = (eval_legendre(np.abs(n - 1), edge) - eval_legendre(n + 1, edge)) / 2.0
    weights[0] = (1.0 - edge) / 2.0
    slope = spherical_jn(n, kr, derivative=True) + 1j * spherical_yn(n, kr, derivative=True)
    terms = weights * (-1j) ** (n + 1) / slope
    return np.abs(terms @ eval_legendre(n[:, None], UP[None, :])) ** 2


def piston_index(ka: float) -> Compared:
    """Directivity index of a baffled piston."""
    pattern = piston(ka)
    found = directivity_index(pattern, GRID, pattern[-1])
    return compare(f"ka {ka:g}", ["on axis"], found, PISTON[ka], PRINTED_DIGITS)


def cap_index(case: tuple[int, int]) -> Compared:
    """Directivity index of a cap that moves outwards."""
    pattern = radial_cap(*case)
    found = directivity_index(pattern, GRID, pattern[-1])
    name = f"{case[0]:g} deg, kR {case[1]:g}"
    return compare(name, ["on axis"], found, RADIAL_CAP[case], PRINTED_DIGITS)


PRINTED_DIGITS = 6e-5
_BOOK = "Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012)"
CHECKS = (
    Check(
        "Directivity index of a piston",
        REST,
        f"ANSI/ASA S1.1, 6.66; {_BOOK}, Eq. 13.102; evaluated for this project",
        "dB",
        tuple(PISTON),
        piston_index,
    ),
    Check(
        "Directivity index of a cap",
        REST,
        "ANSI/ASA S1.1, 6.66; Morse & Ingard, Theoretical Acoustics, 7.2; evaluated for this"
        " project",
        "dB",
        tuple(RADIAL_CAP),
        cap_index,
    ),
)
