"""Windows of third octaves: several fits of the same samples, and the doubt where they differ.

A window serves a few bands and reaches beyond them on either side. Each of its fits
(`dispersion.rational`) leaves other samples out of its support. Where they agree, nothing hides
between the samples. A band value is the median of the fits; its doubt, one standard deviation,
comes from their range. What `dispersion.settling` tells of errors was found with what stands here.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from dispersion.bands import band_edges, third_octave_centres
from dispersion.elevations import level_db
from dispersion.rational import Complex, RationalFit, Real, compressed, delayed, fit_compressed
from dispersion.reference import Reference
from dispersion.sliding import DirectionWeights, FinePower

GROUP, MARGIN = 3, 1
"""Third octaves that one window is for, and that it reaches beyond them on either side."""
DB_OF_SHARE = 10.0 / np.log(10.0)
"""Decibels of a small change of power over the power."""
LEAST_IN_WINDOW = 10
FOLDS = 4
"""Fits of a window, each with another quarter of the samples left out of its support."""
READ_PER_BAND = 256
"""Frequencies of a third octave at which a fit is read: nine hundredths of a per cent apart."""
FINE_PER_BAND = 96
"""Frequencies of a third octave at which the nearest fit is read for bands that slide."""
LOOK_EVERY = 8
"""Of them, those at which the fits are compared for the next sample."""
DELAY = 0.15e-3
"""Common delay taken off, seconds: 5 cm, about from the baffle's middle to the reflector's rim. One
found from the phase of the samples follows the resonances and took 60 solves a design, not 55."""
OTHERS = 0.1
"""Weight in the choice of poles of a column that counts for no band value."""
BETWEEN, NEARBY, SCATTER_DB = 0.2, 0.5, 0.01
"""What else makes the doubt of a band value, beside half the range of the fits' band values: the
mean range of the fits at single frequencies, which can cancel in the band by chance; the mean doubt
of the window's other bands; and the scatter of the solver. The shares were set over seven designs
so that a fifth of the errors exceeds the doubt and a twentieth twice the doubt; over thirteen
others, seven of them near one of the seven, 12 per cent exceeded it, 3 twice, 1 three times."""
FAINT = 0.1
"""Share of the strongest curve's size in the band under which a curve counts as if it had that."""
CLOSEST = 1.002
"""Least ratio of two sampled frequencies; closer ones differ by little but the mesh."""

Transfer = Callable[[Real], Complex]
"""(N,) frequencies in Hz -> (W, N) what crossover, level and driver curve make of each way, re 0 dB
of the third octave of each frequency."""


def column_weights(values: Real) -> Real:
    """(K,) weight in the choice of poles of the columns of which (V, K) values are made."""
    return np.where(values.max(axis=0) > 0.0, 1.0, OTHERS)


@dataclass(frozen=True, eq=False, kw_only=True)
class Wanted:
    """What band values are to settle, and how far.

    Attributes
    ----------
    low, high : float
        Hz; whole third octaves, from the one that holds `low` to the one that holds `high`.
    values : (V, K) array
        Band values wanted: each is the mean over the band of this sum of the columns' |p|^2, such
        as the mean over the window, or a single seat.
    within_db : float
        Largest doubt of a band value that has settled.
    curves : (C,) int array or None
        Columns whose pressure is to settle at every single frequency too.
    within : float
        Largest doubt of such a pressure, over its rms value in the band (see `FAINT`).
    most : int
        Frequencies solved at most.
    batch : int
        Frequencies solved in a round, so that several processors are busy.
    transfer : callable
        See `Transfer`.
    """

    low: float
    high: float
    values: Real = field(repr=False)
    within_db: float
    curves: np.ndarray | None = field(default=None, repr=False)
    within: float = np.inf
    most: int = 120
    batch: int = 2
    transfer: Transfer = field(repr=False)

    @cached_property
    def centres(self) -> Real:
        """(B,) exact centres of the third octaves, Hz."""
        return third_octave_centres(self.low, self.high)

    @property
    def columns(self) -> Real:
        """(K,) weight of each column in the choice of the poles."""
        weights = column_weights(self.values)
        if self.curves is not None:
            weights[self.curves] = 1.0
        return weights


@dataclass(frozen=True, eq=False, kw_only=True)
class Window:
    """The fits of one group of bands, and where they differ.

    Attributes
    ----------
    sampled : (F,) array
        Frequencies of the samples fitted, Hz.
    grids : (bands, N) array
        Where the fits are read, Hz.
    transfers : (bands, W, N) complex array
        What each way is worth there, see `Transfer`.
    fits : tuple of RationalFit
    forms : tuple of (bands, W S, W S) complex array
        For each fit: mean over each band of the products of what multiplies the values at the S
        supports, way by way.
    level_db : (fits, bands, V) array
        The values wanted.
    spread : (bands, M, V) array
        Range over the fits of each value at `places`, over its mean in the band.
    curve_places : (bands, M) array
        Hz.
    apart : (bands, M) array
        How far the fits are from their mean there, the largest over fits and curves, over the rms
        value of the curve in the band; M = 0 where no curve is to settle.
    """

    sampled: Real
    grids: Real
    transfers: Complex
    fits: tuple[RationalFit, ...]
    forms: tuple[Complex, ...]
    level_db: Real
    spread: Real
    curve_places: Real
    apart: Real

    @property
    def places(self) -> Real:
        """(bands, M) where the fits are compared, Hz."""
        return self.grids[:, ::LOOK_EVERY]

    @cached_property
    def doubt_db(self) -> Real:
        """(bands, V) error that each value may have, one standard deviation."""
        half = 0.5 * np.ptp(self.level_db, axis=0)
        between = BETWEEN * DB_OF_SHARE * self.spread.mean(axis=1)
        nearby = NEARBY * half.mean(axis=0)
        return np.sqrt(half**2 + between**2 + nearby**2 + SCATTER_DB**2)

    @property
    def nearest(self) -> RationalFit:
        """The fit whose band values are nearest to the medians."""
        off = np.abs(self.level_db - middle_of(self.level_db)).max(axis=(1, 2))
        return self.fits[int(np.argmin(off))]

    def powers(self, ways: int) -> Real:
        """(bands, K) mean |p|^2 over each band in every column, median of the fits."""
        each = [
            _means(forms, _by_support(fit, ways))
            for forms, fit in zip(self.forms, self.fits, strict=True)
        ]
        return middle_of(np.array(each))


def look_at(
    f: Real, samples: Complex, wanted: Wanted, first: int, before: Window | None = None
) -> Window:
    """Fit the window of one group of bands, unless its samples are as before.

    Parameters
    ----------
    f : (F,) array
        What was solved, Hz, ascending.
    samples : (F, W, K) array
        Pressure there, by way.
    wanted : Wanted
    first : int
        Number of the group's first band.
    before : Window, optional
        The same group's, before the last samples came.
    """
    centres = wanted.centres[first : first + GROUP]
    chosen = _within_reach(f, centres)
    if before is not None and np.array_equal(f[chosen], before.sampled):
        return before
    if before is None:
        grids = centres[:, None] * 10.0 ** places_in_band(READ_PER_BAND)
        transfers = np.array([wanted.transfer(grid) for grid in grids])
    else:
        grids, transfers = before.grids, before.transfers
    fits = _fits(f[chosen], samples[chosen], wanted.columns)
    read = [_read(fit, grids, transfers, wanted.values) for fit in fits]
    values = np.array([each for _, each, _ in read])
    curves = np.array([each for _, _, each in read])
    means = np.maximum(middle_of(values), np.finfo(float).tiny)
    curve_places, apart = _apart(fits, grids, transfers, wanted.curves)
    return Window(
        sampled=f[chosen],
        grids=grids,
        transfers=transfers,
        fits=fits,
        forms=tuple(forms for forms, _, _ in read),
        level_db=level_db(values),
        spread=np.ptp(curves, axis=0) / means[:, None],
        curve_places=curve_places,
        apart=apart,
    )


def middle_of(each: Real) -> Real:
    """Median over the first axis, for few rows much faster than numpy's."""
    ascending, half = np.sort(each, axis=0), (len(each) - 1) // 2
    return 0.5 * (ascending[half] + ascending[len(each) // 2])


def _apart(
    fits: tuple[RationalFit, ...], grids: Real, transfers: Complex, curves: np.ndarray | None
) -> tuple[Real, Real]:
    """Places (bands, M) and how far apart fits of the curves are there, see `Window`."""
    if curves is None:
        return grids[:, :0], np.zeros((len(grids), 0))
    apart = []
    for grid, transfer in zip(grids, transfers, strict=True):
        rows = [_rows(fit.coefficients(grid), transfer) for fit in fits]
        each = np.array(
            [
                row @ _by_support(fit, len(transfer))[:, curves]
                for row, fit in zip(rows, fits, strict=True)
            ]
        )
        middle = each.mean(axis=0)
        size = np.sqrt(np.mean(np.abs(middle) ** 2, axis=0))
        off = np.abs(each - middle).max(axis=0)
        apart.append((off / np.maximum(size, FAINT * size.max())).max(axis=1))
    return grids, np.array(apart)


def _rows(coefficients: Complex, transfer: Complex) -> Complex:
    """(N, W S) what multiplies the values at the supports, way by way, all ways together."""
    each = coefficients[:, None, :] * transfer.T[:, :, None]
    return each.reshape(len(each), -1)


def _within_reach(f: Real, centres: Real) -> slice:
    """Which samples a window for these bands takes: those near it, and ten at least."""
    (low, *_), (*_, high) = band_edges(centres)
    reach = 10.0 ** (MARGIN / 10.0)
    begin, end = np.searchsorted(f, (low / reach / CLOSEST, high * reach * CLOSEST))
    while end - begin < min(LEAST_IN_WINDOW, len(f)):
        begin, end = max(begin - 1, 0), min(end + 1, len(f))
    return slice(int(begin), int(end))


def _fits(f: Real, samples: Complex, columns: Real) -> tuple[RationalFit, ...]:
    """One fit for each quarter of the samples left out; the lowest and the highest never are."""
    count, ways, _ = samples.shape
    values = samples.reshape(count, -1)
    weighted = values * np.tile(columns, ways)
    back = delayed(f, -DELAY)
    few, advanced = compressed(weighted * back), values * back
    folds = [np.arange(1 + fold, count - 1, FOLDS) for fold in range(FOLDS)]
    return tuple(fit_compressed(f, advanced, few, fold, DELAY) for fold in folds if len(fold))


def _read(
    fit: RationalFit, grids: Real, transfers: Complex, values: Real
) -> tuple[Complex, Real, Real]:
    """Forms of a fit for each band, (bands, V) values, and (bands, M, V) values at places of it.

    Both values are quadratic forms of the values at the supports, and no column is read but those
    that count for a value.
    """
    bands, ways, _ = transfers.shape
    counts = values.max(axis=0) > 0.0
    shares = values[:, counts].T
    known = _by_support(fit, ways)[:, counts]
    sizes = fit.sizes(grids.ravel()).reshape(*grids.shape, -1)
    forms = _forms(sizes, transfers, fit.weights)
    products = [((known.conj() * share) @ known.T).ravel() for share in shares.T]
    means = (forms.reshape(bands, -1) @ np.transpose(products)).real
    rows = [sizes[:, ::LOOK_EVERY] * transfers[:, way, ::LOOK_EVERY, None] for way in range(ways)]
    curves = np.concatenate(rows, axis=2) @ (np.tile(fit.weights, ways)[:, None] * known)
    return forms, np.maximum(means, 0.0), _squared(curves) @ shares


def _forms(sizes: Real, transfers: Complex, weights: Complex) -> Complex:
    """(bands, W S, W S) mean of products of what multiplies the values at the supports.

    Of (bands, N, S) sizes, see `RationalFit.sizes`, and (bands, W, N) transfers: all but the
    products of two ways is real, which takes a quarter of the time.
    """
    bands, ways, count = transfers.shape
    every = sizes.shape[2]
    forms = np.empty((bands, ways, every, ways, every), dtype=complex)
    around = weights.conj()[:, None] * weights / count
    for one in range(ways):
        for other in range(one, ways):
            worth = transfers[:, one].conj() * transfers[:, other]
            turned = sizes.swapaxes(1, 2)
            product = turned @ (worth.real[..., None] * sizes)
            if one != other:
                product = product + 1j * (turned @ (worth.imag[..., None] * sizes))
            forms[:, one, :, other] = product * around
            forms[:, other, :, one] = product.conj() * around
    return forms.reshape(bands, ways * every, -1)


def _squared(values: Complex) -> Real:
    """|values|^2, without the root in between."""
    return values.real**2 + values.imag**2


def read_fine(
    fit: RationalFit, centres: Real, reference: Reference, how: DirectionWeights
) -> FinePower:
    """Read power along closely spaced frequencies of some third octaves.

    Parameters
    ----------
    fit : RationalFit
        Its columns are those of the directions and then others, for each way.
    centres : (B,) array
        Exact centres, Hz.
    reference : Reference
    how : DirectionWeights
        Of the power in the directions.
    """
    grid = (centres[:, None] * 10.0 ** places_in_band(FINE_PER_BAND)).ravel()
    by_way = reference.drive(grid)
    known = _by_support(fit, len(by_way))[:, : len(how.sphere)]
    rows = (fit.coefficients(grid)[:, None, :] * by_way.T[:, :, None]).reshape(len(grid), -1)
    seen = how.shares.any(axis=0)

    def mean(weights: Real) -> Real:
        form = (known * weights).conj() @ known.T
        return np.sum((rows.conj() @ form) * rows, axis=1).real

    return FinePower(
        frequencies=grid,
        weights=how.weights,
        window=_squared(rows @ known[:, seen]) @ how.shares[:, seen].T,
        sphere=mean(how.sphere),
        above=mean(how.above),
        alone=np.abs(reference.alone(grid)) ** 2,
    )


def _by_support(fit: RationalFit, ways: int) -> Complex:
    """(W S, K) values of a fit at its supports, way by way."""
    by_way = fit.values.reshape(len(fit.support), ways, -1).transpose(1, 0, 2)
    return by_way.reshape(ways * len(fit.support), -1)


def _means(forms: Complex, known: Complex) -> Real:
    """(bands, K) mean |p|^2 over each band, all ways together."""
    there = forms @ known
    return np.maximum(np.sum(known.real * there.real + known.imag * there.imag, axis=1), 0.0)


def places_in_band(count: int) -> np.ndarray:
    """(N,) logarithms to base ten of places over the centre of their third octave."""
    return (np.arange(count) + 0.5) / (10.0 * count) - 0.05
