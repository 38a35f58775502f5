"""Impulse responses at the seats: the paths added in time, and held against what went in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from dispersion.bands import band_index
from dispersion.impulse import RATE, BandLimits, impulse, least_length

WITHIN_DB = 0.1
"""What a third octave of the direct part may differ by from the solver's curve."""


@dataclass(frozen=True, eq=False)
class SeatImpulse:
    """Impulse response at one seat, 1.0 being the house's 0 dB at 1 m.

    Attributes
    ----------
    direct, whole : (N,) float32 arrays
        The direct sound alone, and with every first bounce.
    start : int
        Sample at which the driver's own signal begins at the middle of the baffle.
    least_s : float
        Shortest length that was allowed, seconds.
    limits : BandLimits
    cut_db : float
        Largest share of a path's energy that fell outside the file, dB.
    off_db : float
        Largest difference of a third octave between the direct part, read back, and the solver's
        curve, dB.
    """

    direct: np.ndarray = field(repr=False)
    whole: np.ndarray = field(repr=False)
    start: int
    least_s: float
    limits: BandLimits
    cut_db: float
    off_db: float

    @property
    def milliseconds(self) -> np.ndarray:
        """(N,) time after the direct sound's peak, ms."""
        peak = int(np.argmax(envelope(self.direct)))
        return (np.arange(len(self.direct)) - peak) * 1e3 / RATE

    @property
    def energy_time_db(self) -> np.ndarray:
        """(N,) envelope of the whole over the peak of the direct sound's, dB."""
        whole, peak = envelope(self.whole), envelope(self.direct).max()
        return 20.0 * np.log10(np.maximum(whole / peak, 1e-6))


def envelope(response: np.ndarray) -> np.ndarray:
    """Magnitude of the analytic signal of an impulse response."""
    from scipy.signal import hilbert  # slow to load, and seldom needed

    return np.abs(hilbert(np.asarray(response, dtype=float)))


def seat_impulse(
    pressures: Sequence[np.ndarray],
    delays: Sequence[float],
    limits: BandLimits,
    samples: int,
    frequencies: np.ndarray,
) -> SeatImpulse:
    """Add the paths of a seat in time.

    Parameters
    ----------
    pressures : sequence of (N,) complex arrays
        Of the direct path and every bounce, on `frequencies`, distance and losses included, the
        phase of the delay taken off.
    delays : sequence of float
        From the middle of the baffle, seconds.
    limits : BandLimits
    samples : int
    frequencies : (N,) array
        `dispersion.impulse.bins(samples)`.
    """
    found = [
        impulse(pressure, delay, limits, samples)
        for pressure, delay in zip(pressures, delays, strict=True)
    ]
    direct = found[0][0].astype(np.float32)
    whole = np.sum([response for response, _ in found], axis=0).astype(np.float32)
    return SeatImpulse(
        direct,
        whole,
        round(limits.lead * RATE),
        least_length(limits, max(delays)),
        limits,
        max(cut for _, cut in found),
        _difference_db(direct, pressures[0], limits, frequencies),
    )


def _difference_db(
    response: np.ndarray, pressure: np.ndarray, limits: BandLimits, frequencies: np.ndarray
) -> float:
    """Read the third octaves back and hold them against what went in."""
    spectrum = np.abs(np.fft.rfft(response, 2 * (len(frequencies) - 1))) ** 2
    inside = (frequencies >= limits.low) & (frequencies < limits.high)
    # Whole bands only, as pink noise reads them.
    number = band_index(frequencies[inside])
    weight = 1.0 / frequencies[inside]
    got, meant = (
        np.bincount(number - number[0], weight * power)
        for power in (spectrum[inside], np.abs(pressure[inside]) ** 2)
    )
    return float(np.max(np.abs(10.0 * np.log10(got[meant > 0] / meant[meant > 0]))))
