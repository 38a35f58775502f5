"""Kirchhoff's integrals against their closed forms, not against the exact field.

- Rigid sphere and a plane wave: the integral of twice the incident pressure over the lit half is
  elementary.
- Piston in a baffle: Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), sections
  4.19 and 13.7.
"""

from __future__ import annotations

import numpy as np
from scipy.special import j1

from dispersion.paths.kirchhoff import cut_rings, far_kernels, near_kernels
from shapes.meridian import Arc, Line
from studies.questions.proof.cases.check import QUICK, Check, Compared, compare, degrees

CLOSED_FORM = 1e-6
"""Required of a Kirchhoff code."""

FINE = 24.0
"""Rings a wavelength: these checks ask for six digits."""


def backscatter(ka: float) -> complex:
    """Far field straight back from a ball of 1 m whose lower half a plane wave lights."""
    lower = Arc((0.0, -1.0), (1.0, 0.0), (0.0, 0.0), False, "ball")
    rings = cut_rings([lower], min(2.0 * np.pi / ka, 1.0) / FINE)
    kernel, _ = far_kernels(rings, ka, np.array([-90.0]))
    return complex((kernel @ (2.0 * np.exp(1j * ka * rings.z)))[0])


def ball_straight_back(ka: float) -> Compared:
    """The integral of 2 exp(ikz) over the lit half: +a/2 exp(-2ika) in the limit."""
    s = 2j * ka
    exact = -1j * ka * (1.0 - np.exp(-s) * (1.0 + s)) / s**2
    found = backscatter(ka)
    at = ("real", "imaginary")
    return compare(
        f"ka {ka:g}", at, (found.real, found.imag), (exact.real, exact.imag), CLOSED_FORM
    )


def piston_on_its_axis(ka: float) -> Compared:
    """Pressure on the axis over rho c u."""
    rings = cut_rings([Line((1.0, 0.0), (0.0, 0.0), "piston")], 2.0 * np.pi / ka / 4.0 / FINE)
    _, monopole = near_kernels(rings, ka, np.column_stack([np.zeros(7), ON_AXIS]))
    found = np.abs(2.0 * ka * monopole.sum(axis=1))
    exact = 2.0 * np.abs(np.sin(0.5 * ka * (np.sqrt(ON_AXIS**2 + 1.0) - ON_AXIS)))
    return compare(f"ka {ka:g}", [f"z {z:g} a" for z in ON_AXIS], found, exact, CLOSED_FORM)


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
    return compare(f"ka {ka:g}", at, *parts, CLOSED_FORM)


BALL_KA = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0)
ON_AXIS = np.array([0.0, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0])
_BOOK = "Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), 4.19 and 13.7"
CHECKS = (
    Check(
        "Kirchhoff: ball, straight back",
        QUICK,
        "elementary integral over the lit half",
        "",
        BALL_KA,
        ball_straight_back,
    ),
    Check("Kirchhoff: piston on its axis", QUICK, _BOOK, "", (5.0, 10.0), piston_on_its_axis),
    Check("Kirchhoff: piston far away", QUICK, _BOOK, "", (1.0, 5.0, 20.0), piston_far_away),
)
