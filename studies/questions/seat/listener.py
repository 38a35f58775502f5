"""What one seat hears: direct sound, first bounces, the same at the other height of the ears."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from dispersion.elevations import level_db
from dispersion.ripple import Ripple
from dispersion.room import Path
from studies.questions.seat.delays import SeatDelays
from studies.questions.seat.impulses import SeatImpulse
from studies.solving.leaning import RoundLevels
from studies.solving.seating import Sitter

EARLY_S = 0.05
"""A bounce later than this no longer counts as early: the limit of ISO 3382-1 for speech [from
memory]."""
FLOOR = "floor"
RUG_HZ = 1000.0
"""From about here up a thick rug absorbs: common practice, no source."""
MOST_FLOOR_DB = 0.5
"""Up to this difference in every band the bounce off a floor stands for the exact floor."""


@dataclass(frozen=True, eq=False)
class Arrival:
    """Sound that reaches the ears on one path.

    Attributes
    ----------
    path : Path
    spot_m : float
        Level distance from the column's axis to where the path meets its surface, m; to the ears
        if it is the direct path.
    level_db : (B,) array
        Band level, dB re the driver's own on-axis curve at 1 m; distance, air and surface included.
    """

    path: Path
    spot_m: float
    level_db: np.ndarray = field(repr=False)


@dataclass(frozen=True)
class Rug:
    """What would take the floor's bounce: the first Fresnel zone of it at `RUG_HZ`, an ellipse.

    Attributes
    ----------
    middle : float
        From the column's axis, towards the seat, m.
    along, across : float
        Its axes, towards the seat and across, m: 2 r / sin(grazing angle) and 2 r, with
        r = sqrt(wavelength d1 d2 / (d1 + d2)), d1 and d2 from the spot to ring and ears.
    """

    middle: float
    along: float
    across: float


@dataclass(frozen=True, eq=False)
class FloorCheck:
    """A seat in front of a column that stands on a rigid floor, found in two ways.

    Attributes
    ----------
    exact_db : (B,) array
        Band level by the wave solver with the floor in it, dB re the driver's own on-axis curve at
        1 m.
    images_db : (B,) array
        The same as the sum of the direct sound and the bounce off a floor that absorbs nothing,
        phases included.
    """

    exact_db: np.ndarray
    images_db: np.ndarray

    @property
    def off_db(self) -> np.ndarray:
        """(B,) level by direct sound and bounce less the exact one, dB."""
        return self.images_db - self.exact_db

    @property
    def rms_db(self) -> float:
        """Root mean square of `off_db` over the bands, dB."""
        return float(np.sqrt(np.mean(self.off_db**2)))

    @property
    def agrees(self) -> bool:
        """Whether no band differs by more than `MOST_FLOOR_DB`."""
        return bool(np.max(np.abs(self.off_db)) <= MOST_FLOOR_DB)


@dataclass(frozen=True, eq=False, kw_only=True)
class Listener:
    """Everything that is found at one seat; levels by third-octave band.

    Attributes
    ----------
    sitter : Sitter
    arrivals : tuple of Arrival
        The direct sound, then every bounce, the earliest first.
    other_arrivals : tuple of Arrival
        The same at the other height of the ears: standing in place of sitting, or the reverse.
    summed_db : (B,) array
        Direct sound and every first bounce, wave by wave, over the direct sound alone, dB.
    behind_db : (B,) array
        What a wall close behind the column adds to the direct sound, or takes from it, dB.
    behind_curve_db : (F,) array
        The same at the frequencies of the study, dB.
    impulse : SeatImpulse
    delays : SeatDelays
        Group delay of the direct sound.
    shadows_db : mapping of str to (B,) array
        By surface, the wall close behind among them: what the column makes of a bounce that passes
        it on its way to the seat, dB; it is in all levels.
    floor : FloorCheck or None
        None if the column on a rigid floor was not asked for.
    posts : Ripple or None
        What the posts change of the direct sound as the column is turned; None where they are not
        solved.
    askew : RoundLevels or None
        What [askew] changes of it likewise; None where the file does not say that it hangs so.
    """

    sitter: Sitter
    arrivals: tuple[Arrival, ...]
    other_arrivals: tuple[Arrival, ...]
    summed_db: np.ndarray
    behind_db: np.ndarray
    behind_curve_db: np.ndarray
    impulse: SeatImpulse
    delays: SeatDelays
    shadows_db: Mapping[str, np.ndarray]
    floor: FloorCheck | None = None
    posts: Ripple | None = None
    askew: RoundLevels | None = None

    @property
    def name(self) -> str:
        """Name of the seat, as in the design file."""
        return self.sitter.seat.name

    @property
    def standing(self) -> bool:
        """Whether the seat as written is the standing one of the two."""
        return self.sitter.seat.ear_height > self.sitter.other_ears

    @property
    def direct(self) -> Arrival:
        """The direct sound."""
        return self.arrivals[0]

    @property
    def bounces(self) -> tuple[Arrival, ...]:
        """Every first bounce, the earliest first."""
        return self.arrivals[1:]

    def re_direct_db(self, bounce: Arrival) -> np.ndarray:
        """(B,) level of a bounce at this seat less that of the direct sound, dB."""
        return bounce.level_db - self.direct.level_db

    def mean_re_direct_db(self, bounce: Arrival) -> float:
        """Mean over the bands of a bounce's level less that of the direct sound, dB."""
        return float(np.mean(self.re_direct_db(bounce)))

    @property
    def other_direct_db(self) -> np.ndarray:
        """(B,) level of the direct sound at the other height of the ears, dB re 0 dB at 1 m."""
        return self.other_arrivals[0].level_db

    @property
    def ears_change_db(self) -> np.ndarray:
        """(B,) direct sound at the other height of the ears less that at the seat, dB."""
        return self.other_direct_db - self.direct.level_db

    @property
    def early_to_direct_db(self) -> np.ndarray:
        """(B,) energy of all early bounces over that of the direct sound, dB."""
        return _early_to_direct_db(self.arrivals)

    @property
    def early_mean_db(self) -> float:
        """Mean of `early_to_direct_db` over the bands, dB."""
        return float(self.early_to_direct_db.mean())

    @property
    def other_early_to_direct_db(self) -> np.ndarray:
        """(B,) energy of the early bounces over the direct sound at the other height, dB."""
        return _early_to_direct_db(self.other_arrivals)


def _early_to_direct_db(arrivals: Sequence[Arrival]) -> np.ndarray:
    direct, *bounces = arrivals
    early = [one.level_db for one in bounces if one.path.delay_s <= EARLY_S]
    energy = np.sum(10.0 ** (np.array(early) / 10.0), axis=0) if early else 0.0
    return level_db(energy / 10.0 ** (direct.level_db / 10.0))
