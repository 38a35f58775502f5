"""Integrals over pairs of elements: the inner loops of the boundary element system.

For test point (r, z) and source ring (r', z'), weight r r' ds ds', with n = (t_z, -t_r) and
G_c = G - G_h (see `rings`), the weak form of -K - alpha N, alpha = i/k, has the kernels

    psi p        -D - i k (t_z t_z' G_c + t_r t_r' G)
                 + i m^2 / (k r r') (t_r t_r' G_c + t_z t_z' G)
    psi_s p_s    (i/k) G_c
    psi_s p      (i/k) m t_r'/r' G_s
    psi p_s      (i/k) m t_r/r G_s

and -(S + alpha K') has -(G + (i/k) D') on psi q. D and D' are the derivatives of G along the
normal at the source and at the test point. All but D are symmetric, so each pair of elements is
integrated once and fills the blocks of both directions.

Pairs well apart take a plain Gauss product. Touching, coincident and near ones are bisected until
the parts are apart, or share no more than a corner or their whole length; there t = x^2 lifts the
singularity.

How many points, measured on the first example at 200 Hz, 1, 3, 8 and 16 kHz, against 14 Gauss
points, 24 by 20 at singularities, parts apart at 1.5 lengths and 9 digits round the ring: largest
error of the matrix over its largest entry, and of the far field within 30 dB of its maximum (the
promise is 0.1 dB):

    =========================  ========  ==========
    changed                    matrix    level
    =========================  ========  ==========
    nothing                    3.5e-4    0.017 dB
    ACROSS 7                   2.6e-2    0.21 dB
    ACROSS 15                  1.1e-4    0.004 dB
    ALONG 5                    1.1e-2    0.057 dB
    ALONG 12                   3.5e-4    0.017 dB
    GAUSS 5                    4.2e-4    0.032 dB
    GAUSS 8                    3.5e-4    0.017 dB
    APART 0.35                 3.5e-4    0.017 dB
    APART 1.4                  3.5e-4    0.017 dB
    3 digits round the ring    3.7e-4    0.016 dB
    =========================  ========  ==========

ACROSS is what limits it. APART 0.35 shows at 3 kHz only, where the error grows from 0.002 to 0.005
dB; the 5 digits of `WaveSettings` have two to spare.

What compiles: the larger kernels are functions of their own, since `inline="always"` compiles a
copy at every call, and flags are passed as variables, since a literal compiles anew. All kernels of
a first run took 24 s of processor time with both, and 12.5 s without, at the same speed.

Fewer Gauss points (4) for elements that are small beside distance and wavelength were tried and
left out: the same levels, and no faster.
"""

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numba import njit

from .elements import DEGREE, GAUSS
from .rings import (
    EHI,
    EHR,
    EI,
    ELEMENTWISE,
    ER,
    GHI,
    GHR,
    GI,
    GR,
    GSI,
    GSR,
    LONGEST_RULE,
    ROWS,
    SUMMING,
    AzimuthRules,
    azimuth_rule,
    ring_block,
)

NODES = DEGREE + 1
REGISTER = 16
"""Lanes are filled up to a multiple of this, so that no loop over them has a rest that runs lane by
lane: with 40 lanes for 36 the sums round the ring, still in double precision, took two thirds of
the time."""
LANES = -(-GAUSS * GAUSS // REGISTER) * REGISTER
GRADING = 2
ACROSS, ALONG = 11, 8  # points towards a singularity and along it
# Parts are apart when their distance exceeds this many lengths of the longer one.
APART = 0.7
# Parts that share a corner are bisected until their lengths are within this ratio. Halving the
# longer turns a ratio q into 2 / q, so sqrt(2) is the least at which that ends; more for curved
# parts, whose halves are not of one length.
EQUAL = 1.6
MAX_DEPTH = 80  # parts kept while a pair is bisected, one more each time
COINCIDENT, TOUCHING, DISJOINT = 0, 1, 2
ONE, OTHER = np.int64(0), np.int64(1)  # rows of `Scratch.parts`; a literal would compile anew
# Rows of a kernel array and of a block: real and imaginary parts of each weak form.
FORTH, BACK, DRIVE_FORTH, DRIVE_BACK, SLOPES, SLOPE_FIRST, SLOPE_SECOND = range(0, 14, 2)
KERNEL_ROWS, BLOCK_ROWS = 14, 8


class Points(NamedTuple):
    """Gauss points of elements, or of parts of them."""

    r: np.ndarray  # (E, GAUSS)
    z: np.ndarray
    tr: np.ndarray  # unit tangent
    tz: np.ndarray
    weight: np.ndarray  # Gauss weight times path per local coordinate
    values: np.ndarray  # (E, GAUSS, NODES) shape functions
    slopes: np.ndarray  # (E, GAUSS, NODES) and their d/ds


class Rules(NamedTuple):
    """Shape functions and quadrature rules that every pair shares."""

    azimuth: AzimuthRules
    powers: np.ndarray  # (NODES, NODES) monomial coefficients of the shape functions
    points: np.ndarray  # (GAUSS,)
    weights: np.ndarray
    touching: np.ndarray  # (3, ACROSS, ALONG) see corner_rules
    coincident: np.ndarray


class Scratch(NamedTuple):
    """Memory that one assembly reuses for every pair."""

    azimuth: np.ndarray  # (4, LONGEST_RULE)
    lanes: np.ndarray  # (2, LANES)
    rings: np.ndarray  # (ROWS, LANES)
    kernels: np.ndarray  # (KERNEL_ROWS, GAUSS, GAUSS)
    blocks: np.ndarray  # (BLOCK_ROWS, NODES, NODES)
    group: np.ndarray  # (2, 2 * ALONG, 5) r, z, t_r, t_z, weight of paired points
    shapes: np.ndarray  # (4, 2 * ALONG, NODES) their values and slopes
    parts: Points  # two rows: the parts of either element at hand


@lru_cache(maxsize=1)
def corner_rules() -> tuple[np.ndarray, np.ndarray]:
    """Points (a, b) and weights on the triangle b < a of the unit square.

    Returns
    -------
    touching : (3, ACROSS, ALONG) array
        a, b and weight by b = a s, for integrands singular at the corner (0, 0).
    coincident : (3, ACROSS, ALONG) array
        The same triangle by a = b + t, for integrands singular on the diagonal.
    """
    x, x_weight = _gauss_from_zero(ACROSS)
    s, s_weight = _gauss_from_zero(ALONG)
    t, s = np.meshgrid(x**GRADING, s, indexing="ij")
    weight = np.outer(x_weight * GRADING * x ** (GRADING - 1), s_weight)
    start = (1.0 - t) * s
    return np.array([t, t * s, weight * t]), np.array([start + t, start, weight * (1.0 - t)])


def _gauss_from_zero(n: int) -> tuple[np.ndarray, np.ndarray]:
    x, w = np.polynomial.legendre.leggauss(n)
    return 0.5 * (x + 1.0), 0.5 * w


@njit(cache=True, nogil=True, error_model="numpy")
def new_scratch():
    """Allocate the memory of one assembly."""
    return Scratch(
        np.empty((4, LONGEST_RULE), np.float32),
        np.empty((2, LANES), np.float32),
        np.empty((ROWS, LANES), np.float32),
        np.empty((KERNEL_ROWS, GAUSS, GAUSS)),
        np.empty((BLOCK_ROWS, NODES, NODES)),
        np.empty((2, 2 * ALONG, 5)),
        np.empty((4, 2 * ALONG, NODES)),
        Points(
            np.empty((2, GAUSS)),
            np.empty((2, GAUSS)),
            np.empty((2, GAUSS)),
            np.empty((2, GAUSS)),
            np.empty((2, GAUSS)),
            np.empty((2, GAUSS, NODES)),
            np.empty((2, GAUSS, NODES)),
        ),
    )


@njit(cache=True, nogil=True, error_model="numpy", fastmath=SUMMING, inline="always")
def common_rule(rules, lanes, count, k, m, scratch):
    """Fill the azimuth rule that serves the first `count` lanes of (d^2, 2 r r')."""
    nearest, widest = lanes[0, 0], lanes[1, 0]
    for i in range(1, count):
        nearest = min(nearest, lanes[0, i])
        widest = max(widest, lanes[1, i])
    widest *= 0.5
    # Half the difference of two distances, never below 0.
    spread = 2.0 * widest / (math.sqrt(nearest + 4.0 * widest) + math.sqrt(nearest))
    h, wm, wh, ws = scratch[0], scratch[1], scratch[2], scratch[3]
    return azimuth_rule(
        rules, math.sqrt(nearest / widest), spread, math.sqrt(widest), k, m, h, wm, wh, ws
    )


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def fill_registers(lanes, count):
    """Repeat the first lane until the lanes are a multiple of REGISTER; return how many."""
    filled = -(-count // REGISTER) * REGISTER
    for i in range(count, filled):
        lanes[0, i], lanes[1, i] = lanes[0, 0], lanes[1, 0]
    return filled


@njit(cache=True, nogil=True, error_model="numpy")
def add_product(azimuth, points, e, f, k, m, scratch, driven):
    """Add the Gauss product of rows e and f of `points`, which are apart, to the blocks."""
    lanes, rings = scratch.lanes, scratch.rings
    for i in range(GAUSS):
        for j in range(GAUSS):
            dr, dz = points.r[e, i] - points.r[f, j], points.z[e, i] - points.z[f, j]
            lanes[0, i * GAUSS + j] = dr * dr + dz * dz
            lanes[1, i * GAUSS + j] = 2.0 * points.r[e, i] * points.r[f, j]
    n = common_rule(azimuth, lanes, GAUSS * GAUSS, k, m, scratch.azimuth)
    filled = fill_registers(lanes, GAUSS * GAUSS)
    h, wm, wh, ws = scratch.azimuth[0], scratch.azimuth[1], scratch.azimuth[2], scratch.azimuth[3]
    ring_block(filled, lanes[0], lanes[1], k, m, n, h, wm, wh, ws, rings)
    _fill_kernels(points, e, f, k, m, rings, scratch.kernels)
    kernels, blocks = scratch.kernels, scratch.blocks
    values, slopes = points.values, points.slopes
    _contract_rigid(values, slopes, e, f, m, kernels, blocks)
    if driven:
        _contract_drive(values, e, f, kernels, blocks)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _fill_kernels(points, e, f, k, m, rings, kernels):
    for i in range(GAUSS):
        for j in range(GAUSS):
            pair_kernels(
                points.r[e, i],
                points.z[e, i],
                points.tr[e, i],
                points.tz[e, i],
                points.r[f, j],
                points.z[f, j],
                points.tr[f, j],
                points.tz[f, j],
                points.weight[e, i] * points.weight[f, j],
                k,
                m,
                rings,
                i * GAUSS + j,
                kernels,
                i,
                j,
            )


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def pair_kernels(r, z, tr, tz, rs, zs, trs, tzs, weight, k, m, rings, lane, kernels, i, j):
    """Turn the ring integrals of one lane into the weighted kernels at (i, j)."""
    weight *= r * rs
    gr, gi = rings[GR, lane], rings[GI, lane]
    gcr, gci = gr - rings[GHR, lane], gi - rings[GHI, lane]
    er, ei, ehr, ehi = rings[ER, lane], rings[EI, lane], rings[EHR, lane], rings[EHI, lane]
    to_source = tzs * (rs - r) - trs * (zs - z)
    to_target = tz * (r - rs) - tr * (z - zs)
    source_r, source_i = to_source * er + tzs * r * ehr, to_source * ei + tzs * r * ehi
    target_r, target_i = to_target * er + tz * rs * ehr, to_target * ei + tz * rs * ehi
    along_z, along_r = tz * tzs, tr * trs
    # alpha = i / Re k, so that alpha k^2 = i (bends + i fades).
    bends, fades = k.real - k.imag * k.imag / k.real, 2.0 * k.imag
    product_r, product_i = along_z * gcr + along_r * gr, along_z * gci + along_r * gi
    rigid_r = bends * product_i + fades * product_r
    rigid_i = fades * product_i - bends * product_r
    inverse = weight / k.real
    if m is not None:
        share = m * m / (k.real * r * rs)
        rigid_r -= share * (along_r * gci + along_z * gi)
        rigid_i += share * (along_r * gcr + along_z * gr)
        gsr, gsi = inverse * m * rings[GSR, lane], inverse * m * rings[GSI, lane]
        kernels[SLOPE_FIRST, i, j] = -trs / rs * gsi
        kernels[SLOPE_FIRST + 1, i, j] = trs / rs * gsr
        kernels[SLOPE_SECOND, i, j] = -tr / r * gsi
        kernels[SLOPE_SECOND + 1, i, j] = tr / r * gsr
    kernels[FORTH, i, j] = weight * (rigid_r - source_r)
    kernels[FORTH + 1, i, j] = weight * (rigid_i - source_i)
    kernels[BACK, i, j] = weight * (rigid_r - target_r)
    kernels[BACK + 1, i, j] = weight * (rigid_i - target_i)
    kernels[SLOPES, i, j] = -inverse * gci
    kernels[SLOPES + 1, i, j] = inverse * gcr
    kernels[DRIVE_FORTH, i, j] = -weight * gr + inverse * target_i
    kernels[DRIVE_FORTH + 1, i, j] = -weight * gi - inverse * target_r
    kernels[DRIVE_BACK, i, j] = -weight * gr + inverse * source_i
    kernels[DRIVE_BACK + 1, i, j] = -weight * gi - inverse * source_r


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _contract_rigid(values, slopes, e, f, m, kernels, blocks):
    """Add what acts on the pressure, real and imaginary parts in one walk."""
    for a in range(NODES):
        for j in range(GAUSS):
            forth_r = forth_i = back_r = back_i = slope_r = slope_i = 0.0
            for i in range(GAUSS):
                value, slope = values[e, i, a], slopes[e, i, a]
                forth_r += value * kernels[FORTH, i, j]
                forth_i += value * kernels[FORTH + 1, i, j]
                back_r += value * kernels[BACK, i, j]
                back_i += value * kernels[BACK + 1, i, j]
                slope_r += slope * kernels[SLOPES, i, j]
                slope_i += slope * kernels[SLOPES + 1, i, j]
            if m is not None:
                both_r = both_i = 0.0
                for i in range(GAUSS):
                    value, slope = values[e, i, a], slopes[e, i, a]
                    both_r += slope * kernels[SLOPE_FIRST, i, j]
                    both_i += slope * kernels[SLOPE_FIRST + 1, i, j]
                    slope_r += value * kernels[SLOPE_SECOND, i, j]
                    slope_i += value * kernels[SLOPE_SECOND + 1, i, j]
                forth_r, forth_i = forth_r + both_r, forth_i + both_i
                back_r, back_i = back_r + both_r, back_i + both_i
            for b in range(NODES):
                value, slope = values[f, j, b], slopes[f, j, b]
                both_r, both_i = slope_r * slope, slope_i * slope
                blocks[FORTH, a, b] += forth_r * value + both_r
                blocks[FORTH + 1, a, b] += forth_i * value + both_i
                blocks[BACK, a, b] += back_r * value + both_r
                blocks[BACK + 1, a, b] += back_i * value + both_i


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _contract_drive(values, e, f, kernels, blocks):
    """Add what acts on dp/dn, both directions in one walk."""
    for a in range(NODES):
        for j in range(GAUSS):
            forth_r = forth_i = back_r = back_i = 0.0
            for i in range(GAUSS):
                value = values[e, i, a]
                forth_r += value * kernels[DRIVE_FORTH, i, j]
                forth_i += value * kernels[DRIVE_FORTH + 1, i, j]
                back_r += value * kernels[DRIVE_BACK, i, j]
                back_i += value * kernels[DRIVE_BACK + 1, i, j]
            for b in range(NODES):
                right = values[f, j, b]
                blocks[DRIVE_FORTH, a, b] += forth_r * right
                blocks[DRIVE_FORTH + 1, a, b] += forth_i * right
                blocks[DRIVE_BACK, a, b] += back_r * right
                blocks[DRIVE_BACK + 1, a, b] += back_i * right


@njit(cache=True, nogil=True, error_model="numpy")
def add_close(rules, curve, e, f, kind, k, m, scratch, driven):
    """Add a pair that coincides, touches or comes near, by bisection of the longer part."""
    stack = np.empty((MAX_DEPTH, 4))
    kinds = np.empty(MAX_DEPTH, dtype=np.int64)
    stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3] = -1.0, 1.0, -1.0, 1.0
    kinds[0] = kind
    depth = 1
    while depth > 0:
        depth -= 1
        a0, a1, b0, b1 = stack[depth, 0], stack[depth, 1], stack[depth, 2], stack[depth, 3]
        kind = kinds[depth]
        distance, length_a, length_b = _separation(curve, e, f, a0, a1, b0, b1)
        longer = max(length_a, length_b)
        if kind == COINCIDENT or (kind == TOUCHING and longer < EQUAL * min(length_a, length_b)):
            _add_singular(rules, curve, e, f, a0, a1, b0, b1, kind, k, m, scratch, driven)
        elif kind == DISJOINT and (distance > APART * longer or depth > MAX_DEPTH - 3):
            _fill_part(rules, curve, e, a0, a1, scratch.parts, ONE)
            _fill_part(rules, curve, f, b0, b1, scratch.parts, OTHER)
            add_product(rules.azimuth, scratch.parts, ONE, OTHER, k, m, scratch, driven)
        else:
            # The part that keeps the shared corner stays TOUCHING, the other becomes DISJOINT.
            for half in range(2):
                stack[depth, 0], stack[depth, 1] = a0, a1
                stack[depth, 2], stack[depth, 3] = b0, b1
                if length_a > length_b:
                    stack[depth, 1 - half] = 0.5 * (a0 + a1)
                    kinds[depth] = kind if half == 1 else DISJOINT
                else:
                    stack[depth, 3 - half] = 0.5 * (b0 + b1)
                    kinds[depth] = kind if half == 0 else DISJOINT
                if half == 0:
                    depth += 1
            depth += 1


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def locate(curve, e, x):
    """Return r, z, dr/dx, dz/dx of element e at the local coordinate x."""
    top = curve.shape[2] - 1
    r, z, dr, dz = curve[e, 0, top], curve[e, 1, top], 0.0, 0.0
    for g in range(top - 1, -1, -1):
        dr, dz = dr * x + r, dz * x + z
        r, z = r * x + curve[e, 0, g], z * x + curve[e, 1, g]
    return r, z, dr, dz


@njit(cache=True, nogil=True, error_model="numpy")
def _separation(curve, e, f, a0, a1, b0, b1):
    """Return a distance between two parts of elements and the length of each, from 3 points."""
    distance = 1e300
    length_a = length_b = 0.0
    before_a = before_b = (0.0, 0.0)
    for i in range(3):
        ra, za, _, _ = locate(curve, e, a0 + 0.5 * i * (a1 - a0))
        rb, zb, _, _ = locate(curve, f, b0 + 0.5 * i * (b1 - b0))
        if i > 0:
            length_a += math.hypot(ra - before_a[0], za - before_a[1])
            length_b += math.hypot(rb - before_b[0], zb - before_b[1])
        before_a, before_b = (ra, za), (rb, zb)
        for j in range(3):
            rj, zj, _, _ = locate(curve, f, b0 + 0.5 * j * (b1 - b0))
            distance = min(distance, math.hypot(ra - rj, za - zj))
    return distance, length_a, length_b


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def shape_at(powers, x, stretch, values, slopes, row):
    """Fill one row with the shape functions and their slopes per metre at x."""
    for a in range(NODES):
        value, slope = powers[a, DEGREE], 0.0
        for b in range(DEGREE - 1, -1, -1):
            slope = slope * x + value
            value = value * x + powers[a, b]
        values[row, a] = value
        slopes[row, a] = slope / stretch


@njit(cache=True, nogil=True, error_model="numpy")
def _fill_part(rules, curve, e, low, high, parts, row):
    """Evaluate element e at the Gauss points of [low, high]."""
    half = 0.5 * (high - low)
    for i in range(GAUSS):
        x = 0.5 * (low + high) + half * rules.points[i]
        r, z, dr, dz = locate(curve, e, x)
        stretch = math.sqrt(dr * dr + dz * dz)
        parts.r[row, i], parts.z[row, i] = r, z
        parts.tr[row, i], parts.tz[row, i] = dr / stretch, dz / stretch
        parts.weight[row, i] = rules.weights[i] * half * stretch
        shape_at(rules.powers, x, stretch, parts.values[row], parts.slopes[row], i)


@njit(cache=True, nogil=True, error_model="numpy")
def _add_singular(rules, curve, e, f, a0, a1, b0, b1, kind, k, m, scratch, driven):
    """Add two parts that share a corner (the end of e, the start of f), or one with itself.

    For a part with itself half the square is summed: the block of the other direction is the
    other half. Points equally far across the singularity share one azimuth rule.
    """
    step_a, step_b = a1 - a0, b1 - b0
    within = kind == COINCIDENT
    points = rules.coincident if within else rules.touching
    ways = 1 if within else 2
    for t in range(ACROSS):
        for lane in range(ways * ALONG):
            u, v, weight = points[0, t, lane // ways], points[1, t, lane // ways], step_a * step_b
            if lane % ways == 1:
                u, v = v, u
            x = a0 + step_a * u if within else a1 - step_a * u
            weight *= points[2, t, lane // ways]
            _place(rules, curve, e, f, x, b0 + step_b * v, weight, lane, scratch)
        _add_group(rules, ways * ALONG, k, m, scratch, driven)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _place(rules, curve, e, f, x, y, weight, lane, scratch):
    """Put one pair of points, at x on e and y on f, into a lane of the group."""
    group = scratch.group
    for side in range(2):
        r, z, dr, dz = locate(curve, e if side == 0 else f, x if side == 0 else y)
        stretch = math.sqrt(dr * dr + dz * dz)
        group[side, lane, 0], group[side, lane, 1] = r, z
        group[side, lane, 2], group[side, lane, 3] = dr / stretch, dz / stretch
        weight *= stretch
        shape_at(
            rules.powers,
            x if side == 0 else y,
            stretch,
            scratch.shapes[2 * side],
            scratch.shapes[2 * side + 1],
            lane,
        )
    group[0, lane, 4] = weight
    dr, dz = group[0, lane, 0] - group[1, lane, 0], group[0, lane, 1] - group[1, lane, 1]
    scratch.lanes[0, lane] = dr * dr + dz * dz
    scratch.lanes[1, lane] = 2.0 * group[0, lane, 0] * group[1, lane, 0]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _add_group(rules, count, k, m, scratch, driven):
    """Add the paired points in the first `count` lanes to the blocks."""
    n = common_rule(rules.azimuth, scratch.lanes, count, k, m, scratch.azimuth)
    filled = fill_registers(scratch.lanes, count)
    h, wm, wh, ws = scratch.azimuth[0], scratch.azimuth[1], scratch.azimuth[2], scratch.azimuth[3]
    ring_block(filled, scratch.lanes[0], scratch.lanes[1], k, m, n, h, wm, wh, ws, scratch.rings)
    group, shapes, kernels, blocks = scratch.group, scratch.shapes, scratch.kernels, scratch.blocks
    for lane in range(count):
        pair_kernels(
            group[0, lane, 0],
            group[0, lane, 1],
            group[0, lane, 2],
            group[0, lane, 3],
            group[1, lane, 0],
            group[1, lane, 1],
            group[1, lane, 2],
            group[1, lane, 3],
            group[0, lane, 4],
            k,
            m,
            scratch.rings,
            lane,
            kernels,
            0,
            0,
        )
        for part in range(2):
            for a in range(NODES):
                value, slope = shapes[0, lane, a], shapes[1, lane, a]
                for b in range(NODES):
                    product = value * shapes[2, lane, b]
                    both = slope * shapes[3, lane, b] * kernels[SLOPES + part, 0, 0]
                    if m is not None:
                        both += slope * shapes[2, lane, b] * kernels[SLOPE_FIRST + part, 0, 0]
                        both += value * shapes[3, lane, b] * kernels[SLOPE_SECOND + part, 0, 0]
                    blocks[FORTH + part, a, b] += product * kernels[FORTH + part, 0, 0] + both
                    blocks[BACK + part, a, b] += product * kernels[BACK + part, 0, 0] + both
                    if driven:
                        for row in (DRIVE_FORTH + part, DRIVE_BACK + part):
                            blocks[row, a, b] += product * kernels[row, 0, 0]
