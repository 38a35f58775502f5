"""Group delay of the direct sound at a seat: what arrives later than the rest, and if it is heard.

What is just audible are the thresholds of Blauert & Laws, J. Acoust. Soc. Am. 63, 1478 (1978) [from
memory], for clicks on headphones: 3.2 ms at 500 Hz, 2 ms at 1 kHz, 1 ms at 2 kHz, 1.5 ms at 4 kHz
and 2 ms at 8 kHz; in between they are read on the logarithm of frequency.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from dispersion.bands import band_means
from dispersion.impulse import group_delay

AUDIBLE_HZ = (500.0, 1000.0, 2000.0, 4000.0, 8000.0)
AUDIBLE_S = (3.2e-3, 2.0e-3, 1.0e-3, 1.5e-3, 2.0e-3)
ROUNDED = 1.01
"""Exact centres of bands lie this near to the nominal ones above."""
SHOWN = 2.0
"""Times the largest threshold that a picture shows at most."""

Curve = Callable[[np.ndarray], np.ndarray]
"""(N,) frequencies in Hz -> (N,) complex pressure for exp(-i omega t), the distance's phase off."""


@dataclass(frozen=True, eq=False, kw_only=True)
class SeatDelays:
    """Group delay of the direct sound at one seat, the distance's own left out.

    Attributes
    ----------
    frequencies : (F,) array
        Hz.
    curve_s : (F,) array
        At each frequency, s.
    centres : (B,) array
        Third-octave bands, Hz.
    whole_s : (B,) array
        Mean over the band with the energy as weight, s: when the band's energy has its middle.
    driver_s : (B,) array
        The same of the driver by itself, flush in an endless wall: crossover, cone, curve.
    """

    frequencies: np.ndarray = field(repr=False)
    curve_s: np.ndarray = field(repr=False)
    centres: np.ndarray
    whole_s: np.ndarray
    driver_s: np.ndarray

    @property
    def audible_s(self) -> np.ndarray:
        """(B,) group delay that is just audible, s; nan where nothing was published."""
        low, high = AUDIBLE_HZ[0] / ROUNDED, AUDIBLE_HZ[-1] * ROUNDED
        told = (self.centres >= low) & (self.centres <= high)
        found = np.interp(np.log(self.centres), np.log(AUDIBLE_HZ), AUDIBLE_S)
        return np.where(told, found, np.nan)

    @property
    def late_s(self) -> np.ndarray:
        """(B,) group delay less its median over the bands for which a threshold is known, s."""
        return self.whole_s - self._middle_s

    @property
    def _middle_s(self) -> float:
        told = np.isfinite(self.audible_s)
        return float(np.median(self.whole_s[told] if told.any() else self.whole_s))

    @property
    def limits_s(self) -> tuple[np.ndarray, np.ndarray]:
        """Least and most group delay that is not heard, (B,) each, s; nan where it is not known."""
        return self._middle_s - self.audible_s, self._middle_s + self.audible_s

    @property
    def span_s(self) -> tuple[float, float]:
        """What a picture shows: the limits, and the bands within twice as much, s."""
        reach = SHOWN * AUDIBLE_S[0]
        most = min(float(np.abs(self.late_s).max()), reach)
        half = 1.1 * max(most, AUDIBLE_S[0])
        return self._middle_s - half, self._middle_s + half

    @property
    def worst(self) -> int | None:
        """Band whose delay comes nearest to its threshold or is most above it; None without any."""
        share = np.abs(self.late_s) / self.audible_s
        return None if np.all(np.isnan(share)) else int(np.nanargmax(share))


def seat_delays(heard: Curve, driver: Curve, frequencies: np.ndarray) -> SeatDelays:
    """Take group delays of what is heard and of the driver by itself.

    Parameters
    ----------
    heard, driver : callable
        Direct sound at the seat, the driver's own response included, and the driver alone.
    frequencies : (F,) array
        Hz, evenly spaced on a logarithmic scale, four or more in each third octave.
    """
    curve, own = (group_delay(one, frequencies) for one in (heard, driver))
    powers = (np.abs(one(frequencies)) ** 2 for one in (heard, driver))
    (centres, whole), (_, alone) = (
        _by_energy(frequencies, delay, power)
        for delay, power in zip((curve, own), powers, strict=True)
    )
    return SeatDelays(
        frequencies=frequencies, curve_s=curve, centres=centres, whole_s=whole, driver_s=alone
    )


def _by_energy(
    frequencies: np.ndarray, delay: np.ndarray, power: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    centres, means = band_means(frequencies, np.column_stack((delay * power, power)))
    return centres, means[:, 0] / means[:, 1]
