"""What moves, and how: crossovers, measured driver curves and a cone that lets go.

Everything follows the time factor exp(-i omega t): a delay turns the phase forward, and a filter
is the complex conjugate of the textbook's, which is written for exp(+j omega t).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.air import Air
from dispersion.driver_curve import DriverCurve

STEEPEST_ORDER = 16  # 96 dB an octave
ZERO_PA = 20e-6
"""What 0 dB of sound pressure level is, Pa rms."""


class SourceError(ValueError):
    """A source that cannot be; the message says why."""


@dataclass(frozen=True)
class Crossover:
    """One side of a crossover.

    Parameters
    ----------
    kind : {"butterworth", "linkwitz-riley"}
        Butterworth is 3.01 dB down at its frequency, Linkwitz-Riley (two Butterworths of half
        the order in a row) 6.02 dB.
    order : int
        1 to 16; 6 dB per octave each. Even for Linkwitz-Riley.
    frequency : float
        Hz.
    side : {"low", "high"}
        The side that is let through: "low" for the woofer's part.

    Notes
    -----
    The two sides of a Linkwitz-Riley add up to a flat sum with one of the ways reversed for
    orders 2, 6, 10, 14 and with equal polarity for orders 4, 8, 12, 16.
    """

    kind: Literal["butterworth", "linkwitz-riley"]
    order: int
    frequency: float
    side: Literal["low", "high"]

    def __post_init__(self) -> None:
        """Refuse a filter that does not exist."""
        if self.kind not in ("butterworth", "linkwitz-riley"):
            raise SourceError(f"crossover kind {self.kind!r}: butterworth or linkwitz-riley")
        if self.side not in ("low", "high"):
            raise SourceError(f"crossover side {self.side!r}: low or high")
        if self.order not in range(1, STEEPEST_ORDER + 1):
            raise SourceError(f"crossover order {self.order}: 1 to {STEEPEST_ORDER}")
        if self.kind == "linkwitz-riley" and self.order % 2:
            raise SourceError(f"Linkwitz-Riley order {self.order}: even orders only (2, 4, 6, ...)")
        if not 0.0 < self.frequency < np.inf:
            raise SourceError(f"crossover frequency {self.frequency:g} Hz: give one above 0 Hz")

    def response(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """Complex response for exp(-i omega t), the shape of `frequencies` (Hz).

        The conjugate of the usual e^(+j omega t) response of `scipy.signal.butter`, analogue.
        """
        # scipy.signal is slow to import, and most designs have no crossover.
        from scipy.signal import butter, freqs_zpk

        twice = self.kind == "linkwitz-riley"
        order = self.order // 2 if twice else self.order
        # Normalised to 1 rad/s, so that steep filters keep all their digits.
        zeros, poles, gain = butter(order, 1.0, self.side, analog=True, output="zpk")
        f = np.asarray(frequencies, dtype=float)
        _, answer = freqs_zpk(zeros, poles, gain, worN=np.atleast_1d(f).ravel() / self.frequency)
        answer = np.conj(answer).reshape(f.shape)
        return answer**2 if twice else answer


@dataclass(frozen=True)
class LettingGo:
    """A cone whose outer part lets go: above a frequency the radiating radius shrinks as 1/f.

    Common practice, no source.

    Parameters
    ----------
    frequency : float
        Hz, up to which the whole cone moves as one.
    least_radius : float
        Metres; the radius that always moves: dust cap or whizzer.

    Notes
    -----
    The radiating radius is b(f) = a for f <= frequency and max(a frequency / f, least_radius)
    above, a being the effective radius. The axial velocity at radius r is the voice coil's times
    exp(-g (r/a)^2), with g >= 0 such that the moving area stays pi b^2:
    (1 - exp(-g)) / g = (b/a)^2. The Gaussian has no edge, so it is smooth on any mesh, and it
    becomes 1 everywhere, without a step in frequency, as b reaches a.

    With the voice coil's acceleration held, the level on axis falls as the moving area does. A
    real cone that lets go sheds mass as well; its measured curve says how much of that is made
    good.
    """

    frequency: float
    least_radius: float

    def __post_init__(self) -> None:
        """Refuse a cone that never moves or lets go at no frequency."""
        if not 0.0 < self.frequency < np.inf:
            raise SourceError(f"a cone lets go at {self.frequency:g} Hz: give one above 0 Hz")
        if not 0.0 < self.least_radius < np.inf:
            raise SourceError(
                f"least radiating radius {self.least_radius:g} m: give the dust cap's or whizzer's"
            )

    def radius(self, frequency: float, effective_radius: float) -> float:
        """Radiating radius b in metres at one frequency (Hz)."""
        if frequency <= self.frequency:
            return effective_radius
        shrunk = effective_radius * self.frequency / frequency
        return min(effective_radius, max(shrunk, self.least_radius))

    def weight(
        self, radius: ArrayLike, frequency: float, effective_radius: float
    ) -> NDArray[np.float64]:
        """Axial velocity relative to the voice coil's, in [0, 1], at each radius.

        Parameters
        ----------
        radius : array_like
            Distances from the axis, metres.
        frequency : float
            Hz.
        effective_radius : float
            Metres.

        Returns
        -------
        ndarray
            The shape of `radius`; exactly 1 at and below the frequency where the cone lets go.
        """
        r = np.asarray(radius, dtype=float)
        b = self.radius(frequency, effective_radius)
        if b == effective_radius:
            return np.ones_like(r)
        from scipy.special import lambertw

        # g = u (1 - exp(-g)) with u = (a/b)^2: the root that is not zero. Where u is nearly 1
        # Lambert's function meets its branch point, and the series takes over.
        u = (effective_radius / b) ** 2
        g = 2.0 * (u - 1.0) if u < 1.0 + 1e-6 else u + lambertw(-u * np.exp(-u)).real
        return np.exp(-g * (r / effective_radius) ** 2)


@dataclass(frozen=True)
class ConeWave:
    """A cone whose motion runs outwards from the voice coil as a wave: a phase lag by radius.

    A second model of a cone that no longer moves as one, beside `LettingGo`.

    Parameters
    ----------
    speed : float
        Of the wave along the radius, m/s: some 300 to 700 in paper (common practice, no source).
    least_radius : float
        Metres; up to here, where it is glued to the voice coil, it moves as one.

    Notes
    -----
    The axial velocity at radius r is the voice coil's times exp(i omega (r - r0) / speed), with r0
    the least radius: all of it moves as far, later and later outwards.
    """

    speed: float
    least_radius: float

    def __post_init__(self) -> None:
        """Refuse a wave that does not run."""
        if not 0.0 < self.speed < np.inf or not 0.0 <= self.least_radius < np.inf:
            raise SourceError(
                f"a wave in the cone at {self.speed:g} m/s from {self.least_radius:g} m outwards:"
                " give a speed above 0 and a radius of 0 or more"
            )

    def radius(self, frequency: float, effective_radius: float) -> float:
        """Radiating radius in metres at one frequency (Hz): all of the cone moves."""
        return effective_radius

    def weight(
        self, radius: ArrayLike, frequency: float, effective_radius: float
    ) -> NDArray[np.complex128]:
        """Axial velocity relative to the voice coil's at each radius; see `LettingGo.weight`."""
        beyond = np.maximum(np.asarray(radius, dtype=float) - self.least_radius, 0.0)
        return np.exp(2j * np.pi * frequency * beyond / self.speed)


@dataclass(frozen=True, kw_only=True)
class Way:
    """One driven part: what reaches its diaphragm, and how the diaphragm moves.

    Parameters
    ----------
    name : str
        "driver" or "tweeter", as the assembly calls its ways.
    crossovers : tuple of Crossover
        All in a row: a band-pass way has two.
    level_db : float
        Gain of the way.
    polarity : {1, -1}
        -1 for a way that is connected in reverse.
    delay : float
        Seconds by which all that reaches the way is held back.
    curve : DriverCurve or None
        None is constant acceleration: 0 dB and no phase.
    lets_go : LettingGo, ConeWave or None
        None is a diaphragm that moves as one.
    """

    name: str
    crossovers: tuple[Crossover, ...] = ()
    level_db: float = 0.0
    polarity: int = 1
    delay: float = 0.0
    curve: DriverCurve | None = None
    lets_go: LettingGo | ConeWave | None = None

    def __post_init__(self) -> None:
        """Refuse a polarity that is neither, a level that is no number, a delay into the past."""
        if self.polarity not in (1, -1):
            raise SourceError(f"{self.name}: polarity {self.polarity} must be 1 or -1")
        if not np.isfinite(self.level_db):
            raise SourceError(f"{self.name}: level {self.level_db} dB must be a finite number")
        if not 0.0 <= self.delay < np.inf:
            raise SourceError(f"{self.name}: delay {self.delay} s must be 0 or more")

    def transfer(self, frequencies: ArrayLike) -> NDArray[np.complex128]:
        """Complex acceleration of the diaphragm relative to 0 dB (see `dispersion.response`).

        Parameters
        ----------
        frequencies : array_like
            Hz.

        Returns
        -------
        ndarray of complex
            The shape of `frequencies`, for exp(-i omega t).
        """
        gain = self.polarity * 10.0 ** (self.level_db / 20.0)
        transfer = np.full(np.shape(frequencies), gain, dtype=complex)
        for crossover in self.crossovers:
            transfer = transfer * crossover.response(frequencies)
        if self.curve is not None:
            transfer = transfer * self.curve.response(frequencies)
        return transfer * np.exp(2j * np.pi * self.delay * np.asarray(frequencies))


def travel_level_db(
    frequencies: NDArray[np.float64], swept: float, air: Air
) -> NDArray[np.float64]:
    """Level of a sine 1 m from a small source in a wall that moves so much air.

    A cone of area S that swings by X either way has the volume acceleration S omega^2 X, whatever
    box and amplifier drive it, and makes p_rms = rho S omega^2 X / (2 sqrt(2) pi r): the power
    4 pi^3 rho f^4 (S X)^2 / c (Small, Direct-radiator loudspeaker system analysis, J. Audio Eng.
    Soc. 20, 383 (1972) [from memory]).

    Parameters
    ----------
    frequencies : (N,) array
        Hz.
    swept : float
        S X, m^3.
    air : Air

    Returns
    -------
    (N,) array
        dB re 20 uPa.
    """
    acceleration = swept * (2.0 * np.pi * frequencies) ** 2
    return 20.0 * np.log10(air.density * acceleration / (2.0 * np.sqrt(2.0) * np.pi * ZERO_PA))
