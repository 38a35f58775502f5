"""A rigid cylinder across the wave, in the plane, against its series.

Sources: the rigid cylinder in a plane wave, Morse & Ingard, Theoretical Acoustics (1968), section
8.1, and Bowman, Senior & Uslenghi, Electromagnetic and Acoustic Scattering by Simple Shapes (1969),
section 2.2, line source included [both from memory]. The series are written out below.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from dispersion.paths.cylinders import far_pattern, line_source, plane_wave, scatter
from studies.questions.proof.cases.check import QUICK, Check, Compared, compare, degrees

AZIMUTHS = np.linspace(0.0, 2.0 * np.pi, 97)

KA = [0.05, 0.5, 2.0, 5.0]


def plane_series(ka: float) -> np.ndarray:
    """Far amplitude for a plane wave towards azimuth 0: -sum eps_n J_n'/H_n' cos(n phi).

    p_s = -sum eps_n i^n J_n'(ka) / H_n'(ka) H_n(kr) cos(n phi), and H_n -> (-i)^n H_0 far away.
    """
    n = np.arange(60)[:, None]
    neumann = np.where(n == 0, 1.0, 2.0)
    ratio = special.jvp(n, ka) / special.h1vp(n, ka)
    return -np.sum(neumann * ratio * np.cos(n * AZIMUTHS), axis=0)


def line_series(ka: float, kb: float) -> np.ndarray:
    """The same for H_0 of a line at distance b on azimuth 0, cylinder at the origin."""
    n = np.arange(60)[:, None]
    neumann = np.where(n == 0, 1.0, 2.0)
    ratio = special.jvp(n, ka) / special.h1vp(n, ka) * special.hankel1(n, kb) * (-1j) ** n
    return -np.sum(neumann * ratio * np.cos(n * AZIMUTHS), axis=0)


def in_plane_wave(ka: float) -> Compared:
    """Far amplitude round a cylinder in a plane wave, over its maximum."""
    centre = np.zeros(1, dtype=complex)
    sent = scatter(ka, centre, 1.0, plane_wave(ka, centre, 1.0, 0.0))
    return _round(ka, far_pattern(ka, centre, sent, AZIMUTHS), plane_series(ka))


def beside_a_line(ka: float) -> Compared:
    """The same beside a line source."""
    centre = np.zeros(1, dtype=complex)
    sent = scatter(ka, centre, 1.0, line_source(ka, centre, 1.0, 4.0 + 0.0j))
    return _round(ka, far_pattern(ka, centre, sent, AZIMUTHS), line_series(ka, 4.0 * ka))


def _round(ka: float, found: np.ndarray, exact: np.ndarray) -> Compared:
    most = np.abs(exact).max()
    there, known = (np.concatenate((p.real, p.imag)) / most for p in (found, exact))
    round_it = degrees(np.degrees(AZIMUTHS))
    at = [f"{name}, {part}" for part in ("real", "imaginary") for name in round_it]
    # ka + 6 orders cut the series here: the next term is what is left out.
    return compare(f"ka {ka:g}", at, there, known, SERIES_CUT)


SERIES_CUT = 1e-5
_BOOKS = (
    "Morse & Ingard, Theoretical Acoustics (1968), 8.1; Bowman, Senior & Uslenghi (1969), 2.2"
    " [both from memory]; series evaluated here"
)
CHECKS = (
    Check("Post in a plane wave", QUICK, _BOOKS, "", tuple(KA), in_plane_wave),
    Check("Post beside a line source", QUICK, _BOOKS, "", tuple(KA), beside_a_line),
)
