"""What walls take from the sound: layers of air at rest on every wall, and absorbers on pieces.

An absorber that reacts locally is described by its admittance beta = rho c v / p, v being the
velocity of the air into the wall. For the time factor exp(-i omega t) and the normal out of the
solid dp/dn = -i k beta p, and Re beta > 0 takes power:

    intensity into the wall = Re beta |p|^2 / (2 rho c)

A plane wave that meets it head on leaves |(1 - beta) / (1 + beta)|^2 of its power.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from dispersion.air import Air


class WallError(ValueError):
    """A wall that cannot be; the message says why."""


class Absorber(Protocol):
    """What covers a piece; a frozen dataclass of numbers and words, so that it has a key."""

    @property
    def replaces_layers(self) -> bool:
        """Whether the air moves in and out so freely that no boundary layer lies on it (felt)."""

    def admittance(self, frequency_hz: float, air: Air) -> complex:
        """Return beta at one frequency, normalised by rho c, for exp(-i omega t)."""


@dataclass(frozen=True)
class ConstantAdmittance:
    """The same admittance at every frequency.

    Parameters
    ----------
    beta : complex
        Normalised by rho c; Re beta >= 0.
    replaces_layers : bool
        See `Absorber`.

    Raises
    ------
    WallError
        If the real part is negative, or it is no finite number.
    """

    beta: complex
    replaces_layers: bool = False

    def __post_init__(self) -> None:
        """Refuse a wall that gives power."""
        if not (np.isfinite(self.beta) and np.real(self.beta) >= 0.0):
            raise WallError(f"an admittance of {self.beta}: its real part must be 0 or more")

    def admittance(self, frequency_hz: float, air: Air) -> complex:
        """Return beta."""
        return complex(self.beta)


@dataclass(frozen=True, kw_only=True)
class Walls:
    """What all surfaces take from the sound.

    Parameters
    ----------
    layers : bool
        Whether the viscous and thermal boundary layers of the air count, on every wall but those
        under an absorber that replaces them. They have no free parameter.
    absorbers : tuple of (str, Absorber)
        What covers the pieces of a label of the meridian ("cone", "baffle"); none twice.

    Raises
    ------
    WallError
        If a label has two absorbers.
    """

    layers: bool = True
    absorbers: tuple[tuple[str, Absorber], ...] = ()

    def __post_init__(self) -> None:
        """Refuse two absorbers on one piece."""
        labels = [label for label, _ in self.absorbers]
        if twice := sorted({label for label in labels if labels.count(label) > 1}):
            raise WallError(f"two absorbers on {', '.join(twice)}: give one, or join them first")

    def on(self, labels: Iterable[str]) -> Walls:
        """Return the walls of pieces with some labels: what covers others is left out."""
        there = frozenset(labels)
        return replace(self, absorbers=tuple(one for one in self.absorbers if one[0] in there))

    def taking(self, frequency_hz: float, air: Air) -> Walls:
        """Return the walls without what covers pieces but takes nothing at one frequency."""
        kept = (
            one
            for one in self.absorbers
            if one[1].replaces_layers or one[1].admittance(frequency_hz, air) != 0.0
        )
        return replace(self, absorbers=tuple(kept))

    @property
    def rigid(self) -> bool:
        """Whether nothing is taken at all."""
        return not self.layers and not self.absorbers


RIGID_WALLS = Walls(layers=False)


def taken_head_on(beta: complex) -> float:
    """Share of its power that a wave loses which meets a wall of this admittance head on, 0 to 1.

    1 - |(1 - beta) / (1 + beta)|^2 = 4 Re beta / |1 + beta|^2
    """
    return float(4.0 * np.real(beta) / np.abs(1.0 + beta) ** 2)
