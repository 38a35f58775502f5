"""A point source and who hears it, with something in between.

A source at distance d from the middle of a rigid ball of radius a, heard at r > a, at an angle
theta from it: with x = ka,

    p_scattered = -i k / (4 pi) sum (2n + 1) j_n'(x) / h_n'(x) h_n(kd) h_n(kr) P_n(cos theta)

(textbook; as `studies.questions.proof.cases.sphere_scattering` has it on the axis).
"""

import numpy as np
from scipy.special import eval_legendre, spherical_jn

from dispersion.air import Air
from dispersion.allround import Crossing, pressure_past
from shapes.meridian import Arc, Meridian
from studies.questions.proof.cases.series import hankel

AIR, RADIUS, LIFT = Air(), 0.1, 0.05
BALL = Meridian(
    (
        Arc((0.0, -RADIUS), (RADIUS, 0.0), (0.0, 0.0), clockwise=False, part="below"),
        Arc((RADIUS, 0.0), (0.0, RADIUS), (0.0, 0.0), clockwise=False, part="above"),
    )
)
BEHIND = Crossing((0.25, 0.08), (0.9, 0.2), np.pi)
ASIDE = Crossing((0.25, 0.08), (0.6, -0.3), 0.8)
OTHER = Crossing((0.5, 0.0), (0.9, 0.2), 2.6)


def in_space(point: tuple[float, float], azimuth: float) -> np.ndarray:
    r, z = point
    return np.array([r * np.cos(azimuth), r * np.sin(azimuth), z - LIFT])


def exact(frequency: float, crossing: Crossing) -> complex:
    """Pressure over the free field, by the series."""
    k = 2.0 * np.pi * frequency / AIR.speed
    source, place = in_space(crossing.source, 0.0), in_space(crossing.place, crossing.azimuth)
    d, r, apart = (float(np.linalg.norm(one)) for one in (source, place, source - place))
    n = np.arange(int(k * RADIUS) + 25)
    terms = (2 * n + 1) * spherical_jn(n, k * RADIUS, True) / hankel(n, k * RADIUS, True)
    terms = terms * hankel(n, k * d) * hankel(n, k * r) * eval_legendre(n, source @ place / (d * r))
    return complex(1.0 - 1j * k * apart * np.exp(-1j * k * apart) * terms.sum())


def test_behind_a_ball() -> None:
    crossings = (BEHIND, ASIDE, OTHER)
    for frequency in (150.0, 2400.0):
        found = pressure_past([(BALL, LIFT)], crossings, frequency, AIR)
        known = np.array([exact(frequency, one) for one in crossings])
        # Orders end where one adds 3e-4; the mesh is good to 0.01 dB.
        assert np.abs(found - known).max() < 1e-3
    assert np.abs(known[0]) < 0.8  # there is a shadow
