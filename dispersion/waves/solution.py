"""Solve one wave problem: meridians, what drives them, frequencies in; fields out.

solution = solve(bodies, frequency, [axial_motion("piston", {"piston"}, air)], air)
solution.far_field(elevations), solution.pressure_at(points), solution.power_error_db

How far the power balance may be believed: of 300 random designs, each over its whole band, half
kept their power within 0.001 dB and 95 per cent within 0.023 dB. The worst, 0.46 dB, was a flat
reflector 3 mm above a driver of 137 mm at a resonance, with levels 0.18 dB off those of a mesh
three times as fine. Domes of some millimetres, far below their range, were out of balance by up to
0.4 dB through the driven power alone, with levels within 0.01 dB.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from dispersion.air import Air
from dispersion.stopping import Threads, current_stop
from dispersion.walls import RIGID_WALLS, Walls
from shapes.meridian import Meridian, Piece, sample

from .elements import FINER_GAUSS, Mesh, MeshSettings, basis, build_mesh
from .field import far_field, field_at
from .floor import above_floor, mirrored_surface
from .one_thread import one_blas_thread
from .rings import longest_radius
from .sharing import SharedBlocks
from .sources import Drive, Monopole, PlaneWave
from .system import assemble
from .walls import Losses, losses_on

Source = Drive | Monopole | PlaneWave
Result = TypeVar("Result")


@dataclass(frozen=True)
class WaveSettings:
    """How a wave problem is cut up and integrated; travels with every result.

    Attributes
    ----------
    mesh : MeshSettings
    digits : float
        Decimal digits of the quadrature round the axis.
    column_wavelengths : float
        How many wavelengths of the column `dispersion.fields` leaves below its face (besides
        `LEAST_DEPTH`); inf for all of it.
    """

    mesh: MeshSettings = MeshSettings()
    digits: float = 5.0
    column_wavelengths: float = np.inf

    def finer(self, factor: float) -> "WaveSettings":
        """Return settings with `factor` times the unknowns along every length.

        And with as many more azimuth digits as it has doublings.
        """
        digits = self.digits + np.log2(factor)
        return replace(self, mesh=self.mesh.finer(factor), digits=float(digits))

    def summary(self) -> dict[str, float]:
        """Every number of the settings by name, for the record."""
        numbers = {**asdict(self.mesh), "azimuth_digits": self.digits}
        if np.isfinite(self.column_wavelengths):
            numbers["column_wavelengths"] = self.column_wavelengths
        return numbers


FAINT = 1e-3
"""Share of the power of 0 dB under which a balance counts as a share of this: 30 dB below, where
the promise of 0.1 dB ends."""
MAX_UNKNOWNS = 12_000
"""A system of this size takes 2.3 GB, and 2.9 more where walls take something; a larger one is
refused before memory is taken."""
DEFAULT_SETTINGS = WaveSettings()
ROOM_AIR = Air()


class MeshError(ValueError):
    """A body too large for this frequency; the message says how far down to go."""


@dataclass(frozen=True, kw_only=True)
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
        dp/dn at the nodes in Pa/m (zero where rigid), with what the walls take.
    imposed : (E, P, W) complex array
        The share of it that is driven.
    losses : Losses or None
        What the walls take.
    attenuation : float
        Of the air, in nepers per metre.
    more : (N, X) complex array or None
        Solutions for further right-hand sides, if any were given.
    """

    mesh: Mesh
    settings: WaveSettings
    air: Air
    frequency: float
    order: int
    names: tuple[str, ...]
    pressure: np.ndarray = field(repr=False)
    gradient: np.ndarray = field(repr=False)
    imposed: np.ndarray = field(repr=False)
    losses: Losses | None = field(default=None, repr=False)
    attenuation: float = 0.0
    more: np.ndarray | None = field(default=None, repr=False)

    @property
    def wavenumber(self) -> complex:
        """2 pi f / c in rad/m; its imaginary part is the air's attenuation, a float without."""
        return _wavenumber(self.frequency, self.air, self.attenuation)

    def far_field(self, elevations: ArrayLike, shared: SharedBlocks | None = None) -> np.ndarray:
        """Return r p exp(-ikr) far away, (D, W) in Pa m; for an incident field, what scatters.

        In air that absorbs exp(-ikr) makes good what it takes on the way r from the origin.
        """
        return far_field(
            self.mesh,
            self.wavenumber,
            self.order,
            self.pressure,
            self.imposed,
            np.asarray(elevations, dtype=float),
            shared,
            self.losses,
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
        gradient, area = self._imposed_and_area
        return -np.einsum("eq,eqw->w", area, gradient).real / self.air.density

    def driven_power(self) -> np.ndarray:
        """Power through the driven surface, 1/2 Re int p conj(v_n) dS, (W,) in W."""
        gradient, area = self._imposed_and_area
        shape = basis(FINER_GAUSS)
        p = shape.values @ self.pressure[self.mesh.nodes[self._moving]]
        velocity = gradient / (2j * np.pi * self.frequency * self.air.density)
        return 0.5 * np.einsum("eq,eqw->w", area, (p * velocity.conj()).real)

    def work_of(self, pressure: np.ndarray) -> np.ndarray:
        """Half of int p conj(v_n) dS over what moves, (W, X) in W, for pressures (N, X)."""
        gradient, area = self._imposed_and_area
        shape = basis(FINER_GAUSS)
        p = shape.values @ pressure[self.mesh.nodes[self._moving]]
        velocity = gradient / (2j * np.pi * self.frequency * self.air.density)
        return 0.5 * np.einsum("eq,eqw,eqx->wx", area, velocity.conj(), p, optimize=True)

    def driven_power_of_all(self) -> np.ndarray:
        """Return the driven power of sources together, in W, as matrix like `absorbed_power`."""
        power = self.work_of(self.pressure).T
        return 0.5 * (power + power.conj().T)

    @cached_property
    def absorbed_power(self) -> dict[str, np.ndarray]:
        """Power that the parts take, in W, (W, W) Hermitian matrices by label.

        With sources of strength s together a part takes s @ matrix @ conj(s), each alone its
        diagonal. Empty if all walls are rigid.
        """
        if self.losses is None:
            return {}
        each = self.losses.absorbed(self.pressure, self.air, self.frequency)
        number = {part: i for i, part in enumerate(sorted(set(self.mesh.parts)))}
        taken = np.zeros((len(number), *each.shape[1:]), dtype=complex)
        np.add.at(taken, [number[part] for part in self.mesh.parts], each)
        return dict(zip(number, taken, strict=True))

    @cached_property
    def _imposed_and_area(self) -> tuple[np.ndarray, np.ndarray]:
        """Imposed gradient at points of the elements that move, and the area of each point."""
        shape = basis(FINER_GAUSS)
        at = self.mesh.at(shape.points, self._moving)
        gradient = shape.values @ self.imposed[self._moving]
        return gradient, 2.0 * np.pi * at.r * at.jacobian * shape.weights

    @cached_property
    def _moving(self) -> np.ndarray:
        """Numbers of the elements that something moves."""
        return np.flatnonzero(self.imposed.any(axis=(1, 2)))

    def far_power(self) -> np.ndarray:
        """Power that arrives far away, (W,) in W, by Gauss quadrature over the sphere."""
        # |p|^2 over sin(elevation) is nearly a polynomial of degree 2 k reach, and n Gauss points
        # take one of degree 2 n - 1; 24 more see to the tail, where Bessel functions vanish.
        at = self.mesh.node_points()
        if self.mesh.floor is None:
            reach = 0.5 * (at.z.max() - at.z.min()) + at.r.max()
            points = int(self.wavenumber.real * reach) + 24
        else:
            # Even: half the points of the doubled bodies' rule lie above the floor, none on it.
            reach = at.z.max() - self.mesh.floor + at.r.max()
            points = 2 * (int(0.5 * self.wavenumber.real * reach) + 12)
        sines, weights = sphere_rule(points)
        power = np.abs(self.far_field(np.degrees(np.arcsin(sines)))) ** 2
        return np.pi * (weights @ power) / (self.air.density * self.air.speed)

    def power_of_0_db(self) -> np.ndarray:
        """Power of 0 dB in every direction, 4 pi (rho A / 2 pi)^2 / (2 rho c), (W,) in W.

        0 dB is that of a flush piston in an endless wall with the same volume acceleration A.
        """
        at_1_m = self.air.density * self.volume_acceleration() / (2.0 * np.pi)
        return 2.0 * np.pi * at_1_m**2 / (self.air.density * self.air.speed)

    @property
    def power_error_db(self) -> np.ndarray:
        """Balance of driven power and of that far away and absorbed, in dB, (W,), `balance_db`.

        nan if nothing moves.
        """
        return self.balance_with(self.far_power())

    def balance_with(self, far_power: np.ndarray) -> np.ndarray:
        """Return the power balance in dB, (W,), for a power far away found otherwise, (W,) in W.

        In air that absorbs it is 0: what the air takes is what is left.
        """
        absorbed = sum(np.diagonal(one).real for one in self.absorbed_power.values())
        driven = self.driven_power()
        if self.attenuation > 0.0:
            return np.zeros(len(driven))
        # Against what should arrive far away: where walls take nearly all, as in a gap of a
        # millimetre, a small share of the driven power is a large one of what is heard.
        return balance_db(far_power, driven - absorbed, self.power_of_0_db())


def _wavenumber(frequency: float, air: Air, attenuation: float) -> complex:
    k = 2.0 * np.pi * frequency / air.speed
    return complex(k, attenuation) if attenuation else k


def balance_db(arrived: np.ndarray, driven: np.ndarray, power_of_0_db: np.ndarray) -> np.ndarray:
    """By how much two powers that should be one differ, in dB.

    Parameters
    ----------
    arrived, driven : ndarray, shape (W,)
        Power far away, and power through the driven surface less what walls absorb, W.
    power_of_0_db : ndarray, shape (W,)
        W.

    Returns
    -------
    ndarray, shape (W,)
        10 lg(arrived / driven). Where a resonance lets out less than `FAINT` of 0 dB, and the
        driven power may round to nothing, the difference counts as a share of that; nan if
        nothing moves.
    """
    against = np.maximum(driven, FAINT * power_of_0_db)
    share = np.full(against.shape, np.nan)
    np.divide(arrived - driven, against, out=share, where=against > 0.0)
    return 10.0 * np.log10(1.0 + share)


@lru_cache(maxsize=256)
def sphere_rule(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Sines of elevations and weights of Gauss quadrature over the sphere, n of each."""
    return np.polynomial.legendre.leggauss(n)


def solve(
    bodies: Sequence[Meridian],
    frequency: float,
    sources: Sequence[Source],
    air: Air = ROOM_AIR,
    order: int = 0,
    settings: WaveSettings = DEFAULT_SETTINGS,
    lifts: Sequence[float] | None = None,
    shared: SharedBlocks | None = None,
    floor: float | None = None,
    walls: Walls = RIGID_WALLS,
    absorbing_air: bool = False,
    more: np.ndarray | None = None,
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
    lifts : sequence of float, optional
        How far each body is lifted from where its meridian lies, in metres; 0 if left out.
    shared : SharedBlocks, optional
        Where the blocks of single bodies are kept for other problems that hold the same bodies.
    floor : float, optional
        Height of a rigid floor without end, in metres; free air if left out. What of a body lies
        on it is left out, and its meridian may start there. Far field, pressure and power are
        those above the floor; below there is no sound.
    walls : Walls
        What the surfaces take.
    absorbing_air : bool
        Whether the air takes its share too.
    more : (N, X) complex array, optional
        Further right-hand sides of the same system, of the mesh that `checked_mesh` makes.

    Raises
    ------
    MeshError
        If a body is too wide for the ring kernels, or too long for the memory, at this frequency.
    ValueError
        If a body is not closed, a driven part is on no body, or a body is not above the floor.
    """
    moving = frozenset().union(*(s.parts for s in sources if isinstance(s, Drive)))
    mesh = checked_mesh(bodies, frequency, moving, air, settings.mesh, lifts, floor, walls)
    driven = np.flatnonzero(mesh.labelled(moving))
    losses = losses_on(mesh, walls, frequency, order, air)
    attenuation = air.attenuation(frequency) if absorbing_air else 0.0
    wavenumber = _wavenumber(frequency, air, attenuation)
    matrix, drive_matrix = assemble(
        mesh, wavenumber, order, driven, settings.digits, shared, losses
    )
    imposed = np.zeros((*mesh.nodes.shape, len(sources)), dtype=complex)
    right = np.empty((mesh.unknowns, len(sources)), dtype=complex)
    for w, source in enumerate(sources):
        if isinstance(source, Drive):
            imposed[:, :, w] = gradient_of(source, mesh, frequency)
            right[:, w] = drive_matrix @ imposed[driven, :, w].ravel()
        else:
            right[:, w] = _incident(mesh, source, wavenumber, order)
    both = np.linalg.solve(matrix, right if more is None else np.hstack((right, more)))
    pressure, others = both[:, : len(sources)], None if more is None else both[:, len(sources) :]
    current_stop().check()
    names = tuple(getattr(source, "name", type(source).__name__) for source in sources)
    return WaveSolution(
        mesh=mesh,
        settings=settings,
        air=air,
        frequency=frequency,
        order=order,
        names=names,
        pressure=pressure,
        gradient=imposed if losses is None else imposed + losses.gradient(pressure),
        imposed=imposed,
        losses=losses,
        attenuation=attenuation,
        more=others,
    )


def checked_mesh(
    bodies: Sequence[Meridian],
    frequency: float,
    moving: frozenset[str],
    air: Air,
    settings: MeshSettings,
    lifts: Sequence[float] | None,
    floor: float | None,
    walls: Walls,
) -> Mesh:
    """Return the mesh for `solve`, or refuse as it does; `moving` labels what is driven."""
    covered = [frozenset((label,)) for label, _ in walls.absorbers]
    _require_labels("absorbers", covered, bodies)
    if floor is not None:
        bodies = above_floor(bodies, lifts, floor)
    k = 2.0 * np.pi * frequency / air.speed
    _check(bodies, frequency, k, moving, floor)
    mesh = build_mesh(bodies, 2.0 * np.pi / k, settings, (moving, *covered), lifts, floor)
    if mesh.unknowns > MAX_UNKNOWNS:
        raise MeshError(
            f"the mesh has {mesh.unknowns} unknowns at {frequency:.0f} Hz, {MAX_UNKNOWNS} at most: "
            "lower the highest frequency, or take a coarser mesh"
        )
    return mesh


def _itself(solution: WaveSolution) -> Any:  # or no `Result` could have it as default
    return solution


def sweep(
    bodies: Sequence[Meridian],
    frequencies: Sequence[float],
    sources: Sequence[Source],
    air: Air = ROOM_AIR,
    order: int = 0,
    settings: WaveSettings = DEFAULT_SETTINGS,
    workers: int | None = None,
    each: Callable[[WaveSolution], Result] = _itself,
    lifts: Sequence[float] | None = None,
    shared: SharedBlocks | None = None,
    floor: float | None = None,
    walls: Walls = RIGID_WALLS,
    absorbing_air: bool = False,
) -> list[Result]:
    """Solve at many frequencies, spread over threads.

    Parameters
    ----------
    bodies, sources, air, order, settings
        As for `solve`.
    frequencies : sequence of float
        Hz.
    workers : int, optional
        Threads; as many as there are processors when left out. The result is the same for any
        number.
    each : callable, optional
        What to keep of each solution, computed in the worker.
    lifts, shared, floor, walls, absorbing_air
        As for `solve`.

    Returns
    -------
    list
        What `each` returned, in the order of the frequencies.
    """

    def one(frequency: float) -> Result:
        asked = (bodies, frequency, sources, air, order, settings, lifts, shared, floor)
        return each(solve(*asked, walls, absorbing_air))

    return at_each(frequencies, one, workers)


def at_each(
    frequencies: Sequence[float], one: Callable[[float], Result], workers: int | None = None
) -> list[Result]:
    """Call a function with every frequency, spread over threads; the results in their order.

    Parameters
    ----------
    frequencies : sequence of float
        Hz.
    one : callable
        What to do with one of them, such as `solve`.
    workers : int, optional
        Threads; as many as there are processors when left out.
    """
    workers = workers or os.cpu_count()
    if workers == 1:
        with one_blas_thread():
            return [one(float(frequency)) for frequency in frequencies]
    # The highest frequency costs most: started first, no worker ends up waiting for it.
    costliest_first = np.argsort(frequencies)[::-1]
    with one_blas_thread(), Threads(workers) as pool:
        futures = {int(i): pool.submit(one, float(frequencies[i])) for i in costliest_first}
        try:
            return [futures[i].result() for i in range(len(futures))]
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


def _check(
    bodies: Sequence[Meridian],
    frequency: float,
    k: float,
    moving: frozenset[str],
    floor: float | None,
) -> None:
    if not frequency > 0.0:
        raise ValueError(f"a frequency of {frequency:g} Hz has no wave: give one above 0 Hz")
    _require_labels("driven parts", [moving], bodies)
    for body in bodies:
        if floor is None and not body.is_closed:
            raise ValueError("a body's meridian must start and end on the axis (r = 0)")
        widest = max(_widest(piece) for piece in body.pieces)
        if widest > longest_radius(k):
            raise MeshError(
                f"a radius of {widest:.2f} m is too many wavelengths at {frequency:.0f} Hz: "
                f"stay below {frequency * longest_radius(k) / widest:.0f} Hz"
            )


def _require_labels(what: str, asked: Sequence[frozenset[str]], bodies: Sequence[Meridian]) -> None:
    labels = {piece.part for body in bodies for piece in body.pieces}
    if missing := frozenset().union(*asked) - labels:
        raise ValueError(f"{what} {sorted(missing)} are on no body; parts: {sorted(labels)}")


@lru_cache(maxsize=1024)
def _widest(piece: Piece) -> float:
    return float(sample((piece,), 1e-3)[:, 0].max())


def gradient_of(drive: Drive, mesh: Mesh, frequency: float) -> np.ndarray:
    """Gradient dp/dn of a drive at the nodes of every element, (E, P), zero where rigid."""
    shares = [drive.shares.get(part, 1.0) if part in drive.parts else 0.0 for part in mesh.parts]
    moving = np.flatnonzero(shares)
    gradient = np.zeros(mesh.nodes.shape, dtype=complex)
    given = np.asarray(drive.gradient(mesh.at(basis().nodes, moving), frequency))
    gradient[moving] = np.array(shares)[moving, None] * given
    return gradient


def _incident(mesh: Mesh, source: Monopole | PlaneWave, k: complex, m: int) -> np.ndarray:
    """Galerkin right-hand side p_inc + alpha dp_inc/dn, alpha = i/k."""
    shape, at = basis(FINER_GAUSS), mesh.quadrature
    p, q = source.on(at, k, m)
    if mesh.floor is not None:
        p_back, q_back = source.on(mirrored_surface(at, mesh.floor), k, m)
        p, q = p + p_back, q + q_back
    load = (p + 1j / k.real * q) * at.r * at.jacobian * shape.weights
    right = np.zeros(mesh.unknowns, dtype=complex)
    np.add.at(right, mesh.nodes, load @ shape.values)
    if m > 0:
        right[mesh.axis_nodes] = 0.0
    return right
