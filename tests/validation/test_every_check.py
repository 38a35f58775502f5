"""Every check of `roundcast proof` holds, and PROVED.md says what came of it.

Each check is run here, once; its source stands beside it, in `studies.questions.proof.cases`.
"""

import pytest

from studies.questions.proof.cases.check import Check
from studies.questions.proof.page import (
    PAGE,
    ROUNDING_SHARE,
    not_proved,
    not_proved_on,
    row_of,
    rows_on,
)
from studies.questions.proof.study import FAMILIES, Proved

PROVED = PAGE.read_text(encoding="utf-8")
ROWS = {row["check"]: row for row in rows_on(PROVED)}
KERNELS = ("rings", "edge waves", "Kirchhoff")
"""Families small enough to run uncompiled."""
LENGTHY = ("Sharpness of the example's peaks", "Sphere in a wave from the side")
"""Kernels for a complex wavenumber take half a minute to compile, many orders ten seconds."""


@pytest.mark.parametrize(
    "check",
    [
        pytest.param(
            check,
            id=check.name,
            marks=[pytest.mark.uncompiled] * (family in KERNELS)
            + [pytest.mark.slow] * (check.name in LENGTHY),
        )
        for family, checks in FAMILIES.items()
        for check in checks
    ],
)
def test_it_holds_as_the_page_says(check: Check) -> None:
    one = Proved("", check, tuple(check.run(case) for case in check.cases))
    assert one.held, one.nearest
    row, now = ROWS[check.name], row_of(one)
    assert (row["values"], row["source"]) == (now["values"], now["source"])
    assert row["known"] in {f"{value:.5g}" for case in one.cases for value in case.known}
    assert row["limit"] in {
        f"{value:.2g} {check.unit}".strip() for case in one.cases for value in case.allowed
    }
    limit = float(row["limit"].split()[0])
    if row["difference"].startswith("<"):
        assert float(row["difference"][1:]) == pytest.approx(ROUNDING_SHARE * limit, rel=0.5)
        assert one.share_of_limit < 2.0 * ROUNDING_SHARE
    else:
        # Two digits are on the page, and the last bits differ from processor to processor.
        share = abs(float(row["difference"])) / limit
        assert share == pytest.approx(one.share_of_limit, rel=0.1, abs=ROUNDING_SHARE)
        assert float(row["found"]) - float(row["known"]) == pytest.approx(
            float(row["difference"]), rel=0.05, abs=1e-4 * abs(float(row["known"]))
        )


def test_the_page_has_every_check_and_all_that_is_not_checked() -> None:
    """After a change: `python -m studies.questions.proof.page`."""
    assert list(ROWS) == [check.name for checks in FAMILIES.values() for check in checks]
    assert not_proved_on(PROVED) == not_proved()
