"""Solves that are stopped from another thread, each by its own stop."""

import threading
import time

import numpy as np
import pytest
from small import small_design

from dispersion.fields import solve_fields
from dispersion.problem import Problem
from dispersion.stopping import (
    EVERYTHING,
    StopFlag,
    StoppedError,
    Threads,
    current_stop,
    stopped_by,
)
from dispersion.waves import WaveSettings
from studies.solving.grid import problem_of


def problem() -> Problem:
    design = small_design()
    return problem_of(design, design.assembly())


def test_threads_answer_to_the_stop_of_whoever_gives_them_work() -> None:
    own = StopFlag()
    with Threads(2) as pool:
        with stopped_by(own):
            found = list(pool.map(lambda _: current_stop(), range(4)))
        assert found == [own] * 4
        assert pool.submit(current_stop).result() is EVERYTHING
    assert current_stop() is EVERYTHING


def test_one_question_is_stopped_and_another_goes_on() -> None:
    asked, own, ended = problem(), StopFlag(), []

    def stopped() -> None:
        with stopped_by(own):
            try:
                solve_fields(asked, [16_000.0] * 4, WaveSettings().finer(6.0), 2)
            except StoppedError:
                ended.append(time.monotonic())

    solve_fields(asked, [500.0], WaveSettings(), 1)  # compiles or loads what is compiled
    thread = threading.Thread(target=stopped)
    thread.start()
    time.sleep(0.1)
    start = time.monotonic()
    own.set()
    thread.join(20.0)
    assert ended and ended[0] - start < 1.0
    assert np.isfinite(solve_fields(asked, [500.0], WaveSettings(), 1)[500.0].far).all()


def test_what_is_stopped_already_does_not_begin() -> None:
    own = StopFlag()
    own.set()
    with stopped_by(own), pytest.raises(StoppedError):
        solve_fields(problem(), [500.0], WaveSettings(), 1)
