"""How far a reading may be off what is predicted, and which readings err together.

A reading is a band level at one place less the band level at the reference, dB. Its errors:

- the reading itself: how well it repeats, and for band noise 4.34 / sqrt(W T) dB, the spread of
  the mean power of noise of bandwidth W over T seconds (textbook);
- the room, where nothing is gated: the first bounces add energy, and in low bands interfere; the
  late sound, as loud everywhere, makes differences look smaller than they are;
- the model: a judgement, see `MODEL_DB`;
- where the meter really stood: from the model itself, asked again a little outwards and upwards;
- where the plate really hangs: from the model with another plate gap.

The reading at the reference goes into every difference of its band; a meter out of place errs in
all bands at once, a plate gap everywhere. So errors are not independent, and `covariance` says how.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dispersion.bands import band_edges

MODEL_DB = (0.5, 1.0)
"""What is left between a good model and a good measurement, standard deviation, dB: below and above
the frequency at which the moving cone is one wavelength across, where real cones stop moving as
one piece. A judgement (common practice, no source), independent from reading to reading. Less than
the 1.5 dB of `measured.comparing`, which holds posts, place and plate gap too: here those count
apart."""
AVERAGING_S = 10.0
"""How long the noise is read."""
DB_PER_NEPER = 10.0 / np.log(10.0)


@dataclass(frozen=True, eq=False)
class Doubts:
    """Errors of levels at P places in B bands, standard deviations in dB; place 0 is the reference.

    Attributes
    ----------
    alone_db : (P, B) array
        Independent from place to place and band to band.
    placing_db : (A, P, B) array
        What one standard deviation of place does along each of A axes, signed.
    shared_db : (S, P, B) array
        What one standard deviation of something common to all does, signed.
    """

    alone_db: np.ndarray
    placing_db: np.ndarray
    shared_db: np.ndarray

    @cached_property
    def covariance(self) -> np.ndarray:
        """(P B, P B) of the differences from the reference, dB squared, place by place.

        The rows of the reference itself are those of a second reading there.
        """
        places, bands = self.alone_db.shape
        own = np.diag((self.alone_db**2).ravel())
        for axis in self.placing_db:
            for place, change in enumerate(axis):
                here = slice(place * bands, (place + 1) * bands)
                own[here, here] += np.outer(change, change)
        reference = own[:bands, :bands]
        between = np.tile(reference, (places, places))
        shared = (self.shared_db - self.shared_db[:, :1]).reshape(-1, places * bands)
        return own + between + shared.T @ shared

    @property
    def of_difference_db(self) -> np.ndarray:
        """(P, B) standard deviation of each difference from the reference, dB."""
        return np.sqrt(np.diag(self.covariance)).reshape(self.alone_db.shape)


def noise_db(centres: np.ndarray, seconds: float = AVERAGING_S) -> np.ndarray:
    """(B,) spread of the level of third-octave noise read for so long, dB: 4.34 / sqrt(W T)."""
    low, high = band_edges(centres)
    return DB_PER_NEPER / np.sqrt((high - low) * seconds)


def model_db(centres: np.ndarray, cone_diameter: float, speed: float) -> np.ndarray:
    """(B,) the judgement of `MODEL_DB`, by band."""
    return np.where(centres * cone_diameter < speed, *MODEL_DB)


def room_db(
    direct_db: np.ndarray,
    bounced_db: Sequence[np.ndarray],
    delays: Sequence[float],
    centres: np.ndarray,
) -> np.ndarray:
    """How far first bounces off hard surfaces may move a third octave of noise, dB.

    Parameters
    ----------
    direct_db, bounced_db : (B,) arrays
        Levels of the direct sound, and of each bounce, on one scale.
    delays : sequence of float
        Of each bounce behind the direct sound, s.
    centres : (B,) array
        Hz.

    Returns
    -------
    (B,) array
        sqrt(bias^2 + swing^2): with rho = amplitude of a bounce over the direct one, the bias is
        10 lg(1 + sum rho^2), the swing 4.34 sqrt(2 sum rho^2 g^2) / (1 + sum rho^2), the rms over
        unknown phases of interference; g = |sin x / x| with x = pi W t is what is left of it
        over a band of width W. The surfaces take nothing away, and furniture is not counted.
    """
    low, high = band_edges(centres)
    ratios = [10.0 ** ((level - direct_db) / 10.0) for level in bounced_db]
    left = [np.abs(np.sinc((high - low) * delay)) for delay in delays]
    added = 1.0 + sum(ratios)
    bias = 10.0 * np.log10(added)
    beats = sum(2.0 * ratio * g**2 for ratio, g in zip(ratios, left, strict=True))
    return np.hypot(bias, DB_PER_NEPER * np.sqrt(beats) / added)


def late_db(level_db: np.ndarray, power_db: np.ndarray, absorption_area: float) -> np.ndarray:
    """How much smaller or larger a difference reads because of the room's late sound, dB.

    Parameters
    ----------
    level_db : (P, B) array
        Direct sound, dB re 0 dB at 1 m; place 0 is the reference.
    power_db : (B,) array
        Sound power, as the level at 1 m if it left evenly in all directions.
    absorption_area : float
        A of the room, m2.

    Returns
    -------
    (P, B) array
        10 lg[(d_p + l) / (d_0 + l)] - 10 lg[d_p / d_0], with the late sound
        l = power x 16 pi / A: the diffuse field of Sabine's theory, no louder near a wall.
    """
    late = 10.0 ** (power_db / 10.0) * 16.0 * np.pi / absorption_area
    direct = 10.0 ** (level_db / 10.0)
    read, alone = direct + late, direct
    return 10.0 * np.log10(read / read[:1]) - 10.0 * np.log10(alone / alone[:1])
