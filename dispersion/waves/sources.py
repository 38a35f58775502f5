"""What drives a wave problem or meets it: moving surfaces, monopoles, plane waves."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.special import jv, jvp

from dispersion.air import Air

from .elements import SurfacePoints
from .rings import LONGEST_RULE, azimuth_rules, compiled_order, ring_pair

Gradient = Callable[[SurfacePoints, float], np.ndarray]
Weight = Callable[[np.ndarray, float], np.ndarray]


@dataclass(frozen=True)
class Drive:
    """Surface that moves: its parts and dp/dn on them.

    Attributes
    ----------
    name : str
    parts : frozenset of str
        Labels of the meridian pieces that move.
    gradient : callable
        (points, frequency in Hz) -> dp/dn in Pa/m at each point, for the order asked for.
    shares : mapping of str to complex
        Factor on the gradient of a part, 1 where none is given.
    """

    name: str
    parts: frozenset[str]
    gradient: Gradient
    shares: Mapping[str, complex] = field(default_factory=dict)


def axial_motion(
    name: str,
    parts: Iterable[str],
    air: Air,
    acceleration: float = 1.0,
    weight: Weight | None = None,
) -> Drive:
    """Parts that move along the axis: v_n = v n_z, so dp/dn = -rho a n_z.

    Parameters
    ----------
    name : str
    parts : iterable of str
    air : Air
    acceleration : float
        Axial acceleration a in m/s^2.
    weight : callable, optional
        (r in metres, frequency in Hz) -> share of the motion at that radius.
    """

    def gradient(points: SurfacePoints, frequency: float) -> np.ndarray:
        share = 1.0 if weight is None else weight(points.r, frequency)
        return -air.density * acceleration * points.normal_z * share

    return Drive(name, frozenset(parts), gradient)


def normal_motion(name: str, parts: Iterable[str], air: Air, acceleration: float = 1.0) -> Drive:
    """Parts that swell: the same acceleration along the normal everywhere, dp/dn = -rho a."""

    def gradient(points: SurfacePoints, frequency: float) -> np.ndarray:
        return np.full(points.r.shape, -air.density * acceleration)

    return Drive(name, frozenset(parts), gradient)


def normal_velocity(name: str, velocities: Mapping[str, complex], air: Air) -> Drive:
    """Parts with a prescribed velocity along the normal, in m/s: dp/dn = i omega rho v_n."""

    def gradient(points: SurfacePoints, frequency: float) -> np.ndarray:
        return np.full(points.r.shape, 2j * np.pi * frequency * air.density)

    return Drive(name, frozenset(velocities), gradient, dict(velocities))


@dataclass(frozen=True)
class Monopole:
    """A point source exp(ikR) / (4 pi R) at (r, z); off the axis it lies at azimuth 0."""

    z: float
    r: float = 0.0
    strength: complex = 1.0

    def on(self, points: SurfacePoints, k: complex, m: int = 0) -> tuple[np.ndarray, np.ndarray]:
        """Return order m of the pressure and of its normal derivative at surface points."""
        p = np.empty(points.r.shape, dtype=complex)
        q = np.empty_like(p)
        rules, scratch = azimuth_rules(10.0), np.empty((4, LONGEST_RULE))
        each = zip(
            points.r.flat, points.z.flat, points.normal_r.flat, points.normal_z.flat, strict=True
        )
        for i, (r, z, nr, nz) in enumerate(each):
            g, _, e, eh, _ = ring_pair(rules, r, z, self.r, self.z, k, compiled_order(m), *scratch)
            p.flat[i] = g
            q.flat[i] = (nr * (r - self.r) + nz * (z - self.z)) * e + nr * self.r * eh
        scale = self.strength / (2.0 * np.pi)
        return scale * p, scale * q

    def far(self, elevations: np.ndarray, k: complex, m: int = 0) -> np.ndarray:
        """Return order m of r p exp(-ikr) far away without any surface."""
        eps = np.radians(elevations)
        phase = np.exp(-1j * k * self.z * np.sin(eps)) * (-1j) ** m
        return self.strength / (4.0 * np.pi) * phase * jv(m, k * self.r * np.cos(eps))


@dataclass(frozen=True)
class PlaneWave:
    """A plane wave of unit pressure that travels towards `elevation` degrees, azimuth 0."""

    elevation: float = 90.0

    def on(self, points: SurfacePoints, k: complex, m: int = 0) -> tuple[np.ndarray, np.ndarray]:
        """Return order m of the pressure and of its normal derivative at surface points."""
        sine, cosine = np.sin(np.radians(self.elevation)), np.cos(np.radians(self.elevation))
        phase = 1j**m * np.exp(1j * k * points.z * sine)
        x = k * points.r * cosine
        along_r = k * cosine * jvp(m, x)
        p = phase * jv(m, x)
        return p, points.normal_r * phase * along_r + 1j * k * sine * points.normal_z * p
