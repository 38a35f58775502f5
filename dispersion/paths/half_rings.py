"""Waves of half rings added up over frequency: the two special functions, and the sum.

    G(x) = exp(ix) (J0(x) - i H0(x)) / 2,    H0 Struve's function;  G(-x) = conj(G(x))
    g(w) = wofz(w exp(i pi/4)) / 2,          wofz Faddeeva's function

What both are of is told in `dispersion.paths.specular`. Both are read from tables, by straight
lines: off by `STEP`^2 / 8 times their second derivative, some 1e-5 of 1.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from dispersion.paths.specular import Waves

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

STEP = 0.01
HALF_RING_TO, EDGE_TO = 200.0, 40.0
"""Ends of the tables; beyond them the first term of the series for large arguments serves."""


@lru_cache(maxsize=1)
def _tables() -> tuple[Complex, Complex]:
    """G and g at even steps."""
    from scipy.special import j0, struve, wofz

    x = STEP * np.arange(round(HALF_RING_TO / STEP) + 1)
    w = STEP * np.arange(round(EDGE_TO / STEP) + 1)
    half = 0.5 * np.exp(1j * x) * (j0(x) - 1j * struve(0, x))
    return half, 0.5 * wofz(np.exp(0.25j * np.pi) * w)


def pressure(waves: Waves, places: int, wavenumbers: Real, strengths: Complex) -> Complex:
    """Sum of all waves, for exp(-i omega t).

    Parameters
    ----------
    waves : Waves
    places : int
        How many there are.
    wavenumbers : (F,) array
        Radians per metre.
    strengths : (F, R) array
        Of each ring.

    Returns
    -------
    (F, places) complex array
        Over the pressure of a point source of strength 1 in the middle of the baffle, phase
        included.
    """
    out = np.zeros((len(wavenumbers), places), dtype=complex)
    lines = (waves.size, waves.path, waves.later, waves.detour)
    _add(waves.ring, waves.place, *lines, wavenumbers, strengths.astype(complex), *_tables(), out)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _read(table, at, beyond):
    """Value at a multiple of `STEP`, or what stands for it past the end of the table."""
    n = int(at)
    if n >= len(table) - 1:
        return complex(beyond, beyond)
    share, low, high = at - n, table[n], table[n + 1]
    return complex(
        low.real + share * (high.real - low.real), low.imag + share * (high.imag - low.imag)
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _half(x, table):
    size = abs(x)
    value = _read(table, size * (1.0 / STEP), 1.0 / math.sqrt(4.0 * math.pi * size))
    return value if x >= 0.0 else complex(value.real, -value.imag)


@njit(cache=True, nogil=True, error_model="numpy")
def _edge(k, detour, table):
    w = math.sqrt(k * abs(detour))
    value = _read(table, w * (1.0 / STEP), 1.0 / (math.sqrt(8.0 * math.pi) * w))
    return value if detour >= 0.0 else complex(value.real, -value.imag)


@njit(cache=True, nogil=True, error_model="numpy")
def _add(ring, place, size, path, later, detour, ks, weights, half, edge, out):
    for i in range(len(ring)):
        by_edge = not math.isnan(detour[i])
        for f in range(len(ks)):
            k = ks[f]
            turn = k * path[i]
            wave = size[i] * complex(math.cos(turn), math.sin(turn)) * _half(k * later[i], half)
            if by_edge:
                wave *= _edge(k, detour[i], edge)
            out[f, place[i]] += weights[f, ring[i]] * wave
