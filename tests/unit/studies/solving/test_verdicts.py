"""Verdicts by the shares that `verdicts` states; the usual spread by the normal distribution."""

import numpy as np
import pytest
from scipy.stats import norm

from studies.solving.verdicts import (
    PROBABLE,
    REAL,
    USUAL_SPREAD_DB,
    Lead,
    compared,
    compared_over,
)


@pytest.mark.parametrize(
    ("lead", "holds", "verdict"),
    [
        (0.09, 1.0, "no difference"),
        (0.5, 0.74, "cannot be told apart"),
        (0.5, 0.75, "probable"),
        (0.5, 0.9, "real"),
        (-0.5, 0.9, "real"),
    ],
)
def test_the_verdict_follows_from_lead_and_share(lead: float, holds: float, verdict: str) -> None:
    found = Lead(lead_db=lead, holds=holds)
    assert found.verdict == verdict
    assert found.told_apart == (verdict in ("probable", "real"))
    assert found.gains == (found.told_apart and lead > 0.0)


def test_one_driver_alone_is_as_sure_as_the_usual_spread_allows() -> None:
    for share in (PROBABLE, REAL):
        lead = USUAL_SPREAD_DB * norm.ppf(share)
        assert compared(lead).holds == pytest.approx(share)
        assert compared(-lead).lead_db == -lead
        assert compared(-lead).holds == pytest.approx(share)


def test_over_members_the_share_is_counted() -> None:
    found = compared_over([1.0, 1.0, 1.0, -0.5])
    assert (found.lead_db, found.holds, found.members) == (0.625, 0.75, 4)
    against = compared_over([-1.0, -1.0, -1.0, 0.5])
    assert (against.lead_db, against.holds) == (-0.625, 0.75)


def test_what_can_be_built_beats_what_cannot() -> None:
    found = compared_over([np.inf, np.inf, np.nan, 0.2])
    assert (found.verdict, found.members) == ("real", 3)


def test_two_that_can_never_be_built_are_not_told_apart() -> None:
    assert compared_over([np.nan]).verdict == "no difference"
