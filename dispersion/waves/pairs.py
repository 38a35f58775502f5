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

How it runs in registers. Pairs of points stand side by side in lanes, `i * WIDTH + j` for point i
of the first and j of the second element, so that every loop over them is one of many equal steps.
Each row of a kernel is PLACES numbers after the one before: the compiler then sees that rows do not
overlap, which for rows of whatever length it does not. Loops of five or six steps inside others are
written out (`_add_six`), or turned so that the long one is inside. A pair of elements apart takes
1.7 us so, where points one after the other took 2.5; an element with itself takes 13 us, half of
them for the sums round the ring: all its points are placed and weighed at once, and two rows of
them share one azimuth rule. Assembly of a body on itself takes 0.63 of the time, of two on each
other 0.74 (200 Hz to 12 kHz). Registers of 512 bits gained a twentieth and were left out, since the
compiler has to be told to use them.

What compiles: a function called in one place is inlined, one called in more is not, since
`inline="always"` compiles a copy at every call; each level of calls is optimised again with all
below it. Flags are passed as variables, since a literal compiles anew. The kernels of one azimuthal
order take some 12 s of processor time.

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
WIDTH = 8
"""Gauss points of an element filled up with some of no weight, so that they fit registers."""
LANES = GAUSS * WIDTH
GRADING = 2
ACROSS, ALONG = 11, 8  # points towards a singularity and along it
PLACES = 2 * ACROSS * ALONG
# Parts are apart when their distance exceeds this many lengths of the longer one.
APART = 0.7
# Parts that share a corner are bisected until their lengths are within this ratio. Halving the
# longer turns a ratio q into 2 / q, so sqrt(2) is the least at which that ends; more for curved
# parts, whose halves are not of one length.
EQUAL = 1.6
MAX_DEPTH = 80  # parts kept while a pair is bisected, one more each time
COINCIDENT, TOUCHING, DISJOINT = 0, 1, 2
# Rows of kernels and of blocks: real and imaginary parts of each weak form. Blocks have no more
# than `SUMMED`; their `SLOPES` are a share of `FORTH` and of `BACK`.
SLOPES, FORTH, BACK, DRIVE_FORTH, DRIVE_BACK, SLOPE_FIRST, SLOPE_SECOND = range(0, 14, 2)
KERNEL_ROWS, SUMMED, RIGID = 14, 10, 6
# Rows of a set of points: place, unit tangent, Gauss weight times path per local coordinate, and
# that path.
R, Z, TR, TZ, WEIGHT, STRETCH = range(6)
POINT_ROWS = 6


class Rules(NamedTuple):
    """Shape functions and quadrature rules that every pair shares."""

    azimuth: AzimuthRules
    powers: np.ndarray  # (NODES, NODES) monomial coefficients of the shape functions
    points: np.ndarray  # (GAUSS,)
    weights: np.ndarray
    values: np.ndarray  # (GAUSS, NODES) shape functions there
    slopes: np.ndarray  # (GAUSS, NODES) and their slopes by the local coordinate
    touching: np.ndarray  # (3, ACROSS, ALONG) see corner_rules
    coincident: np.ndarray


class Scratch(NamedTuple):
    """Memory that one assembly reuses for every pair.

    Kernels have rows of PLACES lanes, of which a Gauss product uses the first LANES.
    """

    azimuth: np.ndarray  # (4, LONGEST_RULE)
    lanes: np.ndarray  # (2, LANES) d^2 and 2 r r' of pairs of points that share an azimuth rule
    rings: np.ndarray  # (ROWS, LANES)
    kernels: np.ndarray  # (KERNEL_ROWS * PLACES,)
    blocks: np.ndarray  # (NODES of the second, SUMMED * NODES of the first)
    # Of a Gauss product:
    first: np.ndarray  # (POINT_ROWS, LANES) each point of the first element WIDTH times
    by_point: np.ndarray  # (GAUSS, KERNEL_ROWS * WIDTH) kernels by points of the first
    half: np.ndarray  # (NODES, SUMMED * WIDTH) summed over the first element
    turned: np.ndarray  # (GAUSS, SUMMED * NODES) those by points of the second
    parts: np.ndarray  # (2, POINT_ROWS, LANES) the parts of either element at hand
    part_points: np.ndarray  # (2, POINT_ROWS, GAUSS)
    part_values: np.ndarray  # (2, GAUSS, NODES)
    part_slopes: np.ndarray
    # Of a singular pair:
    local: np.ndarray  # (2, PLACES) local coordinates on either
    singular: np.ndarray  # (2, POINT_ROWS, PLACES) points of either
    shapes: np.ndarray  # (4, NODES, PLACES) their shape functions and slopes, of either
    products: np.ndarray  # (2, PLACES) of two slopes, of two shape functions
    sums: np.ndarray  # (ROWS, PLACES) ring integrals


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
        np.empty(KERNEL_ROWS * PLACES),
        np.empty((NODES, SUMMED * NODES)),
        np.empty((POINT_ROWS, LANES)),
        np.empty((GAUSS, KERNEL_ROWS * WIDTH)),
        np.empty((NODES, SUMMED * WIDTH)),
        np.empty((GAUSS, SUMMED * NODES)),
        np.empty((2, POINT_ROWS, LANES)),
        np.empty((2, POINT_ROWS, GAUSS)),
        np.empty((2, GAUSS, NODES)),
        np.empty((2, GAUSS, NODES)),
        np.empty((2, PLACES)),
        np.empty((2, POINT_ROWS, PLACES)),
        np.empty((4, NODES, PLACES)),
        np.empty((2, PLACES)),
        np.empty((ROWS, PLACES), np.float32),
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


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def add_product(azimuth, first, second, shapes, k, m, scratch, driven):
    """Add the Gauss product of two elements, or parts of them, which are apart, to the blocks.

    `first` holds every point of one WIDTH times, `second` all of the other GAUSS times; `shapes`
    are the values and slopes of the shape functions there, of either.
    """
    lanes, rings = scratch.lanes, scratch.rings
    pair_lanes(first, second, 0, LANES, lanes)
    n = common_rule(azimuth, lanes, LANES, k, m, scratch.azimuth)
    h, wm, wh, ws = scratch.azimuth[0], scratch.azimuth[1], scratch.azimuth[2], scratch.azimuth[3]
    ring_block(LANES, lanes[0], lanes[1], k, m, n, h, wm, wh, ws, rings)
    kernels_of_pairs(first, second, rings, LANES, k, m, scratch.kernels)
    _contract(shapes, m, scratch, driven)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def pair_lanes(first, second, start, count, lanes):
    """Fill the lanes of d^2 and 2 r r' of pairs of points."""
    for i in range(count):
        r, rs = first[R, start + i], second[R, start + i]
        dr, dz = r - rs, first[Z, start + i] - second[Z, start + i]
        lanes[0, i] = dr * dr + dz * dz
        lanes[1, i] = 2.0 * r * rs


@njit(cache=True, nogil=True, error_model="numpy")
def spread_first(points, first):
    """Repeat every point of an element, (POINT_ROWS, GAUSS), WIDTH times."""
    for row in range(POINT_ROWS):
        for i in range(GAUSS):
            for j in range(WIDTH):
                first[row, i * WIDTH + j] = points[row, i]


@njit(cache=True, nogil=True, error_model="numpy")
def spread_second(points, second):
    """Repeat all points of an element GAUSS times, each time filled up to WIDTH."""
    for row in range(POINT_ROWS):
        for lane in range(LANES):
            j = lane % WIDTH
            second[row, lane] = 0.0 if row == WEIGHT and j >= GAUSS else points[row, j % GAUSS]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def kernels_of_pairs(first, second, rings, count, k, m, kernels):
    """Turn the ring integrals of the first `count` pairs of points into weighted kernels."""
    # alpha = i / Re k, so that alpha k^2 = i (bends + i fades).
    bends, fades = k.real - k.imag * k.imag / k.real, 2.0 * k.imag
    for i in range(count):
        r, z, tr, tz = first[R, i], first[Z, i], first[TR, i], first[TZ, i]
        rs, zs, trs, tzs = second[R, i], second[Z, i], second[TR, i], second[TZ, i]
        weight = first[WEIGHT, i] * second[WEIGHT, i] * r * rs
        gr, gi = rings[GR, i], rings[GI, i]
        gcr, gci = gr - rings[GHR, i], gi - rings[GHI, i]
        er, ei, ehr, ehi = rings[ER, i], rings[EI, i], rings[EHR, i], rings[EHI, i]
        to_source = tzs * (rs - r) - trs * (zs - z)
        to_target = tz * (r - rs) - tr * (z - zs)
        source_r, source_i = to_source * er + tzs * r * ehr, to_source * ei + tzs * r * ehi
        target_r, target_i = to_target * er + tz * rs * ehr, to_target * ei + tz * rs * ehi
        along_z, along_r = tz * tzs, tr * trs
        product_r, product_i = along_z * gcr + along_r * gr, along_z * gci + along_r * gi
        rigid_r = bends * product_i + fades * product_r
        rigid_i = fades * product_i - bends * product_r
        inverse = weight / k.real
        sloping = inverse / (first[STRETCH, i] * second[STRETCH, i])
        if m is not None:
            share = m * m / (k.real * r * rs)
            rigid_r -= share * (along_r * gci + along_z * gi)
            rigid_i += share * (along_r * gcr + along_z * gr)
            gsr, gsi = inverse * m * rings[GSR, i], inverse * m * rings[GSI, i]
            one, other = trs / (rs * first[STRETCH, i]), tr / (r * second[STRETCH, i])
            kernels[SLOPE_FIRST * PLACES + i] = -one * gsi
            kernels[(SLOPE_FIRST + 1) * PLACES + i] = one * gsr
            kernels[SLOPE_SECOND * PLACES + i] = -other * gsi
            kernels[(SLOPE_SECOND + 1) * PLACES + i] = other * gsr
        kernels[SLOPES * PLACES + i] = -sloping * gci
        kernels[(SLOPES + 1) * PLACES + i] = sloping * gcr
        kernels[FORTH * PLACES + i] = weight * (rigid_r - source_r)
        kernels[(FORTH + 1) * PLACES + i] = weight * (rigid_i - source_i)
        kernels[BACK * PLACES + i] = weight * (rigid_r - target_r)
        kernels[(BACK + 1) * PLACES + i] = weight * (rigid_i - target_i)
        kernels[DRIVE_FORTH * PLACES + i] = -weight * gr + inverse * target_i
        kernels[(DRIVE_FORTH + 1) * PLACES + i] = -weight * gi - inverse * target_r
        kernels[DRIVE_BACK * PLACES + i] = -weight * gr + inverse * source_i
        kernels[(DRIVE_BACK + 1) * PLACES + i] = -weight * gi - inverse * source_r


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _add_six(weights, a, rows, first, last, sums, to):
    """Add the rows of GAUSS points, weighted, from `first` to `last` to row a from `to` on.

    Written out for GAUSS = 6: with a loop of six inside, nothing runs in registers.
    """
    w0, w1, w2 = weights[0, a], weights[1, a], weights[2, a]
    w3, w4, w5 = weights[3, a], weights[4, a], weights[5, a]
    for x in range(last - first):
        at = first + x
        early = w0 * rows[0, at] + w1 * rows[1, at] + w2 * rows[2, at]
        sums[a, to + x] += early + (w3 * rows[3, at] + w4 * rows[4, at] + w5 * rows[5, at])


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _contract(shapes, m, scratch, driven):
    """Sum a Gauss product over the points of the first element, then over those of the second."""
    values, slopes, other_values, other_slopes = shapes
    half, turned, blocks = scratch.half, scratch.turned, scratch.blocks
    rows = SUMMED if driven else RIGID
    kernels = scratch.by_point
    for row in range(rows if m is None else KERNEL_ROWS):
        for i in range(GAUSS):
            for j in range(WIDTH):
                kernels[i, row * WIDTH + j] = scratch.kernels[row * PLACES + i * WIDTH + j]
    half[:] = 0.0
    for a in range(NODES):
        _add_six(slopes, a, kernels, 0, FORTH * WIDTH, half, 0)
        _add_six(values, a, kernels, FORTH * WIDTH, rows * WIDTH, half, FORTH * WIDTH)
        if m is not None:
            first, second, after = SLOPE_FIRST * WIDTH, SLOPE_SECOND * WIDTH, KERNEL_ROWS * WIDTH
            _add_six(slopes, a, kernels, first, second, half, FORTH * WIDTH)
            _add_six(slopes, a, kernels, first, second, half, BACK * WIDTH)
            _add_six(values, a, kernels, second, after, half, SLOPES * WIDTH)
    for a in range(NODES):
        for row in range(rows):
            for j in range(GAUSS):
                turned[j, row * NODES + a] = half[a, row * WIDTH + j]
    for b in range(NODES):
        _add_six(other_slopes, b, turned, 0, FORTH * NODES, blocks, 0)
        _add_six(other_values, b, turned, FORTH * NODES, rows * NODES, blocks, FORTH * NODES)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
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
            _add_parts(rules, curve, e, f, a0, a1, b0, b1, k, m, scratch, driven)
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


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def fill_point(points, i, r, z, dr, dz, weight):
    """Fill one point of an element: place, derivatives by the local coordinate, Gauss weight."""
    stretch = math.sqrt(dr * dr + dz * dz)
    points[R, i], points[Z, i] = r, z
    points[TR, i], points[TZ, i] = dr / stretch, dz / stretch
    points[WEIGHT, i], points[STRETCH, i] = weight * stretch, stretch


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _add_parts(rules, curve, e, f, a0, a1, b0, b1, k, m, scratch, driven):
    """Add the Gauss product of parts of two elements."""
    values, slopes, points = scratch.part_values, scratch.part_slopes, scratch.part_points
    for side in range(2):
        low, high = (a0, a1) if side == 0 else (b0, b1)
        half = 0.5 * (high - low)
        for i in range(GAUSS):
            x = 0.5 * (low + high) + half * rules.points[i]
            r, z, dr, dz = locate(curve, e if side == 0 else f, x)
            fill_point(points[side], i, r, z, dr, dz, rules.weights[i] * half)
            shape_at(rules.powers, x, 1.0, values[side], slopes[side], i)
    first, second = scratch.parts[0], scratch.parts[1]
    spread_first(points[0], first)
    spread_second(points[1], second)
    shapes = (values[0], slopes[0], values[1], slopes[1])
    add_product(rules.azimuth, first, second, shapes, k, m, scratch, driven)


@njit(cache=True, nogil=True, error_model="numpy")
def _add_singular(rules, curve, e, f, a0, a1, b0, b1, kind, k, m, scratch, driven):
    """Add two parts that share a corner (the end of e, the start of f), or one with itself.

    For a part with itself half the square is summed: the block of the other direction is the
    other half. Points nearly as far across the singularity share one azimuth rule.
    """
    step_a, step_b, within = a1 - a0, b1 - b0, kind == COINCIDENT
    points = rules.coincident if within else rules.touching
    ways = 1 if within else 2
    count = ways * ALONG * ACROSS
    local, first, second = scratch.local, scratch.singular[0], scratch.singular[1]
    for place in range(count):
        t, along = place // (ways * ALONG), place // ways % ALONG
        u, v = points[0, t, along], points[1, t, along]
        if place % ways == 1:
            u, v = v, u
        local[0, place] = a0 + step_a * u if within else a1 - step_a * u
        local[1, place] = b0 + step_b * v
        first[WEIGHT, place], second[WEIGHT, place] = points[2, t, along], step_a * step_b
    shapes, lanes, rings, sums = scratch.shapes, scratch.lanes, scratch.rings, scratch.sums
    _place(curve, rules.powers, e, local[0], first, shapes[0], shapes[1], count)
    _place(curve, rules.powers, f, local[1], second, shapes[2], shapes[3], count)
    h, wm, wh, ws = scratch.azimuth[0], scratch.azimuth[1], scratch.azimuth[2], scratch.azimuth[3]
    for start in range(0, count, REGISTER):
        here = min(REGISTER, count - start)
        pair_lanes(first, second, start, here, lanes)
        n = common_rule(rules.azimuth, lanes, here, k, m, scratch.azimuth)
        filled = fill_registers(lanes, here)
        ring_block(filled, lanes[0], lanes[1], k, m, n, h, wm, wh, ws, rings)
        for row in range(ROWS):
            for i in range(here):
                sums[row, start + i] = rings[row, i]
    kernels_of_pairs(first, second, sums, count, k, m, scratch.kernels)
    _contract_singular(count, m, driven, shapes, scratch.products, scratch.kernels, scratch.blocks)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _place(curve, powers, e, x, at, values, slopes, count):
    """Fill the points of element e at local coordinates x, and its shape functions there.

    The points' weight gets the path.
    """
    top = curve.shape[2] - 1
    for i in range(count):
        at[R, i], at[Z, i], at[TR, i], at[TZ, i] = curve[e, 0, top], curve[e, 1, top], 0.0, 0.0
    for g in range(top - 1, -1, -1):
        r, z = curve[e, 0, g], curve[e, 1, g]
        for i in range(count):
            at[TR, i] = at[TR, i] * x[i] + at[R, i]
            at[R, i] = at[R, i] * x[i] + r
            at[TZ, i] = at[TZ, i] * x[i] + at[Z, i]
            at[Z, i] = at[Z, i] * x[i] + z
    for i in range(count):
        stretch = math.sqrt(at[TR, i] * at[TR, i] + at[TZ, i] * at[TZ, i])
        at[TR, i] /= stretch
        at[TZ, i] /= stretch
        at[WEIGHT, i] *= stretch
        at[STRETCH, i] = stretch
    for a in range(NODES):
        for i in range(count):
            values[a, i], slopes[a, i] = powers[a, DEGREE], 0.0
        for b in range(DEGREE - 1, -1, -1):
            for i in range(count):
                slopes[a, i] = slopes[a, i] * x[i] + values[a, i]
                values[a, i] = values[a, i] * x[i] + powers[a, b]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=SUMMING)
def _contract_singular(count, m, driven, shapes, products, kernels, blocks):
    """Add the kernels of singular pairs to the blocks."""
    rows = SUMMED if driven else RIGID
    for entry in range(NODES * NODES):
        a, b = entry % NODES, entry // NODES
        for i in range(count):
            products[0, i] = shapes[1, a, i] * shapes[3, b, i]
            products[1, i] = shapes[0, a, i] * shapes[2, b, i]
        for row in range(rows):
            product, total = products[min(row // FORTH, 1)], 0.0
            for i in range(count):
                total += product[i] * kernels[row * PLACES + i]
            blocks[b, row * NODES + a] += total
        if m is not None:
            for part in range(2):
                total = 0.0
                for i in range(count):
                    one = kernels[(SLOPE_FIRST + part) * PLACES + i]
                    other = kernels[(SLOPE_SECOND + part) * PLACES + i]
                    total += shapes[1, a, i] * shapes[2, b, i] * one
                    total += shapes[0, a, i] * shapes[3, b, i] * other
                blocks[b, (SLOPES + part) * NODES + a] += total
