"""A flat piston in the top of a very wide cylinder: nearly a piston in an infinite baffle.

Source: Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), 4.19 and 13.7, Eq. 13.102,
13.117 and 13.118: directivity 2 J_1(x) / x, x = ka sin(theta); resistance 1 - J_1(2ka) / ka and
reactance H_1(2ka) / ka over rho c pi a^2 (printed values below, x = 2ka).

What the edge does (Keller's theory of diffraction, elementary use): along the baffle the sound is
that of the directivity at 90 degrees, and the right-angled edge sends u_e R D_0 / s back to the
axis from the whole rim in step, D_0 = 0.58 straight up (less than 2 everywhere 30 degrees above the
baffle, where the rim is not in step either), u_e = p_0 |D(90 deg)| / R. Relative to the level p_0
straight ahead the far field is therefore disturbed by less than 2 |D(90 deg)|; D is taken at the
rim, at its distance, from the Rayleigh integral. Back on the piston the edge adds, in units of
rho c u, less than 2 (ka / 2) (a / R) |D(90 deg)|.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import j1, jn_zeros

from dispersion.waves import WaveSolution, axial_motion, solve
from dispersion.waves.elements import basis
from studies.questions.proof.cases.check import (
    AS_A_SHARE,
    POWER_TOLERANCE_DB,
    WAVES,
    Check,
    Compared,
    compare,
    degrees,
)
from studies.questions.proof.cases.solids import AIR, cylinder, frequency_of

BAFFLE = 20.0  # its radius over the piston's

PRINTED: dict[
    float, tuple[float, float]
] = {  # 2ka: resistance and reactance, printed to six decimals
    1: (0.119899, 0.396915),
    3: (0.773961, 0.680073),
    5: (1.131032, 0.323125),
    10: (0.991305, 0.178366),
}

EDGE = 2.0


def directivity(ka: float, sine: ArrayLike) -> np.ndarray:
    """Return 2 J_1(x) / x at x = ka sin(theta)."""
    x = np.maximum(ka * np.abs(np.asarray(sine, dtype=float)), 1e-12)
    return 2.0 * j1(x) / x


def piston(ka: float) -> WaveSolution:
    """Solve the piston in its wide baffle."""
    body = cylinder(BAFFLE, 0.0, -2.0, 1.0)
    return solve([body], frequency_of(ka), [axial_motion("piston", {"piston"}, AIR)], AIR)


def at_the_rim(ka: float) -> float:
    """|p| R / p_0 on the baffle at R, p_0 / r being the far field ahead: Rayleigh integral."""
    radius, radial_weight = (0.5 * v for v in np.polynomial.legendre.leggauss(40))
    radius = radius + 0.5
    angle = (np.arange(200) + 0.5) * np.pi / 200.0
    distance = np.sqrt(
        BAFFLE**2 + radius[:, None] ** 2 - 2.0 * BAFFLE * radius[:, None] * np.cos(angle)
    )
    ring = np.mean(np.exp(1j * ka * distance) / distance, axis=1)
    return float(BAFFLE * abs(2.0 * np.sum(radial_weight * radius * ring)))


def reactance_of(solution: WaveSolution) -> float:
    """Over rho c pi a^2; u = i / omega for a = 1 m/s^2, exp(-i omega t)."""
    shape = basis(7)
    at = solution.mesh.at(shape.points)
    moves = np.array(solution.mesh.parts) == "piston"
    pressure = solution.pressure[solution.mesh.nodes][:, :, 0] @ shape.values.T
    area = 2.0 * np.pi * at.r * at.jacobian * shape.weights
    force = np.sum((area * at.normal_z * pressure)[moves])
    omega = 2.0 * np.pi * solution.frequency
    return float(-(force * omega / 1j).imag / (np.pi * AIR.density * AIR.speed))


def far_field(ka: float) -> Compared:
    """Far field over that straight ahead in an endless baffle."""
    elevations = np.arange(30.0, 91.0, 2.0)
    solution = piston(ka)
    ahead = AIR.density * solution.volume_acceleration()[0] / (2.0 * np.pi)
    far = solution.far_field(elevations)[:, 0] / ahead
    exact = directivity(ka, np.cos(np.radians(elevations)))
    allowed = EDGE * at_the_rim(ka) + AS_A_SHARE
    # The known value is real, so the distance from it counts the phase as well.
    off = np.sign(exact) * np.abs(far - exact)
    return compare(f"ka {ka:g}", degrees(elevations), exact + off, exact, allowed)


def radiation_impedance(twice_ka: int) -> Compared:
    """Resistance and reactance over rho c pi a^2."""
    ka = 0.5 * twice_ka
    solution = piston(ka)
    omega = 2.0 * np.pi * solution.frequency
    found = 2.0 * solution.driven_power()[0] * omega**2 / (np.pi * AIR.density * AIR.speed)
    resistance, reactance = PRINTED[twice_ka]
    edge = EDGE * 0.5 * ka / BAFFLE * abs(directivity(ka, 1.0))
    solver = 10.0 ** (POWER_TOLERANCE_DB / 10.0) - 1.0
    allowed = [edge + solver * resistance, edge + solver * abs(resistance + 1j * reactance)]
    at = ("resistance", "reactance")
    return compare(
        f"2 ka {twice_ka:g}", at, [found, reactance_of(solution)], PRINTED[twice_ka], allowed
    )


_BOOK = (
    "Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), Eq. 13.102, 13.117 and"
    " 13.118; the limit is what the edge of this baffle does"
)
CHECKS = (
    Check(
        name="Piston in a baffle: far field",
        kind=WAVES,
        source=_BOOK,
        cases=tuple(sorted((*jn_zeros(1, 2), 5.0, 10.0))),
        run=far_field,
    ),
    Check(
        name="Piston in a baffle: impedance",
        kind=WAVES,
        source=_BOOK,
        cases=tuple(PRINTED),
        run=radiation_impedance,
    ),
)
