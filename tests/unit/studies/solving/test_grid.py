"""Frequencies chosen by need: the same rows as on an even grid, from fewer solves."""

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from small import small_design

from dispersion.fields import Fields
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.settling import first_frequencies
from dispersion.solvers import solve_waves
from studies.design import Design
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import (
    COARSE_BY_NEED,
    COARSE_PER_BAND,
    FINE_BY_NEED,
    FINE_PER_BAND,
    ByNeed,
    leaders_fineness,
    run,
    settle,
)
from studies.solving.lines import PlaceInLine
from studies.solving.memory import Remembering

STRICT = ByNeed(0.0101, 24)
"""A doubt that no band reaches before it has more solves than `FEW`: each has 0.01 dB at least."""
UNREACHED = ByNeed(0.001, 24)
"""A doubt that no band reaches, whatever is solved."""
FEW = np.geomspace(*first_frequencies(500.0, 800.0)[[0, -1]], 4)
"""Hz; four samples leave fits that differ, so that a second round has to follow."""


class CountingStore:
    """Keeps every solve, or none, and a list of the names under which one was to be kept.

    What the driver gives by itself has one direction, and is not in the list.
    """

    def __init__(self, *, forgets: bool = False) -> None:
        self.kept: list[bytes] = []
        self._forgets = forgets
        self._fields: dict[bytes, Fields] = {}

    def fetch(self, key: bytes) -> Fields | None:
        return self._fields.get(key)

    def keep(self, key: bytes, fields: Fields) -> None:
        if fields.far.shape[1] > 1:
            self.kept.append(key)
        if not self._forgets:
            self._fields[key] = fields


class Asking:
    """The wave solver, with a list of what it was asked for in each round."""

    def __init__(self, store: CountingStore | None = None) -> None:
        self.problems: list[Problem] = []
        self._store = store

    def __call__(self, problem: Problem, **options: object) -> Response:
        self.problems.append(problem)
        return solve_waves(problem, store=self._store, **options)


@pytest.fixture(scope="module")
def design() -> Design:
    return small_design()


def caps(design: Design) -> list[Candidate]:
    """Two caps of the design's ball and the plate without one."""
    keeps = [Candidate(f"{keep}", partial(design.trimmed, 0.18, keep)) for keep in (0.02, 0.03)]
    return [*keeps, Candidate("plate", lambda: design.assembly().with_reflector(None))]


def same_bits(one: Row, other: Row) -> bool:
    pairs = (
        (one.coverage.level_db, other.coverage.level_db),
        (one.response.near_by_way, other.response.near_by_way),
        (one.response.solved_frequencies, other.response.solved_frequencies),
        (one.response.settling.doubt_db, other.response.settling.doubt_db),
        (one.response.settling.near_power, other.response.settling.near_power),
        (one.window_curve_db, other.window_curve_db),
    )
    return one.score == other.score and all(a.tobytes() == b.tobytes() for a, b in pairs)


def test_rows_by_need_are_those_of_a_fine_even_grid(design: Design) -> None:
    candidate = Candidate("as designed", design.assembly)
    (even,) = run(design, [candidate], solve_waves, 48, "even", keep_far=True)
    (row,) = run(design, [candidate], solve_waves, COARSE_BY_NEED, "by need", keep_far=True)
    assert row.response.settling.settled.all()
    assert row.solves < even.solves / 10
    assert row.per_band == COARSE_BY_NEED.per_band
    assert row.coverage.level_db == pytest.approx(even.coverage.level_db, abs=0.1)
    assert row.coverage.window_level_db == pytest.approx(even.coverage.window_level_db, abs=0.1)
    assert row.score == pytest.approx(even.score, abs=0.05)
    # Curves and seats are read from the fit at frequencies of which none was solved.
    (plain,) = run(design, [candidate], solve_waves, row.per_band, "plain", keep_far=True)
    assert not set(row.response.solved_frequencies) & set(plain.response.solved_frequencies)
    assert row.window_curve_db == pytest.approx(plain.window_curve_db, abs=0.1)
    assert row.response.near == pytest.approx(plain.response.near, rel=0.01)


def test_any_number_of_workers_gives_the_same_bits(design: Design) -> None:
    started = {candidate.build(): FEW for candidate in caps(design)}
    one, three = (
        run(
            design,
            caps(design),
            partial(solve_waves, workers=workers),
            STRICT,
            "by need",
            started=started,
        )
        for workers in (1, 3)
    )
    assert [row.name for row in one] == [row.name for row in three] == ["0.02", "0.03", "plate"]
    assert all(row.solves > len(FEW) for row in one)
    assert all(map(same_bits, one, three))
    alone = run(design, caps(design)[1:2], solve_waves, STRICT, "by need", started=started)
    assert same_bits(alone[0], one[1])


def test_leaders_begin_where_the_coarse_pass_ended(design: Design) -> None:
    store = CountingStore()
    solver = Asking(store)
    started = {candidate.build(): FEW for candidate in caps(design)}
    coarse = run(design, caps(design), solver, COARSE_BY_NEED, "coarse", started=started)
    assert len(store.kept) == sum(row.solves for row in coarse)
    solver.problems.clear()
    fine = settle(design, coarse, solver, UNREACHED)
    again = [(a, b) for a, b in zip(coarse, fine, strict=True) if a is not b]
    assert again
    for before, after in again:
        first = next(p for p in solver.problems if p.assembly == before.assembly)
        assert np.array_equal(first.frequencies, before.response.solved_frequencies)
        assert set(before.response.solved_frequencies) < set(after.response.solved_frequencies)
        assert after.per_band == UNREACHED.per_band
    # What the coarse pass had solved was found: nothing has been kept twice.
    assert (
        len(set(store.kept))
        == len(store.kept)
        == sum(
            after.solves if (before, after) in again else before.solves
            for before, after in zip(coarse, fine, strict=True)
        )
    )


def test_a_study_without_a_ledger_remembers_its_coarse_pass(design: Design) -> None:
    store = CountingStore(forgets=True)
    solver = partial(solve_waves, store=Remembering(store))
    (coarse,) = run(design, caps(design)[:1], solver, COARSE_BY_NEED, "coarse")
    (fine,) = settle(design, [coarse], solver, FINE_BY_NEED)
    assert (coarse.per_band, fine.per_band) == (8, 24)
    assert len(store.kept) == fine.solves


def test_a_far_off_candidate_is_not_solved_again() -> None:
    design = small_design(
        ("coverage = 2.0", "coverage = 100.0"), ("near_best_db = 0.3", "near_best_db = 0")
    )
    solver = Asking()
    coarse = run(design, caps(design), solver, COARSE_BY_NEED, "coarse")
    scores = sorted(row.score for row in coarse)
    # The limit is the best score, what counts as near-best, and 0.1 dB of doubt.
    limit = scores[0] + design.target.near_best_db + 0.1
    assert scores[-1] > limit
    fine = settle(design, coarse, solver, FINE_BY_NEED)
    assert [row.per_band for row in fine] == [24 if row.score <= limit else 8 for row in coarse]
    settled = settle(design, fine, solver, FINE_BY_NEED)
    assert all(a is b for a, b in zip(settled, fine, strict=True))


def test_a_refused_candidate_is_a_row_with_its_reason(design: Design) -> None:
    good, other, _ = caps(design)

    def impossible() -> object:
        raise ValueError("does not fit")

    def solver(problem: Problem, **options: object) -> Response:
        if problem.assembly == other.build():
            raise ValueError("no mesh for it")
        return solve_waves(problem, **options)

    steps: list[tuple[str, int, int]] = []
    candidates = [Candidate("drawn", impossible), other, good]
    rows = run(
        design,
        candidates,
        solver,
        COARSE_BY_NEED,
        "a stage",
        lambda *step: steps.append(step),
    )
    assert [row.name for row in rows] == ["drawn", "0.03", "0.02"]
    assert [row.reason for row in rows] == ["does not fit", "no mesh for it", ""]
    assert [row.solved for row in rows] == [False, False, True]
    stage, done, total = steps[-1]
    assert (stage, done) == ("a stage", total)
    assert {step[2] for step in steps} == {total}


def test_progress_ends_at_its_total_whatever_it_takes(
    design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Be more frequencies solved than a design is expected to need, or fewer."""
    for expected in (5, 60):
        monkeypatch.setattr("studies.solving.grid.EXPECTED_SOLVES", expected)
        steps: list[tuple[str, int, int]] = []
        rows = run(
            design,
            caps(design)[:1],
            solve_waves,
            COARSE_BY_NEED,
            "a stage",
            lambda *step, kept=steps: kept.append(step),
        )
        assert [row.solves for row in rows] == [10]
        done = [step[1] for step in steps]
        assert done == sorted(done)
        assert steps[-1] == ("a stage", expected, expected)
        assert len(set(done)) > 2


def test_a_progress_that_stops_the_study_is_called_no_more(design: Design) -> None:
    steps: list[int] = []

    def stop(stage: str, done: int, total: int) -> None:
        steps.append(done)
        raise KeyboardInterrupt

    def solver(problem: Problem, *, progress: Callable[[int], None], **_: object) -> None:
        progress(1)

    with pytest.raises(KeyboardInterrupt):
        run(design, caps(design)[:1], solver, COARSE_BY_NEED, "a stage", stop)
    assert steps == [1]


def test_seats_settle_too_where_they_are_asked_for(design: Design) -> None:
    """At the seats, band values are those of the pressure there, all ways together."""
    (row,) = run(
        design,
        [Candidate("as designed", design.assembly)],
        solve_waves,
        FINE_BY_NEED,
        "by need",
        settle_seats=True,
    )
    bands = len(row.coverage.centres)
    near = np.abs(row.response.near) ** 2
    # 24 frequencies in each third octave, read from the fit, against means over 256.
    read = near.reshape(bands, 24, -1).mean(axis=1)
    assert row.response.settling.near_power == pytest.approx(read, rel=0.01)


def test_leaders_are_solved_as_finely_as_they_were_asked_for() -> None:
    assert leaders_fineness(COARSE_BY_NEED) == FINE_BY_NEED
    assert leaders_fineness(COARSE_PER_BAND) == FINE_PER_BAND == 12
    assert leaders_fineness(24) == 24


def test_a_line_of_caps_is_read_between_few(design: Design) -> None:
    keeps = 1e-3 * np.arange(20, 32)

    def line(*, together: bool) -> list[Candidate]:
        return [
            Candidate(
                f"{keep}",
                partial(design.trimmed, 0.18, keep),
                PlaceInLine("ball", keep) if together else None,
            )
            for keep in keeps
        ]

    store = CountingStore(forgets=True)
    solver = Asking(store)
    read = run(design, line(together=True), solver, COARSE_BY_NEED, "read")
    solved = run(design, line(together=False), solve_waves, COARSE_BY_NEED, "solved")
    assert len(store.kept) < 0.7 * sum(row.solves for row in solved)
    assert len(store.kept) == sum(row.solves for row in read)
    for one, other in zip(read, solved, strict=True):
        assert one.name == other.name
        assert one.score == pytest.approx(other.score, abs=0.01)
        levels = one.coverage.window_level_db
        assert levels == pytest.approx(other.coverage.window_level_db, abs=0.04)
        assert one.seat_levels_db == pytest.approx(other.seat_levels_db, abs=0.1)


def test_a_line_with_a_refused_cap_is_solved_one_by_one(design: Design) -> None:
    keeps = 1e-3 * np.arange(20, 28)

    def refusing(problem: Problem, **options: object) -> Response:
        if problem.assembly == design.trimmed(0.18, keeps[0]):
            raise ValueError("no mesh for this one")
        return solve_waves(problem, **options)

    rows = run(
        design,
        [
            Candidate(f"{keep}", partial(design.trimmed, 0.18, keep), PlaceInLine("ball", keep))
            for keep in keeps
        ],
        refusing,
        COARSE_BY_NEED,
        "line",
    )
    assert rows[0].reason == "no mesh for this one"
    assert all(row.solved for row in rows[1:])
