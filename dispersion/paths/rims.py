"""Edge waves: what a rigid wedge sends out when a point source lights it.

The line integral of Biot, Tolstoy and Medwin in the form of Svensson, Fred & Vanderkooy, J. Acoust.
Soc. Am. 106, 2331 (1999): exact for a straight edge, and carried round a circular rim here.
"""

from dataclasses import dataclass

import numpy as np

from dispersion.paths.kirchhoff import Complex, Real

ON_THE_BOUNDARY = 1e-9
"""A ray this close to the edge of its light (radians) counts half."""


class EdgesError(ValueError):
    """An assembly or a place that simple diffraction cannot treat; the message says why."""


def edge_wave(
    k: float,
    source: tuple[float, float, float],
    receiver: tuple[float, float, float],
    wedge: float,
) -> complex:
    """Wave from an endless straight edge of a rigid wedge, for a source exp(ikR)/R.

    p = -(nu/4 pi) int sum_i beta_i exp(ik(m+l)) / (m l) dz,
    beta_i = sin(nu phi_i) / (cosh(nu eta) - cos(nu phi_i)), phi_i = pi +- theta_S +- theta_R,
    with nu = pi / wedge and m, l the distances of the edge's points. The path of integration is
    turned about the point of shortest way, so that the integrand decays.

    Parameters
    ----------
    k : float
        Wavenumber, rad/m.
    source, receiver : (r, theta, z)
        Distance from the edge in metres, angle from one face in radians, place along the edge.
    wedge : float
        Angle of the air, radians: 2 pi for a half plane.

    Raises
    ------
    EdgesError
        If a place lies inside the solid or on the edge, or k is not positive.
    """
    (rs, ts, zs), (rr, tr, zr) = source, receiver
    _check_wedge(k, source, receiver, wedge)
    apex = (zs * rr + zr * rs) / (rs + rr)
    # The square roots keep their branch while the path stays inside this angle.
    slope = abs(zs - zr) / (rs + rr)
    turn = min(0.6, 0.5 * np.arctan2(1.0, slope))
    nodes, weights = np.polynomial.legendre.leggauss(16)
    far = 40.0 / (k * np.sin(turn)) + 4.0 * (rs + rr + abs(zs - zr))
    stops = np.concatenate([[0.0], far * 2.0 ** np.arange(-46.0, 1.0), [far * 1.5]])
    half = 0.5 * np.diff(stops)[:, None]
    v = (stops[:-1, None] + half * (1.0 + nodes)).ravel()
    dv = (half * weights).ravel()
    total = 0.0j
    for side in (-1.0, 1.0):
        off = side * v * np.exp(1j * turn)
        z = apex + off
        m, length = np.sqrt(rs**2 + (z - zs) ** 2), np.sqrt(rr**2 + (z - zr) ** 2)
        # cosh(eta) - 1 without the difference of nearly equal numbers close to the apex.
        rise = ((rs + rr) * off) ** 2 / (m * length + rs * rr - (z - zs) * (z - zr))
        wave = np.exp(1j * k * (m + length)) / (m * length)
        total += np.sum(dv * wave * _beta(rise / (rs * rr), ts, tr, wedge))
    return complex(-0.25 / wedge * total * np.exp(1j * turn))


def wedge_field(
    k: float,
    source: tuple[float, float, float],
    receiver: tuple[float, float, float],
    wedge: float,
) -> complex:
    """Field of a source exp(ikR)/R beside a rigid wedge: rays and images, and `edge_wave`.

    Up to one reflection: right for a wedge (angle of the air) of 90 degrees, whose corner has the
    double image as well, or of 180 degrees and more; others are refused. Parameters and errors
    as for `edge_wave`.
    """
    corner = abs(wedge - 0.5 * np.pi) < ON_THE_BOUNDARY
    if wedge < np.pi and not corner:
        raise EdgesError(
            f"a corner of {np.degrees(wedge):g} deg has images of images: give 90 deg, or 180 "
            "and more"
        )
    (rs, ts, zs), (rr, tr, zr) = source, receiver
    total = edge_wave(k, source, receiver, wedge)
    images = [(tr - ts, True), (tr + ts, True), (2.0 * wedge - tr - ts, True)]
    if corner:
        images.append((np.pi + ts - tr, False))
    for angle, ends in images:
        past = np.pi - abs(angle)
        share = 1.0 if past > ON_THE_BOUNDARY or not ends else 0.5 * (past > -ON_THE_BOUNDARY)
        if share:
            R = np.sqrt(rs**2 + rr**2 - 2.0 * rs * rr * np.cos(angle) + (zs - zr) ** 2)
            total += share * np.exp(1j * k * R) / R
    return complex(total)


def _check_wedge(
    k: float, source: tuple[float, ...], receiver: tuple[float, ...], wedge: float
) -> None:
    if not (k > 0.0 and 0.0 < wedge <= 2.0 * np.pi):
        raise EdgesError(f"wavenumber {k:g} and wedge {np.degrees(wedge):g} deg: above 0, to 360")
    for name, (r, theta, _) in (("source", source), ("receiver", receiver)):
        if r <= 0.0 or not -1e-12 <= theta <= wedge + 1e-12:
            raise EdgesError(
                f"{name} at {r:g} m and {np.degrees(theta):g} deg: it must be off the edge and "
                f"in the air, between 0 and {np.degrees(wedge):g} deg"
            )


def _beta(rise: np.ndarray, source: float, receiver: Real | float, wedge: float) -> np.ndarray:
    """Sum of the four sin(nu phi) / (cosh(nu eta) - cos(nu phi)), given cosh(eta) - 1."""
    nu = np.pi / wedge
    grown = np.sinh(nu * np.arcsinh(np.sqrt(0.5 * rise))) ** 2
    total = np.zeros(np.broadcast(rise, receiver).shape, dtype=grown.dtype)
    for s in (source, -source):
        for r in (receiver, -receiver):
            # cosh a - cos b = 2 sinh^2(a/2) + 2 sin^2(b/2).
            half = 0.5 * nu * (np.pi + s + r)
            total += np.sin(half) * np.cos(half) / (grown + np.sin(half) ** 2)
    return total


@dataclass(frozen=True, eq=False)
class RimWave:
    """Edge wave of a circular rim under a source exp(ikR)/R on its axis, for many frequencies.

    Built by `far_rim` and `near_rim`; the integral along the straight edge is taken along the
    rim, whose wedge stands on its own tangent.

    Attributes
    ----------
    amplitude, path : (X, N) array
        Weight and length of every way over the rim.
    across : (N,) array
        0 on the near side of the rim, 1 on the far side, a smooth step between.
    elevation : (X,) array
        Radians; of the places.
    width : float
        Across the rim, metres.
    """

    amplitude: Real
    path: Real
    across: Real
    elevation: Real
    width: float

    def at(self, k: float) -> Complex:
        """Return the wave at wavenumber k, (X,); far away r p exp(-ikr).

        What leaves the far side passes over the near side, which dims it as a knife edge would:
        Fresnel's integral, as in Rec. ITU-R P.526, stands for the second diffraction.
        """
        from scipy.special import erfc

        wave = self.amplitude * np.exp(1j * k * self.path)
        over = np.sqrt(2.0 * k * self.width) * np.sin(0.5 * self.elevation)
        passed = 0.5 * erfc(-np.exp(-0.25j * np.pi) * over)
        return wave @ (1.0 - self.across) + passed * (wave @ self.across)


def far_rim(radius: float, wedge: float, height: float, elevations: Real, top_k: float) -> RimWave:
    """Edge wave of a rim in the far field, phase referred to the middle of the rim.

    Parameters
    ----------
    radius : float
        Of the rim at z = 0, metres; the solid is inside and below.
    wedge : float
        Angle of the air from the upper face, radians.
    height : float
        Of the source above the upper face on the axis, metres.
    elevations : (X,) array
        Degrees.
    top_k : float
        Largest wavenumber to be asked for, rad/m.
    """
    phi, share = _round_the_rim(top_k * radius)
    eps = np.radians(elevations)[:, None]
    direction = (np.cos(eps) * np.cos(phi), np.cos(eps) * np.sin(phi), np.sin(eps) + 0.0 * phi)
    return _rim(radius, wedge, height, direction, phi, share, -radius * direction[0], 1.0, eps)


def near_rim(radius: float, wedge: float, height: float, points: Real, top_k: float) -> RimWave:
    """Edge wave of a rim at points (X, 2) of r and z in metres; else as `far_rim`."""
    phi, share = _round_the_rim(top_k * radius)
    r, z = points[:, :1], points[:, 1:]
    out, along = r * np.cos(phi) - radius, r * np.sin(phi)
    length = np.sqrt(out**2 + along**2 + z**2)
    direction = (out / length, along / length, z / length)
    eps = np.arctan2(z, r)
    return _rim(radius, wedge, height, direction, phi, share, length, length, eps)


def _rim(
    radius: float,
    wedge: float,
    height: float,
    direction: tuple[Real, Real, Real],
    phi: Real,
    share: Real,
    length: Real,
    spreading: Real | float,
    eps: Real,
) -> RimWave:
    out, along, up = direction
    receiver = np.arctan2(up, -out) % (2.0 * np.pi)
    # Below the baffle the far side of the rim looks into the solid: as if along its nearer face.
    nearer = np.where(receiver > 0.5 * wedge + np.pi, 0.0, wedge)
    receiver = np.where(receiver > wedge, nearer, receiver)
    to_rim = np.hypot(radius, height)
    # cosh(eta) is 1 over the sine between the way out and the rim's tangent.
    sine = np.sqrt(np.maximum(1.0 - along**2, 1e-30))
    rise = along**2 / (sine * (1.0 + sine))
    beta = _beta(rise, np.arctan2(height, radius), receiver, wedge)
    amplitude = -0.25 / wedge * radius / to_rim * beta / spreading * share
    step = np.clip(phi / (np.pi / 3.0) - 1.0, 0.0, 1.0)
    across = step * step * (3.0 - 2.0 * step)
    return RimWave(amplitude, to_rim + length, across, eps[:, 0], 2.0 * radius)


def _round_the_rim(phase: float) -> tuple[Real, Real]:
    """Angles over half the rim, twice weighted, dense at the near side where light ends."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    even = max(3, int(np.ceil(phase / 2.5)))
    steps = np.pi * np.arange(even + 1) / even
    dense = steps[1] * 2.0 ** np.arange(-9.0, 0.0)
    stops = np.concatenate([[0.0], dense, steps[1:]])
    half = 0.5 * np.diff(stops)[:, None]
    return (stops[:-1, None] + half * (1.0 + nodes)).ravel(), 2.0 * (half * weights).ravel()


# --- Bounces -------------------------------------------------------------------------------------
