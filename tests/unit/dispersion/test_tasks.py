"""Pieces of a solve given away: the same bits, tried twice, refused by other code."""

from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from threadpoolctl import threadpool_info

from dispersion import tasks
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.sources import Way
from dispersion.tasks import OtherVersionError, Task, TaskError, perform
from dispersion.walls import ConstantAdmittance, Walls
from dispersion.waves import DEFAULT_SETTINGS, one_blas_thread
from shapes import Assembly, Column, Driver, DustCap, TopPlate, ball_cap

BUILT = Assembly(
    column=Column(width=0.2, height=0.4),
    driver=Driver(
        effective_radius=0.052,
        frame_radius=0.065,
        cone_depth=0.022,
        centre=DustCap(0.017, 0.009),
        proud=0.003,
    ),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.03),
    plate=TopPlate(0.1, 0.015, 0.003),
)
PROBLEM = Problem(
    assembly=BUILT,
    ways=(Way(name="driver"),),
    frequencies=np.array([300.0, 500.0, 700.0, 900.0, 1100.0]),
    points=np.array([[2.0, 0.3]]),
    walls=Walls(absorbers=(("baffle", ConstantAdmittance(0.3 - 0.6j, replaces_layers=True)),)),
)


class FailingExecutor(Executor):
    """Runs everything at once; raises, in place of an answer, as often as it was told to."""

    def __init__(self, failures: int, error: BaseException) -> None:
        self.failures, self.error, self.asked = failures, error, 0

    def submit(self, what: Callable, /, *given: object, **named: object) -> Future:
        self.asked += 1
        future: Future = Future()
        if self.asked <= self.failures:
            future.set_exception(self.error)
        else:
            future.set_result(what(*given, **named))
        return future


def same(one: Response, other: Response) -> bool:
    names = ("far_by_way", "near_by_way", "power_error_db", "unknowns", "arrived_by_way")
    return all(getattr(one, n).tobytes() == getattr(other, n).tobytes() for n in names)


def test_pieces_give_the_same_bits_as_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tasks, "PIECE", 2)
    done = []
    with ThreadPoolExecutor(3) as executor:
        there = solve_waves(PROBLEM, executor=executor, progress=done.append)
    assert same(there, solve_waves(PROBLEM))
    assert sum(done) == len(PROBLEM.frequencies)


def test_pieces_cover_every_frequency_once_and_each_reaches_over_the_band() -> None:
    frequencies = np.geomspace(100.0, 16e3, 92)
    cut = list(tasks._cut(PROBLEM, frequencies, DEFAULT_SETTINGS))
    assert len(cut) == 4
    assert sorted(f for task in cut for f in task.frequencies) == sorted(frequencies)
    for task in cut:
        assert min(task.frequencies) < 120.0
        assert max(task.frequencies) > 13e3


def test_what_fails_once_is_tried_again_and_what_fails_twice_is_told() -> None:
    lost = ConnectionError("the worker went away")
    once = FailingExecutor(1, lost)
    assert same(solve_waves(PROBLEM, executor=once), solve_waves(PROBLEM))
    assert once.asked == 2
    twice = FailingExecutor(2, lost)
    with pytest.raises(TaskError, match=r"5 frequencies failed 2 times.*the worker went away"):
        solve_waves(PROBLEM, executor=twice)
    assert twice.asked == 2


def test_a_refusal_is_no_failure() -> None:
    once = FailingExecutor(0, RuntimeError())
    wide = replace(PROBLEM, frequencies=np.array([4e6]))
    with pytest.raises(ValueError, match="wavelengths at 4000000 Hz"):
        solve_waves(wide, executor=once)
    assert once.asked == 1


def test_other_code_refuses_a_piece() -> None:
    with pytest.raises(OtherVersionError, match="install the same"):
        perform(Task("0" * 64, PROBLEM, (300.0,), DEFAULT_SETTINGS))


def test_linear_algebra_keeps_to_one_thread_whoever_solves_and_is_let_go_afterwards() -> None:
    def threads() -> set[int]:
        return {pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"}

    def held() -> set[int]:
        with one_blas_thread():
            return threads()

    before = threads()
    with ThreadPoolExecutor(1) as executor:
        for _ in range(2):  # whichever thread comes first must not keep the others from it
            assert held() == {1}
            assert executor.submit(held).result() == {1}
        with one_blas_thread():
            assert executor.submit(held).result() == {1}
            assert threads() == {1}
    assert threads() == before
