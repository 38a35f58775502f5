"""Impulse responses at the seats: paths added in time, their bands compared with the input."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from dispersion.bands import band_index
from dispersion.impulse import RATE, BandLimits, impulse, least_length

WITHIN_DB = 0.1
"""Largest difference of a third octave of the direct part from the solver's curve, dB."""


@dataclass(frozen=True, eq=False, kw_only=True)
class SeatImpulse:
    """Impulse response at one seat: pressure by sample, `RATE` samples a second.

    The driver's own response is in it, phase and all: 1.0 is what constant acceleration makes of
    the driver's volume straight ahead in an endless baffle at 1 m, rho A / (2 pi 1 m), or the level
    that its measured curve calls 0 dB.

    Attributes
    ----------
    direct, whole : (N,) float32 arrays
        The direct sound alone, and together with every first bounce.
    start : int
        Sample at which the driver's own signal begins at the middle of the baffle.
    least_s : float
        Shortest length in which every path fits, seconds.
    limits : BandLimits
        Of the band that was solved.
    cut_db : float
        Largest share of a path's energy that fell outside these samples, dB.
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
    def length_ms(self) -> float:
        """Length of the response, ms."""
        return 1e3 * len(self.whole) / RATE

    @property
    def milliseconds(self) -> np.ndarray:
        """(N,) time after the direct sound's peak, ms."""
        peak = int(np.argmax(envelope(self.direct)))
        return (np.arange(len(self.direct)) - peak) * 1e3 / RATE

    @property
    def energy_time_db(self) -> np.ndarray:
        """(N,) envelope of the whole response re the peak of that of the direct sound, dB."""
        whole, peak = envelope(self.whole), envelope(self.direct).max()
        return 20.0 * np.log10(np.maximum(whole / peak, 1e-6))

    @property
    def steps(self) -> tuple[np.ndarray, np.ndarray]:
        """Step responses of the direct sound and of the whole, (N,) each.

        The running sum of the impulse response, over the largest value of the direct sound's. It
        falls back to nothing since nothing is solved below the band.
        """
        direct, whole = (np.cumsum(one, dtype=float) for one in (self.direct, self.whole))
        largest = np.abs(direct).max()
        return direct / largest, whole / largest


def envelope(response: np.ndarray) -> np.ndarray:
    """(N,) magnitude of the analytic signal of an impulse response (N,)."""
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
        One of the direct path and one of every bounce, on `frequencies`, distance and losses
        included, the phase of the delay taken off.
    delays : sequence of float
        Of each path from the middle of the baffle, seconds.
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
        direct=direct,
        whole=whole,
        start=round(limits.lead * RATE),
        least_s=least_length(limits, max(delays)),
        limits=limits,
        cut_db=max(cut for _, cut in found),
        off_db=_difference_db(direct, pressures[0], limits, frequencies),
    )


def _difference_db(
    response: np.ndarray, pressure: np.ndarray, limits: BandLimits, frequencies: np.ndarray
) -> float:
    """Largest difference of a third octave of a response from the pressure it was made from, dB."""
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
