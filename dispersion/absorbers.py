"""What a surface takes of the sound that meets it: felt, foam, limp cones, tables of absorption.

Each is an admittance beta at a frequency, over that of air, 1 / (rho c): the air at the wall
moves into it at beta p / (rho c), whatever happens beside. For exp(-i omega t) a surface absorbs
where Re beta > 0, gives way like a spring where Im beta < 0 and like a mass where Im beta > 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dispersion.air import Air
from dispersion.walls import Absorber

LOWEST_RATIO, HIGHEST_RATIO = 0.01, 1.0
"""Frequency over flow resistivity, m3/kg, for which Miki vouches."""
MOST_TURN = 0.75
"""Most of a layer's depth, in radians of the wave in it, at the lower end of that range: thinner
ones follow the law of a thin layer below it (within a tenth at the end itself)."""
RAMP_OCTAVES = 1.0 / 3.0
"""Over which what a cone takes comes in: a step in frequency would ring in every fit."""
MOST_DIFFUSE = 0.951
"""Absorption in a diffuse field that no surface with a real admittance exceeds."""


class AbsorberError(ValueError):
    """A surface that cannot be, or a frequency that its model does not reach; says the remedy."""


@dataclass(frozen=True)
class PorousLayer:
    """Felt, foam or carpet of even thickness on a hard back.

    Parameters
    ----------
    thickness : float
        m.
    flow_resistivity : float
        sigma, Pa s/m2: pressure drop of a slow stream over its speed and the thickness.

    Notes
    -----
    beta = -i tan(kc d) / Zc with Y = f / sigma,

        Zc = 1 + (0.0699 + 0.1071i) Y^-0.632,    kc = k (1 + (0.1093 + 0.1597i) Y^-0.618):

    Y. Miki, J. Acoust. Soc. Jpn. (E) 11, 19 (1990), for Y from 0.01 to 1; it takes sound to enter
    straight, as it does where the layer is slow. Above that range a layer is refused. Below it a
    thin one goes on by the law of thin layers, Im beta like f and Re beta like f^2, matched to
    Miki's value at Y = 0.01; a thick one is refused.
    """

    thickness: float
    flow_resistivity: float

    def __post_init__(self) -> None:
        """Refuse what is no layer."""
        _require_above_zero(thickness=self.thickness, flow_resistivity=self.flow_resistivity)

    @property
    def replaces_layers(self) -> bool:
        """The air's boundary layer lies within it: it counts already."""
        return True

    @property
    def reach_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency for which Miki vouches, Hz."""
        return LOWEST_RATIO * self.flow_resistivity, HIGHEST_RATIO * self.flow_resistivity

    def admittance(self, frequency_hz: float, air: Air) -> complex:
        """Return beta at one frequency.

        Raises
        ------
        AbsorberError
            Above the model's range, and below it where the layer is not thin.
        """
        low, high = self.reach_hz
        if frequency_hz > high:
            raise AbsorberError(
                f"a layer of {self.flow_resistivity:g} Pa s/m2 is known up to {high:.0f} Hz (Miki:"
                " frequency up to the flow resistivity): give its absorption by octave instead, or"
                " narrow the band"
            )
        if frequency_hz >= low:
            return self._miki(frequency_hz, air)[0]
        limit, turn = self._miki(low, air)
        if turn > MOST_TURN:
            raise AbsorberError(
                f"a layer of {self.flow_resistivity:g} Pa s/m2, {self.thickness * 1e3:g} mm thick,"
                f" is known from {low:.0f} Hz (Miki: frequency from a hundredth of the flow"
                " resistivity): give its absorption by octave instead, or narrow the band"
            )
        share = frequency_hz / low
        return complex(limit.real * share**2, limit.imag * share)

    def _miki(self, frequency_hz: float, air: Air) -> tuple[complex, float]:
        """Admittance, and the depth in radians of the wave in it."""
        ratio = frequency_hz / self.flow_resistivity
        impedance = 1.0 + (0.0699 + 0.1071j) * ratio**-0.632
        slower = 1.0 + (0.1093 + 0.1597j) * ratio**-0.618
        turn = 2.0 * np.pi * frequency_hz / air.speed * slower * self.thickness
        return complex(-1j * np.tan(turn) / impedance), float(abs(turn))


@dataclass(frozen=True)
class LimpMass:
    """A thin skin without stiffness that gives way to the sound: a cone that has let go.

    Parameters
    ----------
    mass_per_area : float
        sigma, kg/m2.
    loss_factor : float
        eta, 0 to 1: share of the pressure that moves it against losses rather than mass.

    Notes
    -----
    beta = rho c (eta + i) / (omega sigma (1 + eta^2)), the mass law with a lossy mass. Where the
    skin is driven as a whole its mass counts in what drives it, so this is for `Above` only.
    """

    mass_per_area: float
    loss_factor: float

    def __post_init__(self) -> None:
        """Refuse what is no skin."""
        _require_above_zero(mass_per_area=self.mass_per_area)
        _require_share(loss_factor=self.loss_factor)

    @property
    def replaces_layers(self) -> bool:
        """The air's boundary layer lies on it: both count."""
        return False

    def admittance(self, frequency_hz: float, air: Air) -> complex:
        """Return beta at one frequency."""
        eta, omega = self.loss_factor, 2.0 * np.pi * frequency_hz
        mass = omega * self.mass_per_area * (1.0 + eta**2)
        return air.density * air.speed * complex(eta, 1.0) / mass


@dataclass(frozen=True)
class AbsorptionByOctave:
    """A published table: the share of the energy that a surface takes in a diffuse field.

    Parameters
    ----------
    octaves : tuple of (float, float)
        Centre, Hz, ascending, and absorption, 0 to 1. Between them a straight line over the
        logarithm of the frequency, beyond them held.

    Notes
    -----
    A table says nothing of the phase, so beta is taken as real: the one with this absorption from
    all sides at once (Paris: 4 beta cos / (beta + cos)^2, averaged over the half space),

        alpha = 8 beta [1 + beta / (1 + beta) - 2 beta ln(1 + 1 / beta)].

    Published values above 0.951, which no real beta reaches, count as 0.951.
    """

    octaves: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        """Refuse a table that is empty, unordered, or not of shares."""
        centres = [centre for centre, _ in self.octaves]
        if not centres or centres != sorted(set(centres)) or centres[0] <= 0.0:
            raise AbsorberError("absorption by octave: give centres above 0 Hz, ascending")
        for centre, share in self.octaves:
            _require_share(**{f"absorption at {centre:g} Hz": share})

    @property
    def replaces_layers(self) -> bool:
        """A table is of a surface, not of the air over it."""
        return False

    def admittance(self, frequency_hz: float, air: Air) -> complex:
        """Return beta at one frequency."""
        centres, shares = zip(*self.octaves, strict=True)
        share = float(np.interp(np.log(frequency_hz), np.log(centres), shares))
        return complex(admittance_of(share))


@dataclass(frozen=True)
class Above:
    """What takes part only above a frequency: a cone, where it no longer moves as one.

    It comes in over `RAMP_OCTAVES` and counts in full from there on.

    Parameters
    ----------
    frequency : float
        Up to here nothing is taken, Hz.
    absorber : Absorber
        What is taken there.
    """

    frequency: float
    absorber: Absorber

    def __post_init__(self) -> None:
        """Refuse a frequency that is none."""
        _require_above_zero(frequency=self.frequency)

    @property
    def replaces_layers(self) -> bool:
        """Never: up to the frequency there is a bare surface."""
        return False

    def admittance(self, frequency_hz: float, air: Air) -> complex:
        """Return beta at one frequency."""
        if frequency_hz <= self.frequency:
            return 0j
        octaves = np.log2(frequency_hz / self.frequency) / RAMP_OCTAVES
        x = min(float(octaves), 1.0)
        return x * x * (3.0 - 2.0 * x) * self.absorber.admittance(frequency_hz, air)


def diffuse_absorption(beta: float) -> float:
    """Share of the energy that a real admittance takes in a diffuse field, 0 to 0.951.

    alpha = 8 beta [1 + beta / (1 + beta) - 2 beta ln(1 + 1 / beta)], for beta above 0.
    """
    return float(8.0 * beta * (1.0 + beta / (1.0 + beta) - 2.0 * beta * np.log1p(1.0 / beta)))


def admittance_of(absorption: float) -> float:
    """Real admittance that takes this share of the energy in a diffuse field; its inverse.

    Shares above `MOST_DIFFUSE` count as that.
    """
    from scipy.optimize import brentq

    if absorption < 1e-9:
        return absorption / 8.0
    wanted = min(absorption, MOST_DIFFUSE)
    # The most is reached at beta 0.64; to its left the share only rises.
    return float(brentq(lambda beta: diffuse_absorption(beta) - wanted, 1e-12, 0.64, xtol=1e-14))


def _require_above_zero(**sizes: float) -> None:
    for name, size in sizes.items():
        if not 0.0 < size < np.inf:
            raise AbsorberError(f"{name.replace('_', ' ')} {size:g}: give one above zero")


def _require_share(**shares: float) -> None:
    for name, share in shares.items():
        if not 0.0 <= share <= 1.0:
            raise AbsorberError(f"{name.replace('_', ' ')} {share:g} must lie from 0 to 1")
