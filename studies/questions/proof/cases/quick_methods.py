"""Quick methods, each against the exact solution of the problem that it claims to solve.

- Edge waves: a point source beside a half plane and a square edge, by the modes of the wedge
  (Macdonald, 1915; Bowman & Senior [both from memory]); the edge integral that is tried is that of
  Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106, 2331 (1999).
- Kirchhoff's integrals against their closed forms, not against the exact field. Rigid sphere and a
  plane wave: the integral of twice the incident pressure over the lit half is elementary. Piston in
  a baffle: Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), 4.19 and 13.7.
- Posts, rigid cylinders across the wave, in the plane: Morse & Ingard, Theoretical Acoustics
  (1968), section 8.1; Bowman, Senior & Uslenghi, Electromagnetic and Acoustic Scattering by Simple
  Shapes (1969), section 2.2, line source included [both from memory].
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import h1vp, hankel1, hankel1e, j1, jve, jvp

from dispersion.paths.cylinders import far_pattern, line_source, plane_wave, scatter
from dispersion.paths.kirchhoff import cut_rings, far_kernels, near_kernels
from dispersion.paths.rims import wedge_field
from shapes.meridian import Arc, Line
from studies.questions.proof.cases.check import QUICK, Check, Compared, compare, degrees
from studies.questions.proof.cases.series import gauss

SIX_DIGITS = 1e-6
"""Required of edge waves and of Kirchhoff's integrals."""

# Edge waves

HALF_PLANE, SQUARE_EDGE = 2.0 * np.pi, 1.5 * np.pi
EDGE_SOURCE = (1.0, np.radians(45.0), 0.0)
"""Source beside the edge: distance, angle from one face (radians), place along the edge."""


def receiver(angle_deg: float) -> tuple[float, float, float]:
    """Place of the receiver, cylindrical about the edge."""
    return 1.5, np.radians(angle_deg), 0.4


@lru_cache(maxsize=8)
def wedge_modes(k: float, wedge: float) -> tuple[np.ndarray, np.ndarray]:
    """Orders of the modes of a rigid wedge, and how strongly each passes from source to receiver.

    Of a source exp(ikR) / R: i int_0^inf J_q(K r) H_q(K r') cos(h dz) dh, K^2 = k^2 - h^2, orders
    q = 0, 1, ... times pi / wedge, r and r' the smaller and the larger distance from the edge. The
    path of integration is turned away from the branch point h = k. An order of 50 is left with
    (r / r')^50, 2e-9.
    """
    near, _, _ = EDGE_SOURCE
    far, _, along = receiver(0.0)
    q = np.pi / wedge * np.arange(int(50.0 * wedge / np.pi))[:, None]
    t, dt = gauss(np.concatenate(([0.0], np.geomspace(0.5, 80.0, 16))))
    h = t * np.exp(-0.4j)
    across = np.sqrt(k**2 - h**2)
    # Functions scaled by their exponentials, which are put back as a difference.
    wave = jve(q, across * near) * hankel1e(q, across * far)
    wave = wave * np.exp(across.imag * near + 1j * across * far) * np.cos(h * along)
    return q[:, 0], 1j * np.exp(-0.4j) * (wave @ dt)


def field_of_modes(k: float, angle_deg: float, wedge: float) -> complex:
    """Field of that source at `receiver`: 2 pi / wedge times the sum of modes."""
    q, passed = wedge_modes(k, wedge)
    shape = np.cos(q * EDGE_SOURCE[1]) * np.cos(q * receiver(angle_deg)[1])
    return complex(2.0 * np.pi / wedge * np.sum(np.where(q == 0.0, 1.0, 2.0) * shape * passed))


def beside_an_edge(case: tuple[float, float]) -> Compared:
    """Field beside a half plane and, where there is air, beside a square edge."""
    k, angle = case
    edges = {"half plane": HALF_PLANE, "square edge": SQUARE_EDGE}
    edges = {name: wedge for name, wedge in edges.items() if np.radians(angle) < wedge}
    found = [wedge_field(k, EDGE_SOURCE, receiver(angle), wedge) for wedge in edges.values()]
    known = [field_of_modes(k, angle, wedge) for wedge in edges.values()]
    at = [f"{name}, {part}" for part in ("real", "imaginary") for name in edges]
    there, exact = (np.concatenate((np.real(x), np.imag(x))) for x in (found, known))
    return compare(f"k {k:g}, {angle:g} deg", at, there, exact, SIX_DIGITS)


EDGE_WAVES = (
    Check(
        name="Half plane and square edge",
        kind=QUICK,
        source="Macdonald (1915), Bowman & Senior [both from memory]: sum of modes, evaluated for"
        " this project",
        cases=tuple((k, angle) for k in (2, 10) for angle in (20, 90, 150, 200, 260, 340)),
        run=beside_an_edge,
    ),
)

# Kirchhoff's integrals

FINE = 24.0
"""Rings a wavelength: these checks ask for six digits."""
BALL_KA = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0)
ON_AXIS = np.array([0.0, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0])


def backscatter(ka: float) -> complex:
    """Far field straight back from a ball of 1 m whose lower half a plane wave lights."""
    lower = Arc((0.0, -1.0), (1.0, 0.0), (0.0, 0.0), clockwise=False, part="ball")
    rings = cut_rings([lower], min(2.0 * np.pi / ka, 1.0) / FINE)
    kernel, _ = far_kernels(rings, ka, np.array([-90.0]))
    return complex((kernel @ (2.0 * np.exp(1j * ka * rings.z)))[0])


def ball_straight_back(ka: float) -> Compared:
    """The integral of 2 exp(ikz) over the lit half: +a/2 exp(-2ika) in the limit."""
    s = 2j * ka
    exact = -1j * ka * (1.0 - np.exp(-s) * (1.0 + s)) / s**2
    found = backscatter(ka)
    at = ("real", "imaginary")
    return compare(f"ka {ka:g}", at, (found.real, found.imag), (exact.real, exact.imag), SIX_DIGITS)


def piston_on_its_axis(ka: float) -> Compared:
    """Pressure on the axis over rho c u."""
    rings = cut_rings([Line((1.0, 0.0), (0.0, 0.0), "piston")], 2.0 * np.pi / ka / 4.0 / FINE)
    _, monopole = near_kernels(rings, ka, np.column_stack([np.zeros(7), ON_AXIS]))
    found = np.abs(2.0 * ka * monopole.sum(axis=1))
    exact = 2.0 * np.abs(np.sin(0.5 * ka * (np.sqrt(ON_AXIS**2 + 1.0) - ON_AXIS)))
    return compare(f"ka {ka:g}", [f"z {z:g} a" for z in ON_AXIS], found, exact, SIX_DIGITS)


def piston_far_away(ka: float) -> Compared:
    """Far field; real and imaginary parts."""
    elevations = np.array([0.0, 10.0, 30.0, 60.0, 89.0])
    rings = cut_rings([Line((1.0, 0.0), (0.0, 0.0), "piston")], min(2 * np.pi / ka, 1.0) / FINE)
    _, monopole = far_kernels(rings, ka, elevations)
    x = ka * np.cos(np.radians(elevations))
    # The baffle doubles it; 1/2 is the same volume in one point, 1/(2 pi) times the area.
    found, exact = 2.0 * monopole.sum(axis=1), 0.5 * 2.0 * j1(x) / x
    at = (*degrees(elevations), *(f"imaginary part, {name}" for name in degrees(elevations)))
    parts = np.concatenate((found.real, found.imag)), np.concatenate((exact, np.zeros(5)))
    return compare(f"ka {ka:g}", at, *parts, SIX_DIGITS)


_BOOK = "Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), 4.19 and 13.7"
KIRCHHOFF = (
    Check(
        name="Kirchhoff: ball, straight back",
        kind=QUICK,
        source="elementary integral over the lit half",
        cases=BALL_KA,
        run=ball_straight_back,
    ),
    Check(
        name="Kirchhoff: piston on its axis",
        kind=QUICK,
        source=_BOOK,
        cases=(5.0, 10.0),
        run=piston_on_its_axis,
    ),
    Check(
        name="Kirchhoff: piston far away",
        kind=QUICK,
        source=_BOOK,
        cases=(1.0, 5.0, 20.0),
        run=piston_far_away,
    ),
)

# Posts

AZIMUTHS = np.linspace(0.0, 2.0 * np.pi, 97)
POST_KA = (0.05, 0.5, 2.0, 5.0)


def plane_series(ka: float) -> np.ndarray:
    """Far amplitude at `AZIMUTHS`, plane wave towards 0: -sum eps_n J_n'/H_n' cos(n phi).

    p_s = -sum eps_n i^n J_n'(ka) / H_n'(ka) H_n(kr) cos(n phi), and H_n -> (-i)^n H_0 far away.
    """
    n = np.arange(60)[:, None]
    return _round_series(jvp(n, ka) / h1vp(n, ka))


def line_series(ka: float, kb: float) -> np.ndarray:
    """The same for H_0 of a line at distance b on azimuth 0, cylinder at the origin."""
    n = np.arange(60)[:, None]
    return _round_series(jvp(n, ka) / h1vp(n, ka) * hankel1(n, kb) * (-1j) ** n)


def _round_series(terms: np.ndarray) -> np.ndarray:
    n = np.arange(len(terms))[:, None]
    return -np.sum(np.where(n == 0, 1.0, 2.0) * terms * np.cos(n * AZIMUTHS), axis=0)


def post_in_plane_wave(ka: float) -> Compared:
    """Far amplitude round a cylinder in a plane wave, over its maximum."""
    centre = np.zeros(1, dtype=complex)
    sent = scatter(ka, centre, 1.0, plane_wave(ka, centre, 1.0, 0.0))
    return _round(ka, far_pattern(ka, centre, sent, AZIMUTHS), plane_series(ka))


def post_beside_a_line(ka: float) -> Compared:
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
    return compare(f"ka {ka:g}", at, there, known, 1e-5)


_BOOKS = (
    "Morse & Ingard, Theoretical Acoustics (1968), 8.1; Bowman, Senior & Uslenghi (1969), 2.2"
    " [both from memory]; series evaluated here"
)
POSTS = (
    Check(
        name="Post in a plane wave",
        kind=QUICK,
        source=_BOOKS,
        cases=POST_KA,
        run=post_in_plane_wave,
    ),
    Check(
        name="Post beside a line source",
        kind=QUICK,
        source=_BOOKS,
        cases=POST_KA,
        run=post_beside_a_line,
    ),
)
