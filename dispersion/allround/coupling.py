"""What one body of revolution does to another whose axis lies elsewhere.

Both have a plane of symmetry in common, azimuth 0, so that every field is even in azimuth:

    p(phi) = sum_m e_m p_m cos(m phi),    e_0 = 1, e_m = 2
    p_m = (1/pi) int_0^pi p cos(m phi) dphi

On its own axis each body keeps its orders apart. What a body with p on its surface and q = dp/dn
sends to a point (r, phi, z) about its axis is

    P_m = int (p dG_m/dn' - q G_m) r' ds',    G_m = int_0^2pi g cos(m phi) dphi

and a circle of the other body meets all orders m of it: with u = (P_m, dP_m/dr, dP_m/dz) at points
of that circle, sampled at the middles of equal steps of its own azimuth, the sound is turned into
p + alpha dp/dn there and into orders again. Surfaces are apart, so plain Gauss rules serve, finer
where they come near each other.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numba import njit

from dispersion.stopping import current_stop
from dispersion.waves.elements import GAUSS, Mesh, basis
from dispersion.waves.field import too_near
from dispersion.waves.pairs import NODES, locate, shape_at
from dispersion.waves.rings import (
    ELEMENTWISE,
    LONGEST_RULE,
    SUMMING,
    azimuth_rules,
    chosen_rule,
    cosine_and_sine,
)
from dispersion.waves.sharing import Block
from dispersion.waves.walls import Losses

MAX_DEPTH = 60
AT_ONCE = 64
"""Points at which a field is found together."""
PARTS = 6
"""Real and imaginary parts of a field and of its slopes along r and z."""


class Placement(NamedTuple):
    """Where one body's coordinates lie in those of another: x there = turn @ x here + offset."""

    turn: np.ndarray  # (3, 3)
    offset: np.ndarray  # (3,)

    def back(self) -> "Placement":
        """Return the same the other way round."""
        return Placement(self.turn.T, -self.turn.T @ self.offset)

    def points(self, here: np.ndarray) -> np.ndarray:
        """Points (..., 3) there."""
        return here @ self.turn.T + self.offset


def coupling(
    source: Mesh,
    test: Mesh,
    place: Placement,
    k: float,
    steps: int,
    digits: float,
    losses: Sequence[Losses | None],
) -> tuple[np.ndarray, np.ndarray]:
    """Moments of p + alpha dp/dn, alpha = i/k, on one body of what another sends.

    Parameters
    ----------
    source, test : Mesh
        One body each, about its own axis.
    place : Placement
        Of the test body's coordinates in those of the source.
    k : float
        Wavenumber, rad/m.
    steps : int
        Of the half circle round the test body.
    digits : float
        Decimal digits of the azimuth quadrature.
    losses : sequence of M Losses or None
        What the source's walls take at azimuthal orders 0 ... M - 1, those of both bodies.

    Returns
    -------
    of_pressure : (M, N_test, M, N_source) complex array
        Of the pressure at the source's unknowns, and of what walls make of it.
    of_gradient : (M, N_test, E P) complex array
        Of dp/dn at the nodes of the source's elements, order 0 only, which is what drives have.
    """
    orders, lossy = len(losses), any(one is not None for one in losses)
    unknowns, slots = source.unknowns, source.elements * NODES
    sent = orders if lossy else 1
    of_pressure = np.zeros((orders, test.unknowns, orders * unknowns), dtype=complex)
    of_gradient = np.zeros((orders, test.unknowns, sent * slots), dtype=complex)
    m = np.arange(orders)
    azimuth = (np.arange(steps) + 0.5) * np.pi / steps
    project = np.cos(np.outer(m, azimuth)) / steps
    shape, at = basis(), test.gauss_points
    for e in range(test.elements):
        current_stop().check()
        circle = _circle(at.r[e], at.z[e], azimuth)
        normal = _circle(at.normal_r[e], at.normal_z[e], azimuth)
        values, driven = _met(source, place, circle, normal, k, (orders, sent), digits)
        load = at.r[e] * at.jacobian[e] * shape.weights
        weights = np.einsum("mj,i,ia->maij", project, load, shape.values)
        weights = weights.reshape(orders * NODES, -1)
        rows = test.nodes[e]
        of_pressure[:, rows] += (weights @ values).reshape(orders, NODES, -1)
        of_gradient[:, rows] += (weights @ driven).reshape(orders, NODES, -1)
    by_order = of_pressure.reshape(orders, test.unknowns, orders, unknowns)
    drives = of_gradient.reshape(orders, test.unknowns, sent, slots)
    for order, one in enumerate(losses):
        if one is not None:
            by_order[:, :, order] += _taken(one, drives[:, :, order].reshape(-1, slots)).reshape(
                orders, test.unknowns, unknowns
            )
    driven_alone = drives[:, :, 0].copy()
    # Waves of an order above 0 vanish on the axis.
    by_order[1:, test.axis_nodes] = 0.0
    by_order[:, :, 1:, source.axis_nodes] = 0.0
    driven_alone[1:, test.axis_nodes] = 0.0
    return by_order, driven_alone


def _taken(losses: Losses, drive: np.ndarray) -> np.ndarray:
    """What dp/dn = T p of walls sends, as of the pressure (R, N), from that of dp/dn, (R, E P)."""
    carried = losses.carried(np.empty(0, dtype=int))
    columns = (carried[:, None] * NODES + np.arange(NODES)).ravel()
    still = np.zeros((len(drive), losses.mesh.unknowns), dtype=complex)
    block = Block(still, np.ascontiguousarray(-drive[:, columns]))
    return losses.folded(block, carried, carried[:0]).matrix


def _circle(r: np.ndarray, z: np.ndarray, azimuth: np.ndarray) -> np.ndarray:
    """Points or vectors of circles, (G, A, 3)."""
    across = r[:, None] * np.stack((np.cos(azimuth), np.sin(azimuth)))[:, None]
    return np.stack((*across, np.broadcast_to(z[:, None], across[0].shape)), axis=-1)


def _met(
    source: Mesh,
    place: Placement,
    circle: np.ndarray,
    normal: np.ndarray,
    k: float,
    orders: tuple[int, int],
    digits: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Sound p + alpha dp/dn of M orders at points, (X, M N), and of drives of D, (X, D E P)."""
    there = place.points(circle).reshape(-1, 3)
    along = (normal @ place.turn.T).reshape(-1, 3)
    r, phi = np.hypot(there[:, 0], there[:, 1]), np.arctan2(there[:, 1], there[:, 0])
    outwards = along[:, 0] * np.cos(phi) + along[:, 1] * np.sin(phi)
    around = along[:, 1] * np.cos(phi) - along[:, 0] * np.sin(phi)
    pressure, gradient = _fields(source, np.column_stack((r, there[:, 2])), k, orders, digits)
    m, alpha = np.arange(orders[0]), 1j / k
    cosine = np.where(m > 0, 2.0, 1.0) * np.cos(np.outer(phi, m))
    sine = 2.0 * m * np.sin(np.outer(phi, m)) / np.maximum(r, 1e-9)[:, None]
    steep_r, steep_z = alpha * outwards[:, None], alpha * along[:, 2, None]
    own = cosine - alpha * around[:, None] * sine
    shares = (own, steep_r * cosine, steep_z * cosine)
    values = sum(share[..., None] * pressure[:, at] for at, share in enumerate(shares))
    driven = sum(share[:, : orders[1], None] * gradient[:, at] for at, share in enumerate(shares))
    return values.reshape(len(r), -1), driven.reshape(len(r), -1)


def _fields(
    source: Mesh, places: np.ndarray, k: float, orders: tuple[int, int], digits: float
) -> tuple[np.ndarray, np.ndarray]:
    """Field and slopes of unit node values at places (r, z): (X, 3, M, N) of the pressure.

    And (X, 3, D, E P) of dp/dn; `orders` are M and D, D no more than M.
    """
    pressure = np.zeros((len(places), 3, orders[0], source.unknowns), dtype=complex)
    slots = source.elements * NODES
    gradient = np.zeros((len(places), 3, orders[1], slots), dtype=complex)
    rules, shape = azimuth_rules(digits), basis()
    _sent(
        rules,
        shape.powers,
        shape.points,
        shape.weights,
        source.curve,
        source.nodes,
        k,
        places,
        pressure,
        gradient,
    )
    return pressure, gradient


def sound_at(
    source: Mesh,
    points: np.ndarray,
    k: float,
    pressure: np.ndarray,
    gradient: np.ndarray,
    digits: float,
) -> np.ndarray:
    """Pressure that a solved body sends to points in the air.

    Parameters
    ----------
    source : Mesh
    points : (X, 3) array
        About its own axis, metres.
    k : float
        Wavenumber, rad/m.
    pressure : (M, N, W) complex array
        At its unknowns, by order, for W ways.
    gradient : (D, E, P, W) complex array
        dp/dn at the nodes of its elements, by order: of all, or of the first ones.
    digits : float
        Decimal digits of the azimuth quadrature.

    Returns
    -------
    (X, W) complex array
    """
    m, found = np.arange(len(pressure)), np.zeros((len(points), pressure.shape[2]), dtype=complex)
    moved = gradient.reshape(len(gradient), -1, gradient.shape[3])
    for first in range(0, len(points), AT_ONCE):
        current_stop().check()
        here = points[first : first + AT_ONCE]
        r, phi = np.hypot(here[:, 0], here[:, 1]), np.arctan2(here[:, 1], here[:, 0])
        places = np.column_stack((r, here[:, 2]))
        sent, driven = _fields(source, places, k, (len(m), len(moved)), digits)
        cosine = np.where(m > 0, 2.0, 1.0) * np.cos(np.outer(phi, m))
        by_order = np.einsum("xmn,mnw->xmw", sent[:, 0], pressure)
        by_order[:, : len(moved)] += np.einsum("xmn,mnw->xmw", driven[:, 0], moved)
        found[first : first + AT_ONCE] = np.einsum("xm,xmw->xw", cosine, by_order)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def _sent(rules, powers, gauss, weights, curve, nodes, k, places, pressure, gradient):
    """Fill what unit node values send to places (r, z): field and slopes along r and z."""
    orders, drives = pressure.shape[2], gradient.shape[2]
    cosines, waves = np.empty((orders, LONGEST_RULE)), np.empty((2 * PARTS, LONGEST_RULE))
    summed = np.empty((orders, 2 * PARTS))
    value, slope = np.empty((1, NODES)), np.empty((1, NODES))
    stack = np.empty((MAX_DEPTH, 2))
    for x in range(len(places)):
        r, z = places[x, 0], places[x, 1]
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
                    t = 0.5 * (low + high) + half * gauss[i]
                    rs, zs, drs, dzs = locate(curve, e, t)
                    ring = (rs, zs, dzs, -drs)
                    _sum_round(rules, r, z, ring, k, cosines, waves, summed, drives)
                    weight = weights[i] * half * rs
                    length = math.hypot(drs, dzs) * weight
                    shape_at(powers, t, 1.0, value, slope, 0)
                    for a in range(NODES):
                        share, moved = value[0, a] * weight, -value[0, a] * length
                        for part in range(3):
                            column = 2 * part
                            for m in range(orders):
                                sent = complex(summed[m, column], summed[m, column + 1])
                                pressure[x, part, m, nodes[e, a]] += share * sent
                            column += PARTS
                            for m in range(drives):
                                sent = complex(summed[m, column], summed[m, column + 1])
                                gradient[x, part, m, e * NODES + a] += moved * sent


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _sum_round(rules, r, z, ring, k, cosines, waves, summed, drives):
    """Sum dG_m/dn', times the path, then G_m, each with its slopes along r and z, all orders.

    With g_1 = (1/R) dg/dR and g_2 = (1/R) dg_1/dR, s = n'.(x' - x):
    d/dr (g_1 s) = g_2 s (r - r' cos) - g_1 n_r' cos, and likewise along z.
    """
    rs, zs, nr, nz = ring
    rr, up = r * rs, z - zs
    d2 = (r - rs) ** 2 + up * up
    near = math.sqrt(d2)
    spread = 0.5 * (math.sqrt(d2 + 4.0 * rr) - near)
    c = near / math.sqrt(rr) if rr > 1e-12 * d2 else 1e6
    orders = len(summed)
    n, start, stretched = chosen_rule(rules, c, spread, math.sqrt(rr), k, float(orders - 1))
    angles = rules.near_h[start : start + n] if stretched else rules.mid_h[start : start + n]
    shares = rules.near_weight[start : start + n] if stretched else rules.mid_phi[:n]
    part = 0.5 / math.pi if stretched else 0.0
    even = 0.0 if stretched else 0.5 / n
    for j in range(n):
        h = angles[j]
        share = even + part * shares[j]
        squared = d2 + 2.0 * rr * h
        inverse = 1.0 / math.sqrt(squared)
        x = k * squared * inverse
        cosine, sine = cosine_and_sine(x)
        gr, gi = cosine * inverse * share, sine * inverse * share
        inverse2 = inverse * inverse
        fr, fi = -(gr + x * gi) * inverse2, (x * gr - gi) * inverse2
        far = 3.0 - x * x
        sr = (far * gr + 3.0 * x * gi) * inverse2 * inverse2
        si = (far * gi - 3.0 * x * gr) * inverse2 * inverse2
        turn = 1.0 - h
        across, level = nr * (rs - r * turn) - nz * up, r - rs * turn
        waves[0, j], waves[1, j] = fr * across, fi * across
        waves[2, j] = sr * across * level - fr * nr * turn
        waves[3, j] = si * across * level - fi * nr * turn
        waves[4, j] = sr * across * up - fr * nz
        waves[5, j] = si * across * up - fi * nz
        waves[6, j], waves[7, j] = gr, gi
        waves[8, j], waves[9, j] = fr * level, fi * level
        waves[10, j], waves[11, j] = fr * up, fi * up
        cosines[0, j] = 1.0
        if orders > 1:
            cosines[1, j] = turn
        for m in range(2, orders):
            cosines[m, j] = 2.0 * turn * cosines[m - 1, j] - cosines[m - 2, j]
    _sum_orders(n, cosines, waves, summed, drives)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=SUMMING)
def _sum_orders(n, cosines, waves, summed, drives):
    for m in range(len(summed)):
        # Drives are of order 0, what walls take of all.
        for row in range(2 * PARTS if m < drives else PARTS):
            total = 0.0
            for j in range(n):
                total += cosines[m, j] * waves[row, j]
            summed[m, row] = total
