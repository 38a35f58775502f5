"""Is it the same all round? Levels over gliding arcs of 30 degrees, as ISO 3382-1 asks.

ISO 3382-1:2009, 4.2.1 calls a source of sound omnidirectional if, in every octave band of pink
noise in a free field, no mean over an arc of 30 degrees departs from the energy mean over the
whole circle by more than its Table 1 allows. Arcs glide: one begins at every direction. On a
turntable they are continuous; without one the standard takes every 5 degrees and six neighbours,
which is the same rule on a coarser circle. Over an arc levels are averaged, in dB; over the circle
energies are.

A body of revolution passes in the horizontal plane by its shape alone: there the check says what
posts do. Nothing here asks which circle it is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dispersion.bands import band_index, octave_means

Array = NDArray[np.float64]

ARC_DEG = 30.0
LIMITS_DB = {125: 1.0, 250: 1.0, 500: 1.0, 1000: 3.0, 2000: 5.0, 4000: 6.0}
"""ISO 3382-1:2009, Table 1: largest deviation either way by nominal octave, Hz to dB."""


class ArcError(ValueError):
    """A circle that arcs of 30 degrees do not fit into."""


def gliding_levels_db(level_db: ArrayLike) -> Array:
    """Mean level over every arc of 30 degrees.

    Parameters
    ----------
    level_db : (..., A) array_like
        Levels at A directions, uniform round the whole circle, the first one not repeated.

    Returns
    -------
    (..., A) array
        Arithmetic mean over the arc that begins at each direction and holds A / 12 of them.

    Raises
    ------
    ArcError
        If A is not a multiple of 12, or a level is not finite.
    """
    levels = np.asarray(level_db, dtype=float)
    directions = levels.shape[-1] if levels.ndim else 0
    held, over = divmod(directions * ARC_DEG, 360.0)
    if over or not held:
        raise ArcError(
            f"{directions} directions round the circle: arcs of 30 degrees hold whole steps only,"
            " so take a multiple of 12, every 5 degrees for instance"
        )
    if not np.all(np.isfinite(levels)):
        raise ArcError("levels must be finite, in dB")
    return np.mean([np.roll(levels, -step, axis=-1) for step in range(int(held))], axis=0)


def gliding_deviation_db(level_db: ArrayLike) -> Array:
    """Largest departure of an arc of 30 degrees from the energy mean of the circle.

    Parameters
    ----------
    level_db : (..., A) array_like
        As for `gliding_levels_db`.

    Returns
    -------
    (...) array
        max |mean level of an arc - 10 lg mean(10^(level / 10))|, dB; 0 for the same level all
        round.
    """
    arcs = gliding_levels_db(level_db)
    circle = 10.0 * np.log10(np.mean(10.0 ** (np.asarray(level_db, dtype=float) / 10.0), axis=-1))
    return np.max(np.abs(arcs - circle[..., None]), axis=-1)


def deviation_by_octave(centres: ArrayLike, level_db: ArrayLike) -> tuple[Array, Array]:
    """Largest departure of an arc in each octave band, from third-octave bands.

    Parameters
    ----------
    centres : (B,) array_like
        Exact centres of adjoining third-octave bands, Hz.
    level_db : (B, A) array_like
        Levels of a source driven by pink noise, round the circle.

    Returns
    -------
    octaves, deviation_db : (O,) array
        Exact centres of the octave bands that are complete, Hz, and `gliding_deviation_db`.
    """
    octaves, power = octave_means(centres, 10.0 ** (np.asarray(level_db, dtype=float) / 10.0))
    if not octaves.size:
        return octaves, np.empty(0)
    return octaves, gliding_deviation_db(10.0 * np.log10(power))


def iso_limit_db(octave: float) -> float | None:
    """Limit of ISO 3382-1, Table 1 for the octave band that is centred here (Hz), dB; or None."""
    number = int(band_index(octave))
    return next((limit for f, limit in LIMITS_DB.items() if int(band_index(f)) == number), None)
