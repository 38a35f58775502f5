"""Traced rays counted: shares of the energy by direction and history, at any frequency.

Where a ray goes does not depend on frequency, so rays are weighed anew through their launch
angle: each narrow step of it carries exactly its share of the angular weight, divided among its
rays by the sine of their angle. The energy is therefore kept to rounding. Replicates are
independent; their spread is the statistical error.
"""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from dispersion.elevations import sound_power
from dispersion.paths import tracing
from dispersion.paths.scene import GROUPS

Array = np.ndarray
Weight = Literal["piston", "cosine"]

WORDS = 4
"""Histories with up to this many bounces are counted by their surfaces, others by their number."""

LAUNCH_STEPS = 256
"""Steps of the launch angle from straight up to level: about a third of a degree each."""

BIN_DEG = 2.0
"""Width of an elevation bin."""

AZIMUTH_BIN_DEG = 5.0


class RayError(ValueError):
    """Rays that cannot be traced; the message holds the remedy."""


@dataclass(frozen=True, order=True)
class History:
    """What happened to a ray: bounces, the surface groups met in order, whether still trapped.

    `groups` is empty for rays with more than `WORDS` bounces.
    """

    trapped: bool
    bounces: int
    groups: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Say it, "baffle, reflector"."""
        if self.trapped:
            return "trapped"
        if self.bounces == 0:
            return "straight out"
        return ", ".join(self.groups) if self.groups else f"{self.bounces} bounces"


@dataclass(frozen=True, eq=False, kw_only=True)
class RayTrace:
    """Rays followed to their end; independent of frequency.

    Attributes
    ----------
    launch_deg : (N,) array
        Launch angle from straight up, degrees.
    replicate : (N,) whole-number array
        To which scramble a ray belongs.
    elevation_deg, azimuth_deg : (N,) arrays
        Direction of leaving.
    path : (N,) array
        Length up to the last bounce, metres.
    bounces : (N,) whole-number array
    trapped : (N,) array of bool
        Still inside after the largest number of bounces.
    codes : (N,) whole-number array
        Surface groups met, three bits each, the first in the highest.
    """

    launch_deg: Array = field(repr=False)
    replicate: Array = field(repr=False)
    elevation_deg: Array = field(repr=False)
    azimuth_deg: Array = field(repr=False)
    path: Array = field(repr=False)
    bounces: Array = field(repr=False)
    trapped: Array = field(repr=False)
    codes: Array = field(repr=False)

    @property
    def rays(self) -> int:
        """Number of rays."""
        return len(self.launch_deg)

    @property
    def hits(self) -> int:
        """Number of reflections traced."""
        return int(self.bounces.sum())


@dataclass(frozen=True, eq=False, kw_only=True)
class RayResult:
    """Shares of one way's energy by direction and history.

    F frequencies, B elevation bins, A azimuth bins, H histories. Shares by elevation, or by
    azimuth, and `trapped` add up to 1; so do those by history, which hold the trapped rays.
    An error is one standard deviation of the share, from independent replicates.

    Attributes
    ----------
    frequencies : (F,) array
        Hz.
    power : (F,) array
        Integral of the angular weight over the half space, steradian.
    elevation_edges, azimuth_edges : (B + 1,), (A + 1,) arrays
        Degrees.
    by_elevation, elevation_error : (F, B) arrays
    by_azimuth, azimuth_error : (F, A) arrays
    histories : tuple of History
        The most frequent first.
    by_history, history_error : (F, H) arrays
    trapped : (F,) array
    rays, hits : int
        Rays traced, and their reflections.
    """

    frequencies: Array = field(repr=False)
    power: Array = field(repr=False)
    elevation_edges: Array = field(repr=False)
    by_elevation: Array = field(repr=False)
    elevation_error: Array = field(repr=False)
    azimuth_edges: Array = field(repr=False)
    by_azimuth: Array = field(repr=False)
    azimuth_error: Array = field(repr=False)
    histories: tuple[History, ...] = field(repr=False)
    by_history: Array = field(repr=False)
    history_error: Array = field(repr=False)
    trapped: Array = field(repr=False)
    rays: int
    hits: int


def weigh(
    trace: RayTrace,
    frequencies: Array,
    radii: Array,
    speed: float,
    weight: Weight = "piston",
    window_deg: tuple[float, float] = (-90.0, 90.0),
) -> RayResult:
    """Give every ray its energy at each frequency, and count.

    Parameters
    ----------
    trace : RayTrace
    frequencies, radii : (F,) arrays
        Hz, and the radiating radius at each, metres.
    speed : float
        Of sound, m/s.
    weight : {"piston", "cosine"}
        Power by launch angle: D(theta)^2 or cos(theta).
    window_deg : (float, float)
        Elevations that count for the shares by azimuth, which then add up to the window's share.
    """
    frequencies = np.asarray(frequencies, dtype=float)
    elevation_edges = np.linspace(-90.0, 90.0, round(180 / BIN_DEG) + 1)
    azimuth_edges = np.linspace(0.0, 360.0, round(360 / AZIMUTH_BIN_DEG) + 1)
    steps = _launch_steps(trace)
    launched = _launched(steps, frequencies, np.asarray(radii), speed, weight)
    power = launched.sum(axis=1)
    shares = launched / power[:, None]
    free = ~trace.trapped
    inside = (trace.elevation_deg >= window_deg[0]) & (trace.elevation_deg <= window_deg[1])
    histories, numbers = _histories(trace)
    elevation, elevation_error = _spread(
        trace, shares, _bin(trace.elevation_deg, elevation_edges), elevation_edges.size - 1, free
    )
    azimuth, azimuth_error = _spread(
        trace,
        shares,
        _bin(trace.azimuth_deg, azimuth_edges),
        azimuth_edges.size - 1,
        free & inside,
    )
    history, history_error = _spread(trace, shares, numbers, len(histories))
    order = np.argsort(-history.mean(axis=0), kind="stable")
    lost = [n for n, each in enumerate(histories) if each.trapped]
    return RayResult(
        frequencies=frequencies,
        power=power,
        elevation_edges=elevation_edges,
        by_elevation=elevation,
        elevation_error=elevation_error,
        azimuth_edges=azimuth_edges,
        by_azimuth=azimuth,
        azimuth_error=azimuth_error,
        histories=tuple(histories[n] for n in order),
        by_history=history[:, order],
        history_error=history_error[:, order],
        trapped=history[:, lost].sum(axis=1),
        rays=trace.rays,
        hits=trace.hits,
    )


def density(
    trace: RayTrace,
    frequencies: Array,
    radii: Array,
    speed: float,
    elevations: Array,
    weight: Weight = "piston",
) -> tuple[Array, Array, Array]:
    """Power by elevation on a uniform grid, mean over azimuth; 1 is a piston's axis in a baffle.

    Each value is the mean over `BIN_DEG` about its elevation. One factor per frequency then makes
    the integral over the sphere (`elevations.sound_power`) the power that left, so that none is
    lost or made.

    Parameters
    ----------
    trace, frequencies, radii, speed, weight
        See `weigh`.
    elevations : (E,) array
        Degrees, uniform from -90 to 90.

    Returns
    -------
    power : (F, E) array
    error : (F, E) array
        Standard error of the power, from the replicates; nan with a single ray.
    left : (F,) array
        Share of the launched power that left.
    """
    step = elevations[1] - elevations[0]
    edges = np.clip(np.arange(elevations.size + 1) * step - 90.0 - step / 2, -90.0, 90.0)
    launched = _launched(
        _launch_steps(trace), np.asarray(frequencies), np.asarray(radii), speed, weight
    )
    cells = _bin(trace.elevation_deg, edges)
    energy = _by_replicate(trace, launched, cells, elevations.size, ~trace.trapped)
    left = energy.sum(axis=2).mean(axis=0)
    power, error = _mean_and_error(energy @ _window_means(edges, elevations))
    whole = sound_power(power, elevations)
    scale = np.divide(left, whole, out=np.zeros_like(left), where=whole > 0)[:, None]
    return power * scale, error * scale, left / launched.sum(axis=1)


def _window_means(edges: Array, elevations: Array) -> Array:
    """Matrix from energy by cell to its mean density over `BIN_DEG` about each elevation.

    Within a cell the energy is taken as even over its solid angle.
    """
    low, high = (
        np.sin(np.radians(np.clip(elevations + side * BIN_DEG / 2, -90.0, 90.0)))
        for side in (-1.0, 1.0)
    )
    sines = np.sin(np.radians(edges))
    # Share of each cell that lies below a sine.
    below = [
        np.clip((at[None, :] - sines[:-1, None]) / np.diff(sines)[:, None], 0.0, 1.0)
        for at in (low, high)
    ]
    return (below[1] - below[0]) / (2.0 * math.pi * (high - low))


def history_of(bounces: int, code: int, *, trapped: bool) -> History:
    """Spell out the groups of a ray with few bounces, three bits each, the first in the highest."""
    bits = tracing.GROUP_BITS
    shifts = range(bits * (bounces - 1), -1, -bits) if bounces <= WORDS else ()
    return History(
        trapped=trapped,
        bounces=bounces,
        groups=tuple(GROUPS[((code >> shift) & ((1 << bits) - 1)) - 1] for shift in shifts),
    )


def _launch_steps(trace: RayTrace) -> int:
    """Steps of the launch angle: a power of two, each with some rays of every replicate."""
    least = int(np.bincount(trace.replicate).min())
    return min(LAUNCH_STEPS, 2 ** max(int(math.log2(least)) - 2, 0))


def _launched(steps: int, frequencies: Array, radii: Array, speed: float, weight: str) -> Array:
    """Integral of the angular weight over each step of the launch angle, (F, L), steradian."""
    from scipy.special import j1

    nodes, weights = np.polynomial.legendre.leggauss(16 if steps >= 32 else 512 // steps)
    width = 0.5 * math.pi / steps
    theta = width * (np.arange(steps)[:, None] + 0.5 * (1.0 + nodes))
    solid = math.pi * width * weights * np.sin(theta)
    if weight == "cosine":
        return np.tile((np.cos(theta) * solid).sum(axis=1), (frequencies.size, 1))
    if weight != "piston":
        raise RayError(f"unknown angular weight {weight!r}: choose piston or cosine.")
    x = (2.0 * math.pi * frequencies / speed * radii)[:, None, None] * np.sin(theta)
    return ((2.0 * j1(x) / x) ** 2 * solid).sum(axis=2)


def _spread(
    trace: RayTrace, launched: Array, numbers: Array, count: int, counted: Array | None = None
) -> tuple[Array, Array]:
    """Energy by number of a bin, (F, count), and its standard error over the replicates."""
    return _mean_and_error(_by_replicate(trace, launched, numbers, count, counted))


def _by_replicate(
    trace: RayTrace, launched: Array, numbers: Array, count: int, counted: Array | None = None
) -> Array:
    """Energy by replicate, frequency and number of a bin, (R, F, count)."""
    steps, replicates = launched.shape[1], int(trace.replicate[-1]) + 1
    step = np.minimum((trace.launch_deg * (steps / 90.0)).astype(np.int64), steps - 1)
    cell = trace.replicate * steps + step
    sine = np.sin(np.radians(trace.launch_deg))
    share = sine / np.bincount(cell, sine, replicates * steps)[cell]
    if counted is not None:
        cell, numbers, share = cell[counted], numbers[counted], share[counted]
    by_cell = np.bincount(cell * count + numbers, share, replicates * steps * count)
    return launched @ by_cell.reshape(replicates, steps, count)


def _mean_and_error(values: Array) -> tuple[Array, Array]:
    """Mean over the first axis and its standard error; nan if there is but one."""
    if len(values) == 1:
        return values[0], np.full(values.shape[1:], np.nan)
    return values.mean(axis=0), values.std(axis=0, ddof=1) / math.sqrt(len(values))


def _bin(values: Array, edges: Array) -> Array:
    return np.clip(np.searchsorted(edges, values, side="right") - 1, 0, edges.size - 2)


def _histories(trace: RayTrace) -> tuple[list[History], Array]:
    """Different histories, and the number of each ray's."""
    few = trace.bounces <= WORDS
    # A ray's groups fill less than 3 bits times WORDS; above them the bounces, above all the trap.
    groups = np.where(few & ~trace.trapped, trace.codes, 0)
    bounces = np.where(trace.trapped, 0, trace.bounces)
    low = tracing.GROUP_BITS * WORDS
    keys, numbers = np.unique(
        (trace.trapped.astype(np.int64) << 60) | (bounces << low) | groups, return_inverse=True
    )
    histories = [
        history_of((key & ((1 << 60) - 1)) >> low, key & ((1 << low) - 1), trapped=bool(key >> 60))
        for key in keys.tolist()
    ]
    return histories, numbers
