"""Balls whose walls take something: an admittance, or the boundary layers of the air.

Sources: each multipole h_n that a ball adds to a wave's j_n meets the wall with
-(j_n' + i beta j_n) / (h_n' + i beta h_n), elementary; waves and point sources as sums of these:
Morse & Ingard, Theoretical Acoustics, 8.2 [from memory]. A layer is an admittance of its own for
each n, since the Laplacian along the ball is -n (n + 1) / a^2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import eval_legendre, spherical_jn

from dispersion.walls import ConstantAdmittance, Walls
from dispersion.waves import Drive, Monopole, PlaneWave, WaveSolution, solve
from dispersion.waves.walls import layers_of
from shapes.meridian import Arc, Meridian
from studies.questions.proof.cases.check import (
    POWER_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    compare_levels,
    degrees,
    joined,
)
from studies.questions.proof.cases.floors import UP
from studies.questions.proof.cases.series import gauss, hankel, orders
from studies.questions.proof.cases.solids import (
    AIR,
    around,
    capped_sphere,
    frequency_of,
    hertz,
    sphere,
)

BETA = 0.2 - 0.1j
SOFT = ConstantAdmittance(BETA)
POLAR = np.arange(0.0, 181.0, 15.0)
KA = (1.0, 5.0, 10.0)
RADIUS = 0.02
"""Metres, of the ball that has layers: large against their depth, and small enough for the power
that they take to count."""
Kind = Literal["admittance", "layers"]


@dataclass(frozen=True)
class Ball:
    """A ball with walls of one kind, at one ka."""

    ka: float
    kind: Kind

    @property
    def radius(self) -> float:
        """Metres; layers have a depth of their own, so the ball is a small one."""
        return 1.0 if self.kind == "admittance" else RADIUS

    @property
    def name(self) -> str:
        """Name of the case."""
        return f"{self.kind}, ka {self.ka:g}"

    @property
    def frequency(self) -> float:
        """Hz."""
        return frequency_of(self.ka, self.radius)

    @property
    def walls(self) -> Walls:
        """What the solver is told."""
        if self.kind == "layers":
            return Walls()
        return Walls(layers=False, absorbers=(("ball", SOFT),))

    @property
    def beta(self) -> np.ndarray:
        """(N, 1) admittance that meets the multipole n."""
        n = orders(self.ka)
        if self.kind == "admittance":
            return np.full(n.shape, BETA)
        layers, k = layers_of(AIR, self.frequency), self.ka / self.radius
        along = n * (n + 1) / self.radius**2
        return (1.0 - 1.0j) / (2.0 * k) * (layers.thermal + layers.viscous * along)

    @property
    def reflected(self) -> np.ndarray:
        """(N, 1) multipole h_n that each j_n leaves: -(j_n' + i beta j_n)/(h_n' + i beta h_n)."""
        n, ka = orders(self.ka), self.ka
        met = spherical_jn(n, ka, True) + 1j * self.beta * spherical_jn(n, ka)
        return -met / (hankel(n, ka, True) + 1j * self.beta * hankel(n, ka))

    def scattered(self, cosines: np.ndarray) -> np.ndarray:
        """Far field over the radius: 1 / (i ka) sum (2n + 1) R_n P_n."""
        n = orders(self.ka)
        terms = (2 * n + 1) * self.reflected * eval_legendre(n, cosines)
        return terms.sum(axis=0) / (1j * self.ka)

    @property
    def absorbed_section(self) -> float:
        """Power taken over intensity and pi a^2: 1 / (ka)^2 sum (2n + 1) (1 - |1 + 2 R_n|^2)."""
        n = orders(self.ka)
        shares = (2 * n + 1) * (1.0 - np.abs(1.0 + 2.0 * self.reflected) ** 2)
        return float(shares.sum() / self.ka**2)


def section_of(solution: WaveSolution) -> float:
    """Power taken by all walls over the intensity of a plane wave of 1 Pa, m^2."""
    taken = sum(part[0, 0].real for part in solution.absorbed_power.values())
    return float(2.0 * AIR.density * AIR.speed * taken)


def in_a_wave(case: tuple[Kind, float]) -> Compared:
    """Far field where it is loud, and the power that the ball takes."""
    ball = Ball(case[1], case[0])
    body = sphere(ball.radius)
    solution = solve([body], ball.frequency, [PlaneWave(90.0)], AIR, walls=ball.walls)
    found = solution.far_field(90.0 - POLAR)[:, 0] / ball.radius
    known = ball.scattered(np.cos(np.radians(POLAR)))
    far = compare_levels("far field", degrees(POLAR), found, known, hertz(ball.ka))
    sections = np.array([section_of(solution) / (np.pi * ball.radius**2), ball.absorbed_section])
    taken, exact = 10.0 * np.log10(sections)
    power = compare("power", ["taken"], taken, exact, POWER_TOLERANCE_DB, hertz(ball.ka))
    return joined(ball.name, (far, power))


def from_the_side(case: tuple[Kind, float]) -> Compared:
    """A wave that comes from the side, azimuthal orders summed."""
    ball = Ball(case[1], case[0])
    away = np.concatenate((POLAR, -POLAR[1:-1]))
    turned = np.radians(30.0 + away)
    elevations = np.degrees(np.arcsin(np.sin(turned)))
    azimuth = np.where(np.cos(turned) < 0.0, np.pi, 0.0)
    each = [
        solve(
            [sphere(ball.radius)], ball.frequency, [PlaneWave(30.0)], AIR, m, walls=ball.walls
        ).far_field(elevations)
        for m in range(int(ball.ka) + 8)
    ]
    found = around(each, azimuth[:, None])[:, 0] / ball.radius
    known = ball.scattered(np.cos(np.radians(away)))
    return compare_levels(ball.name, degrees(away), found, known, hertz(ball.ka))


def beside_a_source(ka: float) -> Compared:
    """What a soft unit ball scatters to r = 5 of a point source at d = 2."""
    ball, n = Ball(ka, "admittance"), orders(ka)
    solution = solve([sphere()], ball.frequency, [Monopole(2.0)], AIR, walls=ball.walls)
    angle = np.radians(POLAR)
    points = 5.0 * np.column_stack((np.sin(angle), np.cos(angle)))
    terms = (2 * n + 1) * ball.reflected * hankel(n, 2.0 * ka) * hankel(n, 5.0 * ka)
    known = 1j * ka / (4.0 * np.pi) * (terms * eval_legendre(n, np.cos(angle))).sum(axis=0)
    found = solution.pressure_at(points)[:, 0]
    return compare_levels(f"ka {ka:g}", degrees(POLAR), found, known, hertz(ka))


def cap_moves(ka: float) -> Compared:
    """A soft ball whose cap of 30 degrees is driven with dp/dn = 1; energy is kept."""
    n, walls = orders(ka), Walls(layers=False, absorbers=(("rest", SOFT), ("cap", SOFT)))
    drive = Drive("cap", frozenset({"cap"}), lambda points, _: np.ones(points.r.shape))
    body = capped_sphere(30.0)
    solution = solve([body], frequency_of(ka), [drive], AIR, walls=walls)
    x, weights = gauss([np.cos(np.radians(30.0)), 1.0], len(n))
    given = (n + 0.5) * (weights * eval_legendre(n, x)).sum(axis=1, keepdims=True)
    strengths = given / ka / (hankel(n, ka, True) + 1j * BETA * hankel(n, ka))
    patterns = (-1j) ** (n + 1) / ka * eval_legendre(n, np.cos(np.radians(POLAR)))
    found, known = solution.far_field(90.0 - POLAR)[:, 0], (strengths * patterns).sum(axis=0)
    far = compare_levels("far field", degrees(POLAR), found, known, hertz(ka))
    error = solution.power_error_db
    balance = compare("power", ["balance"], error, 0.0, POWER_TOLERANCE_DB, hertz(ka))
    return joined(f"ka {ka:g}", (far, balance))


def half_ball_on_a_floor(case: tuple[Kind, float]) -> Compared:
    """Half a ball on a floor, a plane wave straight from above: the ball met from both sides."""
    ball = Ball(case[1], case[0])
    foot, top = (ball.radius, 0.0), (0.0, ball.radius)
    half = Meridian((Arc(foot, top, (0.0, 0.0), clockwise=False, part="ball"),))
    wave = [PlaneWave(-90.0)]
    solution = solve([half], ball.frequency, wave, AIR, floor=0.0, walls=ball.walls)
    sines = np.sin(np.radians(UP))
    found = solution.far_field(UP)[:, 0] / ball.radius
    known = ball.scattered(sines) + ball.scattered(-sines)
    return compare_levels(ball.name, degrees(UP), found, known, hertz(ball.ka))


LAYERED = tuple((kind, ka) for kind in ("admittance", "layers") for ka in KA)
_BOOK = "Morse & Ingard, Theoretical Acoustics, 8.2 [from memory]; elementary for soft walls"
CHECKS = (
    Check(
        name="Soft ball in a wave",
        kind=WAVES,
        source=_BOOK,
        unit="dB",
        cases=LAYERED,
        run=in_a_wave,
    ),
    Check(
        name="Soft ball in a wave from the side",
        kind=WAVES,
        source=_BOOK,
        unit="dB",
        cases=(("admittance", 1.0), ("layers", 1.0), ("admittance", 5.0)),
        run=from_the_side,
    ),
    Check(
        name="Soft ball beside a source",
        kind=WAVES,
        source=_BOOK,
        unit="dB",
        cases=KA,
        run=beside_a_source,
    ),
    Check(
        name="Soft ball whose cap moves",
        kind=WAVES,
        source=_BOOK,
        unit="dB",
        cases=KA,
        run=cap_moves,
    ),
    Check(
        name="Half a soft ball on a floor",
        kind=WAVES,
        source=f"{_BOOK}; mirrored",
        unit="dB",
        cases=LAYERED,
        run=half_ball_on_a_floor,
    ),
)
