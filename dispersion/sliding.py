"""What a listener gets and what no equaliser mends: parts in dB from sliding third octaves.

A fixed row of third octaves meets a narrow resonance in the middle of a band or on an edge by
chance: on the example the best keep moved between 22 and 31 mm when the row was shifted by twelfths
of a band. Here a band of that width slides along the frequency, so there is no row to shift, and
every octave counts alike. Four parts, each in dB, 0 perfect:

- coverage: rms of the level over the window's directions about the window's mean;
- steadiness: rms of the directivity index of the window about its own straight slope;
- residue: what an equaliser of one octave's width leaves of the window level, peaks counted double;
- boost: what that equaliser must lift in the treble.

No equaliser changes the first two: they are differences of levels at one frequency. ISO 3382-1
(2009, annex A; from memory) measures omnidirectional sources by the largest deviation of gliding
arcs of 30 degrees from the mean over all directions, in octave bands; ANSI/CTA-2034-A asks for
smooth sound power and early reflections beside a smooth listening window (see
`dispersion.cta_2034_a`), which is steadiness here. A peak is heard more readily than a notch of the
same size (common practice, no source), hence double.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from dispersion.elevations import (
    Array,
    checked,
    level_db,
    power_at,
    sphere_weights,
    window_nodes,
    zone_weights,
)

WIDTH = 0.1
"""Logarithm to base ten of the ratio of a third octave's edges."""
STEPS_PER_WIDTH = 12
"""Places of the sliding band from one third octave to the next."""
EQUALISER_OCTAVES = 1.0
"""Full width of the equaliser, and so of the smooth curve that it can make."""
MIDDLE_HZ = (500.0, 2000.0)
"""Middle of the curve, whose mean level the treble is held against; above it the treble begins:
common practice, no source."""
PEAKS_COUNT = 2.0
"""A peak's square over that of a notch of the same size."""


@dataclass(frozen=True, eq=False, kw_only=True)
class DirectionWeights:
    """How power on a grid of E elevations is read: sums with these weights.

    Attributes
    ----------
    shares : (M, E) array
        Of the grid's samples in each of the window's directions.
    weights : (M,) array
        Of these directions; they add up to 1.
    sphere, above : (E,) arrays
        Of the mean over the sphere, and of its part above the window.
    """

    shares: Array = field(repr=False)
    weights: Array = field(repr=False)
    sphere: Array = field(repr=False)
    above: Array = field(repr=False)


@dataclass(frozen=True, eq=False, kw_only=True)
class FinePower:
    """|p|^2 along closely spaced frequencies, and that of the driver alone, which is 0 dB.

    Attributes
    ----------
    frequencies : (N,) array
        Hz, evenly spaced on a logarithmic scale; each stands for the cell round it.
    weights : (M,) array
        Of the window's directions; they add up to 1.
    window : (N, M) array
        Power in the window's directions.
    sphere, above : (N,) arrays
        Mean over the sphere, and the share of it that leaves above the window.
    alone : (N,) array
        Power of the driver alone: levels are those of means over the mean of this.
    """

    frequencies: Array = field(repr=False)
    weights: Array = field(repr=False)
    window: Array = field(repr=False)
    sphere: Array = field(repr=False)
    above: Array = field(repr=False)
    alone: Array = field(repr=False)


@dataclass(frozen=True, eq=False, kw_only=True)
class SlidingBands:
    """Levels in a third octave that slides along the frequency, (N,) each.

    Attributes
    ----------
    centres : (N,) array
        Hz, evenly spaced on a logarithmic scale.
    window_level_db : (N,) array
        Mean power in the window.
    deviation_db : (N,) array
        Rms of the level over the window's directions about the window level.
    sound_power_db : (N,) array
        Mean power over the sphere.
    leak : (N,) array
        Share of the sound power above the window, 0 to 1.
    """

    centres: Array = field(repr=False)
    window_level_db: Array = field(repr=False)
    deviation_db: Array = field(repr=False)
    sound_power_db: Array = field(repr=False)
    leak: Array = field(repr=False)

    def above(self, low: float) -> SlidingBands:
        """Return the bands whose centre is not below a frequency, Hz; all if that leaves none."""
        kept = self.centres >= low * (1.0 - 1e-9)
        return self._made(lambda values: values[kept]) if kept.any() else self

    def changed(self, shares: Sequence[float], others: Sequence[SlidingBands]) -> SlidingBands:
        """Return these plus shares of what others, of the same centres, differ by."""

        def added(values: Array, *theirs: Array) -> Array:
            return values + sum(
                share * (each - values) for share, each in zip(shares, theirs, strict=True)
            )

        return self._made(added, others, centres=self.centres)

    def replaced(self, where: np.ndarray, other: SlidingBands) -> SlidingBands:
        """Return these with the values of another at some (N,) of the centres that it reaches."""
        ends = other.centres[[0, -1]]
        here = where & (self.centres >= ends[0]) & (self.centres <= ends[1])
        own, theirs = np.log(self.centres), np.log(other.centres)
        return self._made(
            lambda values, new: np.where(here, np.interp(own, theirs, new), values),
            [other],
            centres=self.centres,
        )

    def _made(
        self,
        of: Callable[..., Array],
        others: Sequence[SlidingBands] = (),
        centres: Array | None = None,
    ) -> SlidingBands:
        """The same function of every array, and of those of others."""
        each = (self, *others)
        return SlidingBands(
            centres=of(self.centres) if centres is None else centres,
            window_level_db=of(*(one.window_level_db for one in each)),
            deviation_db=of(*(one.deviation_db for one in each)),
            sound_power_db=of(*(one.sound_power_db for one in each)),
            leak=of(*(one.leak for one in each)),
        )

    @property
    def octaves(self) -> Array:
        """(N,) octaves above 1 kHz."""
        return np.log2(self.centres / 1000.0)

    @property
    def mean_leak(self) -> float:
        """Mean share of the sound power that leaves above the window, 0 to 1."""
        return float(self.leak.mean())

    @property
    def coverage_db(self) -> float:
        """Rms of the level over directions and frequencies about the window level, dB."""
        return float(np.sqrt(np.mean(self.deviation_db**2)))

    @property
    def steadiness_db(self) -> float:
        """Rms of window level less sound power about its own straight line over octaves, dB."""
        index = self.window_level_db - self.sound_power_db
        if len(index) < 2:
            return 0.0
        line = np.polynomial.Polynomial.fit(self.octaves, index, 1)
        return float(np.sqrt(np.mean((index - line(self.octaves)) ** 2)))

    @property
    def residue_db(self) -> float:
        """What the equaliser leaves of the window level, rms, the squares of peaks doubled, dB."""
        rest = self.window_level_db - self.smooth_db
        counts = np.where(rest > 0.0, PEAKS_COUNT, 1.0)
        return float(np.sqrt(np.mean(counts * rest**2)))

    @property
    def smooth_db(self) -> Array:
        """(N,) window level that an equaliser of one octave's width can follow, dB.

        A straight line fitted round each place, with weights cos^2 that end half an octave off.
        """
        apart = self.octaves[None, :] - self.octaves[:, None]
        weights = np.cos(np.pi * np.clip(apart / EQUALISER_OCTAVES, -0.5, 0.5)) ** 2
        total = weights.sum(axis=1)
        shift = (weights * apart).sum(axis=1) / total
        about = apart - shift[:, None]
        level = weights @ self.window_level_db / total
        spread = np.maximum((weights * about**2).sum(axis=1), np.finfo(float).tiny)
        slope = (weights * about) @ self.window_level_db / spread
        return level - slope * shift

    def boost_db(self, wanted_tilt: float) -> float:
        """Mean lift by the equaliser above 2 kHz, dB; 0 where the curve has no middle or treble.

        Parameters
        ----------
        wanted_tilt : float
            Slope that the window level is to have, dB per octave.
        """
        lift = self._lift_db(wanted_tilt)
        return float(lift.mean()) if lift.size else 0.0

    def hollow(self, wanted_tilt: float) -> tuple[float, float]:
        """Most that the equaliser must lift above 2 kHz, dB, and where, Hz; 0 dB if nothing."""
        lift = self._lift_db(wanted_tilt)
        if not lift.size:
            return 0.0, float(self.centres[-1])
        return float(lift.max()), float(self.centres[self.centres > MIDDLE_HZ[1]][lift.argmax()])

    def _lift_db(self, wanted_tilt: float) -> Array:
        """(N,) lift at each place of the treble, dB; empty without a middle or a treble."""
        low, high = MIDDLE_HZ
        middle = (self.centres >= low) & (self.centres <= high)
        if not middle.any():
            return np.empty(0)
        smooth = self.smooth_db - wanted_tilt * self.octaves
        return np.maximum(smooth[middle].mean() - smooth[self.centres > high], 0.0)


def direction_weights(elevations: ArrayLike, window: tuple[float, float]) -> DirectionWeights:
    """How power on the uniform grid of elevations is read for a window, all in degrees."""
    grid = np.asarray(elevations, dtype=float)
    nodes, weights = window_nodes(grid, window)
    return DirectionWeights(
        shares=power_at(np.eye(len(grid)), grid, nodes).T,
        weights=weights,
        sphere=sphere_weights(grid),
        above=zone_weights(grid, window[1], 90.0),
    )


def fine_power(
    frequencies: ArrayLike,
    elevations: ArrayLike,
    power: ArrayLike,
    window: tuple[float, float],
    alone: ArrayLike | None = None,
) -> FinePower:
    """Read power that was computed on a grid of frequencies and elevations.

    Parameters
    ----------
    frequencies : (N,) array_like
        Hz, evenly spaced on a logarithmic scale (`bands.study_frequencies`).
    elevations : (E,) array_like
        The uniform grid, degrees.
    power : (N, E) array_like
        |p|^2 relative to 0 dB.
    window : (float, float)
        Lower and upper elevation, degrees.
    alone : (N,) array_like, optional
        Power of the driver alone; the same everywhere if left out.
    """
    p, e = checked(power, elevations)
    own = np.ones(len(p)) if alone is None else np.asarray(alone, dtype=float)
    p, how = p * own[:, None], direction_weights(e, window)
    return FinePower(
        frequencies=np.asarray(frequencies, dtype=float),
        alone=own,
        weights=how.weights,
        window=p @ how.shares.T,
        sphere=p @ how.sphere,
        above=p @ how.above,
    )


def slide(fine: FinePower, low: float, high: float) -> SlidingBands:
    """Let a third octave slide from one centre to another.

    Parameters
    ----------
    fine : FinePower
    low, high : float
        Lowest and highest centre, Hz; narrowed to what the power holds whole bands of.
    """
    x = np.log10(fine.frequencies)
    step = (x[-1] - x[0]) / max(len(x) - 1, 1)
    edges = np.concatenate((x - 0.5 * step, [x[-1] + 0.5 * step]))
    first = max(np.log10(low), edges[0] + 0.5 * WIDTH)
    last = max(min(np.log10(high), edges[-1] - 0.5 * WIDTH), first)
    count = int(np.ceil((last - first) / WIDTH * STEPS_PER_WIDTH)) + 1
    centres = np.linspace(first, last, count)

    def mean(values: Array) -> Array:
        sums = np.concatenate((np.zeros_like(values[:1]), np.cumsum(values, axis=0))) * step
        upper, lower = (_at(centres + side * WIDTH, edges, sums) for side in (0.5, -0.5))
        return (upper - lower) / WIDTH

    alone = mean(fine.alone)
    inside, whole = mean(fine.window) / alone[:, None], mean(fine.sphere) / alone
    window_level = level_db(inside @ fine.weights)
    deviation = level_db(inside) - window_level[:, None]
    return SlidingBands(
        centres=10.0**centres,
        window_level_db=window_level,
        deviation_db=np.sqrt(deviation**2 @ fine.weights),
        sound_power_db=level_db(whole),
        leak=np.clip(mean(fine.above) / alone / np.maximum(whole, np.finfo(float).tiny), 0.0, 1.0),
    )


def _at(places: Array, edges: Array, sums: Array) -> Array:
    """Linear between the edges, along the first axis."""
    at = np.clip((places - edges[0]) / (edges[1] - edges[0]), 0.0, len(edges) - 1.0)
    left = np.minimum(at.astype(int), len(edges) - 2)
    share = (at - left).reshape(-1, *[1] * (sums.ndim - 1))
    return (1.0 - share) * sums[left] + share * sums[left + 1]


def joined(parts: Sequence[FinePower]) -> FinePower:
    """Join power of adjoining frequencies, ascending, of one window."""
    return FinePower(
        frequencies=np.concatenate([part.frequencies for part in parts]),
        weights=parts[0].weights,
        window=np.concatenate([part.window for part in parts]),
        sphere=np.concatenate([part.sphere for part in parts]),
        above=np.concatenate([part.above for part in parts]),
        alone=np.concatenate([part.alone for part in parts]),
    )
