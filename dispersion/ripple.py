"""Ripple: level by azimuth that posts leave, band by band, relative to the design without posts."""

from dataclasses import dataclass, field

import numpy as np

from dispersion.bands import band_label
from shapes.assembly import Posts

AUDIBLE_DB = 1.0
"""A ripple, lowest to highest, above which a band is named."""
HORIZONTAL_WINDOW_DEG = (0.0, 20.0)
AZIMUTHS_DEG = np.arange(0.0, 360.0)


@dataclass(frozen=True, eq=False)
class Balance:
    """How well the power of some solves balances.

    Attributes
    ----------
    power_error_db : float
        Largest difference between power given off and power that arrived, dB.
    finer : (F,) array
        How many times finer the mesh of each was than asked for, to mend that.
    """

    power_error_db: float
    finer: np.ndarray


@dataclass(frozen=True, eq=False)
class Ripple:
    """Level by azimuth that posts leave, relative to the same design without posts.

    Attributes
    ----------
    posts : Posts
    azimuths_deg : (A,) array
        From the first post, right round.
    centres : (B,) array
        Exact centres of the bands, Hz.
    level_db : (B, A) array
        Band level over that without posts, mean over the window of elevations.
    window_deg : (float, float)
        Lowest and highest of the elevations.
    balance : Balance or None
        Of the solves of the posts; None if it is the estimate.
    """

    posts: Posts
    azimuths_deg: np.ndarray
    centres: np.ndarray
    level_db: np.ndarray = field(repr=False)
    window_deg: tuple[float, float] = HORIZONTAL_WINDOW_DEG
    balance: Balance | None = None

    @property
    def exact(self) -> bool:
        """Whether the posts were solved."""
        return self.balance is not None

    def at(self, azimuth_deg: float) -> np.ndarray:
        """(B,) level at the azimuth of the grid that is nearest, dB."""
        off = (self.azimuths_deg - azimuth_deg + 180.0) % 360.0 - 180.0
        return self.level_db[:, np.abs(off).argmin()]

    @property
    def minimum_db(self) -> np.ndarray:
        """Lowest level of each band, (B,)."""
        return self.level_db.min(axis=1)

    @property
    def maximum_db(self) -> np.ndarray:
        """Highest level of each band, (B,)."""
        return self.level_db.max(axis=1)

    @property
    def mean_db(self) -> np.ndarray:
        """Mean power of each band over the azimuths, in dB, (B,)."""
        return 10.0 * np.log10(np.mean(10.0 ** (self.level_db / 10.0), axis=1))

    @property
    def peak_to_peak_db(self) -> np.ndarray:
        """Highest less lowest level of each band, (B,)."""
        return self.maximum_db - self.minimum_db

    @property
    def median_peak_to_peak_db(self) -> float:
        """Swing that half of the bands exceed, dB."""
        return float(np.median(self.peak_to_peak_db))

    @property
    def worst_azimuth_deg(self) -> np.ndarray:
        """Azimuth of each band whose level is farthest from the mean, (B,).

        The first of several that are alike, as they are from post to post.
        """
        return self.azimuths_deg[self._from_mean.argmax(axis=1)]

    @property
    def best_azimuth_deg(self) -> float:
        """Azimuth where the bands are nearest their means (least rms over the bands)."""
        return float(self.azimuths_deg[np.mean(self._from_mean**2, axis=0).argmin()])

    @property
    def most_off_db(self) -> np.ndarray:
        """Largest distance of any band from its mean at each azimuth, (A,) in dB."""
        return self._from_mean.max(axis=0)

    @property
    def about_mean_db(self) -> np.ndarray:
        """Level less the mean of its band, (B, A) in dB."""
        return self.level_db - self.mean_db[:, None]

    @property
    def audible_centres(self) -> np.ndarray:
        """Centres of the bands whose ripple exceeds 1 dB, lowest to highest level."""
        return self.centres[self.peak_to_peak_db > AUDIBLE_DB]

    @property
    def _from_mean(self) -> np.ndarray:
        """Distance from the mean of the band, (B, A), rounded so that likes compare as equal."""
        return np.abs(self.level_db - self.mean_db[:, None]).round(6)

    def turn_advice(self) -> str:
        """Say in one sentence how to turn the posts for a listener in one place."""
        if not self.audible_centres.size:
            return (
                f"turn the posts as you like: the ripple is at most "
                f"{self.peak_to_peak_db.max():.1f} dB in every band."
            )
        at = self.azimuths_deg == self.best_azimuth_deg
        return (
            f"turn the posts so that a post stands {self.best_azimuth_deg:.0f} degrees beside the "
            f"listener's direction: every band is then within {self._from_mean[:, at].max():.1f} "
            f"dB of its mean; the worst direction, in the "
            f"{band_label(self.centres[self._worst_band])} band, is "
            f"{self._from_mean.max():.1f} dB off it at "
            f"{self.worst_azimuth_deg[self._worst_band]:.0f} degrees."
        )

    @property
    def _worst_band(self) -> int:
        return int(self._from_mean.max(axis=1).argmax())
