"""Upright line sources in the gap: rings of them, all azimuthal orders at once.

A ring of radius r_j carries sources cos(n pi z' / H) exp(i m phi') from the baffle (z' = 0) to the
plate (z' = H). At a point (r, z) with normal n its field of order m is

    U = int_0^H cos(n pi z' / H) G_m(r, z; r_j, z') dz',    Q = dU/dn

with G_m of `dispersion.waves.rings`. Exponentials are shared by all orders m and all modes n.
"""

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from dispersion.waves.rings import (
    LONGEST_RULE,
    azimuth_rules,
    chosen_rule,
    cosine_and_sine,
)

ELEMENTWISE = {"contract", "nsz", "arcp", "nnan", "ninf"}
PANEL = 8
"""Gauss points of a panel of a line."""
WAVES_A_PANEL = 0.75
MODES_A_PANEL = 3.0
"""Most wavelengths, and half waves of the highest mode, on a panel: 8 points take 1e-6."""
NEAR = 2.0
"""A panel is at most this many times as long as it is far from the point: 1e-6 again."""
LEAST_SHARE = 1e-7
"""Panels are halved no further than to this share of the gap."""
MAX_DEPTH = 64
FOUR = 4  # real and imaginary parts of G, then of its normal derivative


class Lines(NamedTuple):
    """Line sources on rings, for the compiled code."""

    k: float
    height: float
    radii: np.ndarray  # (R,) of the rings, metres
    modes: int  # n = 0 ... modes - 1
    orders: np.ndarray  # (M,) azimuthal orders, ascending


class LineFields(NamedTuple):
    """LineFields of line sources at points.

    Attributes
    ----------
    value, slope : (X, R, M, N) complex arrays
        Of ring R, order M and mode N: the field, and its derivative along the normal there.
    """

    value: np.ndarray
    slope: np.ndarray


def line_fields(lines: Lines, points: np.ndarray, normals: np.ndarray, digits: float) -> LineFields:
    """Return the fields of all lines at points (r, z) and their slopes along normals, (X, 2)."""
    shape = (len(points), len(lines.radii), len(lines.orders), lines.modes)
    value, slope = np.empty(shape, complex), np.empty(shape, complex)
    nodes, weights = np.polynomial.legendre.leggauss(PANEL)
    _line_fields(azimuth_rules(digits), lines, points, normals, nodes, weights, value, slope)
    return LineFields(value, slope)


def ring_column(
    lines: Lines, radii: tuple[float, float], digits: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Kernel between two rings at all differences of height within the gap, by Gauss panels.

    Returns
    -------
    zeta, weight : (Z,) arrays
        Height differences in [0, H], and quadrature weights.
    kernel : (M, Z) complex array
        G_m of rings zeta apart in height.
    """
    panels = _panels(lines, abs(radii[0] - radii[1]))
    nodes, weights = np.polynomial.legendre.leggauss(PANEL)
    half = 0.5 * (panels[:, 1] - panels[:, 0])[:, None]
    zeta = panels.mean(axis=1)[:, None] + half * nodes
    kernel = np.empty((len(lines.orders), zeta.size), complex)
    _column(azimuth_rules(digits), lines, radii[0], radii[1], zeta.ravel(), kernel)
    return zeta.ravel(), (half * weights).ravel(), kernel


def _panels(lines: Lines, near: float) -> np.ndarray:
    """Panels of [0, H], halved towards 0 as the rings come near each other there, (P, 2)."""
    edges = np.linspace(0.0, lines.height, _equal_panels(lines) + 1)
    first, least = float(edges[1]), max(NEAR * near, LEAST_SHARE * lines.height)
    halvings = max(0, int(np.ceil(np.log2(first / least))))
    edges = np.concatenate(([0.0], first * 0.5 ** np.arange(halvings, -1, -1.0), edges[2:]))
    return np.column_stack((edges[:-1], edges[1:]))


@njit(cache=True, nogil=True, error_model="numpy")
def _equal_panels(lines):
    waves = lines.k * lines.height / (2.0 * math.pi) / WAVES_A_PANEL
    return math.ceil(max(waves, (lines.modes - 1) / MODES_A_PANEL, 1.0))


@njit(cache=True, nogil=True, error_model="numpy")
def _line_fields(rules, lines, points, normals, nodes, weights, value, slope):
    scratch, stack = _scratch(len(lines.orders)), np.empty((MAX_DEPTH, 2))
    heights, shares = np.empty(PANEL), np.empty((lines.modes, PANEL))
    for x in range(len(points)):
        z = points[x, 1]
        for ring in range(len(lines.radii)):
            beside = points[x, 0] - lines.radii[ring]
            value[x, ring], slope[x, ring] = 0.0, 0.0
            depth = _equal_panels(lines)
            for part in range(depth):
                stack[part, 0] = lines.height * part / depth
                stack[part, 1] = lines.height * (part + 1) / depth
            while depth > 0:
                low, high = stack[depth - 1, 0], stack[depth - 1, 1]
                distance = math.hypot(beside, max(low - z, z - high, 0.0))
                coarse = high - low > max(NEAR * distance, LEAST_SHARE * lines.height)
                if coarse and depth < MAX_DEPTH:
                    stack[depth - 1, 0] = stack[depth, 1] = 0.5 * (low + high)
                    stack[depth, 0] = low
                    depth += 1
                    continue
                depth -= 1
                half = 0.5 * (high - low)
                for i in range(PANEL):
                    heights[i] = low + half * (nodes[i] + 1.0)
                    turn = math.cos(math.pi * heights[i] / lines.height)
                    before, this = half * weights[i] * turn, half * weights[i]
                    for n in range(lines.modes):
                        shares[n, i] = this
                        before, this = this, 2.0 * turn * this - before
                place = (points[x, 0], z, normals[x, 0], normals[x, 1])
                _sum_round(rules, lines, place, lines.radii[ring], heights, scratch)
                _add_modes(shares, scratch[2], value[x, ring], slope[x, ring])


@njit(cache=True, nogil=True, error_model="numpy")
def _scratch(orders):
    """Cosines of every order, waves round the ring, their sums, and for which rule cosines are."""
    return (
        np.empty((orders, LONGEST_RULE)),
        np.empty((LONGEST_RULE, FOUR * PANEL)),
        np.empty((orders, FOUR * PANEL)),
        np.full(2, -1),
    )


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _add_modes(shares, summed, value, slope):
    for m in range(len(summed)):
        for n in range(len(shares)):
            gr = gi = qr = qi = 0.0
            for i in range(PANEL):
                gr += shares[n, i] * summed[m, i]
                gi += shares[n, i] * summed[m, PANEL + i]
                qr += shares[n, i] * summed[m, 2 * PANEL + i]
                qi += shares[n, i] * summed[m, 3 * PANEL + i]
            value[m, n] += complex(gr, gi)
            slope[m, n] += complex(qr, qi)


@njit(cache=True, nogil=True, error_model="numpy")
def _column(rules, lines, r, rs, zeta, kernel):
    heights, scratch = np.empty(PANEL), _scratch(len(lines.orders))
    for first in range(0, len(zeta), PANEL):
        heights[:] = zeta[first : first + PANEL]
        _sum_round(rules, lines, (r, 0.0, 0.0, 0.0), rs, heights, scratch)
        for m in range(len(lines.orders)):
            for i in range(PANEL):
                kernel[m, first + i] = complex(scratch[2][m, i], scratch[2][m, PANEL + i])


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _sum_round(rules, lines, place, rs, heights, scratch):
    """Sum G_m and its slope round the ring rs for PANEL heights and all orders, into scratch[2]."""
    r, z, nr, nz = place
    cosines, waves, summed, known = scratch
    rr, k = r * rs, lines.k
    low = high = (r - rs) ** 2 + (z - heights[0]) ** 2
    for i in range(1, PANEL):
        d2 = (r - rs) ** 2 + (z - heights[i]) ** 2
        low, high = min(low, d2), max(high, d2)
    low = max(low, 1e-18)
    spread = 0.5 * (math.sqrt(low + 4.0 * rr) - math.sqrt(low))
    c = math.sqrt(low / rr) if rr > 1e-12 * low else 1e6
    turns = float(lines.orders[-1])
    n, start, stretched = chosen_rule(rules, c, spread, math.sqrt(rr), k, turns)
    phi = rules.near_phi if stretched else rules.mid_phi
    share = 0.5 / n
    rule = -2 - start if stretched else start
    if known[0] != n or known[1] != rule:  # mostly it is that of the panel before
        _cosines(n, start, phi, lines.orders, cosines)
        known[0], known[1] = n, rule
    for j in range(n):
        h = rules.near_h[start + j] if stretched else rules.mid_h[start + j]
        if stretched:
            share = rules.near_weight[start + j] / (2.0 * math.pi)
        along = nr * (r - rs + rs * h)
        for i in range(PANEL):
            up = z - heights[i]
            squared = (r - rs) ** 2 + up * up + 2.0 * rr * h
            inverse = 1.0 / math.sqrt(squared)
            x = k * squared * inverse
            cosine, sine = cosine_and_sine(x)
            cosine *= inverse * share
            sine *= inverse * share
            toward = (along + nz * up) * inverse * inverse
            waves[j, i] = cosine
            waves[j, PANEL + i] = sine
            waves[j, 2 * PANEL + i] = -toward * (x * sine + cosine)
            waves[j, 3 * PANEL + i] = toward * (x * cosine - sine)
    for m in range(len(lines.orders)):
        for i in range(FOUR * PANEL):
            summed[m, i] = 0.0
        for j in range(n):
            weight = cosines[m, j]
            for i in range(FOUR * PANEL):
                summed[m, i] += weight * waves[j, i]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _cosines(n, start, phi, orders, cosines):
    """Fill cos(m phi) of every order by recurrence in m."""
    before, this = np.empty(n), np.empty(n)
    for j in range(n):
        this[j] = 1.0
        before[j] = math.cos(phi[start + j])
    first = before.copy()
    place = 0
    for m in range(orders[-1] + 1):
        if m == orders[place]:
            for j in range(n):
                cosines[place, j] = this[j]
            place += 1
        for j in range(n):
            following = 2.0 * first[j] * this[j] - before[j]
            before[j] = this[j]
            this[j] = following
