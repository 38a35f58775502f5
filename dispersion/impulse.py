"""From complex pressure on solved frequencies to an impulse response that starts in time.

Outside the solved band nothing is known. The pressure at the band's ends is held there and taken
away: below by a Butterworth high-pass an octave under the band, which rings on but not ahead, as
any loudspeaker's own roll-off does; above by half a cosine over a third octave, whose ringing ahead
is over within `lead`. Third octaves read back from the direct part are within 0.02 dB of the solved
ones on the examples.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE = 48_000
"""Samples a second."""
HIGH_PASS_ORDER = 4  # that of a vented box; a closed one has 2
FADE = 10.0**0.1
"""From the upper end of the band to silence: a third octave."""
PERIODS = 4.0
"""Of the band's lowest frequency that must fit behind the last arrival: the high-pass has rung down
by 40 dB by then."""
FADE_WIDTHS_AHEAD = 6.0
"""Inverse widths of the upper fade ahead of an arrival: what still rings there is cut away, which
leaves less than -60 dB beyond the fade."""
DELAY_STEP = 1e-3
"""Share of a frequency either way over which its group delay is taken: nothing that is heard rings
with a Q that this is wide for."""
LONGEST_S = 2.0  # a band from 5 Hz and an arrival a second late


class ImpulseError(ValueError):
    """An impulse response that would be too short or too long; the message says what fits."""


@dataclass(frozen=True)
class BandLimits:
    """Lower and upper end of what was solved, Hz, and what is done beyond.

    Attributes
    ----------
    low, high : float
    """

    low: float
    high: float

    @property
    def high_pass_hz(self) -> float:
        """Corner of the high-pass, an octave below the band; it takes 0.02 dB at its end."""
        return self.low / 2.0

    @property
    def silent_hz(self) -> float:
        """From here on up there is nothing."""
        return min(self.high * FADE, RATE / 2.0)

    @property
    def lead(self) -> float:
        """Seconds before an arrival in which the upper fade may ring."""
        return FADE_WIDTHS_AHEAD / (self.silent_hz - self.high)

    def shape(self, frequencies: NDArray[np.float64]) -> NDArray[np.complex128]:
        """High-pass and fade at frequencies in Hz, for exp(+i omega t), (N,)."""
        from scipy.signal import butter, freqs_zpk  # slow to load, and seldom needed

        corner = 2.0 * math.pi * self.high_pass_hz
        filter_ = butter(HIGH_PASS_ORDER, corner, "highpass", analog=True, output="zpk")
        _, passed = freqs_zpk(*filter_, worN=2.0 * math.pi * frequencies)
        share = (frequencies - self.high) / (self.silent_hz - self.high)
        return passed * (0.5 + 0.5 * np.cos(np.pi * np.clip(share, 0.0, 1.0)))


def least_length(limits: BandLimits, last_arrival: float) -> float:
    """Shortest impulse response that holds everything, seconds.

    The lead, the way of the last arrival from its start at the speaker, and `PERIODS` of the band's
    lowest frequency behind it.
    """
    return limits.lead + last_arrival + PERIODS / limits.low


def samples_for(limits: BandLimits, last_arrival: float, wanted: float | None) -> int:
    """Length in samples, the shortest one rounded up to a tenth of a second if none is wanted.

    Raises
    ------
    ImpulseError
        If what is wanted is too short for the last arrival and the lowest frequency, or anything
        is longer than `LONGEST_S`.
    """
    least = least_length(limits, last_arrival)
    length = math.ceil(10.0 * least) / 10.0 if wanted is None else wanted
    if length > LONGEST_S:
        raise ImpulseError(
            f"an impulse response of {length * 1e3:.0f} ms is too long: at most"
            f" {LONGEST_S * 1e3:.0f} ms"
        )
    if length < least:
        raise ImpulseError(
            f"an impulse response of {length * 1e3:.0f} ms is too short: the last arrival comes"
            f" {last_arrival * 1e3:.1f} ms after the start and {PERIODS:g} periods of"
            f" {limits.low:.0f} Hz must fit behind it, so take {math.ceil(least * 1e3)} ms or more"
        )
    return math.ceil(length * RATE)


def bins(samples: int) -> np.ndarray:
    """Frequencies on which the pressure is wanted, Hz, evenly spaced from 0 to half the rate.

    Their spacing is that of a response at least four times as long, so that what rings on beyond
    the end does not come round to the beginning.
    """
    return np.fft.rfftfreq(1 << (4 * samples - 1).bit_length(), 1.0 / RATE)


def impulse(
    pressure: NDArray[np.complex128],
    delay: float,
    limits: BandLimits,
    samples: int,
) -> tuple[NDArray[np.float64], float]:
    """Impulse response of one path.

    Parameters
    ----------
    pressure : (N,) complex array
        On `bins(samples)`, for exp(-i omega t), the phase of the delay taken off.
    delay : float
        From the start at the speaker to the arrival, seconds; any fraction of a sample.
    limits : BandLimits
        What was solved.
    samples : int
        As from `samples_for`.

    Returns
    -------
    response : (samples,) array
        Sample `round(limits.lead * RATE)` is the start. Nothing comes more than the lead ahead of
        the arrival: what the upper fade rings there is faded in.
    cut_db : float
        Energy that fell outside, over that of the whole, dB; -200 for silence.
    """
    frequencies = bins(samples)
    start = round(limits.lead * RATE)
    shift = np.exp(-2j * np.pi * frequencies * (delay + start / RATE))
    # The other sign of time's exponent.
    whole = np.fft.irfft(np.conj(pressure) * limits.shape(frequencies) * shift)
    kept = whole[:samples] * _causal_window(samples, start, delay)
    total = float(np.sum(whole**2))
    outside = (total - float(np.sum(kept**2))) / total if total else 0.0
    return kept, 10.0 * math.log10(max(outside, 1e-20))


def _causal_window(samples: int, start: int, delay: float) -> NDArray[np.float64]:
    """0 until the lead ahead of the arrival, half a cosine over half the lead, then 1."""
    since = (np.arange(samples) - delay * RATE) / start
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(2.0 * since, 0.0, 1.0))


def group_delay(
    pressure: Callable[[NDArray[np.float64]], NDArray[np.complex128]],
    frequencies: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Group delay of a pressure, d phase / d omega for exp(-i omega t), seconds.

    Parameters
    ----------
    pressure : callable
        (N,) frequencies in Hz -> (N,) complex pressure.
    frequencies : (N,) array
        Hz, above 0.

    Returns
    -------
    (N,) array
        By the phase between `DELAY_STEP` below and above each frequency. Averaged over a band with
        |p|^2 as weight it is the time at which the band's energy has its middle, by Parseval's
        theorem; at single frequencies within a notch it may be anything, less than 0 as well.
    """
    low, high = frequencies * (1.0 - DELAY_STEP), frequencies * (1.0 + DELAY_STEP)
    turned = np.angle(pressure(high) * np.conj(pressure(low)))
    return turned / (2.0 * np.pi * (high - low))
