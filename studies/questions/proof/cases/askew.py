"""Bodies off each other's axis against exact fields.

Sources: elementary. A swelling ball is round about any axis through its middle, so that what hangs
over it, turned about that middle, sounds as before, turned with it; and two balls are always round
about the line through their middles. The round solver knows both answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dispersion.allround import Displacement, solve_pair
from dispersion.waves import normal_motion, solve
from shapes.meridian import Arc, Line, Meridian
from studies.questions.proof.cases.check import WAVES, Check, Compared, compare
from studies.questions.proof.cases.solids import AIR, hertz, on_circle, sphere

RADIUS = 0.1
AWAY = 0.02
"""Between the ball and what hangs over it, metres."""
ELEVATIONS = np.arange(-75.0, 76.0, 15.0)
AZIMUTHS_DEG = np.arange(0.0, 181.0, 20.0)
SHARE = 2e-3
"""Of the largest pressure: a fifth of the promised 0.1 dB."""


@dataclass(frozen=True)
class Turned:
    """What hangs over a swelling ball, turned about the ball's middle, at some ka of the ball."""

    name: str
    hung: Meridian
    tilt_deg: float
    ka: float


def disc(height: float) -> Meridian:
    """Disc of 60 mm radius and 10 mm thickness, its underside at a height."""
    low, high = (0.06, height), (0.06, height + 0.01)
    return Meridian(
        (
            Line((0.0, height), low, "under"),
            Line(low, high, "edge"),
            Line(high, (0.0, height + 0.01), "top"),
        )
    )


def ball(height: float, radius: float) -> Meridian:
    """Ball whose middle is at a height."""
    stops = [on_circle(angle, radius) for angle in (180.0, 90.0, 0.0)]
    ends = [(r, z + height) for r, z in stops]
    return Meridian(
        tuple(
            Arc(start, end, (0.0, height), clockwise=False, part="hung")
            for start, end in pairwise(ends)
        )
    )


def turned(case: Turned) -> Compared:
    """Far field all round against that of the round problem, turned."""
    swelling, frequency = sphere(RADIUS), hertz(case.ka)
    drive = normal_motion("ball", {"ball"}, AIR)
    tilt = np.radians(case.tilt_deg)
    place = Displacement(tilt=tilt).placement(pivot=0.0)
    k = 2.0 * np.pi * frequency / AIR.speed
    orders = int(2.0 * k * np.sin(tilt) * (RADIUS + AWAY)) + 6
    pair = solve_pair(((swelling, [drive]), (case.hung, ())), place, frequency, AIR, orders)
    found = pair.far(ELEVATIONS, AZIMUTHS_DEG)[0].ravel()
    eps, phi = np.radians(ELEVATIONS)[:, None], np.radians(AZIMUTHS_DEG)
    height = np.cos(tilt) * np.sin(eps) + np.sin(tilt) * np.cos(eps) * np.cos(phi)
    own = np.degrees(np.arcsin(height)).ravel()
    exact = solve((swelling, case.hung), frequency, [drive], AIR).far_field(own)[:, 0]
    most = np.abs(exact).max()
    names = [f"{e:g} deg up, {a:g} deg round" for e in ELEVATIONS for a in AZIMUTHS_DEG]
    both = [f"{name}, {part}" for part in ("re", "im") for name in names]
    ours = np.concatenate(((found / most).real, (found / most).imag))
    known = np.concatenate(((exact / most).real, (exact / most).imag))
    return compare(f"{case.name} {case.tilt_deg:g} deg, ka {case.ka:g}", both, ours, known, SHARE)


CHECKS = (
    Check(
        name="Disc and ball turned about a swelling ball: off the axis and tilted",
        kind=WAVES,
        source="elementary: the same in the round solver, turned",
        unit="",
        cases=(
            Turned("disc", disc(RADIUS + AWAY), 5.0, 5.0),
            Turned("disc", disc(RADIUS + AWAY), 5.0, 20.0),
            Turned("ball", ball(RADIUS + AWAY + 0.04, 0.04), 10.0, 10.0),
        ),
        run=turned,
    ),
)
