"""Ring kernels: the free-space Green's function integrated round the axis.

A ring source of radius r' at height z' and a point at (r, z) are apart by
R^2 = d^2 + 2 r r' h, with d^2 = (r - r')^2 + (z - z')^2 and h = 1 - cos(phi). For azimuthal
order m every operator of the boundary element method is built from five integrals over phi:

    G    = int g   cos(m phi)          g = exp(ikR) / (4 pi R)
    G_h  = int g   cos(m phi) h        so that int g cos(phi) cos(m phi) = G - G_h
    G_s  = int g   sin(m phi) sin(phi)
    E    = int g_1 cos(m phi)          g_1 = (1/R) dg/dR = (ikR - 1) exp(ikR) / (4 pi R^3)
    E_h  = int g_1 cos(m phi) h

The weight h instead of cos(phi) keeps the digits when the two points nearly touch. The
midpoint rule on the half circle converges exponentially when they are well apart. Close by, it
is applied in the variable u(phi) with du/dphi = 1/sqrt(c^2 + 4 sin^2(phi/2)) + beta,
c = d / sqrt(r r'): an elliptic integral that makes the static kernel flat, plus a share beta
that leaves enough points for the waves on the far side of the ring. u is odd about both ends,
so the rule keeps its exponential convergence for every c. All rules come from tables.

How many points
---------------
The midpoint rule with n points on the half circle is one with 2n on the whole: for a periodic
integrand that is analytic within d of the real axis its error falls as exp(-2 n d) (Trefethen &
Weideman, SIAM Review 56, 385 (2014) [from memory]).

- Apart: R = 0 at phi = i d with cosh(d) = 1 + c^2 / 2, d = 2 asinh(c / 2), so that q digits take
  q ln(10) / (2 d) = 1.15 q / d points. Waves take the swing s = (k (R_max - R_min) / 2 + m) / 2
  besides, up to where 2n is the order of Bessel's functions J_2n(2 s) that turn small, and a tail:
  by Airy's function J_2n falls to 10^-q over 1.14 q^(2/3) s^(1/3) orders. The code takes 1.0 of
  that: with 2 points for the prefactor it leaves as much as the exact one.
- Close by: in u the strip is about pi/2 wide, the error exp(-pi^2 / step): the step is
  pi^2 / (q ln(10) + margin), ln(10) = 2.303. The share beta gives the far side, where u alone
  places next to none, its s points and a tail of 0.25 q.

Measured against rules of 15 digits and more, c from 1e-9 to 0.95 (close) and 0.91 to 100 (apart),
k sqrt(r r') up to 220; largest error of G and of E over the integrals of |g| and |g_1|, and points:

    =====================  ========================  =========================
    rule                   5 digits: G, E, points    10 digits: G, E, points
    =====================  ========================  =========================
    close, margin 0        5e-6   5e-4   43          2e-10  9e-9   56
    close, margin 2        1e-6   7e-5   45          4e-11  1e-9   58
    close, margin 4        3e-7   1e-5   47          8e-12  2e-10  60
    close, tail 0          5e-6   7e-5   44          1e-9   1e-9   55
    close, tail 0.25 q     1e-6   7e-5   45          4e-11  1e-9   58
    apart, tail times 0    2e-2   2e-2   14          2e-3   2e-3   18
    apart, tail times 1/2  1e-4   1e-4   17          3e-8   3e-8   21
    apart, tail times 1    4e-8   1e-6   19          7e-13  6e-12  24
    apart, times 1.14      4e-8   1e-6   19          7e-13  6e-12  25
    =====================  ========================  =========================

Blocks of pairs are summed in single precision, 24 bits: next to rules of 5 digits, or of 7, the
rounding (5e-7 of the integrals of |g|) is nothing. Over 14 frequencies of the three examples it
moves levels within 30 dB of the maximum by 0.0002 dB at most, and the sums take 0.4 of the time of
doubles. Single pairs, for points in the air, are summed in doubles.

The compiled functions take arrays and floats and release the interpreter lock.
"""

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numba import njit
from scipy import special

# The block loop runs in vector registers without reassociation; the sum over phi at one
# point needs it. Neither assumes anything about the data but that it is finite.
ELEMENTWISE = {"contract", "nsz", "arcp", "nnan", "ninf"}
SUMMING = ELEMENTWISE | {"reassoc"}

# Rows of a block of integrals: real and imaginary parts of G, G_h, E, E_h, G_s.
GR, GI, GHR, GHI, ER, EI, EHR, EHI, GSR, GSI = range(10)
ROWS = 10

MAX_MIDPOINT = 400
"""Longest midpoint rule on the half circle. A round field takes 113 points at 13 digits and at the
largest k r of the tables, so that azimuthal orders up to 500 are served."""
LONGEST_RULE = 800
"""Scratch for any rule; the longest stretched one has 152 points at 5 digits, 208 at 13."""
STRETCH_BELOW = 0.9
"""Value of c = d / sqrt(r r') below which the stretched rule serves: tabulated up to c = 1, it
takes 6 points of the midpoint rule's 10 at c = 0.9 and k sqrt(r r') = 1, 16 of 20 at 20."""
C_LEVELS = 40
"""Stretched rules for c = 2^-level, down to 2e-12; closer pairs take the last."""
# k sqrt(r r') up to which each column of stretched rules resolves the waves round the ring. Above 9
# the steps are small enough for a rule to have at most a third more points for them than needed.
WAVE_LEVELS = np.array([1, 3, 6, 9, 12, 16, 20, 25, 31, 38, 46, 56, 68, 82, 100, 130, 170, 220.0])

_INV_PI = 1.0 / math.pi
_S1, _S2, _S3, _S4, _S5, _S6, _S7, _S8 = (
    (-1) ** j / math.factorial(2 * j + 1) for j in range(1, 9)
)
_C1, _C2, _C3, _C4, _C5, _C6, _C7, _C8, _C9 = (
    (-1) ** j / math.factorial(2 * j) for j in range(1, 10)
)
_NULL, _HALF, _ONE = np.float32(0.0), np.float32(0.5), np.float32(1.0)
_TURN, _PI_HIGH = np.float32(_INV_PI), np.float32(3.140625)  # a product with it is exact
_PI_LOW = np.float32(math.pi - 3.140625)
_F1, _F2, _F3, _F4, _F5 = (np.float32(c) for c in (_S1, _S2, _S3, _S4, _S5))
_D1, _D2, _D3, _D4, _D5, _D6 = (np.float32(c) for c in (_C1, _C2, _C3, _C4, _C5, _C6))


class AzimuthRules(NamedTuple):
    """Tabulated angles and weights on the half circle, for one number of decimal digits."""

    digits: float
    tail: float  # how far beyond the swing of the phase the midpoint rule must reach
    mid_start: np.ndarray
    mid_phi: np.ndarray
    mid_h: np.ndarray
    wave_levels: np.ndarray
    near_start: np.ndarray  # (C_LEVELS, waves)
    near_count: np.ndarray
    near_phi: np.ndarray
    near_h: np.ndarray
    near_weight: np.ndarray


@lru_cache(maxsize=4)
def azimuth_rules(digits: float) -> AzimuthRules:
    """Tabulate the rules that give about `digits` decimal digits."""
    counts = np.arange(1, MAX_MIDPOINT + 1)
    mid_start = np.concatenate(([0, 0], np.cumsum(counts)))
    mid_phi = np.concatenate([(np.arange(n) + 0.5) * (np.pi / n) for n in counts])
    near = [
        [_stretched_rule(2.0**-level, waves, digits) for waves in WAVE_LEVELS]
        for level in range(C_LEVELS)
    ]
    near_count = np.array([[len(phi) for phi, _ in row] for row in near])
    near_start = np.concatenate(([0], np.cumsum(near_count)))[:-1].reshape(near_count.shape)
    near_phi = np.concatenate([phi for row in near for phi, _ in row])
    near_weight = np.concatenate([weight for row in near for _, weight in row])
    return AzimuthRules(
        digits,
        digits ** (2.0 / 3.0),
        mid_start,
        mid_phi,
        2.0 * np.sin(0.5 * mid_phi) ** 2,
        WAVE_LEVELS,
        near_start,
        near_count,
        near_phi,
        2.0 * np.sin(0.5 * near_phi) ** 2,
        near_weight,
    )


def _stretched_rule(c: float, waves: float, digits: float) -> tuple[np.ndarray, np.ndarray]:
    """Angles and weights of the midpoint rule in u for points c apart, `waves` = k sqrt(r r')."""
    # See "How many points" above.
    step = np.pi**2 / (2.303 * digits + 2.0)
    beta = step * (0.5 * waves + 0.25 * digits) / np.pi
    grid = np.concatenate(([0.0], np.geomspace(1e-3 * c, np.pi, 400)))
    travelled = _stretch(grid, c, beta)
    n = int(np.ceil(travelled[-1] / step))
    u = (np.arange(n) + 0.5) * (travelled[-1] / n)
    phi = np.interp(u, travelled, grid)
    for _ in range(5):
        density = 1.0 / np.hypot(c, 2.0 * np.sin(0.5 * phi)) + beta
        phi = np.clip(phi - (_stretch(phi, c, beta) - u) / density, 0.0, np.pi)
    density = 1.0 / np.hypot(c, 2.0 * np.sin(0.5 * phi)) + beta
    return phi, travelled[-1] / n / density


def _stretch(phi: np.ndarray, c: float, beta: float) -> np.ndarray:
    return 2.0 / c * special.ellipkinc(0.5 * phi, -4.0 / c**2) + beta * phi


def compiled_order(m: int) -> int | None:
    """Return the order as the compiled functions take it: None for m = 0.

    None is a type of its own, so the round field compiles without the terms that vanish.
    """
    return None if m == 0 else m


def longest_radius(k: float) -> float:
    """Largest ring radius in metres whose kernels the tabulated rules resolve at wavenumber k."""
    return float(WAVE_LEVELS[-1]) / max(k, 1e-9)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def azimuth_rule(rules, c, spread, reach, k, m, h, wm, wh, ws):
    """Fill the azimuth weights for points at least c = d / sqrt(r r') apart; return the count.

    Parameters
    ----------
    rules : AzimuthRules
    c : float
        Smallest d / sqrt(r r') of the pairs that will share the rule.
    spread : float
        Largest (R_max - R_min) / 2 in metres: the swing of the phase round the ring.
    reach : float
        Largest sqrt(r r') in metres.
    k : float or complex
        Wavenumber.
    m : int or None
        Azimuthal order; None for a round field, see `compiled_order`.
    h, wm, wh, ws : float arrays
        Filled with 1 - cos(phi) and the weights of G, G_h and G_s, 1/(4 pi) included.
    """
    scale = 1.0 / (2.0 * math.pi)
    turns = 0.0 if m is None else float(m)
    n, start, stretched = chosen_rule(rules, c, spread, reach, k, turns)
    if stretched:
        for j in range(n):
            h[j] = rules.near_h[start + j]
            wm[j] = scale * rules.near_weight[start + j]
        if m is not None:
            _turn(n, m, rules.near_phi[start : start + n], rules.near_h[start : start + n], wm, ws)
    else:
        for j in range(n):
            h[j] = rules.mid_h[start + j]
            wm[j] = scale * math.pi / n
        if m is not None:
            _turn(n, m, rules.mid_phi[start : start + n], rules.mid_h[start : start + n], wm, ws)
    for j in range(n):
        wh[j] = wm[j] * h[j]
    return n


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def chosen_rule(rules, c, spread, reach, k, turns):
    """Return how many angles, where they start in the tables, and if in those stretched.

    For `azimuth_rule`, and for several orders up to `turns` at once.
    """
    if c > STRETCH_BELOW:
        half = 0.5 * c
        growth = 2.0 * math.log(half + math.sqrt(1.0 + half * half))
        # Below 0, where a point on the axis was rounded beyond it, the swing would have no root.
        swing = 0.5 * max(k.real * spread + turns, 0.0)
        tail = rules.tail * swing ** (1.0 / 3.0)
        n = int(2.0 + swing + tail + 1.15 * rules.digits / growth)
        n = min(n, MAX_MIDPOINT)
        return n, rules.mid_start[n], False
    level = min(max(int(math.ceil(-math.log2(c))), 0), C_LEVELS - 1)
    waves = 0
    while waves < len(rules.wave_levels) - 1 and rules.wave_levels[waves] < k.real * reach + turns:
        waves += 1
    return rules.near_count[level, waves], rules.near_start[level, waves], True


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def cosine_and_sine(x):
    """Return cos(x) and sin(x) for 0 <= x < 1e5, good to 1e-12.

    Taylor sums on half a turn, sign by parity: branch-free, so that loops over points vectorise.
    """
    turns = np.int32(x * _INV_PI + 0.5)
    y = x - turns * math.pi
    sign = 1.0 - 2.0 * (turns & 1)
    y2 = y * y
    sine = _S4 + y2 * (_S5 + y2 * (_S6 + y2 * (_S7 + y2 * _S8)))
    sine = y * (1.0 + y2 * (_S1 + y2 * (_S2 + y2 * (_S3 + y2 * sine))))
    cosine = _C5 + y2 * (_C6 + y2 * (_C7 + y2 * (_C8 + y2 * _C9)))
    cosine = 1.0 + y2 * (_C1 + y2 * (_C2 + y2 * (_C3 + y2 * (_C4 + y2 * cosine))))
    return sign * cosine, sign * sine


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def _turn(n, m, phi, h, wm, ws):
    for j in range(n):
        cosine, sine = cosine_and_sine(m * phi[j])
        ws[j] = wm[j] * sine * math.sqrt(h[j] * (2.0 - h[j]))
        wm[j] *= cosine


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def exponential(x):
    """Return exp(x) for |x| < 8, good to 1e-6; branch-free like `cosine_and_sine`."""
    y = x / 32.0
    root = 1.0 + y * (1.0 + y * (1 / 2 + y * (1 / 6 + y * (1 / 24 + y * (1 / 120 + y / 720)))))
    for _ in range(5):
        root *= root
    return root


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _wave(squared, k):
    """Return the real and imaginary parts of exp(ikR)/R and (ikR - 1) exp(ikR)/R^3, R^2 given.

    In still air k is a float, whose imaginary part the compiler knows to be 0: it then leaves out
    what a complex k takes.
    """
    distance = math.sqrt(squared)
    inverse = 1.0 / distance
    x, y = k.real * distance, k.imag * distance
    cosine, sine = cosine_and_sine(x)
    fade = inverse * exponential(-y)
    cosine *= fade
    sine *= fade
    inverse2 = inverse * inverse
    y += 1.0
    return cosine, sine, -(x * sine + y * cosine) * inverse2, (x * cosine - y * sine) * inverse2


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE, inline="always")
def _single_wave(squared, k):
    """Return what `_wave` does, in single precision; x = kR < 1e5."""
    distance = math.sqrt(squared)
    inverse = _ONE / distance
    x = np.float32(k.real) * distance
    fade = -k.imag * distance
    damped = np.float32(1.0 - fade)
    turns = np.int32(x * _TURN + _HALF)
    count = np.float32(turns)
    y = (x - count * _PI_HIGH) - count * _PI_LOW
    y2 = y * y
    sign = np.float32(1 - 2 * (turns & 1)) * inverse * np.float32(exponential(fade))
    sine = y * (_ONE + y2 * (_F1 + y2 * (_F2 + y2 * (_F3 + y2 * (_F4 + y2 * _F5)))))
    cosine = _D3 + y2 * (_D4 + y2 * (_D5 + y2 * _D6))
    cosine = _ONE + y2 * (_D1 + y2 * (_D2 + y2 * cosine))
    cosine *= sign
    sine *= sign
    inverse2 = inverse * inverse
    return (
        cosine,
        sine,
        -(x * sine + damped * cosine) * inverse2,
        (x * cosine - damped * sine) * inverse2,
    )


@njit(cache=True, nogil=True, error_model="numpy", fastmath=ELEMENTWISE)
def ring_block(points, d2, rr2, k, m, n, h, wm, wh, ws, out):
    """Sum the five integrals for many pairs that share one azimuth rule, in single precision.

    `d2` and `rr2` hold d^2 and 2 r r' of each pair; `out` (ROWS, points) receives the rows.
    """
    for row in range(ROWS):
        for i in range(points):
            out[row, i] = _NULL
    for j in range(n):
        hj, w, v, s = h[j], wm[j], wh[j], ws[j]
        for i in range(points):
            c, si, er, ei = _single_wave(d2[i] + rr2[i] * hj, k)
            out[GR, i] += w * c
            out[GI, i] += w * si
            out[GHR, i] += v * c
            out[GHI, i] += v * si
            out[ER, i] += w * er
            out[EI, i] += w * ei
            out[EHR, i] += v * er
            out[EHI, i] += v * ei
            if m is not None:
                out[GSR, i] += s * c
                out[GSI, i] += s * si


@njit(cache=True, nogil=True, error_model="numpy", fastmath=SUMMING)
def ring_point(d2, rr2, k, m, n, h, wm, wh, ws):
    """Return (G, G_h, E, E_h, G_s) for one pair of points; vectorised over the azimuth."""
    gr = gi = ghr = ghi = er = ei = ehr = ehi = gsr = gsi = 0.0
    for j in range(n):
        c, s, fr, fi = _wave(d2 + rr2 * h[j], k)
        gr += wm[j] * c
        gi += wm[j] * s
        ghr += wh[j] * c
        ghi += wh[j] * s
        er += wm[j] * fr
        ei += wm[j] * fi
        ehr += wh[j] * fr
        ehi += wh[j] * fi
        if m is not None:
            gsr += ws[j] * c
            gsi += ws[j] * s
    return (
        complex(gr, gi),
        complex(ghr, ghi),
        complex(er, ei),
        complex(ehr, ehi),
        complex(gsr, gsi),
    )


@njit(cache=True, nogil=True, error_model="numpy")
def ring_pair(rules, r, z, rs, zs, k, m, h, wm, wh, ws):
    """Return (G, G_h, E, E_h, G_s) of the ring (rs, zs) at the point (r, z), scratch given."""
    d2 = (r - rs) ** 2 + (z - zs) ** 2
    rr = max(r * rs, 0.0)  # a point on the axis may be rounded beyond it
    near, far = math.sqrt(d2), math.sqrt(d2 + 4.0 * rr)
    c = near / math.sqrt(rr) if rr > 1e-12 * d2 else 1e6
    n = azimuth_rule(rules, c, 0.5 * (far - near), math.sqrt(rr), k, m, h, wm, wh, ws)
    return ring_point(d2, 2.0 * rr, k, m, n, h, wm, wh, ws)


def ring_kernels(point, source, k: complex, m: int = 0, normal=(0.0, 0.0), digits: float = 13.0):
    """Green's function of a ring and its derivative along the ring's normal.

    Parameters
    ----------
    point, source : (r, z) in metres
        Where the field is wanted; the ring.
    k : float
        Wavenumber in rad/m.
    m : int
        Azimuthal order.
    normal : (n_r, n_z)
        Direction at the ring.
    digits : float
        Decimal digits wanted from the azimuth quadrature.

    Returns
    -------
    G, D : complex
        int_0^2pi g cos(m phi) dphi and int_0^2pi dg/dn' cos(m phi) dphi,
        g = exp(ikR) / (4 pi R).
    """
    scratch = np.empty((4, LONGEST_RULE))
    (r, z), (rs, zs), (nr, nz) = point, source, normal
    g, _, e, eh, _ = ring_pair(azimuth_rules(digits), r, z, rs, zs, k, compiled_order(m), *scratch)
    return g, (nr * (rs - r) + nz * (zs - z)) * e + nr * r * eh
