"""Writes the page PROVED.md beside this module: `python -m studies.questions.proof.page`.

Two parts of the page are written, between marks in comments: the table of checks, from a run of all
of them, and the list of what is not checked. All other words on the page are written by hand.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from studies.questions.proof.study import UNCHECKED, Proof, Proved, prove
from studies.solving.session import watched

PAGE = Path(__file__).with_name("PROVED.md")
TABLE, NOT_PROVED = "checks", "not proved"
ROUNDING_SHARE = 0.01
"""Share of its limit below which a difference counts as rounding."""
COLUMNS = ("check", "values", "found", "known", "difference", "limit", "source")


def row_of(one: Proved) -> dict[str, str]:
    """Write a check's value nearest to its limit, by the names of the page's columns.

    Where nothing but rounding is left, which value that is differs from processor to processor:
    the first stands there, and a bound in place of the difference.
    """
    case, check = one.nearest, one.check
    w, difference = case.worst, f"{case.difference[case.worst]:.2g}"
    if one.share_of_limit < ROUNDING_SHARE:
        case, w = one.cases[0], 0
        difference = f"< {ROUNDING_SHARE * case.allowed[w]:.0e}"
    words = (
        check.name,
        str(one.values),
        f"{case.found[w]:.5g}",
        f"{case.known[w]:.5g}",
        difference,
        f"{case.allowed[w]:.2g} {check.unit}".strip(),
        check.source,
    )
    return dict(zip(COLUMNS, words, strict=True))


def rows_on(page: str) -> list[dict[str, str]]:
    """Read the rows of the table of checks from the page, by the names of its columns."""
    lines = _part(page, TABLE).splitlines()[2:]
    return [
        dict(zip(COLUMNS, (cell.strip() for cell in line.strip("|").split("|")), strict=True))
        for line in lines
    ]


def refreshed(page: str, proof: Proof) -> str:
    """Put the rows of a proof, and what is not checked, into the page."""
    rows = [_line(COLUMNS), _line("---" for _ in COLUMNS)]
    rows += [_line(row_of(one).values()) for one in proof.proved]
    page = page.replace(_part(page, TABLE), "\n".join(rows))
    return page.replace(_part(page, NOT_PROVED), not_proved())


def not_proved() -> str:
    """List what nothing here proves, and what stands in its place."""
    return "\n".join(f"- {what}: {instead}." for what, instead in UNCHECKED)


def not_proved_on(page: str) -> str:
    """Read that list from the page."""
    return _part(page, NOT_PROVED)


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _part(page: str, name: str) -> str:
    """Text between the two marks of a part, without its outer line breaks."""
    return page.split(f"<!-- {name} -->\n\n")[1].split(f"\n\n<!-- end of {name} -->")[0]


def write_page() -> None:
    """Run every check and write the page anew."""
    proof = watched(prove)
    PAGE.write_text(refreshed(PAGE.read_text(encoding="utf-8"), proof), encoding="utf-8")


if __name__ == "__main__":
    write_page()
