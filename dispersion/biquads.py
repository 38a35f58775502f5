"""Second-order digital filters: shelves and peaking filters, as a browser makes them too.

Formulas of the W3C's Web Audio API, section "Filters characteristics" (BiquadFilterNode), in
which a shelf has the steepest slope that does not overshoot. A filter that is drawn here sounds in
a page as it is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Kind = Literal["low shelf", "high shelf", "peaking"]
RATE = 48_000
"""Samples a second at which the filters run."""


@dataclass(frozen=True)
class Biquad:
    """One filter.

    Attributes
    ----------
    kind : {"low shelf", "high shelf", "peaking"}
    frequency : float
        Middle of a peaking filter, or where a shelf has half of its gain in dB; Hz.
    gain_db : float
    q : float
        Frequency over bandwidth, of a peaking filter; a shelf has none.
    """

    kind: Kind
    frequency: float
    gain_db: float
    q: float = 1.0

    def coefficients(self, rate: float = RATE) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(3,) numerator and (3,) denominator in powers of 1/z, not normalised."""
        a = 10.0 ** (self.gain_db / 40.0)
        w = 2.0 * math.pi * self.frequency / rate
        c, s = math.cos(w), math.sin(w)
        if self.kind == "peaking":
            alpha = s / (2.0 * self.q)
            top = np.array([1.0 + alpha * a, -2.0 * c, 1.0 - alpha * a])
            return top, np.array([1.0 + alpha / a, -2.0 * c, 1.0 - alpha / a])
        # 2 alpha sqrt(A) with alpha = sin(w) / 2 sqrt(2), a slope of 1.
        k = s * math.sqrt(2.0) * math.sqrt(a)
        up, down = a + 1.0, a - 1.0
        sign = 1.0 if self.kind == "low shelf" else -1.0
        over, under = up - sign * down * c, up + sign * down * c
        top = a * np.array([over + k, 2.0 * (sign * down - up * c), over - k])
        return top, np.array([under + k, -2.0 * (sign * down + up * c), under - k])

    def level_db(self, frequencies: ArrayLike, rate: float = RATE) -> NDArray[np.float64]:
        """(N,) gain at frequencies, Hz, in dB."""
        return chain_db((self,), frequencies, rate)


def chain_db(
    filters: Sequence[Biquad], frequencies: ArrayLike, rate: float = RATE
) -> NDArray[np.float64]:
    """(N,) gain of filters one after the other at frequencies, Hz, in dB."""
    # |b0 + b1/z + b2/z^2|^2 in powers of sin^2(w/2), which loses no digits at low frequencies.
    s = np.sin(np.pi * np.asarray(frequencies, dtype=float) / rate) ** 2
    s2, gain = s * s, np.ones(np.shape(s))
    for one in filters:
        top, bottom = (
            (b0 + b1 + b2) ** 2
            - 4.0 * (b0 * b1 + 4.0 * b0 * b2 + b1 * b2) * s
            + 16.0 * b0 * b2 * s2
            for b0, b1, b2 in (part.tolist() for part in one.coefficients(rate))
        )
        gain *= top / bottom
    return 10.0 * np.log10(gain)
