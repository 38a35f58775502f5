"""Impulse responses at the seats as WAV files, each pair with a document that says what it is."""

from __future__ import annotations

import io
import json
import math
from typing import Any

import numpy as np

from dispersion.impulse import HIGH_PASS_ORDER, PERIODS, RATE, BandLimits
from studies.answer.exports import named
from studies.answer.release import version
from studies.questions.seat.impulses import SeatImpulse
from studies.questions.seat.listener import Arrival, Listener
from studies.questions.seat.study import SeatStudy

FORMAT = "roundcast impulse 1"


def seat_files(study: SeatStudy) -> dict[str, bytes]:
    """Make two WAV files and a JSON document for each seat.

    Returns
    -------
    dict of str to bytes
        ``seat-1.wav`` (direct sound and bounces), ``seat-1-direct.wav``, ``seat-1.json`` and so on,
        in the order of the seats in the file.
    """
    files: dict[str, bytes] = {}
    for number, listener in enumerate(study.listeners, start=1):
        document = impulse_document(study, listener, number)
        files |= {
            f"seat-{number}.wav": wav_bytes(listener.impulse.whole),
            f"seat-{number}-direct.wav": wav_bytes(listener.impulse.direct),
            f"seat-{number}.json": (
                json.dumps(document, indent=1, allow_nan=False) + "\n"
            ).encode(),
        }
    return files


def wav_bytes(response: np.ndarray) -> bytes:
    """Write float32 samples as a mono WAV file of 32-bit floating point."""
    from scipy.io import wavfile  # slow to load, and seldom needed

    file = io.BytesIO()
    wavfile.write(file, RATE, response)
    return file.getvalue()


def impulse_document(study: SeatStudy, listener: Listener, number: int) -> dict[str, Any]:
    """Describe the two WAV files of the seat with this number, as a document ready for JSON."""
    sitter, found = listener.sitter, listener.impulse
    return {
        "format": FORMAT,
        "roundcast": version(),
        "design": named(study.design),
        "seat": {
            "name": listener.name,
            "ear_height_m": sitter.seat.ear_height,
            "distance_m": sitter.seat.r,
        },
        "files": {
            f"seat-{number}-direct.wav": "the direct sound alone, in free air",
            f"seat-{number}.wav": "the direct sound and the first bounce of every surface below",
        },
        "sample_rate_hz": RATE,
        "samples": len(found.whole),
        "encoding": "mono, 32-bit floating point",
        "level": "the driver's own response is in it, phase and all: 1.0 is its level in the bass,"
        " straight ahead in an endless wall at 1 m, or the level that its measured curve calls"
        " 0 dB",
        "start_sample": found.start,
        "start": "sample at which the driver's signal begins, at the middle of the baffle",
        "arrivals": [_arrival(one, study.design.air.speed) for one in listener.arrivals],
        **_limits(found.limits),
        **_kept(found),
    }


def _arrival(arrival: Arrival, speed: float) -> dict[str, Any]:
    path = arrival.path
    return {
        "surface": path.surface,
        "delay_ms": round(path.delay_ms, 6),
        "delay_samples": round(path.delay_s * RATE, 3),
        "path_m": round(path.path_m, 6),
        "flight_samples": round(path.path_m / speed * RATE, 3),
        "azimuth_deg": round(path.azimuth_deg, 3),
        "elevation_deg": round(path.elevation_deg, 3),
    }


def _limits(limits: BandLimits) -> dict[str, Any]:
    return {
        "band_hz": [round(limits.low, 3), round(limits.high, 3)],
        "below": "not solved: the value at the band's end, through a Butterworth high-pass of order"
        f" {HIGH_PASS_ORDER} at {limits.high_pass_hz:.1f} Hz",
        "above": f"not solved: faded out up to {limits.silent_hz:.0f} Hz",
    }


def _kept(found: SeatImpulse) -> dict[str, Any]:
    return {
        "shortest_length_ms": math.ceil(1e3 * found.least_s),
        "length_rule": "from the start to the latest bounce, and"
        f" {PERIODS:g} periods of {found.limits.low:.0f} Hz behind it",
        "energy_cut_off_db": round(found.cut_db, 2),
        "direct_off_by_db": round(found.off_db, 4),
    }
