"""Rational functions of frequency through a few solved frequencies, one set of poles for all.

All directions, seats and ways of one design share its resonances, so one barycentric rational
function with common weights describes them together:

    r_k(f) = sum_s C_s(f) v_sk,   C_s(f) = (w_s / (f - f_s)) / sum_t (w_t / (f - f_t)),

after the phase of a common delay was taken off. It passes through the support frequencies f_s for
any weights; the weights are those that fit the samples left out of the support best: the last right
singular vector of the stacked Loewner matrices (v_jk - v_sk) / (f_j - f_s) (Nakatsukasa, Sete &
Trefethen, SIAM J. Sci. Comput. 40, A1494, 2018; many functions at once: Lietaert, Meerbergen, Perez
& Vandereycken, IMA J. Numer. Anal. 42, 2528, 2022).

One function needs as many samples left out as there are supports. Many functions together need far
fewer, since every sample left out gives one equation for each independent column: over four designs
with 4 to 8 samples in each third octave from 5 to 16 kHz, the median of the bands' mean error was
0.34 dB with half of the samples as support and 0.08 dB with three quarters. Where fewer supports
explain everything, no more are taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eigvals
from scipy.linalg.lapack import zpstrf

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

EXPLAINED = 1e-4
"""Share of the columns' size that is no longer explained: the mesh changes with frequency, and
solves of one resonance scatter by about as much."""
LEAST_SAMPLES = 4
WIDEST_Q = 3.0
"""A pole with a lower Q is part of the smooth rest, not a resonance."""
FAINTEST = 0.02
"""Peak of a resonance over the rest of the response under which it is not trusted: 0.2 dB."""
TIMES_ERROR = 5.0
"""By how much what a resonance does at the sample next to it must exceed the fit's own error to be
trusted: a pole that noise makes has a high peak where no sample is, and does nothing where one is.
"""
ALIKE = 0.5
"""Two fits have the same pole if it moves by less than this share of its half-power bandwidth."""


@dataclass(frozen=True, kw_only=True)
class Resonance:
    """A pole near the real axis.

    Attributes
    ----------
    frequency : float
        Hz.
    q : float
        Quality factor: centre frequency over half-power bandwidth, f / (2 |Im f|).
    peak : float
        Its pressure at its own frequency over the rms pressure of the samples round it, rms over
        all columns.
    trusted : bool
        False if it is too faint to be known from the fit's own error, or grows in time.
    """

    frequency: float
    q: float
    peak: float
    trusted: bool

    @property
    def bandwidth(self) -> float:
        """Between half-power frequencies, Hz."""
        return self.frequency / self.q

    @property
    def decay_time(self) -> float:
        """Time in which it falls by 60 dB, s: 3 ln(10) Q / (pi f)."""
        return 3.0 * math.log(10.0) * self.q / (math.pi * self.frequency)


@dataclass(frozen=True, eq=False, kw_only=True)
class RationalFit:
    """One rational function of frequency for many columns, barycentric.

    Attributes
    ----------
    support : (S,) array
        Support frequencies, Hz, ascending.
    weights : (S,) complex array
        Barycentric weights, for frequencies in Hz; their common factor does not matter.
    values : (S, K) complex array
        Values at the support frequencies, the phase of the delay taken off.
    delay : float
        Seconds; the values are those of the columns times exp(-2 pi i f delay).
    low, high : float
        Lowest and highest sample, Hz.
    residual : float
        Largest misfit at a sample that is no support, over the rms size of a sample.
    """

    support: Real = field(repr=False)
    weights: Complex = field(repr=False)
    values: Complex = field(repr=False)
    delay: float
    low: float
    high: float
    residual: float

    def coefficients(self, frequencies: ArrayLike) -> Complex:
        """(N, S) coefficients C with which the values at frequencies in Hz are C @ values.

        The phase of the delay is in them, so that the product is what the samples were of.
        """
        f = np.asarray(frequencies, dtype=float)
        return barycentric(f, self.support, self.weights) * delayed(f, self.delay)

    def sizes(self, frequencies: Real) -> Real:
        """(N, S) the coefficients but for the weights and a phase common to all supports.

        They are real, and enough for powers: |C v|^2 = |sizes @ (weights * v)|^2.
        """
        near = _nearness(frequencies, self.support)
        return near / np.abs(near @ self.weights)[:, None]

    def at(self, frequencies: ArrayLike) -> Complex:
        """(N, K) values at frequencies in Hz."""
        return self.coefficients(frequencies) @ self.values

    @cached_property
    def poles(self) -> Complex:
        """All poles, complex Hz: zeros of sum_s w_s / (f - f_s).

        They are the finite eigenvalues of an arrowhead pencil (Nakatsukasa et al., 2018, sec. 3).
        With exp(-i omega t) those below the real axis decay in time.
        """
        count, centre = len(self.support), 0.5 * (self.low + self.high)
        span = max(self.high - self.low, 1.0)
        pencil = np.diag(np.append(0.0, (self.support - centre) / span)).astype(complex)
        pencil[0, 1:], pencil[1:, 0] = self.weights / np.abs(self.weights).max(), 1.0
        found = eigvals(pencil, np.diag(np.append(0.0, np.ones(count))))
        return np.sort_complex(centre + span * found[np.isfinite(found)])

    def residues(self, poles: ArrayLike) -> Complex:
        """(P, K) residues at simple poles, Hz times the unit of the values, delay taken off."""
        away = 1.0 / (np.asarray(poles, dtype=complex)[:, None] - self.support)
        return ((away * self.weights) @ self.values) / -(away**2 @ self.weights)[:, None]

    def resonances(self, error: float = 0.0) -> tuple[Resonance, ...]:
        """Poles near the real axis between the lowest and the highest sample.

        Parameters
        ----------
        error : float
            Of the fit, over the rms size of its values, as found by leaving samples out.

        Returns
        -------
        tuple of Resonance
            Ascending in frequency.
        """
        inside = (self.poles.real > self.low) & (self.poles.real < self.high)
        poles = self.poles[inside & (np.abs(self.poles.imag) < self.poles.real / (2 * WIDEST_Q))]
        size = np.interp(poles.real, self.support, np.linalg.norm(self.values, axis=1))
        strength = np.linalg.norm(self.residues(poles), axis=1) / size
        next_to_it = np.abs(poles[:, None] - self.support).min(axis=1, initial=np.inf)
        error = max(error, self.residual, EXPLAINED)
        seen = strength / next_to_it > TIMES_ERROR * error
        peaks = strength / np.maximum(np.abs(poles.imag), np.finfo(float).tiny)
        return tuple(
            Resonance(
                frequency=float(pole.real),
                q=float(pole.real / (2.0 * max(abs(pole.imag), np.finfo(float).tiny))),
                peak=float(peak),
                trusted=bool(pole.imag < 0.0 and known and peak >= FAINTEST),
            )
            for pole, peak, known in zip(poles, peaks, seen, strict=True)
        )

    def has_pole(self, resonance: Resonance) -> bool:
        """Whether a resonance of another fit is one of this too, within `ALIKE`."""
        pole = complex(resonance.frequency, -0.5 * resonance.bandwidth)
        return bool(np.any(np.abs(self.poles - pole) < ALIKE * resonance.bandwidth))


@dataclass(frozen=True, eq=False, kw_only=True)
class PiecewiseFit:
    """Fits of overlapping windows of frequency, joined into one.

    Attributes
    ----------
    fits : tuple of RationalFit
        Ascending in frequency, of the same columns.
    edges : (len(fits) - 1,) array
        Where one gives way to the next, Hz.
    overlap : float
        Ratio of frequencies, above 1: from edge / overlap to edge * overlap both count, with shares
        linear in the logarithm of frequency.
    """

    fits: tuple[RationalFit, ...]
    edges: Real
    overlap: float

    def at(self, frequencies: ArrayLike) -> Complex:
        """(N, K) values at frequencies in Hz."""
        f = np.asarray(frequencies, dtype=float)
        whole = np.zeros((len(f), self.fits[0].values.shape[1]), dtype=complex)
        for fit, share in zip(self.fits, self.shares(f), strict=True):
            here = share > 0.0
            whole[here] += share[here, None] * fit.at(f[here])
        return whole

    def of(self, columns: NDArray[np.int_]) -> PiecewiseFit:
        """Return the fit of some of the columns, by their numbers."""
        return replace(
            self, fits=tuple(replace(fit, values=fit.values[:, columns]) for fit in self.fits)
        )

    def shares(self, frequencies: Real) -> Real:
        """(len(fits), N) share of each fit at frequencies in Hz; they add up to 1."""
        past = np.log(frequencies / self.edges[:, None]) / (2.0 * np.log(self.overlap)) + 0.5
        begun = np.vstack((np.ones(len(frequencies)), np.clip(past, 0.0, 1.0)))
        return begun - np.vstack((begun[1:], np.zeros(len(frequencies))))


def fit_rational(
    frequencies: ArrayLike,
    values: ArrayLike,
    *,
    columns: ArrayLike | None = None,
    left_out: ArrayLike | None = None,
    delay: float = 0.0,
) -> RationalFit:
    """Fit one rational function with common poles to samples of many columns.

    Parameters
    ----------
    frequencies : (F,) array_like
        Hz, ascending, at least `LEAST_SAMPLES`.
    values : (F, K) array_like, complex
        Samples.
    columns : (K,) array_like, optional
        Weight of each column in the choice of the poles; 1 if left out.
    left_out : array_like of int, optional
        Samples that are no support and choose the weights; every fourth if left out.
    delay : float
        Seconds; its phase is taken off before the fit and put on again when that is read.

    Raises
    ------
    ValueError
        For fewer than `LEAST_SAMPLES` samples or frequencies that do not ascend.
    """
    f, v = np.asarray(frequencies, dtype=float), np.asarray(values, dtype=complex)
    if f.ndim != 1 or v.ndim != 2 or len(f) != len(v) or len(f) < LEAST_SAMPLES:
        raise ValueError(f"a fit needs {LEAST_SAMPLES} samples or more, one row for each frequency")
    if np.any(np.diff(f) <= 0.0):
        raise ValueError("frequencies of a fit must ascend, each one once")
    weighted = v if columns is None else v * np.asarray(columns, dtype=float)
    few = compressed(weighted * delayed(f, -delay))
    return fit_compressed(f, v * delayed(f, -delay), few, left_out, delay)


def fit_compressed(
    f: Real, advanced: Complex, few: Complex, left_out: ArrayLike | None, delay: float
) -> RationalFit:
    """Do the same with what several fits of the same samples share already worked out.

    Parameters
    ----------
    f : (F,) array
        Hz.
    advanced : (F, K) array
        Samples, the phase of the delay taken off.
    few : (F, R) array
        The same weighted and made few, by `compressed`.
    left_out : array_like of int or None
        As in `fit_rational`.
    delay : float
        Seconds, taken off.
    """
    aside = np.arange(2, len(f) - 1, 4) if left_out is None else np.asarray(left_out, dtype=int)
    support, weights = _supports_and_weights(f, few, _all_but(aside, len(f)))
    rest = _all_but(support, len(f))
    misfit = barycentric(f[rest], f[support], weights) @ few[support] - few[rest]
    size = np.sqrt(np.mean(np.sum(np.abs(few) ** 2, axis=1)))
    return RationalFit(
        support=f[support],
        weights=weights,
        values=advanced[support],
        delay=delay,
        low=float(f[0]),
        high=float(f[-1]),
        residual=float(np.linalg.norm(misfit, axis=1).max() / max(size, np.finfo(float).tiny)),
    )


def _supports_and_weights(
    f: Real, few: Complex, support: NDArray[np.int_]
) -> tuple[NDArray[np.int_], Complex]:
    """Which samples are supports, ascending, and their weights: no more than explain the rest."""
    products = _products(f, few, support)
    powers, vectors = np.linalg.eigh(products)
    rank = int(np.sum(powers > EXPLAINED**2 * powers[-1])) if powers[-1] > 0.0 else 0
    if rank < len(support) - 1:
        # As many supports as there are independent columns, and one, by pivoted Cholesky.
        pivots = zpstrf(products)[1] - 1
        support = np.sort(support[pivots[: rank + 1]])
        vectors = np.linalg.eigh(_products(f, few, support))[1]
    return support, vectors[:, 0]


def _products(f: Real, few: Complex, support: NDArray[np.int_]) -> Complex:
    """(S, S) products L^H L of the columns of the stacked Loewner matrices.

    Their eigenvalues are squares of the singular values; the least that count, `EXPLAINED` of the
    largest, stand well above rounding, and the whole takes half the time of a QR and an SVD.
    """
    rest = _all_but(support, len(f))
    apart = (f[rest, None] - f[support]) / (f[-1] - f[0])
    stacked = (few[rest].T[:, :, None] - few[support].T[:, None, :]) / apart
    loewner = stacked.reshape(-1, len(support))
    return loewner.conj().T @ loewner


def _all_but(some: NDArray[np.int_], count: int) -> NDArray[np.int_]:
    """Which of the first `count` numbers are not among some, ascending."""
    others = np.ones(count, dtype=bool)
    others[some] = False
    return np.flatnonzero(others)


def barycentric(f: Real, support: Real, weights: Complex) -> Complex:
    """(N, S) coefficients of the values at the supports, no delay; exact at the supports."""
    near = _nearness(f, support)
    return near * (1.0 / (near @ weights))[:, None] * weights


def _nearness(f: Real, support: Real) -> Real:
    """(N, S) one over the distance; one of nothing becomes so small that all others drop out."""
    apart = f[:, None] - support
    apart[apart == 0.0] = 1e-200
    return 1.0 / apart


def delayed(f: Real, delay: float) -> Complex:
    """(N, 1) phase of a delay in seconds at frequencies in Hz, exp(2 pi i f delay)."""
    return np.exp(2j * np.pi * delay * f)[:, None]


def compressed(values: Complex) -> Complex:
    """(F, R) columns with the products of rows of (F, K): all that a fit asks of the columns.

    R is the number of principal columns above `EXPLAINED` of the largest.
    """
    if values.shape[1] <= len(values):
        return values
    power, rows = np.linalg.eigh(values @ values.conj().T)
    kept = power > EXPLAINED**2 * max(power[-1], np.finfo(float).tiny)
    return rows[:, kept] * np.sqrt(power[kept])
