"""Averages of ANSI/CTA-2034-A that mean something for a source that is the same all round.

A source without a front leaves no meaning to most of them: seven of the nine positions of the
listening window, the front, side and rear wall bounces, and with them the early reflections and the
predicted in-room response, are all the one level of the horizontal ring. What stays is the floor
bounce and the ceiling bounce (vertical angles only), and the standard's sound power as a check
(`cta_mean_square`); the exact one is `elevations.sound_power`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dispersion.elevations import Array, power_at

# ANSI/CTA-2034-A [from memory].
FLOOR_BOUNCE = (-40.0, -30.0, -20.0)
CEILING_BOUNCE = (40.0, 50.0, 60.0)


def cta_weights() -> Array:
    """Sound-power weights of ANSI/CTA-2034-A, Appendix C, for 0, 10, ... 180 degrees, (19,).

    Each is the weight of one curve; the 70 curves of both orbits add up to 0.996373, not 1.

    Notes
    -----
    Closed form of the printed table: with d(t) = arcsin(sin(t)^2) / (4 pi),
    w(t) = d(t + 5) - d(t - 5) up to 80 degrees, w(0) = d(5), w(90) = 2 [d(90) - d(85)].
    """
    edges = np.radians(np.arange(5.0, 90.0, 10.0))
    areas = np.append(np.arcsin(np.sin(edges) ** 2), np.pi / 2.0) / (4.0 * np.pi)
    quarter = np.diff(areas, prepend=0.0)
    quarter[-1] *= 2.0
    return np.concatenate([quarter, quarter[-2::-1]])


def cta_mean_square(power: ArrayLike, elevations: ArrayLike) -> Array:
    """Mean square over both orbits of ANSI/CTA-2034-A, normalised, shape (...).

    Every curve of the horizontal orbit is the ring at elevation 0. Two orbits are no full
    quadrature of the sphere: a check on `mean_square`, not a replacement.
    """
    angles = np.arange(0.0, 181.0, 10.0)
    over_the_top = np.where(angles <= 90.0, angles, 180.0 - angles)
    upper, lower = (power_at(power, elevations, side * over_the_top) for side in (1.0, -1.0))
    ring = power_at(power, elevations, 0.0)[..., None]
    weights = cta_weights()
    # 0 and 180 degrees belong to both orbits and count once; all others appear four times.
    curves = np.where((angles == 0.0) | (angles == 180.0), ring, upper + lower + 2.0 * ring)
    total = weights @ np.where((angles == 0.0) | (angles == 180.0), 1.0, 4.0)
    return curves @ weights / total
