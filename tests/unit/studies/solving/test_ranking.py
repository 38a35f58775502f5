"""Designs compared with a shorter column against whole ones."""

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.solvers import solve_rays, solve_waves
from dispersion.waves import DEFAULT_SETTINGS, WaveSettings
from studies.design import read_design
from studies.solving.candidates import Candidate
from studies.solving.grid import COARSE_BY_NEED, FINE_BY_NEED, Solver, run
from studies.solving.ranking import RANKING, RANKING_ERROR_DB, to_rank

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
WHOLE: Solver = partial(solve_waves, settings=DEFAULT_SETTINGS)


def test_only_the_wave_solver_by_need_on_its_usual_mesh_is_cut_short() -> None:
    assert to_rank(WHOLE, COARSE_BY_NEED).keywords["settings"] == RANKING
    assert to_rank(WHOLE, 24) is WHOLE
    finer: Solver = partial(solve_waves, settings=WaveSettings().finer(2.0))
    assert to_rank(finer, COARSE_BY_NEED) is finer
    rays: Solver = partial(solve_rays, workers=1)
    assert to_rank(rays, COARSE_BY_NEED) is rays


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["reading_room", "reading_room_coaxial", "reading_room_cone", "reading_room_boards"]
)
def test_scores_move_by_no_more_than_is_said(name: str) -> None:
    design = read_design(EXAMPLES / f"{name}.toml")
    wide = design.assembly().with_gap(1.15 * design.tables.plate_gap)
    both = [Candidate("as written", design.assembly), Candidate("wider gap", lambda: wide)]
    whole = run(design, both, WHOLE, FINE_BY_NEED, "whole")
    ranked = run(design, both, to_rank(WHOLE, FINE_BY_NEED), FINE_BY_NEED, "ranked")
    moved = [short.score - row.score for short, row in zip(ranked, whole, strict=True)]
    assert np.abs(moved).max() <= RANKING_ERROR_DB
    for short, row in zip(ranked, whole, strict=True):
        assert short.response.unknowns[-1] < 0.8 * row.response.unknowns[-1]
