"""Uncertainty of readings against the prediction: standard deviations and their covariance.

A reading is a band level at one place less the band level at the reference, dB. Its errors:

- the driver and the build, which nobody knows that well: how the members of the ensemble differ
  (`studies.solving.levels_of_members`);
- the reading itself: how well it repeats, and for band noise 4.34 / sqrt(W T) dB, the standard
  deviation of the mean power of noise of bandwidth W over T seconds (textbook);
- the room, where nothing is gated: the first bounces add energy, and in low bands interfere; the
  late sound, as loud everywhere, makes differences look smaller than they are;
- the model: a judgement, see `MODEL_DB`;
- the place of the meter: change of the predicted level a little outwards and a little upwards.

The reading at the reference goes into every difference of its band; a misplaced meter is wrong in
all bands at once, another driver in all bands at all places. So errors are correlated: see
`covariance`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from dispersion.bands import band_edges

MODEL_DB = (0.5, 1.0)
"""Standard deviation between a good model and a good measurement, dB: below and above the frequency
at which the moving cone is one wavelength across, where real cones stop moving as one piece and
break up into modes, which no member has. A judgement (common practice, no source), independent from
reading to reading; what a driver does to many readings at once is in the members."""
AVERAGING_S = 10.0
"""How long band noise is averaged, s."""
DB_PER_NEPER = 10.0 / np.log(10.0)


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """Errors of levels at P places in B bands, dB; place 0 is the reference.

    Attributes
    ----------
    independent_db : (P, B) array
        Standard deviation of what is independent from place to place and band to band.
    placing_db : (A, P, B) array
        Signed change of the level by one standard deviation of place along each of A axes.
    shared_db : (S, P, B) array
        Signed change by one standard deviation of each of S errors common to all places.
    """

    independent_db: np.ndarray
    placing_db: np.ndarray
    shared_db: np.ndarray

    def with_shared(self, shared_db: np.ndarray) -> Uncertainty:
        """Return the same with more errors that are common to all places, (N, P, B) dB."""
        if not self.shared_db.size:
            return replace(self, shared_db=shared_db)
        return replace(self, shared_db=np.concatenate((self.shared_db, shared_db)))

    @cached_property
    def covariance(self) -> np.ndarray:
        """(P B, P B) covariance of the differences from the reference, dB squared, place by place.

        The rows of the reference itself are those of a second reading there.
        """
        places, bands = self.independent_db.shape
        own = np.diag((self.independent_db**2).ravel())
        for axis in self.placing_db:
            for place, change in enumerate(axis):
                here = slice(place * bands, (place + 1) * bands)
                own[here, here] += np.outer(change, change)
        reference = own[:bands, :bands]
        between = np.tile(reference, (places, places))
        shared = (self.shared_db - self.shared_db[:, :1]).reshape(-1, places * bands)
        return own + between + shared.T @ shared

    @property
    def difference_db(self) -> np.ndarray:
        """(P, B) standard deviation of each difference from the reference, dB."""
        return np.sqrt(np.diag(self.covariance)).reshape(self.independent_db.shape)


def noise_db(centres: np.ndarray, seconds: float = AVERAGING_S) -> np.ndarray:
    """(B,) standard deviation of the level of band noise, dB: 4.34 / sqrt(W T).

    W is the width of the third octave round each of `centres`, Hz; T is `seconds`.
    """
    low, high = band_edges(centres)
    return DB_PER_NEPER / np.sqrt((high - low) * seconds)


def model_db(centres: np.ndarray, cone_diameter: float, speed: float) -> np.ndarray:
    """(B,) standard deviation of the model by band, dB: see `MODEL_DB`.

    The step lies at speed / cone_diameter, SI; `centres` are the bands' centres, Hz.
    """
    return np.where(centres * cone_diameter < speed, *MODEL_DB)


def room_db(
    direct_db: np.ndarray,
    bounced_db: Sequence[np.ndarray],
    delays: Sequence[float],
    centres: np.ndarray,
) -> np.ndarray:
    """Uncertainty of a third-octave level through first bounces off hard surfaces, dB.

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
        unknown phases of interference; g = |sin x / x| with x = pi W t is how much of it remains
        in the mean over a band of width W. Surfaces absorb nothing; furniture is not counted.
    """
    low, high = band_edges(centres)
    ratios = [10.0 ** ((level - direct_db) / 10.0) for level in bounced_db]
    coherence = [np.abs(np.sinc((high - low) * delay)) for delay in delays]
    added = 1.0 + sum(ratios)
    bias = 10.0 * np.log10(added)
    beats = sum(2.0 * ratio * g**2 for ratio, g in zip(ratios, coherence, strict=True))
    return np.hypot(bias, DB_PER_NEPER * np.sqrt(beats) / added)


def late_db(level_db: np.ndarray, power_db: np.ndarray, absorption_area: float) -> np.ndarray:
    """Bias of the differences from the reference through the room's late sound, dB.

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
    read = direct + late
    return 10.0 * np.log10(read / read[:1]) - 10.0 * np.log10(direct / direct[:1])
