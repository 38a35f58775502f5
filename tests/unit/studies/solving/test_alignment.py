"""Two ways that cross over in known ways: by textbook filters, and by a known path."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from dispersion.air import Air
from dispersion.problem import Problem, elevation_grid
from dispersion.reference import Reference, flat
from dispersion.sources import ConeWave, Crossover, Way
from studies.design import read_design
from studies.questions.spread.ways_tables import ways_in_words, ways_tables
from studies.solving.alignment import Alignment, alignment, gain_in
from studies.solving.alignment_of_members import lead_of_best
from studies.solving.members import MEMBERS
from studies.solving.verdicts import compared_over

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
FREQUENCIES = np.geomspace(300.0, 20e3, 400)
WINDOW = (-5.0, 20.0)
CROSSING = 2000.0


def ways(kind: str, order: int, polarity: int = 1) -> tuple[Way, Way]:
    low, high = (Crossover(kind, order, CROSSING, side) for side in ("low", "high"))
    return (
        Way(name="driver", crossovers=(low,)),
        Way(name="tweeter", crossovers=(high,), polarity=polarity),
    )


def radiating(
    pair: tuple[Way, ...],
    second: NDArray[np.complex128] | float = 1.0,
    method: str = "waves",
) -> Any:
    """Points that radiate alike, the last times a factor, (F, E)."""
    elevations = elevation_grid()
    far = np.ones((len(pair), FREQUENCIES.size, elevations.size), dtype=complex)
    far[-1] *= second
    problem = SimpleNamespace(ways=pair, frequencies=FREQUENCIES, elevations=elevations)
    reference = Reference(pair, flat(len(pair)))
    return SimpleNamespace(problem=problem, reference=reference, far_of_each=far, method=method)


def found_for(*what: Any, method: str = "waves") -> Alignment | None:
    return alignment(radiating(*what, method=method), WINDOW)


def aligned(pair: tuple[Way, ...], second: NDArray[np.complex128] | float = 1.0) -> Alignment:
    found = found_for(pair, second)
    assert found is not None
    return found


@pytest.mark.parametrize(("order", "turned"), [(2, True), (4, False), (6, True), (8, False)])
def test_a_linkwitz_riley_is_in_step_by_its_order(order: int, turned: bool) -> None:
    """Equal polarity for orders 4, 8, reversed for 2, 6 (see `Crossover`), and no delay."""
    found = aligned(ways("linkwitz-riley", order))
    assert found.best.reversed is turned and found.best.later == 0.0
    assert found.best.summed_db == pytest.approx(0.0, abs=1e-9)
    assert found.crossing_hz == pytest.approx(CROSSING, rel=1e-4)
    if turned:
        # As written they cancel at the crossover.
        assert found.written.worst_db < -30.0
        assert found.written.worst_hz == pytest.approx(CROSSING, rel=0.02)
    else:
        assert found.gain_db == 0.0


@pytest.mark.parametrize("behind", [0.03, -0.05])
def test_a_path_is_made_up_for_by_its_delay(behind: float) -> None:
    """A tweeter a path farther away is late by path over speed of sound: the driver waits."""
    lag = behind / Air().speed
    found = aligned(ways("linkwitz-riley", 4), np.exp(2j * np.pi * FREQUENCIES * lag)[:, None])
    assert found.best.later == pytest.approx(-lag, abs=5.1e-6)
    driver, tweeter = found.best.ways
    assert min(driver.delay, tweeter.delay) == 0.0
    assert (driver.delay > 0.0) is (behind > 0.0)
    assert found.best.summed_db == pytest.approx(0.0, abs=0.02) and found.gain_db > 0.5


def test_what_is_written_is_measured_as_it_is() -> None:
    """A delay in the file that is right leaves nothing to gain; a wrong polarity is found."""
    driver, tweeter = ways("linkwitz-riley", 4, polarity=-1)
    lag = np.exp(2j * np.pi * FREQUENCIES * 0.1e-3)[:, None]
    right = aligned((replace(driver, delay=0.1e-3), replace(tweeter, polarity=1)), lag)
    assert right.gain_db == pytest.approx(0.0, abs=1e-9)
    wrong = aligned((replace(driver, delay=0.1e-3), tweeter), lag)
    assert wrong.gain_db > 1.0 and not wrong.best.reversed
    # In step at one frequency only, half a period off.
    assert wrong.other.reversed and wrong.other.summed_db < -0.1


def test_odd_butterworths_sum_flat_and_half_in_step() -> None:
    """Order 3: ways a quarter of a period apart, power 1 where in step it would be 2 at most."""
    found = aligned(ways("butterworth", 3))
    at = int(np.argmin(np.abs(found.frequencies - CROSSING)))
    assert found.written.curve_db[at] == pytest.approx(-3.01, abs=0.01)


def test_what_a_timing_gains_hangs_on_who_asks() -> None:
    """Found for a path of 0.1 ms; without a path it loses as much: in step but for a lag, two ways
    add up alike whichever of them is late."""
    pair, lag = ways("linkwitz-riley", 4), np.exp(2j * np.pi * FREQUENCIES * 0.1e-3)[:, None]
    found = aligned(pair, lag)
    assert found.gain_db > 1.0
    assert gain_in(found, radiating(pair, lag), WINDOW) == pytest.approx(found.gain_db)
    assert gain_in(found, radiating(pair), WINDOW) == pytest.approx(-found.gain_db)


def test_a_timing_is_judged_by_every_driver_and_build() -> None:
    """Made-up members: where the cone's motion runs outwards there is the path that was made up
    for, elsewhere none. They are half of the 24, so that gains and losses even out."""
    design = read_design(EXAMPLES / "reading_room_coaxial.toml")
    found = aligned(design.ways, np.exp(2j * np.pi * FREQUENCIES * 0.1e-3)[:, None])

    def solve(problem: Problem, progress: Callable[[int], None], also: Sequence[Any]) -> Any:
        progress(len(problem.frequencies))
        waves = isinstance(problem.ways[0].lets_go, ConeWave)
        far = np.ones((2, len(problem.frequencies), len(problem.elevations)), dtype=complex)
        far[1] *= np.exp(2j * np.pi * problem.frequencies * 0.1e-3 * waves)[:, None]
        reference = Reference(problem.ways, flat(2))
        return SimpleNamespace(problem=problem, reference=reference, far_of_each=far)

    lead = lead_of_best(design, design.assembly(), found, solve)
    assert lead.members == MEMBERS and lead.holds == 0.5
    assert lead.lead_db == pytest.approx(0.0, abs=1e-6)
    assert not lead.gains


def test_one_way_no_crossing_or_no_phase_has_no_alignment() -> None:
    low, _ = ways("linkwitz-riley", 4)
    assert found_for((low,)) is None
    assert found_for(ways("linkwitz-riley", 4), method="rays") is None
    assert found_for((low, replace(low, name="tweeter", level_db=-20.0))) is None


def test_spread_says_which_keys_to_write() -> None:
    """Filters of order 2 want one way reversed; a path of 34.34 mm takes 0.1 ms."""
    lag = np.exp(2j * np.pi * FREQUENCIES * 0.1e-3)[:, None]
    found = aligned(ways("linkwitz-riley", 2), lag)
    spread = SimpleNamespace(
        alignment=found, alignment_lead=None, design=SimpleNamespace(air=Air())
    )
    (said,) = ways_in_words(spread)
    assert 'Write delay = "0.1 ms" below [driver] and polarity = "reversed" below [tweeter]' in said
    (table,) = ways_tables(spread)
    assert table.values("polarity") == ("equal", "opposite", "equal")
    assert table.values("path_mm")[1] == pytest.approx(0.1 * Air().speed)
    assert found.written.summed_db == table.values("summed_db")[0] < table.values("summed_db")[1]
    spread.alignment_lead = compared_over([0.4] * 23 + [-0.1])
    assert "real (23 of 24 agree). Write" in ways_in_words(spread)[0]
    spread.alignment_lead = compared_over([0.9] * 13 + [-0.6] * 11)
    assert "cannot be told apart (13 of 24 agree). Leave it" in ways_in_words(spread)[0]
    spread.alignment = aligned(found.best.ways, lag)
    (said,) = ways_in_words(spread)
    assert "Write" not in said and "no other delay" in said
    driver, tweeter = ways("linkwitz-riley", 4)
    hardly = np.exp(2j * np.pi * FREQUENCIES * 1e-6)[:, None]  # less than is written: no "-0 ms"
    spread.alignment = aligned((driver, replace(tweeter, delay=0.1e-3)), hardly)
    assert 'delay = "0 ms" below [tweeter]' in ways_in_words(spread)[0]
