"""What 0 dB is: the driver itself, flush in an endless rigid baffle, straight ahead.

All its ways count, as they add there with crossovers, levels and curves. A way without a measured
curve moves with constant acceleration and gives what its own cone makes of that; one with a curve
gives that curve, since a curve is measured so: its cone is in the curve already, and is taken out
of how the diaphragm moves. So a curve counts the cone once, and the driver by itself is 0 dB
whatever its curve.

0 dB has a phase, that of the driver alone less the distance's: pressure over it is the response of
column and reflector to the driver's own sound, and causal as that is. Over its size alone it would
begin before the sound does. Where the sound itself is meant (an impulse response, pascals) the
driver alone is multiplied in again. Fits in frequency are made of each way's own pressure, before
any of this.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache, partial

import numpy as np

from dispersion.bands import REFERENCE, band_index
from dispersion.rational import Complex, Real
from dispersion.sources import Way

FAINTEST = 0.01
"""The sum of the ways over what they would give without phase, 40 dB below: where they cancel, 0 dB
falls no deeper."""
PLACES = 24
"""Frequencies of a third octave at which its mean is taken."""

Flush = Callable[[Real], Complex]
"""(N,) frequencies in Hz -> (W, N) what each way gives flush in an endless baffle, straight ahead,
r p exp(-ikr) over rho A / (2 pi), A being the volume acceleration of its surface."""


def flat(ways: int) -> Flush:
    """Ways that are flat pistons in the baffle: 1 at every frequency."""
    return partial(_ones, ways)


def _ones(ways: int, frequencies: Real) -> Complex:
    return np.ones((ways, len(frequencies)), dtype=complex)


@dataclass(frozen=True)
class Reference:
    """The driver alone, and what its ways do to their surfaces.

    Attributes
    ----------
    ways : tuple of Way
    flush : callable
        See `Flush`.
    """

    ways: tuple[Way, ...]
    flush: Flush = field(repr=False)

    def drive(self, frequencies: Real) -> Complex:
        """(W, N) volume acceleration of each way by crossover, level and curve, 1 without any."""
        curved = any(way.curve is not None for way in self.ways)
        return self._drive(frequencies, self.flush(frequencies) if curved else None)

    def alone(self, frequencies: Real) -> Complex:
        """(N,) 0 dB: the driver alone, over rho A / (2 pi) of a way at 0 dB without a curve."""
        return _alone(self, np.asarray(frequencies, dtype=float).tobytes())

    def _found_alone(self, frequencies: Real) -> Complex:
        flush = self.flush(frequencies)
        each = self._drive(frequencies, flush) * flush
        least = FAINTEST * np.linalg.norm(each, axis=0)
        together = each.sum(axis=0)
        size = np.abs(together)
        with np.errstate(divide="ignore", invalid="ignore"):
            held = np.where(size > 0.0, together / size * least, least)
        return np.where(size > least, together, held)

    def transfer(self, frequencies: Real) -> Complex:
        """(W, N) the drive of each way over what the driver gives alone, at each frequency."""
        return self.drive(frequencies) / self.alone(frequencies)

    def in_bands(self, frequencies: Real) -> Complex:
        """(W, N) the same over the rms of the driver alone in the third octave of each."""
        return _in_bands(self, np.asarray(frequencies, dtype=float).tobytes())

    def rms_in_band(self, frequencies: Real) -> Real:
        """(N,) rms of the driver alone over the third octave that holds each frequency."""
        bands, place = np.unique(band_index(frequencies), return_inverse=True)
        return np.array([_rms_in_band(self, int(band)) for band in bands])[place]

    def _drive(self, frequencies: Real, flush: Complex | None) -> Complex:
        drive = np.array([way.transfer(frequencies) for way in self.ways])
        for number, way in enumerate(self.ways):
            if way.curve is not None and flush is not None:
                # A curve without a phase leaves that of the cone.
                told = way.curve.phases_deg is not None
                drive[number] /= flush[number] if told else np.abs(flush[number])
        return drive


@lru_cache(maxsize=256)
def _alone(reference: Reference, frequencies: bytes) -> Complex:
    """`Reference.alone`, remembered: many designs are read at the same places."""
    found = reference._found_alone(np.frombuffer(frequencies))
    found.setflags(write=False)
    return found


@lru_cache(maxsize=512)
def _in_bands(reference: Reference, frequencies: bytes) -> Complex:
    """`Reference.in_bands`, remembered as `_alone` is."""
    f = np.frombuffer(frequencies)
    found = reference.drive(f) / reference.rms_in_band(f)
    found.setflags(write=False)
    return found


@lru_cache(maxsize=4096)
def _rms_in_band(reference: Reference, band: int) -> float:
    """Of what the driver gives alone, over a third octave by its number."""
    places = (np.arange(PLACES) + 0.5) / PLACES - 0.5
    alone = reference.alone(REFERENCE * 10.0 ** ((band + places) / 10.0))
    return float(np.sqrt(np.mean(np.abs(alone) ** 2)))
