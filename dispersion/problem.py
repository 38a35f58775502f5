"""Problem: what is built, what drives it, in which air, at which frequencies, heard where."""

from dataclasses import dataclass, field

import numpy as np

from dispersion.air import Air
from dispersion.sources import Way
from dispersion.walls import RIGID_WALLS, Walls
from shapes.assembly import Assembly

FAR_AWAY, AIR = "far away", "air"
ELEVATION_STEP_DEG = 0.5
"""Fine enough for a column of 1 m at 20 kHz, whose lobes are about a degree wide."""


def elevation_grid() -> np.ndarray:
    """Elevations from straight down to straight up, uniform, in degrees."""
    return np.linspace(-90.0, 90.0, int(180 / ELEVATION_STEP_DEG) + 1)


@dataclass(frozen=True, eq=False, kw_only=True)
class Problem:
    """Everything that a solver needs.

    Attributes
    ----------
    assembly : Assembly
    ways : tuple of Way
        What drives the assembly's driven ways, in the same order and by the same names.
    frequencies : (F,) array
        Hz.
    air : Air
    elevations : (E,) array
        Degrees, uniform from -90 to 90.
    points : (P, 2) array
        Places in the room, r and z in metres.
    floor : bool
        Whether the column stands on a rigid floor without end (wave solver only). Far field and
        points then hold the floor's share; below it there is no sound, and both are 0.
    walls : Walls
        What the surfaces take (wave solver only; other methods take them as hard).
    absorbing_air : bool
        Whether the air takes its share on the way (wave solver only). Fields are then those that
        are left, times exp(+kappa r) for the way r from the middle of the baffle, on which the
        room takes exp(-kappa r) by itself.
    """

    assembly: Assembly
    ways: tuple[Way, ...]
    frequencies: np.ndarray
    air: Air = Air()
    elevations: np.ndarray = field(default_factory=elevation_grid)
    points: np.ndarray = field(default_factory=lambda: np.empty((0, 2)))
    floor: bool = False
    walls: Walls = RIGID_WALLS
    absorbing_air: bool = False

    def __post_init__(self) -> None:
        """Refuse ways that are not those of the assembly, and frequencies that are none."""
        built = [way.name for way in self.assembly.ways]
        driven = [way.name for way in self.ways]
        if built != driven:
            raise ValueError(f"the assembly has the ways {built}, the sources are for {driven}")
        if not len(self.frequencies) or np.min(self.frequencies) <= 0.0:
            raise ValueError("a problem needs at least one frequency, and all above 0 Hz")

    @property
    def floor_z(self) -> float | None:
        """Height of the floor in metres, at the column's foot; None in free air."""
        return -self.assembly.column.height if self.floor else None

    @property
    def destinations(self) -> tuple[str, ...]:
        """Where power may go: far away, into parts whose walls may take some, into the air."""
        pieces = (piece for body, _ in self.assembly.placed_bodies for piece in body.pieces)
        parts = () if self.walls.rigid else sorted({piece.part for piece in pieces})
        return (FAR_AWAY, *parts, *([AIR] if self.absorbing_air else []))

    def require_free_air(self, method: str) -> None:
        """Raise a ValueError if the problem has a floor, for a method that knows none."""
        if self.floor:
            raise ValueError(
                f"method {method} knows no floor: take the method waves, or leave the floor out"
            )
