"""One verdict for every comparison of two scores: what holds whatever nobody knows, what does not.

Scores differ by what the solver and the bands are off by, and by what nobody knows of the driver
and the build (`studies.solving.ensemble`). A lead smaller than the first is no difference. Else it
counts by the share of the ensemble's members in which the order is the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from studies.solving.target import NO_DIFFERENCE_DB

Verdict = Literal["no difference", "cannot be told apart", "probable", "real"]
REAL, PROBABLE = 0.9, 0.75
"""Share of the members in which an order has to hold to be called so. A claim that changes its sign
in more than a tenth of them is not real."""
USUAL_SPREAD_DB = 0.6
"""Standard deviation, over what nobody knows, of the lead of one reflector or gap over another, dB:
for comparisons that were not asked of every member. Of 78 pairs of the example (caps of 24 to 54 mm
at gaps of 60 to 88 mm, cone, turned bell, plate alone) half spread by more than 0.65 dB, a tenth by
less than 0.3."""


@dataclass(frozen=True, kw_only=True)
class Lead:
    """How much better one design scores than another, and how surely.

    Attributes
    ----------
    lead_db : float
        By how much the first scores better than the second, dB; in the mean over the members where
        they were asked.
    holds : float
        Share of the members, or probability, with which the one that leads scores better.
    error_db : float
        What solver and bands may be off by, dB.
    members : int
        How many members were asked; 0 if none, and `holds` follows from a usual spread.
    """

    lead_db: float
    holds: float
    error_db: float = NO_DIFFERENCE_DB
    members: int = 0

    @property
    def verdict(self) -> Verdict:
        """The comparison in words."""
        if abs(self.lead_db) < self.error_db:
            return "no difference"
        if self.holds >= REAL:
            return "real"
        return "probable" if self.holds >= PROBABLE else "cannot be told apart"

    @property
    def told_apart(self) -> bool:
        """True if one of the two is better, probably at least."""
        return self.verdict in ("probable", "real")

    @property
    def gains(self) -> bool:
        """True if the first is better, probably at least."""
        return self.told_apart and self.lead_db > 0.0

    def turned(self) -> Lead:
        """Return the same comparison seen from the second."""
        return Lead(
            lead_db=-self.lead_db, holds=self.holds, error_db=self.error_db, members=self.members
        )


def compared(
    lead_db: float, error_db: float = NO_DIFFERENCE_DB, spread_db: float = USUAL_SPREAD_DB
) -> Lead:
    """Compare two scores that were found for one driver and build only.

    Parameters
    ----------
    lead_db : float
        By how much the first scores better, dB.
    error_db : float
        What solver and bands may be off by, dB.
    spread_db : float
        Standard deviation of the lead over what nobody knows; the lead is taken as normal.
    """
    holds = 0.5 * (1.0 + math.erf(abs(lead_db) / (spread_db * math.sqrt(2.0))))
    return Lead(lead_db=lead_db, holds=holds, error_db=error_db)


def compared_over(leads_db: ArrayLike, error_db: float = NO_DIFFERENCE_DB) -> Lead:
    """Compare two scores over the members of an ensemble.

    Parameters
    ----------
    leads_db : array_like, shape (M,)
        By how much the first scores better in each member, dB; all members weigh alike. Infinite
        where only one of the two can be built, nan where neither can.
    error_db : float
        What solver and bands may be off by, dB.
    """
    leads = np.asarray(leads_db, dtype=float)
    leads = leads[~np.isnan(leads)]
    if not leads.size:
        return Lead(lead_db=0.0, holds=0.0, error_db=error_db)
    mean = float(np.mean(leads)) if np.isfinite(leads).all() else float(np.median(leads))
    holds = float(np.mean(leads > 0.0 if mean > 0.0 else leads < 0.0))
    return Lead(lead_db=mean, holds=holds, error_db=error_db, members=leads.size)
