"""The field that a solved surface radiates: far away, and at points in the air.

With p and q = dp/dn on the surface, the representation formula p(x) = int (p dG/dn' - q G) dS'
gives, for azimuthal order m and elevation eps,

    r p(r) exp(-ikr) -> 1/2 (-i)^m int exp(-ikz' sin eps)
        { k p [n_r cos eps J_m'(a) - i n_z sin eps J_m(a)] - q J_m(a) } r' ds',
    a = k r' cos eps.

Pressure at points takes doubles, a Gauss point at a time. All Gauss points of an element at once,
in single precision as in the assembly, took 0.3 of the time (5 per cent of a solve with three
seats) and was left out: hundreds of metres away the phase has no digits left for the far field.
"""

import math
from functools import lru_cache

import numpy as np
from numba import njit
from scipy import special

from dispersion.rational import barycentric
from dispersion.stopping import current_stop
from shapes.pieces import TOLERANCE

from .elements import GAUSS, Mesh, basis
from .floor import is_above, mirrored_points
from .pairs import NODES, locate, shape_at
from .rings import ELEMENTWISE, LONGEST_RULE, compiled_order, cosine_and_sine, ring_pair
from .sharing import Block, SharedBlocks
from .system import pair_rules
from .walls import Losses

BESSEL_STEP = 1.0 / 32.0  # cubic Hermite between: error below 3e-9
BEYOND = (6.0, 12.0)
"""See `_free_far_field`: J_n(ka) is below 1e-9 from there on."""
SAME_DEGREES = 16
"""Degrees are multiples of this, so that candidates share what their column sends out."""
MAX_DEPTH = 60  # parts kept while an element is bisected, one more each time


@lru_cache(maxsize=64)
def _bessel_table(m: int, blocks: int) -> np.ndarray:
    """J_m and its first two derivatives at steps of BESSEL_STEP, up to 8 * blocks."""
    x = np.arange(int(8 * blocks / BESSEL_STEP) + 2) * BESSEL_STEP
    return np.array([special.jvp(m, x, derivative) for derivative in range(3)])


def far_field(
    mesh: Mesh,
    k: complex,
    m: int,
    p: np.ndarray,
    q: np.ndarray,
    elevations: np.ndarray,
    shared: SharedBlocks | None = None,
    losses: Losses | None = None,
) -> np.ndarray:
    """Return r p exp(-ikr) far away, in Pa m; over a floor that of the image too, and 0 below it.

    Parameters
    ----------
    mesh : Mesh
    k, m : float or complex, int
        Wavenumber in rad/m and azimuthal order.
    p : (N, W) complex array
        Pressure at the unknowns in Pa, for W sources.
    q : (E, P, W) complex array
        dp/dn at the nodes of every element in Pa/m, without what the walls take.
    elevations : (D,) array
        Degrees; 0 is horizontal, +90 straight up.
    shared : SharedBlocks, optional
        Where what single bodies send out is kept and found; the result does not change by a bit.
    losses : Losses, optional
        What the walls take; all are rigid where left out.

    Returns
    -------
    (D, W) complex array
    """
    if mesh.floor is None:
        return _free_far_field(mesh, k, m, p, q, elevations, shared, losses)
    upward = is_above(elevations, 0.0)
    eps = elevations[upward]
    # What the image sends up is what the bodies send down, from as far below the floor.
    both = np.concatenate((eps, -eps))
    up, down = np.split(_free_far_field(mesh, k, m, p, q, both, shared, losses), 2)
    out = np.zeros((len(elevations), p.shape[1]), dtype=complex)
    out[upward] = up + np.exp(-2j * k * mesh.floor * np.sin(np.radians(eps)))[:, None] * down
    return out


def _free_far_field(
    mesh: Mesh,
    k: complex,
    m: int,
    p: np.ndarray,
    q: np.ndarray,
    elevations: np.ndarray,
    shared: SharedBlocks | None,
    losses: Losses | None,
) -> np.ndarray:
    """Return the same in free air, by way of fewer directions where they tell it as well.

    All round (m = 0) it is a smooth function of the elevation's sine. Seen from the middle of the
    bodies, all of them within a from there, what its Chebyshev series has beyond degree
    n = ka + `BEYOND[0]` (ka)^(1/3) + `BEYOND[1]` is as small as J_n(ka).
    """
    sines = np.sin(np.radians(elevations))
    if m == 0:
        each = [body.gauss_points for body in mesh.bodies]
        heights = [at.z + lift for at, lift in zip(each, mesh.lifts, strict=True)]
        middle = 0.5 * (min(z.min() for z in heights) + max(z.max() for z in heights))
        squared = [(at.r**2 + (z - middle) ** 2).max() for at, z in zip(each, heights, strict=True)]
        reach = k.real * math.sqrt(max(squared))
        degree = int(reach + BEYOND[0] * np.cbrt(reach) + BEYOND[1])
        degree += -degree % SAME_DEGREES
        if degree < len(elevations):
            nodes = _chebyshev_elevations(degree)
            turned = np.exp(1j * k * middle * np.sin(np.radians(nodes)))[:, None]
            few = turned * _sum_of_bodies(mesh, k, m, p, q, nodes, shared, losses)
            read = _between_chebyshev(degree, sines.tobytes())
            return np.exp(-1j * k * middle * sines)[:, None] * (read @ few)
    return _sum_of_bodies(mesh, k, m, p, q, elevations, shared, losses)


@lru_cache(maxsize=64)
def _chebyshev_elevations(degree: int) -> np.ndarray:
    """Elevations whose sines are the Chebyshev points of a degree; degrees, alike up and down."""
    upward = 90.0 - 180.0 * np.arange((degree + 1) // 2) / degree
    level = np.zeros(1 - degree % 2)
    return np.concatenate((upward, level, -upward[::-1]))


@lru_cache(maxsize=64)
def _between_chebyshev(degree: int, sines: bytes) -> np.ndarray:
    """(D, degree + 1) matrix from values at Chebyshev points to those at sines of elevations.

    Barycentric, with weights that alternate in sign and are half as large at both ends.
    """
    weights = np.ones(degree + 1, dtype=np.complex128)
    weights[1::2] = -1.0
    weights[[0, -1]] *= 0.5
    nodes = np.sin(np.radians(_chebyshev_elevations(degree)))
    return barycentric(np.frombuffer(sines), nodes, weights).real


def _sum_of_bodies(
    mesh: Mesh,
    k: complex,
    m: int,
    p: np.ndarray,
    q: np.ndarray,
    elevations: np.ndarray,
    shared: SharedBlocks | None,
    losses: Losses | None,
) -> np.ndarray:
    out = np.zeros((len(elevations), p.shape[1]), dtype=complex)
    sines = np.sin(np.radians(elevations))
    for body, lift in enumerate(mesh.lifts):
        own = q[mesh.spans[body]]
        driven = np.flatnonzero(own.any(axis=(1, 2)))
        taken = None if losses is None else losses.alone(body)
        block = _far_block(mesh.alone(body), k, m, driven, elevations, shared, taken)
        moved = own[driven].reshape(-1, p.shape[1])
        sent = block.matrix @ p[mesh.unknowns_of(body)] - block.drive @ moved
        out += np.exp(-1j * k * lift * sines)[:, None] * sent
    return out


def _far_block(
    mesh: Mesh,
    k: complex,
    m: int,
    driven: np.ndarray,
    elevations: np.ndarray,
    shared: SharedBlocks | None,
    losses: Losses | None,
) -> Block:
    """What the node values of one body in its own place send out; the same wherever it hangs."""

    def make() -> Block:
        if losses is None:
            return _far_kernels_on_nodes(mesh, k, m, driven, elevations)
        carried = losses.carried(driven)
        block = _far_kernels_on_nodes(mesh, k, m, carried, elevations)
        return losses.folded(block, carried, driven)

    if shared is None:
        return make()
    taken = None if losses is None else losses.key
    key = ("far", mesh.own_curve.tobytes(), driven.tobytes(), k, m, elevations.tobytes(), taken)
    return shared.find(key, make)


def _far_kernels_on_nodes(
    mesh: Mesh, k: complex, m: int, driven: np.ndarray, elevations: np.ndarray
) -> Block:
    """Kernels of p and -q integrated over the shape functions: (D, N) and (D, driven * P)."""
    shape = basis()
    at = mesh.gauss_points
    weight = (0.5 * at.r * at.jacobian * shape.weights).ravel()
    table = _bessel_table(m, int(k.real * at.r.max() / 8.0) + 1)
    # Where the air takes nothing, what goes down is the conjugate of what goes up as steeply.
    apart = elevations if k.imag else np.abs(elevations)
    eps, place = _different(apart.tobytes())
    matrix = np.zeros((len(eps), mesh.unknowns), dtype=complex)
    drive = np.zeros((len(eps), len(driven) * NODES), dtype=complex)
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
        shape.values,
        mesh.nodes,
        driven,
        matrix,
        drive,
    )
    matrix, drive = matrix[place], drive[place]
    downward = np.flatnonzero(apart != elevations)
    for sent in (matrix, drive):
        sent[downward] = sent[downward].conj()
        sent *= (-1j) ** m
    return Block(matrix, drive)


@lru_cache(maxsize=64)
def _different(degrees: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Different ones of some angles, in radians, and which of them each is."""
    eps, place = np.unique(np.radians(np.frombuffer(degrees)), return_inverse=True)
    return eps, place


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _far_kernels(
    k, sines, cosines, r, z, nr, nz, weight, table, values, nodes, driven, matrix, drive
):
    phase = np.empty((2, len(r)))
    on_p, on_q = np.empty(len(r), np.complex128), np.empty(len(r), np.complex128)
    for d in range(len(sines)):
        for i in range(len(r)):
            angle = k.real * z[i] * sines[d]
            cosine, sine = cosine_and_sine(abs(angle))
            phase[0, i] = cosine * weight[i]
            phase[1, i] = -sine * weight[i] if angle > 0.0 else sine * weight[i]
        for i in range(len(r)):
            x = k.real * r[i] * cosines[d] / BESSEL_STEP
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
            if k.imag != 0.0:
                # A Taylor series takes the Bessel functions off the real axis: good to 1e-4 where
                # the air takes less than 0.02 nepers on the radius.
                y = 1j * k.imag * r[i] * cosines[d]
                ddj = (1.0 - t) * table[2, cell] + t * table[2, cell + 1]
                sent = complex(real, imag) * np.exp(k.imag * z[i] * sines[d])
                slope = dj + y * ddj
                value = j + y * (dj + 0.5 * y * ddj)
                on_p[i] = sent * k * (nr[i] * cosines[d] * slope - 1j * nz[i] * sines[d] * value)
                on_q[i] = sent * value
                continue
            along, up = k.real * nr[i] * cosines[d] * dj, k.real * nz[i] * sines[d] * j
            on_p[i] = complex(real * along + imag * up, imag * along - real * up)
            on_q[i] = complex(real * j, imag * j)
        for e in range(len(nodes)):
            for a in range(NODES):
                matrix[d, nodes[e, a]] += _on_node(values, a, on_p, e)
        for place in range(len(driven)):
            for a in range(NODES):
                drive[d, place * NODES + a] = _on_node(values, a, on_q, driven[place])


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _on_node(values, a, kernel, e):
    """Sum a kernel times shape function a over the Gauss points of element e."""
    total = 0.0j
    for i in range(GAUSS):
        total += values[i, a] * kernel[e * GAUSS + i]
    return total


def field_at(
    mesh: Mesh,
    k: complex,
    m: int,
    p: np.ndarray,
    q: np.ndarray,
    points: np.ndarray,
    digits: float,
) -> np.ndarray:
    """Return the pressure of order m at points in the air, in Pa.

    Elements near a point are bisected until each part is farther away than it is long, so points
    may come close to a surface. Over a floor the image's field is in it, and below there is none.

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

    Raises
    ------
    ValueError
        If a point's r is below 0, or no number.
    """
    points = np.asarray(points, dtype=float)
    if not np.all(points[:, 0] >= -TOLERANCE):
        raise ValueError("a point in the air needs its distance from the axis: r of 0 or more")
    if mesh.floor is None:
        return _free_field_at(mesh, k, m, p, q, points, digits)
    above = is_above(points[:, 1], mesh.floor)
    heard = points[above]
    both = np.concatenate((heard, mirrored_points(heard, mesh.floor)))
    out = np.zeros((len(points), p.shape[1]), dtype=complex)
    out[above] = np.add(*np.split(_free_field_at(mesh, k, m, p, q, both, digits), 2))
    return out


def _free_field_at(
    mesh: Mesh,
    k: complex,
    m: int,
    p: np.ndarray,
    q: np.ndarray,
    points: np.ndarray,
    digits: float,
) -> np.ndarray:
    out, stop = np.zeros((len(points), p.shape[1]), dtype=complex), current_stop()
    _field(
        pair_rules(digits),
        mesh.curve,
        mesh.nodes,
        k,
        compiled_order(m),
        points,
        p,
        q,
        stop.flag,
        out,
    )
    stop.check()
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _field(rules, curve, nodes, k, m, points, p, q, stop, out):
    # Rows by number: an array unpacked or set from a tuple takes two seconds more to compile.
    rule = np.empty((4, LONGEST_RULE))
    h, wm, wh, ws = rule[0], rule[1], rule[2], rule[3]
    value, slope = np.empty((1, NODES)), np.empty((1, NODES))
    stack = np.empty((MAX_DEPTH, 2))
    for x in range(len(points)):
        if stop[0]:
            return
        r, z = points[x, 0], points[x, 1]
        for e in range(len(curve)):
            stack[0, 0], stack[0, 1] = -1.0, 1.0
            depth = 1
            while depth > 0:
                depth -= 1
                low, high = stack[depth, 0], stack[depth, 1]
                if depth < MAX_DEPTH - 2 and too_near(curve, e, r, z, low, high):
                    middle = 0.5 * (low + high)
                    stack[depth, 0], stack[depth, 1] = low, middle
                    stack[depth + 1, 0], stack[depth + 1, 1] = middle, high
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
def too_near(curve, e, r, z, low, high):
    """Whether a part of an element is longer than it is far from a point."""
    r0, z0, _, _ = locate(curve, e, low)
    r1, z1, _, _ = locate(curve, e, 0.5 * (low + high))
    r2, z2, _, _ = locate(curve, e, high)
    length = math.hypot(r1 - r0, z1 - z0) + math.hypot(r2 - r1, z2 - z1)
    nearest = min(
        math.hypot(r - r0, z - z0), math.hypot(r - r1, z - z1), math.hypot(r - r2, z - z2)
    )
    return nearest < length and length > 1e-6
