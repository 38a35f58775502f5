"""Reflector and plate that hang off the centre or tilted, exactly.

Column and what hangs over it are each round about an axis of their own. Each keeps its own blocks
of the system order by order; only what one does to the other mixes orders (`coupling`):

    M_m^A p_m^A = D q_m + sum_m' C_mm'^AB p_m'^B
    M_m^B p_m^B = sum_m' (C_mm'^BA p_m'^A + what the ways send there by themselves)

solved by GMRES (Saad and Schultz 1986) with the inverses of the own blocks in front. Shift and tilt
lie in one plane, that of azimuth 0. Walls may take something, the air takes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

import numpy as np

from dispersion.air import Air
from dispersion.allround.coupling import Placement, coupling, sound_at
from dispersion.allround.flat_ring import AllRoundError
from dispersion.allround.pair_system import PairSystem
from dispersion.walls import RIGID_WALLS, Walls
from dispersion.waves import DEFAULT_SETTINGS, Drive, Mesh, WaveSettings, balance_db, sphere_rule
from dispersion.waves.elements import FINER_GAUSS, basis
from dispersion.waves.field import far_field
from dispersion.waves.solution import checked_mesh, gradient_of
from dispersion.waves.system import assemble
from dispersion.waves.walls import Losses, losses_on
from shapes.assembly import Assembly
from shapes.meridian import Meridian

MORE_ORDERS = 4
"""Azimuthal orders beyond twice k times the largest displacement."""
MORE_STEPS = 5
"""Steps of the half circle beyond the orders."""
CLEAR = 5e-4
"""Steps along both bodies in which it is seen whether they touch, metres."""
Taking = tuple[Losses | None, ...]
"""What the walls of a body take, by order."""


@dataclass(frozen=True)
class Displacement:
    """How a part hangs, both towards azimuth 0.

    Attributes
    ----------
    shift : float
        Of its axis at the height of the pivot, metres.
    tilt : float
        Radians; what is above the pivot leans towards azimuth 0.
    """

    shift: float = 0.0
    tilt: float = 0.0

    def placement(self, pivot: float) -> Placement:
        """Where the part's own coordinates lie; it turns about the axis at the height `pivot`."""
        c, s = np.cos(self.tilt), np.sin(self.tilt)
        turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
        about = np.array([0.0, 0.0, pivot])
        return Placement(turn, about - turn @ about + np.array([self.shift, 0.0, 0.0]))

    def farthest(self, body: Meridian, pivot: float) -> float:
        """Largest displacement of a point of the part, metres."""
        at = body.sample(2e-3)
        lever = np.hypot(at[:, 0], at[:, 1] - pivot).max()
        return abs(self.shift) + 2.0 * abs(np.sin(0.5 * self.tilt)) * float(lever)


@dataclass(frozen=True, eq=False, kw_only=True)
class AskewPair:
    """Two bodies solved, at one frequency.

    Attributes
    ----------
    k : float
        Wavenumber, rad/m.
    air : Air
    meshes : (Mesh, Mesh)
        Of the column and of what hangs, each about its own axis.
    place : Placement
        Of what hangs in the column's coordinates.
    pressures : tuple of (M, N, W) complex array
        Pressure at the unknowns of either, by order, for each way.
    imposed : (E, P, W) complex array
        dp/dn of the ways on the column, order 0.
    losses : two tuples of M Losses or None
        What the walls of either take, by order.
    rounds : int
        Rounds of GMRES of the way that took most.
    digits : float
        Decimal digits of the azimuth quadrature.
    """

    k: float
    air: Air
    meshes: tuple[Mesh, Mesh]
    place: Placement
    pressures: tuple[np.ndarray, np.ndarray] = field(repr=False)
    imposed: np.ndarray = field(repr=False)
    losses: tuple[Taking, Taking] = field(repr=False)
    rounds: int
    digits: float

    @property
    def unknowns(self) -> int:
        """Of both bodies together, of each order."""
        return sum(p.shape[1] for p in self.pressures)

    def far(self, elevations: np.ndarray, azimuths: np.ndarray) -> np.ndarray:
        """Far field r p exp(-ikr) at elevations and azimuths in degrees, (W, E, A) in Pa m."""
        eps, phi = np.radians(elevations)[:, None], np.radians(azimuths)[None, :]
        towards = np.stack(
            np.broadcast_arrays(np.cos(eps) * np.cos(phi), np.cos(eps) * np.sin(phi), np.sin(eps)),
            axis=-1,
        )
        return self._towards(towards.reshape(-1, 3)).T.reshape(-1, *towards.shape[:2])

    def near(self, points: np.ndarray, azimuths: np.ndarray) -> np.ndarray:
        """Pressure at points (r, z) about the column's axis and azimuths in degrees, (W, P, A)."""
        phi = np.radians(azimuths)
        r, z = (points[:, at, None] * np.ones_like(phi) for at in range(2))
        there = np.stack((r * np.cos(phi), r * np.sin(phi), z), axis=-1).reshape(-1, 3)
        own = self.place.back().points(there)
        found = np.zeros((len(there), self.imposed.shape[2]), dtype=complex)
        for body, (mesh, at) in enumerate(zip(self.meshes, (there, own), strict=True)):
            gradient = self._gradients(body)
            found += sound_at(mesh, at, self.k, self.pressures[body], gradient, self.digits)
        return found.T.reshape(found.shape[1], len(points), len(phi))

    def _gradients(self, body: int) -> np.ndarray:
        """dp/dn on one of them, (D, E, P, W): of order 0, of all where walls take something."""
        losses, pressure = self.losses[body], self.pressures[body]
        lossy = any(one is not None for one in losses)
        shape = (*self.meshes[body].nodes.shape, self.imposed.shape[2])
        found = np.zeros((len(losses) if lossy else 1, *shape), dtype=complex)
        for m, one in enumerate(losses):
            if one is not None:
                found[m] = one.gradient(np.ascontiguousarray(pressure[m]))
        if body == 0:
            found[0] += self.imposed
        return found

    def _towards(self, towards: np.ndarray) -> np.ndarray:
        """Far field in directions (D, 3), unit vectors, (D, W)."""
        column, hung = self.meshes
        still = np.zeros((*hung.nodes.shape, self.imposed.shape[2]), dtype=complex)
        own = towards @ self.place.turn
        turned = np.exp(-1j * self.k * (towards @ self.place.offset))[:, None]
        found = _sent(column, self.k, self.pressures[0], self.imposed, towards, self.losses[0])
        return found + turned * _sent(hung, self.k, self.pressures[1], still, own, self.losses[1])

    @cached_property
    def _area(self) -> np.ndarray:
        """Surface of the column at the points of a Gauss rule, (E, G)."""
        at = self.meshes[0].quadrature
        return 2.0 * np.pi * at.r * at.jacobian * basis(FINER_GAUSS).weights

    @cached_property
    def _gradient(self) -> np.ndarray:
        """dp/dn of the ways there, (E, G, W)."""
        return np.einsum("qp,epw->eqw", basis(FINER_GAUSS).values, self.imposed)

    @property
    def volume_acceleration(self) -> np.ndarray:
        """Volume that each way pushes out, (W,) in m^3/s^2."""
        return -np.einsum("eq,eqw->w", self._area, self._gradient).real / self.air.density

    @property
    def _taken(self) -> np.ndarray:
        """Power that the walls take of each way alone, (W,) in W."""
        found = np.zeros(self.imposed.shape[2])
        for losses, pressure in zip(self.losses, self.pressures, strict=True):
            for m, one in enumerate(losses):
                if one is not None:
                    # An order above 0 counts twice: cos and -cos of m phi.
                    each = one.absorbed(pressure[m], self.air, one.k * self.air.speed / 2.0 / np.pi)
                    share = np.einsum("eww->w", each).real
                    found += share if m == 0 else 2.0 * share
        return found

    @cached_property
    def power_error_db(self) -> np.ndarray:
        """Power far away and taken by walls over power through each way, (W,) in dB."""
        reach = max(float(np.abs(mesh.node_points().z).max()) for mesh in self.meshes)
        widest = max(float(mesh.node_points().r.max()) for mesh in self.meshes)
        sines, weights = sphere_rule(int(self.k * (0.5 * reach + widest)) + 24)
        steps = 2 * len(self.pressures[0]) + int(2.0 * self.k * 0.02) + 4
        azimuths = (np.arange(steps) + 0.5) * 180.0 / steps
        far = np.abs(self.far(np.degrees(np.arcsin(sines)), azimuths)) ** 2
        arrived = np.pi * np.einsum("e,wea->w", weights, far) / steps
        on_column = self.pressures[0][0][self.meshes[0].nodes]
        p = np.einsum("qp,epw->eqw", basis(FINER_GAUSS).values, on_column)
        impedance = self.air.density * self.air.speed
        velocity = self._gradient / (1j * self.k * impedance)
        driven = 0.5 * np.einsum("eq,eqw->w", self._area, (p * velocity.conj()).real)
        at_1_m = self.air.density * self.volume_acceleration / (2.0 * np.pi)
        arrived = arrived / impedance + self._taken
        return balance_db(arrived, driven, 2.0 * np.pi * at_1_m**2 / impedance)


def solve_askew(
    assembly: Assembly,
    frequency: float,
    drives: Sequence[Drive],
    displaced: Displacement,
    air: Air,
    settings: WaveSettings = DEFAULT_SETTINGS,
    more_orders: int = MORE_ORDERS,
    walls: Walls = RIGID_WALLS,
) -> AskewPair:
    """Solve a column and what hangs over it off the centre or tilted.

    Parameters
    ----------
    assembly : Assembly
        As it would hang in the middle; posts do not matter.
    frequency : float
        Hz.
    drives : sequence of Drive
        Each way by itself, on the column.
    displaced : Displacement
        The pivot is the middle of the plate's underside.
    air : Air
    settings : WaveSettings
    more_orders : int
        Azimuthal orders beyond twice k times the largest displacement.
    walls : Walls
        What the surfaces take.

    Raises
    ------
    AllRoundError
        If nothing hangs, or it would touch what it hangs over.
    ValueError
        If the wave solver refuses a body.
    """
    require_hung(assembly, displaced)
    hung, pivot = assembly.hung_body, assembly.plate_gap
    k = 2.0 * np.pi * frequency / air.speed
    orders = int(orders_of(k, displaced.farthest(hung, pivot), more_orders))
    bodies = ((assembly.lower, drives), (hung, ()))
    place = displaced.placement(pivot)
    return solve_pair(bodies, place, frequency, air, orders, settings, walls)


def solve_pair(
    bodies: tuple[tuple[Meridian, Sequence[Drive]], tuple[Meridian, Sequence[Drive]]],
    place: Placement,
    frequency: float,
    air: Air,
    orders: int,
    settings: WaveSettings = DEFAULT_SETTINGS,
    walls: Walls = RIGID_WALLS,
) -> AskewPair:
    """Solve two bodies, each round about its own axis; ways are on the first.

    Parameters
    ----------
    bodies : two of (Meridian, sequence of Drive)
    place : Placement
        Of the second body's coordinates in those of the first, symmetric to azimuth 0.
    frequency, air, settings, walls
        As for `dispersion.waves.solve`.
    orders : int
        Azimuthal orders 0 ... orders - 1.
    """
    k = 2.0 * np.pi * frequency / air.speed
    drives = bodies[0][1]
    moving = frozenset().union(*(drive.parts for drive in drives))
    own_walls = [_on(body, walls) for body, _ in bodies]
    meshes = tuple(
        checked_mesh((body,), frequency, labels, air, settings.mesh, None, None, there)
        for (body, _), labels, there in zip(
            bodies, (moving, frozenset[str]()), own_walls, strict=True
        )
    )
    column, hung = meshes
    on_column, on_hung = (
        tuple(losses_on(mesh, there, frequency, m, air) for m in range(orders))
        for mesh, there in zip(meshes, own_walls, strict=True)
    )
    driven = np.flatnonzero(np.isin(column.parts, sorted(moving)))
    imposed = np.stack([gradient_of(drive, column, frequency) for drive in drives], axis=-1)
    steps, digits = int(steps_of(orders)), settings.digits
    inverses, own_right = [], []
    for mesh, moved, losses in ((column, driven, on_column), (hung, driven[:0], on_hung)):
        blocks = [assemble(mesh, k, m, moved, digits, losses=losses[m]) for m in range(orders)]
        inverses.append([np.linalg.inv(block.matrix) for block in blocks])
        own_right.append(blocks[0].drive)
    to_hung, driven_there = coupling(column, hung, place, k, steps, digits, on_column)
    to_column, _ = coupling(hung, column, place.back(), k, steps, digits, on_hung)
    right = np.zeros((orders, column.unknowns, len(drives)), dtype=complex)
    right[0] = own_right[0] @ imposed[driven].reshape(-1, len(drives))
    there = driven_there @ imposed.reshape(-1, len(drives))
    system = PairSystem(inverses, (column.unknowns, hung.unknowns), to_hung, to_column)
    pressures, rounds = system.solved(right, there)
    return AskewPair(
        k=k,
        air=air,
        meshes=(column, hung),
        place=place,
        pressures=pressures,
        imposed=imposed,
        losses=(on_column, on_hung),
        rounds=rounds,
        digits=digits,
    )


def orders_of(k: float | np.ndarray, farthest: float, more_orders: int = MORE_ORDERS) -> np.ndarray:
    """How many azimuthal orders two axes take at wavenumbers k."""
    return np.floor(2.0 * k * farthest).astype(int) + more_orders + 1


def steps_of(orders: int | np.ndarray) -> np.ndarray:
    """Steps of the half circle; one for order 0 alone, which is the same at every azimuth."""
    return np.where(np.asarray(orders) == 1, 1, orders + MORE_STEPS)


@lru_cache(maxsize=16)
def require_hung(assembly: Assembly, displaced: Displacement) -> None:
    """Raise an AllRoundError if nothing hangs, or hung so it would touch, in its plane."""
    if assembly.upper is None:
        raise AllRoundError("nothing hangs over the driver that could hang askew")
    place = displaced.placement(assembly.plate_gap)
    r, z = _points_along(assembly.hung_body)
    below = _points_along(assembly.lower)
    across = np.concatenate((r, -r))
    points = np.column_stack((across, np.zeros_like(across), np.tile(z, 2)))
    for x, _, height in place.points(points):
        beneath = below[1, np.abs(below[0] - abs(x)) < CLEAR]
        if height <= beneath.max(initial=-np.inf):
            raise AllRoundError(
                "what hangs so far askew would touch the driver or the baffle: hang it straighter"
            )


def _points_along(body: Meridian) -> np.ndarray:
    """Points r and z along a meridian, no farther apart than `CLEAR`, (2, P)."""
    line = body.sample(0.1 * CLEAR)
    way = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    stops = np.linspace(0.0, way[-1], int(way[-1] / CLEAR) + 2)
    return np.array([np.interp(stops, way, line[:, axis]) for axis in range(2)])


def _on(body: Meridian, walls: Walls) -> Walls:
    """Keep of the walls what covers a part of this body."""
    parts = {piece.part for piece in body.pieces}
    return replace(walls, absorbers=tuple(one for one in walls.absorbers if one[0] in parts))


def _sent(
    mesh: Mesh,
    k: float,
    pressure: np.ndarray,
    imposed: np.ndarray,
    towards: np.ndarray,
    losses: Taking,
) -> np.ndarray:
    """Far field of one body in directions of its own coordinates, (D, W)."""
    elevation = np.degrees(np.arcsin(np.clip(towards[:, 2], -1.0, 1.0)))
    azimuth = np.arctan2(towards[:, 1], towards[:, 0])
    at, places = np.unique(elevation.round(9), return_inverse=True)
    out = np.zeros((len(towards), pressure.shape[2]), dtype=complex)
    for m, p in enumerate(pressure):
        q = imposed if m == 0 else np.zeros_like(imposed)
        share = (1.0 if m == 0 else 2.0) * np.cos(m * azimuth)[:, None]
        out += share * far_field(mesh, k, m, p, q, at, losses=losses[m])[places]
    return out
