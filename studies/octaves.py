"""Octaves made of whole third octaves, for tables that have no room for all of them."""

import numpy as np

from dispersion.bands import REFERENCE, band_index

THIRDS = 3


def octaves_of(centres: np.ndarray) -> list[tuple[float, np.ndarray]]:
    """Octaves of which a third octave is there: exact centre in Hz, and which ones are its own.

    Parameters
    ----------
    centres : (B,) array
        Exact centres of third octaves, Hz.

    Returns
    -------
    list of (float, (B,) bool array)
        Ascending; the middle one of an octave's three thirds bears its name.
    """
    numbers = np.floor_divide(band_index(centres) + 1, THIRDS)
    return [
        (REFERENCE * 10.0 ** (THIRDS * number / 10.0), numbers == number)
        for number in np.unique(numbers)
    ]
