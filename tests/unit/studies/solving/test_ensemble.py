"""The ensemble: ranges as its docstring states, scores against designs that are solved outright."""

import math
from dataclasses import replace
from functools import cache, partial
from types import SimpleNamespace

import numpy as np
import pytest
from small import small_design

from dispersion.solvers import solve_rays, solve_waves
from dispersion.sources import ConeWave, LettingGo
from dispersion.waves import SharedBlocks
from studies.answer.judging import members_in_words, passed_over_in_words
from studies.solving.candidates import Candidate
from studies.solving.ensemble import Judged, judge, may_lead
from studies.solving.grid import run
from studies.solving.members import BUILDS, MEMBERS, WAVE_SPEED, Motion, builds, motions
from studies.solving.memory import Remembering

TREBLE = ("band = [500, 800]", 'band = ["2.5 kHz", "3.15 kHz"]')


def remembering() -> partial:
    return partial(solve_waves, shared=SharedBlocks(), workers=1, store=Remembering(None))


@cache
def judged() -> Judged:
    design = small_design(TREBLE)
    candidates = [
        Candidate("as written", design.assembly),
        Candidate("bare", lambda: design.assembly().without_upper()),
    ]
    rows = run(design, candidates, remembering(), 4, "test")
    return judge(design, rows, remembering(), 4)


def test_few_that_may_lead_are_spread_over_what_is_near_the_best() -> None:
    scores = [5.0, 4.0, 3.9, 3.5, 3.2, 3.0, 3.3, 3.6, 3.8, 3.95, 4.4, math.inf]
    rows = [SimpleNamespace(score=s, solved=s < math.inf, per_band=4) for s in scores]
    found = [rows.index(row) for row in may_lead(rows, [rows[0], rows[-1]], most=3)]
    # The best, what is asked in any case, both ends of what is within 1 dB; its middle is the best.
    assert found == [5, 0, 1, 9]
    assert [rows.index(row) for row in may_lead(rows)] == [5, 1, 3, 4, 6, 7, 9]


def test_members_fill_their_ranges() -> None:
    drawn = builds()
    assert len(drawn) == BUILDS
    for name, low, high in (("diameter", 0.95, 1.05), ("depth", 0.75, 1.25), ("cap", 0.5, 1.5)):
        values = np.sort([getattr(one, name) for one in drawn])
        # A Sobol set of 2^n points has one in each 2^n-th of every axis.
        places = (values - low) / (high - low) * BUILDS
        np.testing.assert_array_equal(np.floor(places), np.arange(BUILDS))
    speeds = [one.wave_speed for one in motions() if one.wave_speed is not None]
    assert len(motions()) == MEMBERS
    assert len(speeds) == MEMBERS / 2
    assert WAVE_SPEED[0] <= min(speeds) < max(speeds) <= WAVE_SPEED[1]


def test_warmer_air_lets_go_where_the_wave_in_it_is_as_long() -> None:
    design = small_design()
    (way,) = design.ways
    air, warm = design.air, replace(design.air, temperature_c=30.0)
    ratio = warm.speed / air.speed
    letting = Motion(lets_go_hz=3e3, wave_speed=None, temperature=30.0).way(way, 0.02, air)
    assert isinstance(letting.lets_go, LettingGo)
    assert letting.lets_go.frequency == pytest.approx(3e3 / ratio)
    running = Motion(lets_go_hz=None, wave_speed=500.0, temperature=30.0).way(way, 0.02, air)
    assert isinstance(running.lets_go, ConeWave)
    assert running.lets_go.speed == pytest.approx(500.0 / ratio)
    stiff = Motion(lets_go_hz=math.inf, wave_speed=None, temperature=20.0).way(way, 0.02, air)
    assert stiff.lets_go is None


def test_a_member_is_the_design_so_built_and_so_moved() -> None:
    found = judged()
    design, build, motion = small_design(TREBLE), builds()[0], motions()[0]
    row = found.rows[0]
    design = design.with_absorbers({})
    assert found.scores.shape == (2, MEMBERS)
    assert np.isfinite(found.scores).all()
    assert build.of(row.assembly).plate_gap == pytest.approx(row.assembly.plate_gap + build.gap)
    kept = build.of(row.assembly).hung_reflector.fact("keep")
    assert kept == pytest.approx(row.assembly.hung_reflector.fact("keep") + build.keep)
    assert motion.temperature != 20.0


def test_solves_made_on_the_way_are_those_of_the_motion_alone() -> None:
    design = small_design(TREBLE)
    (way,) = design.ways
    wave = replace(way, lets_go=ConeWave(400.0, 0.015))
    candidate = [Candidate("as written", design.assembly)]
    solver = remembering()
    run(design, candidate, partial(solver, also=[(wave,)]), 4, "test")
    before = solver.keywords["shared"].made
    (on_the_way,) = run(replace(design, ways=(wave,)), candidate, solver, 4, "test")
    assert solver.keywords["shared"].made == before
    (alone,) = run(replace(design, ways=(wave,)), candidate, remembering(), 4, "test")
    assert on_the_way.score == pytest.approx(alone.score, abs=1e-9)


def test_regret_is_what_nine_of_ten_members_stay_within() -> None:
    rows = judged().rows
    scores = np.array([np.arange(20.0), np.full(20, 10.0)])
    found = Judged(rows=rows, scores=scores, levels_db=np.zeros((2, 20, 1)))
    # Ahead by 10, 9, ... 1 in the first ten members, behind by 0 to 9 in the others.
    assert found.regret_of(rows[0]) == pytest.approx(8.0)
    assert found.regret_of(rows[1]) == pytest.approx(9.0)
    assert found.least is rows[0]
    assert found.compare(rows[0], rows[1]).holds == pytest.approx(0.5)


def test_nine_of_ten_members_stay_within_the_range_of_a_change() -> None:
    """Of 21 even steps from 0 to 20 dB the 5 per cent at either end are 1 and 19."""
    rows = judged().rows
    levels = np.zeros((2, 21, 1))
    levels[1, :, 0] = np.arange(21.0)
    found = Judged(rows=rows, scores=np.zeros((2, 21)), levels_db=levels)
    assert found.change_range_db(*rows).ravel() == pytest.approx([1.0, 19.0])
    assert found.change_range_db(*rows[::-1]).ravel() == pytest.approx([-19.0, -1.0])


def test_what_cannot_be_built_in_a_member_is_regretted_without_end() -> None:
    rows = judged().rows
    levels = np.array([[[-3.0, -9.0], [np.nan, np.nan]], [[-1.0, -5.0], [0.0, 0.0]]])
    scores = np.array([[1.0, np.inf], [2.0, 2.0]])
    found = Judged(rows=rows, scores=scores, levels_db=levels)
    # Levels change in the one member that can build both.
    assert found.change_range_db(*rows) == pytest.approx(np.array([[2.0, 4.0], [2.0, 4.0]]))
    assert found.regret_of(rows[0]) == np.inf
    assert found.least is rows[1]


def test_who_is_judged_by_what_a_fit_left_is_told() -> None:
    found = judged()
    assert "may stand for: the choice" in members_in_words(found, found.least)[0]
    said = members_in_words(replace(found, known="fitted.toml"), found.least)[0]
    assert "may stand for, as fitted.toml left the doubt: the choice" in said


def test_quick_methods_are_not_judged() -> None:
    design = small_design()
    rows = run(design, [Candidate("as written", design.assembly)], solve_rays, 4, "test")
    assert judge(design, rows, solve_rays, 4) is None


def test_what_the_limits_pass_over_is_listed_in_ranges() -> None:
    def row(*, hollow: bool = False, leaks: bool = False, solved: bool = True) -> SimpleNamespace:
        card = SimpleNamespace(too_hollow=hollow, leaks_too_much=leaks)
        return SimpleNamespace(solved=solved, scorecard=card)

    sizes = [0.05, 0.052, 0.054, 0.056, 0.058]
    rows = [row(hollow=True), row(hollow=True), row(), row(leaks=True), row(solved=False)]
    hollow = "Passed over, since the treble lies more than 15 dB down: 50.0 mm to 52.0 mm."
    leaks = "Passed over, since more leaks above the window than is wanted: 56.0 mm."
    assert passed_over_in_words(sizes, rows) == [hollow, leaks]
    assert passed_over_in_words(sizes, rows, by_leak=False) == [hollow]
    # Where nothing else is left, the choice is among all of them.
    assert passed_over_in_words(sizes[:2], rows[:2]) == []
