"""What came of holding the program against what is known, in sentences."""

from __future__ import annotations

from studies.questions.proof.cases.check import LEVEL_TOLERANCE_DB, Compared
from studies.questions.proof.study import DEFAULT_ELEMENTS, Proof


def answer(proof: Proof) -> tuple[str, ...]:
    """Whether every check holds, how near the solver is to its limit, and what is not checked."""
    return (
        _verdict(proof),
        *_promise(proof),
        "Meshes: the error falls with the power {:.1f} to {:.1f} of the element size; the default"
        " is {:g} quartic elements in a wavelength.".format(*proof.orders, DEFAULT_ELEMENTS),
        "Not checked: any real speaker. Nobody has published a measured comparison of cap, cone"
        " and curve on one driver. The list below says what else is not.",
    )


def place_of(case: Compared) -> str:
    """Name the value nearest to its limit: "ka 5, 30 deg"."""
    return f"{case.case}, {case.at[case.worst]}"


def _verdict(proof: Proof) -> str:
    count = len(proof.proved)
    if proof.failed:
        names = "; ".join(one.check.name for one in proof.failed)
        return (
            f"{len(proof.failed)} of {count} checks FAIL: {names}. Do not trust this program here"
            " until that is explained."
        )
    values = f"{proof.values:,}".replace(",", " ")
    return f"All {count} checks hold: {values} values found, each within its limit."


def _promise(proof: Proof) -> tuple[str, ...]:
    if not proof.promises:
        return ()
    tightest = max(proof.promises, key=lambda one: one.share_of_limit)
    return (
        f"Full wave solver: {len(proof.promises)} checks in dB, where {LEVEL_TOLERANCE_DB:g} dB is"
        " promised within 30 dB of the maximum. Nearest to its limit, at"
        f" {100.0 * tightest.share_of_limit:.0f} %: {tightest.check.name},"
        f" {place_of(tightest.nearest)}.",
    )
