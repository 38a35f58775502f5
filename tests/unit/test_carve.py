"""A curve of one's own: limits, budget, the file that comes of it, and no false gain."""

from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from shapes.assembly import Assembly
from shapes.reflectors import ball_cap, cone, turned
from studies.carve import (
    ERROR_DB,
    Carved,
    Form,
    Limits,
    carve,
    carve_files,
    carved_text,
    limits_of,
    reflector_through,
)
from studies.charts.carve import Shape, carve_figure
from studies.design import Design, DesignError, parse_design
from studies.grid import FINE_PER_BAND, problem_of
from studies.tables.carve import carve_tables

EXAMPLES = Path(__file__).parents[2] / "studies" / "examples"
EVALUATIONS = 12
STAGES = ("caps", "cones", "everywhere", "nearby")
BALL = (
    '[reflector]\nkind = "ball"\nball_diameter = 180        # several measured diameters can be'
    " given: [180.2, 179.6, 180.0]\nkeep = 44                  # apex to flat; or cut_off = 136\n\n"
)
SALE = ("keep = { from = 15, to = 55, step = 1 }", "keep = [20]\nballs_on_sale = [180]")


def small_design(*pairs: tuple[str, str]) -> Design:
    """Return the example from 2 to 4 kHz, with whatever else is changed in its text."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (('band = ["100 Hz", "16 kHz"]', "band = [2000, 4000]"), *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def carving_design(*lines: str) -> Design:
    """Return the small example with a carve table of these lines."""
    return small_design(("[gap]", "\n".join(("[carve]", *lines, "", "[gap]"))))


@cache
def carved() -> Carved:
    return carve(
        carving_design(), partial(solve_waves, shared=SharedBlocks()), evaluations=EVALUATIONS
    )


def flat_solver(problem: Problem, progress: object = None) -> Response:
    """Take the first problem's sound for every reflector: nothing is better than anything."""
    return replace(_first_sound(len(problem.frequencies)), problem=problem)


@cache
def _first_sound(count: int) -> Response:
    design = carving_design()
    bands = 4  # 2, 2.5, 3.15 and 4 kHz
    return solve_waves(problem_of(design, design.assembly(), count // bands))


def test_every_solved_profile_keeps_the_limits() -> None:
    found, limits = carved(), limits_of(carving_design())
    # The posts begin 89 - 3 = 86 mm from the axis, inside the flat of the plate, 97 mm.
    assert limits.largest_diameter == pytest.approx(2 * 0.086)
    # Plate gap 60 mm, tip clearance 3 mm where nothing is written.
    assert limits.largest_height == pytest.approx(0.057)
    for trial in found.trials:
        built, reflector = trial.assembly, trial.assembly.reflector
        assert not built.clashes()
        assert not built.is_choked
        assert 2 * reflector.widest_radius <= limits.largest_diameter + 1e-9
        assert reflector.height <= limits.largest_height + 1e-9
        assert built.tip_clearance_in_motion >= 0.003 - 1e-9
        assert min(piece.min_radius for piece in reflector.profile.pieces) >= 0.002
        assert np.all(np.diff(reflector.profile.sample(1e-6)[:, 0]) >= -1e-9)


def test_no_more_is_solved_than_allowed_and_the_starts_come_first() -> None:
    trials = carved().trials
    assert len(trials) <= EVALUATIONS
    stages = list(dict.fromkeys(trial.stage for trial in trials))
    assert tuple(stages) == STAGES
    assert len({trial.assembly for trial in trials}) == len(trials)


def test_never_worse_than_both_starts_at_the_frequencies_searched() -> None:
    trials = carved().trials
    curves = [t.score for t in trials if t.stage in ("everywhere", "nearby")]
    starts = [t.score for t in trials if t.stage in ("caps", "cones")]
    # The cone's knots give the cone itself; those of the cap its arc within a micrometre or two.
    assert min(curves) <= min(starts) + 0.005


def test_what_is_compared_is_settled() -> None:
    found = carved()
    assert [row.per_band for row in (found.row, *found.starts)] == [FINE_PER_BAND] * 3
    assert found.row.assembly.reflector == reflector_through(found.points_mm)
    assert found.cap.assembly.reflector.kind == "ball cap"
    assert found.cone.assembly.reflector.kind == "cone"
    assert found.gain_db == min(found.cap.score, found.cone.score) - found.row.score


def test_the_same_seed_gives_the_same_result() -> None:
    again = carve(carving_design(), solve_waves, evaluations=EVALUATIONS)
    assert again.points_mm == carved().points_mm
    assert again.row.score == carved().row.score
    assert carve_files(again) == carve_files(carved())


def test_the_result_is_a_design_file_with_the_same_geometry() -> None:
    found = carved()
    files = carve_files(found)
    assert set(files) == {"carved.toml", "reading_room_cone.toml"}
    path = found.design.path.parent / "carved.toml"
    read = parse_design(files["carved.toml"].decode(), path)
    assert read.assembly() == found.row.assembly
    assert read.trim_candidates() == found.design.trim_candidates()
    assert read.title == found.design.title


def test_a_profile_of_points_in_many_lines_is_replaced_as_a_whole() -> None:
    points = '[reflector]\nkind = "turned"\npoints = [\n  [0, 0],\n  [70, 30]\n]\n\n'
    design = small_design((BALL, points), SALE)
    knots = ((0.0, -20.0), (30.0, -12.5), (70.001, 0.0))
    read = parse_design(carved_text(design, knots), design.path)
    assert read.reflector() == reflector_through(knots)


def test_a_reflector_without_a_heading_is_refused_with_the_remedy() -> None:
    design = replace(carving_design(), text='reflector = { kind = "none" }')
    with pytest.raises(DesignError, match=r"write it as a table under \[reflector\]"):
        carve(design, flat_solver, evaluations=EVALUATIONS)


def test_no_gain_is_claimed_where_all_sound_the_same() -> None:
    found = carve(carving_design(), flat_solver, evaluations=EVALUATIONS)
    assert found.gain_db == pytest.approx(0.0, abs=1e-12)
    assert not found.is_gain
    told = carve_tables(found)
    assert told.answer[0].startswith("No gain: ")
    assert told.fact("is_gain") is False


@pytest.mark.parametrize(("gain", "claimed"), [(0.9 * ERROR_DB, False), (1.1 * ERROR_DB, True)])
def test_a_gain_within_the_error_is_told_as_none(gain: float, claimed: bool) -> None:
    found = carved()
    card = found.row.scorecard
    best = min(row.score for row in found.starts)
    shift = best - gain - card.score
    first = replace(card.terms[0], measured=card.terms[0].measured + shift, weight=1.0)
    better = replace(found.row, scorecard=replace(card, terms=(first, *card.terms[1:])))
    told = carve_tables(replace(found, row=better))
    assert told.fact("gain_db") == pytest.approx(gain)
    assert told.fact("is_gain") is claimed
    assert told.answer[0].startswith("No gain: ") is not claimed
    assert (f"give or take {ERROR_DB:.2f} dB" in told.answer[0]) is claimed


def test_knots_of_a_cone_are_that_cone_and_of_a_cap_nearly() -> None:
    form = Form(Limits(0.172, 0.057, 0.002, 0.003, undercut=False))
    for given in (cone(0.086, height=0.03), ball_cap(0.18, 0.026)):
        back = reflector_through(form.points_mm(form.numbers(given)))
        radii = np.linspace(0.0, back.base_radius, 50)
        lines = [shape.profile.sample(1e-7) for shape in (given, back)]
        heights = [np.interp(radii, *line.T) for line in lines]
        # Knots stand on whole micrometres; a cubic is within 10 um of so flat an arc.
        np.testing.assert_allclose(heights[0], heights[1], atol=1e-5)


def test_an_undercut_is_refused_unless_allowed() -> None:
    design = carving_design()
    bulging = turned([(0.0, -0.03), (0.03, -0.028), (0.06, -0.02), (0.07, -0.01), (0.062, 0.0)])
    built: Assembly = design.assembly().with_reflector(bulging)
    assert limits_of(design).broken_by(built) > 0.0
    assert limits_of(carving_design("undercut = true")).broken_by(built) == 0.0


def test_where_there_is_no_ball_caps_of_any_ball_are_tried_and_cones_of_any_size() -> None:
    design = small_design((BALL, '[reflector]\nkind = "none"\n\n'), SALE)
    trials = carve(design, flat_solver, evaluations=48).trials
    tried = {stage: [t.assembly.reflector for t in trials if t.stage == stage] for stage in STAGES}
    assert len({cap.fact("ball diameter") for cap in tried["caps"]}) > 3
    for kind in ("caps", "cones"):
        assert len({shape.base_radius for shape in tried[kind]}) > 3
        assert len({round(shape.rim_slope, 6) for shape in tried[kind]}) > 3


def test_limits_are_as_written() -> None:
    lines = ("largest_diameter = 120", "largest_height = 25", "smallest_radius = 10")
    limits = limits_of(carving_design(*lines, "tip_clearance = 8"))
    assert limits == Limits(0.12, 0.025, 0.01, 0.008, undercut=False)
    found = carve(carving_design(*lines), flat_solver, evaluations=8)
    widest = max(trial.assembly.reflector.widest_radius for trial in found.trials)
    tallest = max(trial.assembly.reflector.height for trial in found.trials)
    assert widest <= 0.06 + 1e-9
    assert tallest <= 0.025 + 1e-9


def test_limits_that_nothing_keeps_are_refused_before_anything_is_solved() -> None:
    def refuse(problem: Problem, progress: object = None) -> Response:
        raise AssertionError("solved")

    with pytest.raises(DesignError, match=r"carve: no cap and no cone keeps these limits"):
        carve(carving_design('tip_clearance = "58 mm"', "largest_height = 15"), refuse)
    with pytest.raises(DesignError, match=r"carve\.tip_clearance: leaves no room"):
        carve(carving_design('tip_clearance = "60 mm"'), refuse)
    with pytest.raises(ValueError, match="eight evaluations"):
        carve(carving_design(), refuse, evaluations=7)


def test_the_chart_shows_every_solve_and_every_profile() -> None:
    found = carved()
    rows = (found.row, *found.starts)
    scores = [trial.score for trial in found.trials]
    stages = [trial.stage for trial in found.trials]
    shapes = [Shape(row.name, row.assembly) for row in rows]
    section, progress = carve_figure("A title", shapes, found.points_mm, stages, scores).axes
    named = section.get_legend_handles_labels()[1]
    assert [row.name for row in rows] == named[:3]
    marks = [line for line in progress.lines if line.get_linestyle() == "None"]
    assert sum(len(line.get_xdata()) for line in marks) == len(scores)
