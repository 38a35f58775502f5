"""Answer matrices: all that column, reflector and plate do to waves in the flat ring.

Seen from the flat ring (`flat_ring`), the round bodies answer a wave of mode n and order m,

    A_o H_m(kappa_n r) outside and A_i J_m(kappa_n r) inside of where it comes from,

with waves of every mode of the same order,

    sum_n' cos(n' pi z / H) [alpha_n' J_m(kappa_n' r) + beta_n' H_m(kappa_n' r)] exp(i m phi),

(alpha, beta) = R_m (A_o, A_i), and with a far field F_m (A_o, A_i). R_-m = R_m, F_-m = (-1)^m F_m.
What stands in the ring, how thick and on which circle is no matter: any posts cost milliseconds
once these are known (`posts`).

How they are found: two rings r_1, r_2 of line sources (`lines`) stand in the flat ring. With the
Galerkin moments a = int psi U r ds and b = int psi Q r ds of their fields over the bodies,

    (1/2 - K - alpha N) p = a + alpha b,    alpha = i/k,
    D_tn',jn = p_jn . b_tn' + int_0^H cos(n' pi z / H) U_jn(r_t, z) dz
               - delta_nn' (H/2) delta_n (i pi / 2) J_m(kappa_n r_<) H_m(kappa_n r_>)

is what one line hears of the bodies' answer to another, delta_n = 1 + [n = 0]; D is symmetric. With
C_n[j] = (J_m(kappa_n r_j), H_m(kappa_n r_j)), and line j sending i pi / 2 C_n[j],

    R_m[n', n] = 2 / (H delta_n') C_n'^-1 D[.n', .n] C_n^-T 2 / (i pi).

J_m and H_m are kept in units of 1 / s and s, s = |H_m(kappa_n r)| at the middle of the ring: at
high orders they differ by many powers of ten.

Walls may take something, each order by itself (`dispersion.waves.walls`): then dp/dn = T p joins p
in what lines hear. On the flat ring the modes are those of hard boards: of its boundary layers
modes know nothing, which is 1e-3 of a wave on its way through the ring at 10 kHz, and `flat_ring`
refuses what absorbs there.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from dispersion.air import Air
from dispersion.allround.flat_ring import MORE_MODES, FlatRing, check_hard, flat_ring
from dispersion.allround.lines import Lines, line_fields
from dispersion.allround.ring_sources import RingSources
from dispersion.walls import RIGID_WALLS, Walls
from dispersion.waves import (
    DEFAULT_SETTINGS,
    Drive,
    WaveSettings,
    WaveSolution,
    solve,
)
from dispersion.waves.field import far_field, field_at
from dispersion.waves.solution import checked_mesh
from dispersion.waves.system import assemble
from dispersion.waves.walls import Losses, losses_on
from shapes.assembly import Assembly

NO_POINTS = np.empty((0, 2))


@dataclass(frozen=True, eq=False, kw_only=True)
class RingAnswer:
    """Round bodies at one frequency as seen from their flat ring.

    Attributes
    ----------
    ring : FlatRing
    k : float
        Wavenumber, rad/m.
    kappa : (N,) complex array
        Radial wavenumbers of the modes, rad/m.
    orders : (M,) int array
        Azimuthal orders, 0 first, ascending.
    unit : (M, N) array
        s of each order and mode: amplitudes are those of s J_m and H_m / s.
    reflected : (M, N, 2, N, 2) complex array
        R_m: amplitudes of (J, H) in each mode over those of (outside, inside) in each.
    elevations : (E,) array
        Degrees.
    points : (P, 2) array
        Places in the air, r and z in metres.
    far : (M, E, N, 2) complex array
        F_m, r p exp(-ikr) far away.
    near : (M, P, N, 2) complex array
        Pressure at the points of the same waves.
    incident : (W, N, 2) complex array
        What the driven ways send into the ring, as amplitudes of (J, H), order 0.
    way_far : (W, E) complex array
        Their far fields without posts, Pa m.
    way_near : (W, P) complex array
        Their pressure at the points without posts, Pa.
    volume_acceleration : (W,) array
        Of each way, m^3/s^2.
    power : (W,) array
        Through each driven way without posts, W.
    unknowns : int
        Size of the system of each order.
    work : (W, N, 2) complex array
        Half of int p conj(v) dS over each way for waves (outside, inside) of order 0 in the ring.
    taken : (M, W + 2 N, W + 2 N) complex array or None
        What walls take, W: with strengths s of the ways and of waves (outside, inside) of every
        mode, s @ matrix @ conj(s). Ways count at order 0 only. None where it was let go.
    """

    ring: FlatRing
    k: float
    kappa: np.ndarray
    orders: np.ndarray
    unit: np.ndarray = field(repr=False)
    reflected: np.ndarray = field(repr=False)
    elevations: np.ndarray = field(repr=False)
    points: np.ndarray = field(repr=False)
    far: np.ndarray = field(repr=False)
    near: np.ndarray = field(repr=False)
    incident: np.ndarray = field(repr=False)
    way_far: np.ndarray = field(repr=False)
    way_near: np.ndarray = field(repr=False)
    volume_acceleration: np.ndarray = field(repr=False)
    power: np.ndarray = field(repr=False)
    work: np.ndarray = field(repr=False)
    taken: np.ndarray | None = field(repr=False)
    unknowns: int

    def heard_at(self, directions: slice) -> "RingAnswer":
        """Return the answer at some of its elevations only, and without what walls take."""
        return replace(
            self,
            elevations=self.elevations[directions],
            far=self.far[:, directions].copy(),
            way_far=self.way_far[:, directions].copy(),
            taken=None,
        )


def solve_ring(
    assembly: Assembly,
    frequency: float,
    drives: Sequence[Drive],
    orders: Sequence[int],
    elevations: np.ndarray,
    air: Air,
    settings: WaveSettings = DEFAULT_SETTINGS,
    floor: float | None = None,
    more_modes: int = MORE_MODES,
    walls: Walls = RIGID_WALLS,
    points: np.ndarray = NO_POINTS,
) -> RingAnswer:
    """Solve the round bodies once for every order.

    Parameters
    ----------
    assembly : Assembly
        Its posts do not matter.
    frequency : float
        Hz.
    drives : sequence of Drive
        Each way by itself.
    orders : sequence of int
        Azimuthal orders; 0 is always among them.
    elevations : (E,) array
        Degrees.
    air : Air
    settings : WaveSettings
    floor : float, optional
        Height of a rigid floor, metres.
    more_modes : int
        Vertical modes beyond those that travel.
    walls : Walls
        What the surfaces take.
    points : (P, 2) array
        Places in the air to be heard at as well, r and z in metres; not over a floor.

    Raises
    ------
    AllRoundError
        If baffle and plate nowhere face each other flat, or something absorbs there.
    ValueError
        If the wave solver refuses the bodies.
    """
    ring = flat_ring(assembly)
    check_hard(ring, assembly, walls, frequency, air)
    k = 2.0 * np.pi * frequency / air.speed
    radii = ring.source_radii(k)
    bodies = (
        ring.cut(assembly.lower, 0.0, radii),
        ring.cut(assembly.hung_body, ring.height, radii),
    )
    moving = frozenset().union(*(drive.parts for drive in drives))
    mesh = checked_mesh(bodies, frequency, moving, air, settings.mesh, None, floor, walls)
    kappa = ring.wavenumbers(k, more_modes)
    lines = Lines(k, ring.height, np.array(radii), len(kappa), np.array(sorted({0, *orders})))
    sources = RingSources(mesh, ring, lines, settings.digits)
    driven = solve(
        bodies,
        frequency,
        drives,
        air,
        settings=settings,
        floor=floor,
        walls=walls,
        more=_right_sides(sources, 0),
    )
    return answer_of(sources, driven, kappa, elevations, walls, points)


def answer_of(
    sources: RingSources,
    driven: WaveSolution,
    kappa: np.ndarray,
    elevations: np.ndarray,
    walls: Walls = RIGID_WALLS,
    points: np.ndarray = NO_POINTS,
) -> RingAnswer:
    """Answer matrices of a mesh whose driven ways are solved, lines of order 0 along with them."""
    lines, ring = sources.lines, sources.ring
    unit = units(ring, lines.orders, kappa)
    waves = sources.waves(kappa, unit)
    back = 2.0 / (1j * np.pi) * np.linalg.inv(waves)  # (M, N, 2, R): from lines to waves
    each = [_Order(sources, driven, at, back[at], walls) for at in range(len(lines.orders))]
    alone = sources.far_alone(elevations)
    work = driven.work_of(each[0].pressure).reshape(-1, len(lines.radii), lines.modes)
    return RingAnswer(
        ring=ring,
        k=lines.k,
        kappa=kappa,
        orders=lines.orders,
        unit=unit,
        reflected=np.array([one.reflected(waves[one.at]) for one in each]),
        elevations=elevations,
        points=points,
        far=np.array([one.far(elevations, alone[one.at]) for one in each]),
        near=np.array([one.near(points) for one in each]),
        incident=sent_into_ring(sources, driven, back[0]),
        way_far=driven.far_field(elevations).T,
        way_near=driven.pressure_at(points).T,
        volume_acceleration=driven.volume_acceleration(),
        power=driven.driven_power(),
        work=np.einsum("ncr,wrn->wnc", back[0], work),
        taken=np.array([one.taken() for one in each]),
        unknowns=sources.mesh.unknowns,
    )


def units(ring: FlatRing, orders: np.ndarray, kappa: np.ndarray) -> np.ndarray:
    """Units s = |H_m(kappa_n r)|, r the middle of the ring, (M, N)."""
    return np.abs(special.hankel1(orders[:, None], kappa * ring.middle))


def sent_into_ring(
    sources: RingSources, solution: WaveSolution, back: np.ndarray, at: int = 0
) -> np.ndarray:
    """Amplitudes of s J_m and H_m / s that solutions of one order send into the ring, (W, N, 2)."""
    heard = sources.heard_of(solution.pressure, solution.gradient, at)
    return 0.5j * np.pi * np.einsum("ncr,wrn->wnc", back, heard / _norm(sources))


def _norm(sources: RingSources) -> np.ndarray:
    """Int cos^2(n pi z / H) dz, (N,)."""
    return 0.5 * sources.ring.height * (1.0 + (np.arange(sources.lines.modes) == 0))


def _right_sides(sources: RingSources, at: int) -> np.ndarray:
    """Right sides a + alpha b of all lines of one order, (U, R N)."""
    value, slope = (sources.on_unknowns(each, at) for each in sources.moments)
    return value + 1j / sources.lines.k * slope


class _Order:
    """Bodies and lines of one azimuthal order, solved.

    `back` (N, 2, R) turns what lines do into what waves do.
    """

    def __init__(
        self,
        sources: RingSources,
        driven: WaveSolution,
        at: int,
        back: np.ndarray,
        walls: Walls,
    ) -> None:
        self.sources, self.driven, self.at, self.back = sources, driven, at, back
        self.m = int(sources.lines.orders[at])
        self.losses: Losses | None = losses_on(
            sources.mesh, walls, driven.frequency, self.m, driven.air
        )
        self.pressure = self._pressure()  # (U, R N) of the lines on the bodies

    def _pressure(self) -> np.ndarray:
        if self.m == 0 and self.driven.more is not None:
            return self.driven.more
        sources, nothing = self.sources, np.empty(0, dtype=int)
        matrix, _ = assemble(
            sources.mesh, sources.lines.k, self.m, nothing, sources.digits, losses=self.losses
        )
        return np.linalg.solve(matrix, _right_sides(sources, self.at))

    def reflected(self, waves: np.ndarray) -> np.ndarray:
        """Answer matrix (N, 2, N, 2)."""
        sources, back = self.sources, self.back
        rings, modes = len(sources.lines.radii), sources.lines.modes
        heard = sources.heard_of(self.pressure, self._gradient(), self.at)
        heard = heard.reshape(rings, modes, rings, modes).transpose(2, 3, 0, 1)
        heard = heard + sources.direct[self.at]
        inner, outer = (pick.outer(*2 * [np.arange(rings)]) for pick in (np.minimum, np.maximum))
        n, norm = np.arange(modes), _norm(sources)[:, None, None]
        heard[:, n, :, n] -= 0.5j * np.pi * norm * waves[:, inner, 0] * waves[:, outer, 1]
        found = np.einsum("acsb,bds->acbd", np.einsum("acr,rasb->acsb", back, heard), back)
        return 0.5j * np.pi * found / norm[..., None]

    def far(self, elevations: np.ndarray, alone: np.ndarray) -> np.ndarray:
        """Far field of waves, (E, N, 2); lines send `alone` (E, R, N) without bodies."""
        mesh, k = self.sources.mesh, self.sources.lines.k
        still = np.zeros((*mesh.nodes.shape, self.pressure.shape[1]), dtype=complex)
        sent = far_field(mesh, k, self.m, self.pressure, still, elevations, losses=self.losses)
        return np.einsum("ncr,ern->enc", self.back, sent.reshape(alone.shape) + alone)

    def near(self, points: np.ndarray) -> np.ndarray:
        """Pressure of waves at points, (P, N, 2)."""
        mesh, lines, digits = self.sources.mesh, self.sources.lines, self.sources.digits
        if not len(points):
            return np.empty((0, lines.modes, 2), dtype=complex)
        gradient = self._gradient()
        if gradient is None:
            gradient = np.zeros((*mesh.nodes.shape, self.pressure.shape[1]), dtype=complex)
        sent = field_at(mesh, lines.k, self.m, self.pressure, gradient, points, digits)
        own = lines._replace(orders=lines.orders[self.at : self.at + 1])
        alone = line_fields(own, points, np.zeros_like(points), digits).value[:, :, 0]
        return np.einsum("ncr,prn->pnc", self.back, sent.reshape(alone.shape) + alone)

    def taken(self) -> np.ndarray:
        """What walls take of ways and waves, (W + 2 N, W + 2 N) in W, see `RingAnswer`."""
        lines, driven = self.sources.lines, self.driven
        ways, modes = driven.pressure.shape[1], lines.modes
        if self.losses is None:
            return np.zeros(2 * (ways + 2 * modes,), dtype=complex)
        on_lines = self.pressure.reshape(-1, len(lines.radii), modes)
        of_waves = np.einsum("urn,ncr->unc", on_lines, self.back).reshape(-1, 2 * modes)
        of_ways = driven.pressure if self.m == 0 else np.zeros_like(driven.pressure)
        both = np.concatenate((of_ways, of_waves), axis=1)
        return self.losses.absorbed(both, driven.air, driven.frequency).sum(axis=0)

    def _gradient(self) -> np.ndarray | None:
        """dp/dn of the lines at the nodes of every element, (E, P, R N); None if all is rigid."""
        return None if self.losses is None else self.losses.gradient(self.pressure)
