"""Solve one wave problem: closed meridians, what drives them, frequencies in; fields out.

solution = solve(bodies, frequency, [axial_motion("piston", air, parts={"piston"})], air)
solution.far_field(elevations), solution.pressure_at(points), solution.power_error_db
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from functools import lru_cache

import numpy as np

from dispersion.air import Air
from shapes.meridian import Meridian

from .elements import GAUSS, Mesh, MeshSettings, SurfacePoints, basis, build_mesh
from .field import far_field, field_at
from .rings import LONGEST_RULE, azimuth_rules, compiled_order, longest_radius, ring_pair
from .system import assemble


@dataclass(frozen=True)
class WaveSettings:
    """How a wave problem is cut up and integrated; travels with every result."""

    mesh: MeshSettings = MeshSettings()
    digits: float = 5.0

    def finer(self, factor: float) -> "WaveSettings":
        """Return settings with `factor` times the unknowns along every length."""
        return WaveSettings(self.mesh.finer(factor), self.digits + 1.0)

    def summary(self) -> dict[str, float]:
        """Every number of the settings by name, for the record."""
        return {**asdict(self.mesh), "azimuth_digits": self.digits}


DEFAULT_SETTINGS = WaveSettings()
ROOM_AIR = Air()
Gradient = Callable[[SurfacePoints, float], np.ndarray]


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
    """

    name: str
    parts: frozenset[str]
    gradient: Gradient


def axial_motion(
    name: str,
    parts,
    air: Air,
    acceleration: float = 1.0,
    weight: Callable[[np.ndarray, float], np.ndarray] | None = None,
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


def normal_motion(name: str, parts, air: Air, acceleration: float = 1.0) -> Drive:
    """Parts that swell: the same acceleration along the normal everywhere, dp/dn = -rho a."""

    def gradient(points: SurfacePoints, frequency: float) -> np.ndarray:
        return np.full(points.r.shape, -air.density * acceleration)

    return Drive(name, frozenset(parts), gradient)


@dataclass(frozen=True)
class Monopole:
    """A point source exp(ikR) / (4 pi R) at (r, z); off the axis it lies at azimuth 0."""

    z: float
    r: float = 0.0
    strength: complex = 1.0

    def on(self, points: SurfacePoints, k: float, m: int = 0) -> tuple[np.ndarray, np.ndarray]:
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

    def far(self, elevations: np.ndarray, k: float, m: int = 0) -> np.ndarray:
        """Return order m of r p exp(-ikr) far away without any surface."""
        from scipy.special import jv

        eps = np.radians(elevations)
        phase = np.exp(-1j * k * self.z * np.sin(eps)) * (-1j) ** m
        return self.strength / (4.0 * np.pi) * phase * jv(m, k * self.r * np.cos(eps))


@dataclass(frozen=True)
class PlaneWave:
    """A plane wave of unit pressure that travels towards `elevation` degrees, azimuth 0."""

    elevation: float = 90.0

    def on(self, points: SurfacePoints, k: float, m: int = 0) -> tuple[np.ndarray, np.ndarray]:
        """Return order m of the pressure and of its normal derivative at surface points."""
        from scipy.special import jv, jvp

        sine, cosine = np.sin(np.radians(self.elevation)), np.cos(np.radians(self.elevation))
        phase = 1j**m * np.exp(1j * k * points.z * sine)
        x = k * points.r * cosine
        along_r = k * cosine * jvp(m, x)
        p = phase * jv(m, x)
        return p, points.normal_r * phase * along_r + 1j * k * sine * points.normal_z * p


@dataclass(frozen=True)
class WaveSolution:
    """Surface pressure of one problem at one frequency and azimuthal order.

    Attributes
    ----------
    mesh, settings, air, frequency, order
        What was solved.
    names : tuple of str
        Name of each source (drive or incident field).
    pressure : (N, W) complex array
        Pressure at the unknowns in Pa; total pressure for an incident field.
    gradient : (E, P, W) complex array
        dp/dn at the nodes in Pa/m (zero where rigid).
    """

    mesh: Mesh
    settings: WaveSettings
    air: Air
    frequency: float
    order: int
    names: tuple[str, ...]
    pressure: np.ndarray = field(repr=False)
    gradient: np.ndarray = field(repr=False)

    @property
    def wavenumber(self) -> float:
        """2 pi f / c in rad/m."""
        return 2.0 * np.pi * self.frequency / self.air.speed

    def far_field(self, elevations: np.ndarray) -> np.ndarray:
        """Return r p exp(-ikr) far away, (D, W) in Pa m; for an incident field, what scatters."""
        return far_field(
            self.mesh,
            self.wavenumber,
            self.order,
            self.pressure,
            self.gradient,
            np.asarray(elevations, dtype=float),
        )

    def pressure_at(self, points: np.ndarray) -> np.ndarray:
        """Return the pressure at points (r, z) in the air, (X, W) in Pa, no incident field."""
        return field_at(
            self.mesh,
            self.wavenumber,
            self.order,
            self.pressure,
            self.gradient,
            points,
            self.settings.digits,
        )

    def volume_acceleration(self) -> np.ndarray:
        """Volume that each drive pushes out, int a_n dS = -1/rho int dp/dn dS, (W,) in m^3/s^2."""
        gradient, area = self._gradient_and_area()
        return -np.einsum("eq,eqw->w", area, gradient).real / self.air.density

    def driven_power(self) -> np.ndarray:
        """Power through the driven surface, 1/2 Re int p conj(v_n) dS, (W,) in W."""
        gradient, area = self._gradient_and_area()
        shape = basis(GAUSS + 2)
        p = np.einsum("qp,epw->eqw", shape.values, self.pressure[self.mesh.nodes])
        velocity = gradient / (2j * np.pi * self.frequency * self.air.density)
        return 0.5 * np.einsum("eq,eqw->w", area, (p * velocity.conj()).real)

    def _gradient_and_area(self) -> tuple[np.ndarray, np.ndarray]:
        shape = basis(GAUSS + 2)
        at = self.mesh.at(shape.points)
        gradient = np.einsum("qp,epw->eqw", shape.values, self.gradient)
        return gradient, 2.0 * np.pi * at.r * at.jacobian * shape.weights

    def far_power(self) -> np.ndarray:
        """Power that arrives far away, (W,) in W, by Gauss quadrature over the sphere."""
        at = self.mesh.node_points()
        reach = 0.5 * (at.z.max() - at.z.min()) + at.r.max()
        sines, weights = _sphere_rule(int(self.wavenumber * reach) + 24)
        power = np.abs(self.far_field(np.degrees(np.arcsin(sines)))) ** 2
        return np.pi * (weights @ power) / (self.air.density * self.air.speed)

    @property
    def power_error_db(self) -> np.ndarray:
        """Far power over driven power in decibels, (W,): zero when energy is kept."""
        return 10.0 * np.log10(self.far_power() / self.driven_power())


@lru_cache(maxsize=256)
def _sphere_rule(n: int) -> tuple[np.ndarray, np.ndarray]:
    return np.polynomial.legendre.leggauss(n)


def solve(
    bodies: Sequence[Meridian],
    frequency: float,
    sources: Sequence[Drive | Monopole | PlaneWave],
    air: Air = ROOM_AIR,
    order: int = 0,
    settings: WaveSettings = DEFAULT_SETTINGS,
) -> WaveSolution:
    """Solve for several sources at once: one matrix, one factorisation.

    Parameters
    ----------
    bodies : sequence of Meridian
        Closed meridians walked from the lower to the upper axis point; they must not meet.
    frequency : float
        Hz.
    sources : sequence of Drive, Monopole or PlaneWave
        Each is a problem of its own, solved with the others rigid.
    air : Air
    order : int
        Azimuthal order m; the pressure is that of exp(i m phi).
    settings : WaveSettings

    Raises
    ------
    ValueError
        If a body is not closed, or too wide for the ring kernels at this frequency.
    """
    k = 2.0 * np.pi * frequency / air.speed
    drives = [source for source in sources if isinstance(source, Drive)]
    moving = frozenset().union(*(drive.parts for drive in drives))
    _check(bodies, k, moving)
    mesh = build_mesh(bodies, 2.0 * np.pi / k, settings.mesh, moving)
    parts = np.array(mesh.parts)
    driven = np.flatnonzero(np.isin(parts, sorted(moving)))
    matrix, drive_matrix = assemble(mesh, k, order, driven, settings.digits)
    gradient = np.zeros((*mesh.nodes.shape, len(sources)), dtype=complex)
    right = np.empty((mesh.unknowns, len(sources)), dtype=complex)
    nodes = mesh.node_points()
    for w, source in enumerate(sources):
        if isinstance(source, Drive):
            mine = np.isin(parts, sorted(source.parts))
            gradient[mine, :, w] = source.gradient(nodes, frequency)[mine]
            right[:, w] = drive_matrix @ gradient[driven, :, w].ravel()
        else:
            right[:, w] = _incident(mesh, source, k, order)
    pressure = np.linalg.solve(matrix, right)
    names = tuple(getattr(source, "name", type(source).__name__) for source in sources)
    return WaveSolution(mesh, settings, air, frequency, order, names, pressure, gradient)


def _check(bodies: Sequence[Meridian], k: float, moving: frozenset[str]) -> None:
    labels = {piece.part for body in bodies for piece in body.pieces}
    if missing := moving - labels:
        raise ValueError(f"driven parts {sorted(missing)} are on no body; parts: {sorted(labels)}")
    for body in bodies:
        if not body.is_closed:
            raise ValueError("a body's meridian must start and end on the axis (r = 0)")
        widest = body.sample(1e-3)[:, 0].max()
        if widest > longest_radius(k):
            raise ValueError(
                f"a radius of {widest:.2f} m is {k * widest:.0f} wavelengths over 2 pi; "
                f"the solver carries {longest_radius(k) * k:.0f}: lower the frequency"
            )


def _incident(mesh: Mesh, source, k: float, m: int) -> np.ndarray:
    """Galerkin right-hand side p_inc + alpha dp_inc/dn, alpha = i/k."""
    shape = basis(GAUSS + 2)
    at = mesh.at(shape.points)
    p, q = source.on(at, k, m)
    load = (p + 1j / k * q) * at.r * at.jacobian * shape.weights
    right = np.zeros(mesh.unknowns, dtype=complex)
    np.add.at(right, mesh.nodes, load @ shape.values)
    if m > 0:
        right[mesh.axis_nodes] = 0.0
    return right
