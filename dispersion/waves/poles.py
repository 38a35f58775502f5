"""Poles: complex frequencies at which the air round solids rings by itself.

At a pole the system is singular, and what a source sends out grows without bound: the pole is a
zero of one over that, found by the secant method at complex frequency f, with the wavenumber
2 pi f / c in the assembly. By the time factor exp(-i omega t) poles have Im f < 0, and
Q = Re f / (-2 Im f). What walls and air take is that at the real part of the first guess: it hardly
changes within a resonance.
"""

from collections.abc import Sequence

import numpy as np

from dispersion.air import Air
from dispersion.walls import RIGID_WALLS, Walls
from shapes.meridian import Meridian

from .solution import DEFAULT_SETTINGS, ROOM_AIR, WaveSettings, checked_mesh, gradient_of
from .sources import Drive
from .system import assemble
from .walls import losses_on

WITHIN = 1e-4
"""Of the width of the resonance: as near as the last step of the secant method must come."""
MOST_STEPS = 20


def find_pole(
    bodies: Sequence[Meridian],
    guess: complex,
    drive: Drive,
    air: Air = ROOM_AIR,
    order: int = 0,
    settings: WaveSettings = DEFAULT_SETTINGS,
    lifts: Sequence[float] | None = None,
    floor: float | None = None,
    walls: Walls = RIGID_WALLS,
    absorbing_air: bool = False,
) -> complex:
    """Return the pole that the secant method reaches from a guess.

    Parameters
    ----------
    guess : complex
        Hz; the frequency of a peak, less half its width as imaginary part. One of Q = 100 if it
        is real.
    drive : Drive
        What excites the resonance.
    bodies, air, order, settings, lifts, floor, walls, absorbing_air
        As for `solve`.

    Returns
    -------
    complex
        Hz; Q is its real part over minus twice its imaginary part.

    Raises
    ------
    ValueError
        If no pole is reached in `MOST_STEPS`, or the problem is refused by `solve`.
    """
    at = complex(guess)
    frequency, f = at.real, at if at.imag else at * (1.0 - 0.005j)
    mesh = checked_mesh(bodies, frequency, drive.parts, air, settings.mesh, lifts, floor, walls)
    driven = np.flatnonzero(mesh.labelled(drive.parts))
    imposed = gradient_of(drive, mesh, frequency)[driven].ravel()
    losses = losses_on(mesh, walls, frequency, order, air)
    attenuation = air.attenuation(frequency) if absorbing_air else 0.0

    def pressure(f: complex) -> np.ndarray:
        k = 2.0 * np.pi * f / air.speed + 1j * attenuation
        matrix, right = assemble(mesh, k, order, driven, settings.digits, None, losses)
        return np.linalg.solve(matrix, right @ imposed)

    first = pressure(f)
    weights = first.conj() / np.vdot(first, first)
    before, value_before = f, 1.0 + 0.0j
    f *= 1.0 + 1e-4
    for _ in range(MOST_STEPS):
        value = 1.0 / (weights @ pressure(f))
        step = -value * (f - before) / (value - value_before)
        before, value_before, f = f, value, f + step
        if abs(step) < WITHIN * abs(f.imag):
            return complex(f)
    raise ValueError(
        f"no resonance is reached from {frequency:.0f} Hz: guess nearer to the peak of a curve"
    )
