"""Impulse responses at the seats: WAV files, each pair with a document that says what it is."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dispersion.bands import band_index
from dispersion.impulse import (
    HIGH_PASS_ORDER,
    PERIODS,
    RATE,
    BandLimits,
    impulse,
    least_length,
)
from studies.design import Design
from studies.release import version

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


def wav_bytes(response: np.ndarray) -> bytes:
    """Write a mono WAV file of 32-bit floating-point samples."""
    from scipy.io import wavfile

    file = io.BytesIO()
    wavfile.write(file, RATE, response)
    return file.getvalue()


def companion(design: Design, number: int, about: dict[str, Any], impulse: SeatImpulse) -> bytes:
    """Say in JSON what the two WAV files of a seat hold."""
    limits = impulse.limits
    document = {
        "roundcast": version(),
        "design": {
            "title": design.title,
            "file": str(design.path),
            "fingerprint": design.fingerprint,
        },
        "files": {
            f"seat-{number}-direct.wav": "the direct sound alone, free field",
            f"seat-{number}.wav": "the direct sound and the first bounces of the surfaces below",
        },
        "sample_rate_hz": RATE,
        "samples": len(impulse.whole),
        "format": "mono, 32-bit floating point",
        "level": "1.0 is 0 dB: the driver's own on-axis curve in an endless wall, at 1 m",
        "start_sample": impulse.start,
        "start": "sample at which the driver's signal begins, at the middle of the baffle",
        "shortest_length_ms": math.ceil(impulse.least_s * 1e3),
        "length_rule": f"start, way of the latest bounce, and {PERIODS:g} periods of"
        f" {limits.low:.0f} Hz",
        "band_hz": [round(limits.low, 3), round(limits.high, 3)],
        "below": "not solved: the value at the band's end, through a Butterworth high-pass of"
        f" order {HIGH_PASS_ORDER} at {limits.high_pass_hz:.1f} Hz",
        "above": f"not solved: faded out up to {limits.silent_hz:.0f} Hz",
        "energy_cut_off_db": round(impulse.cut_db, 2),
        "direct_off_by_db": round(impulse.off_db, 4),
        **about,
    }
    return (json.dumps(document, indent=1, allow_nan=False) + "\n").encode()
