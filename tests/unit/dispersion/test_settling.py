from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dispersion.bands import band_edges, band_means, study_frequencies
from dispersion.elevations import window_power
from dispersion.problem import Problem
from dispersion.reference import Reference, flat
from dispersion.response import Response
from dispersion.settling import (
    first_frequencies,
    settle_bands,
    settled_response,
    solve_columns,
    window_and_points,
)
from dispersion.solvers import solve_waves
from dispersion.windows import Wanted
from studies.design import parse_design
from studies.solving.grid import problem_of

EXAMPLE = Path(__file__).parents[3] / "studies" / "examples" / "reading_room.toml"
POLES = np.array([3150.0 - 30.0j, 6020.0 - 5.0j, 7400.0 - 60.0j])
"""Hz; Q = 53, 602 and 62."""


def resonator(frequencies: np.ndarray) -> np.ndarray:
    """One way at five columns: 1 and three modes of unit height, a reflection after 0.5 ms."""
    f = np.asarray(frequencies)[:, None, None]
    shares = np.cos(np.outer(np.arange(1.0, 6.0), np.arange(1.0, 4.0)))
    modes = (POLES.imag * shares / (f[..., None] - POLES)).sum(axis=-1)
    return 1.0 + modes + 0.1 * np.exp(2j * np.pi * f * 0.5e-3)


class Counted:
    def __init__(self) -> None:
        self.asked: list[np.ndarray] = []

    def __call__(self, frequencies: np.ndarray) -> np.ndarray:
        self.asked.append(frequencies)
        return resonator(frequencies)


def wanted(**changes: object) -> Wanted:
    values = np.array([[0.25, 0.25, 0.25, 0.25, 0.0], [0.0, 0.0, 0.0, 0.0, 1.0]])
    asked = Wanted(
        low=1000.0,
        high=8000.0,
        values=values,
        within_db=0.05,
        transfer=lambda f: np.ones((1, len(f))),
    )
    return replace(asked, **changes)


def exact_levels(asked: Wanted) -> np.ndarray:
    f = study_frequencies(asked.low, asked.high, 4000)
    _, power = band_means(f, np.abs(resonator(f)[:, 0]) ** 2)
    return 10.0 * np.log10(power @ asked.values.T)


def test_bands_settle_where_a_fixed_grid_is_off() -> None:
    solve, asked = Counted(), wanted()
    found = settle_bands(solve, asked)
    exact = exact_levels(asked)
    assert found.settled.all()
    assert np.abs(found.level_db - exact).max() < 0.1
    f = study_frequencies(asked.low, asked.high, 12)
    _, power = band_means(f, np.abs(resonator(f)[:, 0]) ** 2)
    plain = np.abs(10.0 * np.log10(power @ asked.values.T) - exact)
    assert len(found.frequencies) < 0.4 * len(f)
    assert plain.max() > 0.2


def test_what_was_solved_is_kept_and_nothing_solved_twice() -> None:
    solve = Counted()
    found = settle_bands(solve, wanted())
    asked = np.concatenate(solve.asked)
    assert np.array_equal(np.sort(asked), found.frequencies)
    assert len(np.unique(asked)) == len(asked)
    assert len(solve.asked) == found.rounds
    assert np.array_equal(found.samples, resonator(found.frequencies))
    assert all(len(added) <= 4 for added in solve.asked[1:])


def test_resonances_are_those_that_are_there() -> None:
    found = settle_bands(Counted(), wanted(within_db=0.02))
    trusted = [one for one in found.resonances if one.trusted]
    for pole in POLES:
        (one,) = [one for one in trusted if abs(one.frequency - pole.real) < 5.0]
        assert one.q == pytest.approx(pole.real / (-2.0 * pole.imag), rel=0.1)


def test_a_spent_budget_leaves_bands_not_settled() -> None:
    found = settle_bands(Counted(), wanted(most=24))
    assert len(found.frequencies) == 24
    assert not found.settled.all()
    assert np.array_equal(found.settled, found.doubt_db.max(axis=1) <= 0.05)


def test_curves_settle_at_every_frequency_and_were_foretold() -> None:
    """At any frequency, not in the mean of a band: over the rms value of the curve in the band."""
    asked = wanted(values=np.eye(5)[:1], curves=np.arange(1, 5), within=0.02, batch=4)
    few = settle_bands(Counted(), replace(asked, curves=None, within_db=0.3))
    found = settle_bands(Counted(), asked)
    f = study_frequencies(1000.0, 8000.0, 1000)
    exact = resonator(f)[:, 0, 1:]
    size = np.sqrt(band_means(f, np.abs(exact) ** 2)[1]).repeat(1000, axis=0)
    off = [np.abs(one.by_way(f)[:, 0, 1:] - exact) / size for one in (few, found)]
    assert off[1].max() < 0.02 < off[0].max()
    assert len(few.foretold) == 0
    assert len(found.foretold) == len(found.centres)
    assert found.foretold.max() <= 0.02


def test_too_few_to_begin_with_are_refused() -> None:
    """Of three samples there is one fit, which differs from no other."""
    with pytest.raises(ValueError, match="from 4 frequencies or more, not 3"):
        settle_bands(Counted(), wanted(most=3), start=np.array([1000.0, 3000.0, 8000.0]))


def test_errors_stay_within_a_few_doubts() -> None:
    """Over budgets: as one standard deviation should, and one error in thirty beyond three."""
    exact, off = exact_levels(wanted()), []
    for most in range(24, 48, 3):
        found = settle_bands(Counted(), wanted(most=most))
        off.append(np.abs(found.level_db - exact) / found.doubt_db)
    assert np.mean(np.array(off) > 1.0) < 0.4
    assert np.mean(np.array(off) > 3.0) < 0.04


def test_ways_add_up_by_their_transfer() -> None:
    """Two equal ways of which one is turned round and halved leave half of the pressure."""

    def both(f: np.ndarray) -> np.ndarray:
        return np.repeat(resonator(f), 2, axis=1)

    asked = wanted()
    one = settle_bands(resonator, asked)
    halved = replace(asked, transfer=lambda f: np.outer([1.0, -0.5], np.ones(len(f))))
    two = settle_bands(both, halved)
    assert two.level_db == pytest.approx(one.level_db + 20.0 * np.log10(0.5), abs=0.1)


def test_the_fit_is_read_between_the_samples() -> None:
    found = settle_bands(resonator, wanted(within_db=0.02))
    at = study_frequencies(1000.0, 8000.0, 48)
    off = np.abs(found.by_way(at) - resonator(at))
    assert np.sqrt(np.mean(off**2)) < 0.02


def test_first_frequencies_reach_from_edge_to_edge() -> None:
    first = first_frequencies(100.0, 16000.0)
    starts, ends = band_edges(np.array([100.0, 10**4.2]))
    assert first[[0, -1]] == pytest.approx([starts[0], ends[1]])
    assert np.all(np.diff(first) > 0.0)
    # Ten bands of 0.6, seven of 1.5, six of 4, and the one at the end.
    assert len(first) == np.ceil(10 * 0.6 + 7 * 1.5 + 6 * 4) + 1


@pytest.mark.slow
@pytest.mark.parametrize("keep", [26, 44, 53])
def test_the_example_settles_from_few_solves(keep: int) -> None:
    """Against 48 a band read by the same fits, where the mean of 4 a band is off by decibels."""
    text = EXAMPLE.read_text().replace("keep = 44 ", f"keep = {keep} ")
    design = parse_design(text, EXAMPLE)
    problem = problem_of(design, design.assembly())
    solve, window = solve_columns(problem, solve_waves), design.window_deg
    asked = Wanted(
        low=5000.0,
        high=12500.0,
        values=window_and_points(problem, window),
        within_db=0.05,
        transfer=Reference(problem.ways, flat(1)).in_bands,
    )
    fine = settle_bands(solve, replace(asked, most=0), start=study_frequencies(4000.0, 16000.0, 24))
    found = settle_bands(solve, asked)
    assert len(found.frequencies) <= 50
    assert np.abs(found.level_db - fine.level_db).max() < 0.2
    at = study_frequencies(5000.0, 12500.0, 4)
    pressure = np.einsum("wf,fwk->fk", asked.transfer(at), fine.by_way(at))
    directions = np.abs(pressure[:, : len(problem.elevations)]) ** 2
    _, plain = band_means(at, window_power(directions, problem.elevations, window))
    assert np.abs(10.0 * np.log10(plain) - fine.level_db[:, 0]).max() > 1.0


class Mock:
    """A solver of the resonator above, in as many directions and points as it is asked for."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def __call__(self, problem: Problem) -> Response:
        self.problems.append(problem)
        f = problem.frequencies
        ways = np.arange(1.0, len(problem.ways) + 1.0)[:, None, None]
        column = resonator(f)[None, :, 0, :1] / ways
        return Response(
            problem=problem,
            reference=Reference(problem.ways, flat(len(problem.ways))),
            method="mock",
            settings={},
            far_by_way=np.repeat(column, len(problem.elevations), axis=2),
            near_by_way=np.repeat(2.0 * column, len(problem.points), axis=2),
            power_error_db=1e-6 * f / ways[:, :, 0],
            unknowns=np.round(f).astype(int),
        )


def test_a_response_says_what_was_solved_and_reads_the_rest() -> None:
    text = EXAMPLE.read_text().replace('band = ["100 Hz", "16 kHz"]', "band = [1000, 8000]")
    design = parse_design(text, EXAMPLE)
    problem, solver = problem_of(design, design.assembly(), 8), Mock()
    response, found, _ = settled_response(problem, solver, design.window_deg, within_db=0.02)
    power = found.power
    settling = response.settling
    solved = np.concatenate([asked.frequencies for asked in solver.problems])
    assert len(solver.problems) > 1
    assert response.solved_frequencies.tolist() == sorted(solved)
    # Each solve has its own power error and unknowns here, so that their order shows.
    assert response.power_error_db[0] == pytest.approx(1e-6 * settling.frequencies)
    assert response.unknowns.tolist() == np.round(settling.frequencies).tolist()
    assert response.worst_power_error_db == pytest.approx(1e-6 * solved.max())
    assert response.problem is problem
    assert settling.settled.all()
    assert settling.doubt_db.shape == (10,)
    assert [one.frequency for one in settling.resonances] == pytest.approx(POLES.real, rel=0.003)
    exact = resonator(problem.frequencies)[:, 0, 0]
    off = np.abs(response.far_by_way[0, :, 7] - exact)
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert response.near_by_way[0, :, 0] == pytest.approx(2.0 * response.far_by_way[0, :, 0])
    f = study_frequencies(1000.0, 8000.0, 4000)
    transfer = np.abs(problem.ways[0].transfer(f)) ** 2
    _, means = band_means(f, transfer * np.abs(resonator(f)[:, 0, 0]) ** 2)
    off = 10.0 * np.log10(power[:, 7] / means)
    assert np.abs(off).max() < 0.1
    assert settling.near_power[:, 0] == pytest.approx(4.0 * power[:, 0])


def test_a_response_of_its_own_frequencies_was_solved_there() -> None:
    design = parse_design(EXAMPLE.read_text(), EXAMPLE)
    problem = problem_of(design, design.assembly(), 4)
    response = Mock()(problem)
    assert response.settling is None
    assert response.solved_frequencies is problem.frequencies


def test_a_response_names_bands_that_did_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dispersion.settling.MOST_FOR_BANDS", 24)
    text = EXAMPLE.read_text().replace('band = ["100 Hz", "16 kHz"]', "band = [1000, 8000]")
    design = parse_design(text, EXAMPLE)
    problem = problem_of(design, design.assembly(), 8)
    response, _, _ = settled_response(problem, Mock(), design.window_deg, within_db=0.05)
    assert len(response.solved_frequencies) == 24
    assert not response.settling.settled.all()
    assert np.array_equal(response.settling.settled, response.settling.doubt_db <= 0.05)
