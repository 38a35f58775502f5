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
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from dispersion.air import Air
from dispersion.allround.flat_ring import MORE_MODES, FlatRing, flat_ring
from dispersion.allround.lines import Lines
from dispersion.allround.ring_sources import RingSources
from dispersion.waves import DEFAULT_SETTINGS, Drive, WaveSettings, WaveSolution, solve
from dispersion.waves.field import far_field
from dispersion.waves.system import assemble
from shapes.assembly import Assembly


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
    far : (M, E, N, 2) complex array
        F_m, r p exp(-ikr) far away.
    incident : (W, N, 2) complex array
        What the driven ways send into the ring, as amplitudes of (J, H), order 0.
    way_far : (W, E) complex array
        Their far fields without posts, Pa m.
    volume_acceleration : (W,) array
        Of each way, m^3/s^2.
    power : (W,) array
        Through each driven way without posts, W.
    unknowns : int
        Size of the system of each order.
    work : (W, N, 2) complex array
        Half of int p conj(v) dS over each way for waves (outside, inside) of order 0 in the ring.
    """

    ring: FlatRing
    k: float
    kappa: np.ndarray
    orders: np.ndarray
    unit: np.ndarray = field(repr=False)
    reflected: np.ndarray = field(repr=False)
    elevations: np.ndarray = field(repr=False)
    far: np.ndarray = field(repr=False)
    incident: np.ndarray = field(repr=False)
    way_far: np.ndarray = field(repr=False)
    volume_acceleration: np.ndarray = field(repr=False)
    power: np.ndarray = field(repr=False)
    work: np.ndarray = field(repr=False)
    unknowns: int

    def heard_at(self, directions: slice) -> "RingAnswer":
        """Return the answer with some of its elevations only."""
        return replace(
            self,
            elevations=self.elevations[directions],
            far=self.far[:, directions].copy(),
            way_far=self.way_far[:, directions].copy(),
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

    Raises
    ------
    AllRoundError
        If baffle and plate nowhere face each other flat.
    ValueError
        If the wave solver refuses the bodies.
    """
    ring = flat_ring(assembly)
    k = 2.0 * np.pi * frequency / air.speed
    radii = ring.source_radii(k)
    bodies = (
        ring.cut(assembly.lower, 0.0, radii),
        ring.cut(assembly.hung_body, ring.height, radii),
    )
    driven = solve(bodies, frequency, drives, air, settings=settings, floor=floor)
    kappa = ring.wavenumbers(k, more_modes)
    lines = Lines(k, ring.height, np.array(radii), len(kappa), np.array(sorted({0, *orders})))
    sources = RingSources(driven.mesh, ring, lines, settings.digits)
    return answer_of(sources, driven, kappa, elevations)


def answer_of(
    sources: RingSources, driven: WaveSolution, kappa: np.ndarray, elevations: np.ndarray
) -> RingAnswer:
    """Answer matrices of a mesh whose driven ways are solved."""
    lines, ring = sources.lines, sources.ring
    unit = np.abs(special.hankel1(lines.orders[:, None], kappa * ring.middle))
    waves = sources.waves(kappa, unit)
    back = 2.0 / (1j * np.pi) * np.linalg.inv(waves)  # (M, N, 2, R): from lines to waves
    pressures = [_pressure(sources, at) for at in range(len(lines.orders))]
    each = list(enumerate(pressures))
    reflected = [_reflected(sources, at, p, waves[at], back[at]) for at, p in each]
    far = [np.einsum("ncr,ern->enc", back[at], _far(sources, at, p, elevations)) for at, p in each]
    work = driven.work_of(pressures[0]).reshape(-1, len(lines.radii), lines.modes)
    return RingAnswer(
        ring=ring,
        k=lines.k,
        kappa=kappa,
        orders=lines.orders,
        unit=unit,
        reflected=np.array(reflected),
        elevations=elevations,
        far=np.array(far),
        incident=sent_into_ring(sources, driven, back[0]),
        way_far=driven.far_field(elevations).T,
        volume_acceleration=driven.volume_acceleration(),
        power=driven.driven_power(),
        work=np.einsum("ncr,wrn->wnc", back[0], work),
        unknowns=sources.mesh.unknowns,
    )


def sent_into_ring(
    sources: RingSources, solution: WaveSolution, back: np.ndarray, at: int = 0
) -> np.ndarray:
    """Amplitudes of s J_m and H_m / s that solutions of one order send into the ring, (W, N, 2)."""
    heard = sources.heard_of(solution.pressure, solution.gradient, at)
    return 0.5j * np.pi * np.einsum("ncr,wrn->wnc", back, heard / _norm(sources))


def _norm(sources: RingSources) -> np.ndarray:
    """Int cos^2(n pi z / H) dz, (N,)."""
    return 0.5 * sources.ring.height * (1.0 + (np.arange(sources.lines.modes) == 0))


def _pressure(sources: RingSources, at: int) -> np.ndarray:
    """Pressure of the lines of one order on the bodies, (U, R N)."""
    lines, moments = sources.lines, sources.moments
    rigid = np.empty(0, dtype=int)
    matrix, _ = assemble(sources.mesh, lines.k, int(lines.orders[at]), rigid, sources.digits)
    value, slope = (sources.on_unknowns(each, at) for each in moments)
    return np.linalg.solve(matrix, value + 1j / lines.k * slope)


def _reflected(
    sources: RingSources, at: int, pressure: np.ndarray, waves: np.ndarray, back: np.ndarray
) -> np.ndarray:
    """Answer matrix (N, 2, N, 2) of one order."""
    rings, modes = len(sources.lines.radii), sources.lines.modes
    heard = sources.on_unknowns(sources.moments.slope, at).T @ pressure
    heard = heard.reshape(rings, modes, rings, modes) + sources.direct[at]
    inner, outer = (pick.outer(*2 * [np.arange(rings)]) for pick in (np.minimum, np.maximum))
    n, norm = np.arange(modes), _norm(sources)[:, None, None]
    heard[:, n, :, n] -= 0.5j * np.pi * norm * waves[:, inner, 0] * waves[:, outer, 1]
    found = np.einsum("acr,rasb,bds->acbd", back, heard, back, optimize=True)
    return 0.5j * np.pi * found / norm[..., None]


def _far(sources: RingSources, at: int, pressure: np.ndarray, elevations: np.ndarray) -> np.ndarray:
    """Far field of the lines of one order beside the bodies, (E, R, N)."""
    mesh, lines = sources.mesh, sources.lines
    still = np.zeros((*mesh.nodes.shape, pressure.shape[1]), dtype=complex)
    sent = far_field(mesh, lines.k, int(lines.orders[at]), pressure, still, elevations)
    alone = sources.far_alone(at, elevations)
    return sent.reshape(alone.shape) + alone
