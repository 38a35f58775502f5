"""Do the weights of the score decide what they are meant to? The table in `studies.solving.target`.

All in the first example, each shape at the best of its own gaps: the cone of its example, the cap
over all keeps and all gaps of the file; plate and bare column as they stand. What leaks or hollows
out the treble too much is not chosen, as in every command, but counts in the shares.
"""

from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np
import pytest

from dispersion.solvers import solve_waves
from studies.design import Design, read_design
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import COARSE_BY_NEED, FINE_BY_NEED, run
from studies.solving.hanging import solve_gaps
from studies.solving.lines import PlaceInLine
from studies.solving.shaving import solve_cuts
from studies.solving.target import NO_DIFFERENCE_DB

PARTS = ("coverage", "steadiness", "residue", "boost")
CHANGES = [(part, factor) for part in PARTS for factor in (0.5, 2.0)]


def example(name: str) -> Design:
    return read_design(files("studies.examples") / f"{name}.toml")


@cache
def rows_by_gap(name: str) -> dict[float, Row]:
    """Solved rows of an example by plate gap, m."""
    choices = solve_gaps(example(name), solve_waves, COARSE_BY_NEED)
    return {one.plate_gap: one.row for one in choices if one.row.solved}


@cache
def rows_by_keep() -> dict[float, Row]:
    """Solved rows of the first example by keep, m."""
    design = example("reading_room")
    cuts = solve_cuts(design, design.trim_candidates(), solve_waves, COARSE_BY_NEED)
    return {cut.keep: cut.row for cut in cuts if cut.row.solved}


@cache
def parts_of_cones() -> np.ndarray:
    """The four costs of the cone example's cone in the first example, by plate gap."""
    design, cone = example("reading_room"), example("reading_room_cone").assembly().reflector

    def at(gap: float) -> Candidate:
        built = design.assembly().with_reflector(cone).with_gap(gap)
        return Candidate(f"cone, {gap * 1e3:.0f} mm", lambda: built, PlaceInLine("plate gap", gap))

    gaps = np.arange(0.064, 0.0801, 0.002).tolist()
    rows = run(design, [at(gap) for gap in gaps], solve_waves, COARSE_BY_NEED, "cones")
    return costs([row for row in rows if row.is_contender])


@cache
def parts_of_references() -> np.ndarray:
    """The four costs of the first example's plate alone, and of its column alone."""
    design = example("reading_room")
    candidates = [
        Candidate("plate", lambda: design.assembly().with_reflector(None)),
        Candidate("bare", lambda: design.assembly().without_upper()),
    ]
    return costs(run(design, candidates, solve_waves, FINE_BY_NEED, "references"))


def costs(rows: Sequence[Row]) -> np.ndarray:
    """The four costs of each, dB, (N, 4)."""
    return np.array([[row.scorecard.term(part).cost for part in PARTS] for row in rows])


def chosen_from(found: dict[float, Row]) -> tuple[np.ndarray, np.ndarray]:
    """Sizes among which the best is chosen, m, and the four costs of each."""
    free = {size: row for size, row in found.items() if row.is_contender}
    return np.array(list(free)), costs(list(free.values()))


def shares(found: np.ndarray) -> np.ndarray:
    """Share of each part in the variance of the sum: covariance with it over its variance."""
    total = found.sum(axis=1)
    return np.array([np.cov(part, total)[0, 1] for part in found.T]) / np.var(total, ddof=1)


@pytest.mark.long
@pytest.mark.parametrize("name", ["reading_room", "reading_room_cone", "reading_room_coaxial"])
def test_coverage_has_the_largest_share_over_the_gaps(name: str) -> None:
    parts = costs(list(rows_by_gap(name).values()))
    found = shares(parts)
    print(name, len(parts), found.round(2), parts.std(axis=0, ddof=1).round(2))
    assert found[0] > found[1:].max()


@pytest.mark.long
def test_coverage_has_the_largest_share_over_the_keeps() -> None:
    parts = costs(list(rows_by_keep().values()))
    found = shares(parts)
    print(len(parts), found.round(2), parts.std(axis=0, ddof=1).round(2))
    assert found[0] > 0.5


@pytest.mark.long
@pytest.mark.parametrize(("part", "factor"), [("coverage", 1.0), *CHANGES])
def test_any_weight_halved_or_doubled_keeps_the_order(part: str, factor: float) -> None:
    """Cone, cap, plate, bare; and what is chosen then is near-best by the weights as they are."""
    weights = np.where(np.array(PARTS) == part, factor, 1.0)
    gaps, by_gap = chosen_from(rows_by_gap("reading_room"))
    keeps, by_keep = chosen_from(rows_by_keep())
    cone = (parts_of_cones() @ weights).min()
    cap = min((by_gap @ weights).min(), (by_keep @ weights).min())
    plate, bare = parts_of_references() @ weights
    keep, gap = np.argmin(by_keep @ weights), np.argmin(by_gap @ weights)
    scores = " ".join(f"{one:.2f}" for one in (cone, cap, plate, bare))
    print(f"{part} x {factor:g}: {scores}, keep {keeps[keep] * 1e3:.0f}, gap {gaps[gap] * 1e3:.0f}")
    assert cone < cap + NO_DIFFERENCE_DB
    assert cap < plate < bare
    for chosen, all_of_them in ((keep, by_keep), (gap, by_gap)):
        plain = all_of_them.sum(axis=1)
        assert plain[chosen] - plain.min() <= 0.3
