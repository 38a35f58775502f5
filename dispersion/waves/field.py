"""The field that a solved surface radiates: far away, and at points in the air.

With p and q = dp/dn on the surface, the representation formula p(x) = int (p dG/dn' - q G) dS'
gives, for azimuthal order m and elevation eps,

    r p(r) exp(-ikr) -> 1/2 (-i)^m int exp(-ikz' sin eps)
        { k p [n_r cos eps J_m'(a) - i n_z sin eps J_m(a)] - q J_m(a) } r' ds',
    a = k r' cos eps.
"""

import math
from functools import lru_cache

import numpy as np
from numba import njit
from scipy import special

from .elements import GAUSS, Mesh, basis
from .pairs import NODES, locate, shape_at
from .rings import ELEMENTWISE, LONGEST_RULE, compiled_order, cosine_and_sine, ring_pair
from .system import pair_rules

BESSEL_STEP = 1.0 / 32.0  # cubic Hermite between: error below 3e-9
MAX_DEPTH = 60


@lru_cache(maxsize=64)
def _bessel_table(m: int, blocks: int) -> np.ndarray:
    """J_m and its first two derivatives at steps of BESSEL_STEP, up to 8 * blocks."""
    x = np.arange(int(8 * blocks / BESSEL_STEP) + 2) * BESSEL_STEP
    return np.array([special.jvp(m, x, derivative) for derivative in range(3)])


def far_field(
    mesh: Mesh, k: float, m: int, p: np.ndarray, q: np.ndarray, elevations: np.ndarray
) -> np.ndarray:
    """Return r p exp(-ikr) far away, in Pa m.

    Parameters
    ----------
    mesh : Mesh
    k, m : float, int
        Wavenumber in rad/m and azimuthal order.
    p : (N, W) complex array
        Pressure at the unknowns in Pa, for W sources.
    q : (E, P, W) complex array
        dp/dn at the nodes of every element in Pa/m.
    elevations : (D,) array
        Degrees; 0 is horizontal, +90 straight up.

    Returns
    -------
    (D, W) complex array
    """
    shape = basis()
    at = mesh.at(shape.points)
    pressure = np.einsum("qp,epw->eqw", shape.values, p[mesh.nodes]).reshape(-1, p.shape[1])
    gradient = np.einsum("qp,epw->eqw", shape.values, q).reshape(pressure.shape)
    weight = (0.5 * at.r * at.jacobian * shape.weights).ravel()
    table = _bessel_table(m, int(k * at.r.max() / 8.0) + 1)
    eps = np.radians(elevations)
    on_p = np.empty((len(eps), weight.size), dtype=complex)
    on_q = np.empty_like(on_p)
    _far_kernels(
        k,
        np.sin(eps),
        np.cos(eps),
        at.r.ravel(),
        at.z.ravel(),
        at.normal_r.ravel(),
        at.normal_z.ravel(),
        weight,
        table,
        on_p,
        on_q,
    )
    driven = np.any(gradient != 0.0, axis=1)
    return (-1j) ** m * (on_p @ pressure + on_q[:, driven] @ gradient[driven])


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _far_kernels(k, sines, cosines, r, z, nr, nz, weight, table, on_p, on_q):
    phase = np.empty((2, len(r)))
    for d in range(len(sines)):
        for i in range(len(r)):
            angle = k * z[i] * sines[d]
            cosine, sine = cosine_and_sine(abs(angle))
            phase[0, i] = cosine * weight[i]
            phase[1, i] = -sine * weight[i] if angle > 0.0 else sine * weight[i]
        for i in range(len(r)):
            x = k * r[i] * cosines[d] / BESSEL_STEP
            cell = np.int32(x)
            t = x - cell
            # Cubic Hermite weights for the value and slope at both ends of the cell.
            h0, h1 = (1.0 + 2.0 * t) * (1.0 - t) ** 2, t * t * (3.0 - 2.0 * t)
            g0, g1 = t * (1.0 - t) ** 2 * BESSEL_STEP, t * t * (t - 1.0) * BESSEL_STEP
            j = h0 * table[0, cell] + h1 * table[0, cell + 1]
            j += g0 * table[1, cell] + g1 * table[1, cell + 1]
            dj = h0 * table[1, cell] + h1 * table[1, cell + 1]
            dj += g0 * table[2, cell] + g1 * table[2, cell + 1]
            real, imag = phase[0, i], phase[1, i]
            along, up = k * nr[i] * cosines[d] * dj, k * nz[i] * sines[d] * j
            on_p[d, i] = complex(real * along + imag * up, imag * along - real * up)
            on_q[d, i] = complex(-real * j, -imag * j)


def field_at(
    mesh: Mesh,
    k: float,
    m: int,
    p: np.ndarray,
    q: np.ndarray,
    points: np.ndarray,
    digits: float,
) -> np.ndarray:
    """Return the pressure of order m at points in the air, in Pa.

    Elements near a point are bisected until each part is farther away than it is long, so points
    may come close to a surface.

    Parameters
    ----------
    mesh, k, m, p, q
        As for `far_field`.
    points : (X, 2) array
        r and z in metres.
    digits : float
        Decimal digits of the azimuth quadrature.

    Returns
    -------
    (X, W) complex array
    """
    out = np.zeros((len(points), p.shape[1]), dtype=complex)
    _field(
        pair_rules(digits),
        mesh.curve,
        mesh.nodes,
        k,
        compiled_order(m),
        np.asarray(points, dtype=float),
        p,
        q,
        out,
    )
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _field(rules, curve, nodes, k, m, points, p, q, out):
    h, wm, wh, ws = np.empty((4, LONGEST_RULE))
    value, slope = np.empty((1, NODES)), np.empty((1, NODES))
    stack = np.empty((MAX_DEPTH, 2))
    for x in range(len(points)):
        r, z = points[x]
        for e in range(len(curve)):
            stack[0] = (-1.0, 1.0)
            depth = 1
            while depth > 0:
                depth -= 1
                low, high = stack[depth]
                if depth < MAX_DEPTH - 2 and _too_near(curve, e, r, z, low, high):
                    middle = 0.5 * (low + high)
                    stack[depth] = (low, middle)
                    stack[depth + 1] = (middle, high)
                    depth += 2
                    continue
                half = 0.5 * (high - low)
                for i in range(GAUSS):
                    t = 0.5 * (low + high) + half * rules.points[i]
                    rs, zs, drs, dzs = locate(curve, e, t)
                    g, _, ee, eh, _ = ring_pair(rules.azimuth, r, z, rs, zs, k, m, h, wm, wh, ws)
                    # The normal times the path per local coordinate is (dz, -dr).
                    weight = rules.weights[i] * half * rs
                    d = ((dzs * (rs - r) - drs * (zs - z)) * ee + dzs * r * eh) * weight
                    g *= math.hypot(drs, dzs) * weight
                    shape_at(rules.powers, t, 1.0, value, slope, 0)
                    for a in range(NODES):
                        for w in range(out.shape[1]):
                            out[x, w] += value[0, a] * (p[nodes[e, a], w] * d - q[e, a, w] * g)


@njit(cache=True, nogil=True, error_model="numpy")
def _too_near(curve, e, r, z, low, high):
    r0, z0, _, _ = locate(curve, e, low)
    r1, z1, _, _ = locate(curve, e, 0.5 * (low + high))
    r2, z2, _, _ = locate(curve, e, high)
    length = math.hypot(r1 - r0, z1 - z0) + math.hypot(r2 - r1, z2 - z1)
    nearest = min(
        math.hypot(r - r0, z - z0), math.hypot(r - r1, z - z1), math.hypot(r - r2, z - z2)
    )
    return nearest < length and length > 1e-6
