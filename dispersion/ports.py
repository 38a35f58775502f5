"""A port: how the air in its tube swings on the air in the box, by the elementary formula.

f = c / (2 pi) sqrt(S / (V L')), the resonator of Helmholtz: S the port's area, V the air inside,
L' the depth and both end corrections (Kinsler, Frey, Coppens and Sanders, Fundamentals of
Acoustics, 4th ed., 10.8 [from memory]). With a = sqrt(S / pi) an end in a wall adds 8 a / (3 pi)
(Rayleigh, Theory of Sound, 307 [from memory]) and a free end 0.6133 a (Levine and Schwinger 1948
[from memory]). The end outside lies in the wall; the one inside is free where the tube is deeper
than the wall.

It takes the air inside as one spring. In a column of height h with the port at one end the spring
is x cot x as stiff, x = 2 pi f h / c: the resonance lies some x^2 / 6 lower. What leaks, stuffing
and the floor near the port change it too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

WALL_END = 8.0 / (3.0 * math.pi)
"""End correction over the radius of equal area, of an end in a wall."""
FREE_END = 0.6133
"""Of an end that stands free."""


@dataclass(frozen=True)
class Port:
    """An opening of the box (metres).

    Attributes
    ----------
    area : float
        Of its cross-section.
    depth : float
        From its mouth outside to its end inside.
    free_inside : bool
        Whether it ends in the room inside and not in the wall.
    """

    area: float
    depth: float
    free_inside: bool

    @property
    def radius(self) -> float:
        """Radius of the circle of equal area."""
        return math.sqrt(self.area / math.pi)

    @property
    def acoustic_depth(self) -> float:
        """Depth with both end corrections."""
        inside = FREE_END if self.free_inside else WALL_END
        return self.depth + (WALL_END + inside) * self.radius

    def resonance(self, volume: float, speed: float) -> float:
        """Frequency at which port and volume swing, Hz.

        Parameters
        ----------
        volume : float
            Of the air inside, cubic metres.
        speed : float
            Of sound, m/s.
        """
        return speed / (2 * math.pi) * math.sqrt(self.area / (volume * self.acoustic_depth))


def lowered_by_height(frequency: float, height: float, speed: float) -> float:
    """Return the share by which a port at one end of a column lies lower: x^2 / 6.

    Parameters
    ----------
    frequency : float
        By the elementary formula, Hz.
    height : float
        Of the room inside, metres.
    speed : float
        Of sound, m/s.
    """
    return (2 * math.pi * frequency * height / speed) ** 2 / 6
