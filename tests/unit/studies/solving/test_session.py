"""How a study is run: what holds while it is."""

import pytest
from small import small_design
from threadpoolctl import threadpool_info

from studies.solving.options import SolverOptions
from studies.solving.session import MethodError, solved, watched


def blas_threads() -> set[int]:
    return {pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"}


def test_linear_algebra_keeps_to_one_thread_between_solves_too() -> None:
    """What is fitted there is small: several threads would spin, for half of a study's time."""
    options = SolverOptions(no_ledger=True)
    assert solved(small_design(), options, lambda solver, progress: blas_threads()) == {1}
    assert watched(lambda progress: blas_threads()) == {1}


def test_options_that_contradict_each_other_are_refused_before_anything_is_solved() -> None:
    options = SolverOptions(no_ledger=True, full=True, per_band=4)
    with pytest.raises(MethodError, match="leave one of them out"):
        solved(small_design(), options, lambda solver, progress: pytest.fail("began"))
