"""A curve of one's own: limits, budget, the file that comes of it, and no false gain."""

import sys
import threading
from collections.abc import Sequence
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dispersion.fields import Fields, Store
from dispersion.problem import Problem
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks, WaveSettings
from shapes.assembly import Assembly
from shapes.clashes import find_clashes
from shapes.lengths import to_the_bit
from shapes.reflectors import Reflector, ball_cap, cone, turned
from studies.design import Design, DesignError, parse_design, read_design
from studies.questions.carve.bench import Bench, Trial
from studies.questions.carve.carved_file import carve_files, carved_files, carved_text
from studies.questions.carve.curves import Form, reflector_through
from studies.questions.carve.figures import carve_figure
from studies.questions.carve.search import ProfileSearch, scan_caps, scan_cones, search_curves
from studies.questions.carve.study import (
    CHECK_FINER,
    CHECK_PER_BAND,
    FINALISTS,
    LEAST_DOUBT_DB,
    Carved,
    carve,
)
from studies.questions.carve.tables import carve_tables
from studies.questions.spread.study import spread
from studies.solving.candidates import Row
from studies.solving.ensemble import Judged
from studies.solving.grid import COARSE_PER_BAND, FINE_BY_NEED, FINE_PER_BAND, problem_of
from studies.solving.ledger import Ledger
from studies.solving.limits import Limits, limits_of
from studies.solving.target import NO_DIFFERENCE_DB

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
SOLVES = 12
FINER = WaveSettings().finer(CHECK_FINER)
STAGES = ("caps", "cones", "everywhere", "nearby")
BALL = (
    '[reflector]\nkind = "ball"\nball_diameter = 180        # several measured diameters can be'
    " given: [180.2, 179.6, 180.0]\nkeep = 44                  # apex to flat; or cut_off = 136\n\n"
)
INLINE = 'reflector = { kind = "ball", ball_diameter = 180, keep = 44 }\n'
DOTTED = 'reflector.kind = "ball"\nreflector.ball_diameter = 180\nreflector.keep = 44\n'
KNOTS = ((0.0, -20.0), (30.0, -12.5), (70.001, 0.0))
POINTS = ((0.0, -30.0), (15.0, -24.0), (30.0, -17.0), (45.0, -9.0), (60.0, 0.0))
HELD = ('hold = "nothing"', 'hold = "plate gap"')
SALE = ("keep = { from = 15, to = 55, step = 1 }", "keep = [20]\nballs_on_sale = [180]")


def small_design(*pairs: tuple[str, str]) -> Design:
    """Return the example from 2 to 2.5 kHz, the plate held, with what else is changed in it."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (HELD, ('band = ["100 Hz", "16 kHz"]', "band = [2000, 2500]"), *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def carving_design(*lines: str) -> Design:
    """Return the small example with a carve table of these lines."""
    return small_design(("[gap]", "\n".join(("[carve]", *lines, "", "[gap]"))))


def carve_small(store: Store | None = None, design: Design | None = None) -> Carved:
    solver = partial(solve_waves, shared=SharedBlocks(), store=store)
    checker = partial(solver, settings=FINER)
    return carve(design or carving_design(), solver, checker=checker, solves=SOLVES)


class Shelf(dict[bytes, Fields]):
    """A store in memory."""

    fetch = dict.get
    keep = dict.__setitem__
    __hash__ = object.__hash__


SHELF = Shelf()


@cache
def carved() -> Carved:
    return carve_small(SHELF)


def carve_flat(design: Design, solves: int = SOLVES) -> Carved:
    """Carve where every reflector sounds the same."""
    return carve(design, flat_solver, None, COARSE_PER_BAND, checker=flat_solver, solves=solves)


@cache
def all_sound_the_same() -> Carved:
    return carve_flat(carving_design(), 8)


def hung(found: Carved, reflector: Reflector) -> Assembly:
    return found.design.assembly().with_reflector(reflector)


GAP = 0.06
"""Of the example, m."""


def flat_solver(problem: Problem, progress: object = None) -> Response:
    """Take the first problem's sound for every reflector: nothing is better than anything."""
    return replace(_first_sound(len(problem.frequencies)), problem=problem)


@cache
def _first_sound(count: int) -> Response:
    design = carving_design()
    bands = 2  # 2 and 2.5 kHz
    return solve_waves(problem_of(design, design.assembly(), count // bands))


def test_every_solved_profile_keeps_the_limits() -> None:
    found, limits = carved(), limits_of(carving_design())
    # The posts begin 89 - 3 = 86 mm from the axis, inside the flat of the plate, 97 mm; 2 mm room.
    assert limits.largest_diameter == pytest.approx(2 * 0.084)
    # Plate gap 60 mm, tip clearance 3 mm where nothing is written.
    assert limits.largest_height == pytest.approx(0.057)
    for trial in found.trials:
        built, reflector = hung(found, trial.reflector), trial.reflector
        assert trial.plate_gap == GAP
        assert not find_clashes(built)
        assert not built.is_choked
        assert 2 * reflector.widest_radius <= limits.largest_diameter + 1e-9
        assert reflector.height <= limits.largest_height + 1e-9
        assert built.tip_clearance_in_motion >= 0.003 - 1e-9
        assert min(piece.min_radius for piece in reflector.profile.pieces) >= 0.002
        assert np.all(np.diff(reflector.profile.sample(1e-6)[:, 0]) >= -1e-9)


def test_no_more_is_solved_than_allowed_and_the_starts_come_first() -> None:
    trials = carved().trials
    assert len(trials) <= SOLVES
    stages = list(dict.fromkeys(trial.stage for trial in trials))
    assert tuple(stages) == STAGES
    assert len({trial.reflector for trial in trials}) == len(trials)


def test_never_worse_than_both_starts_at_the_frequencies_searched() -> None:
    trials = carved().trials
    curves = [t.score for t in trials if t.stage in ("everywhere", "nearby")]
    starts = [t.score for t in trials if t.stage in ("caps", "cones")]
    # The cone's knots give the cone itself; those of the cap its arc within a micrometre or two.
    assert min(curves) <= min(starts) + 0.005


def test_what_is_compared_is_settled_and_checked() -> None:
    found = carved()
    for row in (*found.rows, *(one.check for one in found.compared)):
        assert row.response.settling.within_db == FINE_BY_NEED.within_db
        assert row.response.settling.settled.all()
    for one in found.compared:
        assert one.row.assembly == one.check.assembly == hung(found, one.trial.reflector)
        # Unknowns go up with the mesh, at the highest frequency by about that factor.
        finer = one.check.response.unknowns[-1] / one.row.response.unknowns[-1]
        assert finer == pytest.approx(CHECK_FINER, rel=0.2)
    assert found.curve.trial.reflector == reflector_through(found.curve.trial.points_mm)
    assert found.cap.trial.reflector.kind == "ball cap"
    assert found.cone.trial.reflector.kind == "cone"
    assert found.gain_db(found.cap) == found.cap.row.score - found.curve.row.score


def test_on_an_even_grid_leaders_are_settled_and_checked_on_finer_ones() -> None:
    found = all_sound_the_same()
    assert {row.per_band for row in found.rows} == {FINE_PER_BAND}
    assert {one.check.per_band for one in found.compared} == {CHECK_PER_BAND}


def test_spread_gives_the_carved_curve_the_same_score() -> None:
    found = carved()
    text = carve_files(found)["carved.toml"].decode()
    design = parse_design(text, found.design.path.parent / "carved.toml")
    solver = partial(solve_waves, shared=SharedBlocks(), store=SHELF)
    again = spread(design, solver, None, FINE_BY_NEED)
    assert again.row.score == found.curve.row.score


def test_the_error_bar_is_twice_what_every_term_changed_and_never_nothing() -> None:
    one = carved().cap
    terms = one.row.scorecard.terms
    moved = (replace(terms[0], measured=terms[0].measured + 0.1), *terms[1:])
    # Terms that move against each other hide nothing.
    moved = (*moved[:1], replace(terms[1], measured=terms[1].measured - 0.2), *moved[2:])
    check = replace(
        one.row,
        found=replace(one.row.found, scorecard=replace(one.row.scorecard, terms=moved)),
    )
    # The weight of coverage is 2, of steadiness 1.
    assert replace(one, check=check).doubt_db == pytest.approx(2 * (2 * 0.1 + 0.2))
    assert replace(one, check=one.row).doubt_db == LEAST_DOUBT_DB


def test_a_run_that_was_stopped_goes_on_where_it_was(tmp_path: Path) -> None:
    whole, path = carved(), tmp_path / "ledger.sqlite"

    class StoppedError(Exception):
        pass

    class Tripwire(Ledger):
        one_at_a_time = threading.Lock()

        def keep(self, key: bytes, fields: Fields) -> None:
            with self.one_at_a_time:
                if self.kept >= 50:
                    raise StoppedError
                super().keep(key, fields)

    with pytest.raises(StoppedError), Tripwire(path) as first:
        carve_small(first)
    with Ledger(path) as second:
        again = carve_small(second)
    assert first.kept == 50
    assert second.found >= 50
    assert second.kept == len(SHELF) - 50
    assert again.curve.trial == whole.curve.trial
    assert again.trials == whole.trials
    assert carve_files(again) == carve_files(whole)
    assert carve_tables(again).facts == carve_tables(whole).facts


def test_the_result_is_a_design_file_with_the_same_geometry() -> None:
    found = carved()
    files = carve_files(found)
    assert set(files) == {"carved.toml", "reading_room_cone.toml"}
    path = found.design.path.parent / "carved.toml"
    read = parse_design(files["carved.toml"].decode(), path)
    assert read.assembly() == found.curve.row.assembly
    assert read.trim_candidates() == found.design.trim_candidates()
    assert read.title == f"Carved from: {found.design.title}"
    assert "# 200 mm tube" in read.text
    # Carved once more, its title does not grow, and it does not write over itself.
    again = parse_design(carved_text(read, KNOTS, GAP), path)
    assert again.title == read.title
    assert set(carved_files(read, KNOTS, GAP)) == {"carved_again.toml", "reading_room_cone.toml"}


@pytest.mark.parametrize(
    "pairs",
    [
        ((BALL, '[reflector]\nkind = "turned"\npoints = [\n  [0, 0],\n  [70, 30]\n]\n\n'), SALE),
        ((BALL, ""), ("plate_gap = 60 ", f"{INLINE}plate_gap = 60 ")),
        ((BALL, ""), ("plate_gap = 60 ", f"{DOTTED}plate_gap = 60 ")),
        ((BALL, ""), ('[[contest]]\nname = "cone"', f'{BALL}[[contest]]\nname = "cone"')),
        (("[reflector]", '["reflector"]  # its heading in quotes'),),
    ],
    ids=["many lines", "inline", "dotted", "elsewhere", "quoted"],
)
def test_a_reflector_is_replaced_however_it_is_written(pairs: tuple[tuple[str, str], ...]) -> None:
    design = small_design(*pairs)
    read = parse_design(carved_text(design, KNOTS, 0.072), design.path)
    there = design.assembly().with_gap(to_the_bit(0.072))
    assert read.assembly() == there.with_reflector(reflector_through(KNOTS))
    assert read.trim_candidates() == design.trim_candidates()
    entries = zip(read.contest_entries(), design.contest_entries(), strict=True)
    assert all(one.reflector == other.reflector for one, other in [*entries][1:])


def test_files_of_the_same_name_in_different_folders_do_not_meet(tmp_path: Path) -> None:
    cone_text = (EXAMPLES / "reading_room_cone.toml").read_text(encoding="utf-8")
    (tmp_path / "in").mkdir()
    for folder, title in ((tmp_path, "one"), (tmp_path / "in", "other")):
        (folder / "reading_room_cone.toml").write_text(f"# {title}\n{cone_text}", encoding="utf-8")
    text = small_design().text + (
        '[[contest]]\nname = "second"\ndesign = "in/reading_room_cone.toml"\n'
    )
    files = carved_files(parse_design(text, tmp_path / "room.toml"), KNOTS, GAP)
    beside = tmp_path / "out"
    beside.mkdir()
    for name, content in files.items():
        (beside / name).write_bytes(content)
    read = read_design(beside / "carved.toml")
    names = {name for name, _ in read.companions}
    assert (
        names
        == {"reading_room_cone.toml", "other_reading_room_cone.toml"}
        == {*files} - {"carved.toml"}
    )
    assert files["other_reading_room_cone.toml"].startswith(b"# other")


def test_no_gain_is_claimed_where_all_sound_the_same() -> None:
    found = all_sound_the_same()
    assert found.gain_db(found.cap) == pytest.approx(0.0, abs=1e-12)
    assert not found.is_gain
    told = carve_tables(found)
    assert told.answer[0].startswith("No gain: ")
    assert told.fact("is_gain") is False


@pytest.mark.parametrize(
    ("more", "verdict"),
    [(-0.01, "no difference"), (0.01, "cannot be told apart"), (0.4, "probable"), (0.7, "real")],
)
def test_a_gain_is_claimed_if_it_is_more_than_the_error_and_borne(
    more: float, verdict: str
) -> None:
    """Over a usual spread of 0.6 dB a lead holds in 0.75 from 0.40 dB on, in 0.9 from 0.77 on."""
    found = replace(carved(), cone=None)
    error = max(found.error_db(found.cap), NO_DIFFERENCE_DB)
    told = carve_tables(found_with_gain(found, error + more))
    assert told.fact("gain_over_cap_db") == pytest.approx(error + more)
    assert told.fact("gain_over_cap_error_db") == pytest.approx(found.error_db(found.cap))
    assert told.fact("verdict_over_cap") == verdict
    claimed = verdict in ("probable", "real")
    assert told.fact("is_gain") is claimed
    assert told.answer[0].startswith("No gain: ") is not claimed
    assert (", probably" in told.answer[0]) is (verdict == "probable")
    assert told.answer[1].endswith(f"{verdict}.")


def test_the_curve_of_least_regret_is_held_against_the_hardest_to_beat(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Scores of the members are made up: of each kind the last that is asked is the best.

    So it is the curve that is chosen, and the cap and the cone that are hardest to beat.
    """
    asked: list[Row] = []

    def made_up(_design: Design, rows: Sequence[Row], *_: object) -> Judged:
        asked.extend(rows)
        scores = np.repeat(-np.arange(float(len(rows)))[:, None], 24, axis=1)
        return Judged(rows=tuple(rows), scores=scores, levels_db=np.zeros((len(rows), 24, 2)))

    monkeypatch.setattr(sys.modules[carve.__module__], "judge", made_up)
    solver = partial(solve_waves, shared=SharedBlocks(), store=SHELF)
    checker = partial(solver, settings=FINER)
    found = carve(carving_design(), solver, checker=checker, solves=SOLVES, ensemble=True)
    assert found.trials == carved().trials
    kinds = [row.assembly.hung_reflector.kind for row in asked]
    last = {kind: row for kind, row in zip(kinds, asked, strict=True) if row.is_contender}
    assert found.curve.row is last["turned"]
    assert found.cap.row is last["ball cap"]
    assert found.cone.row is last["cone"]
    assert kinds.count("turned") <= FINALISTS
    # Asked after the curve, cap and cone are better in all members.
    assert found.compare(found.cap).verdict == "real"
    assert found.rival is found.starts[0]
    assert carve_tables(found).answer[0].startswith("No gain: ")
    assert "worse than the best " in carve_tables(found).answer[0]


@pytest.mark.parametrize(("agree", "claimed"), [(17, False), (18, True), (24, True)])
def test_where_members_were_asked_they_have_to_bear_a_gain(agree: int, claimed: bool) -> None:
    plain = replace(carved(), cone=None)
    leads = np.where(np.arange(24) < agree, 0.8, -0.3)
    judged = Judged(
        rows=(plain.curve.row, plain.cap.row),
        scores=np.array([np.zeros(24), leads]),
        levels_db=np.zeros((2, 24, 2)),
    )
    found = replace(plain, judged=judged)
    assert found.is_gain is claimed
    assert found.is_sure is (agree == 24)
    told = carve_tables(found)
    assert f"({agree} of 24 agree)" in told.answer[1]
    assert told.fact("gain_over_cap_db") == pytest.approx(leads.mean())
    assert told.tables[1].name == "judged"


def found_with_gain(found: Carved, gain: float) -> Carved:
    """Move the curve's score, and that of its check as far, to this gain over the cap."""
    shift = found.gain_db(found.cap) - gain

    def moved(row: Row) -> Row:
        first, *others = row.scorecard.terms
        first = replace(first, measured=first.measured + shift / first.weight)
        return replace(
            row, found=replace(row.found, scorecard=replace(row.scorecard, terms=(first, *others)))
        )

    curve = replace(found.curve, row=moved(found.curve.row), check=moved(found.curve.check))
    return replace(found, curve=curve)


def test_to_beat_one_of_two_is_no_gain() -> None:
    found = carved()
    worst = max(found.starts, key=lambda start: start.row.score)
    best = min(found.starts, key=lambda start: start.row.score)
    tied = found_with_gain(found, found.cap.row.score - best.row.score)
    assert tied.gain_db(best) == pytest.approx(0.0, abs=1e-9)
    assert tied.gain_db(worst) > 0.0
    assert not tied.is_gain
    assert carve_tables(tied).answer[0].startswith("No gain: ")


def test_knots_of_a_cone_are_that_cone_and_of_a_cap_nearly() -> None:
    form = Form(Limits(0.172, 0.057, 0.002, 0.003, undercut=False), (GAP,))
    for given in (cone(0.086, height=0.03), ball_cap(0.18, 0.026)):
        back = reflector_through(form.points_mm(form.numbers(given, GAP)))
        radii = np.linspace(0.0, back.base_radius, 50)
        lines = [shape.profile.sample(1e-7) for shape in (given, back)]
        heights = [np.interp(radii, *line.T) for line in lines]
        # Knots stand on whole micrometres; a cubic is within 10 um of so flat an arc.
        np.testing.assert_allclose(heights[0], heights[1], atol=1e-5)


def test_an_undercut_is_refused_unless_allowed() -> None:
    design = carving_design()
    bulging = turned([(0.0, -0.03), (0.03, -0.028), (0.06, -0.02), (0.07, -0.01), (0.062, 0.0)])
    built: Assembly = design.assembly().with_reflector(bulging)
    assert set(limits_of(design).broken_by(built)) == {"carve.undercut"}
    assert limits_of(carving_design("undercut = true")).broken_by(built) == {}


def test_a_curve_that_the_design_has_is_tried_too() -> None:
    read = parse_design(carved_text(carving_design(), POINTS, GAP), carving_design().path)
    tried = [t.points_mm for t in carve_flat(read, 12).trials if t.stage == "everywhere"]
    assert POINTS in tried


def test_where_there_is_no_ball_caps_of_any_ball_are_tried_and_cones_of_any_size() -> None:
    design = small_design((BALL, '[reflector]\nkind = "none"\n\n'), SALE)
    trials = carve_flat(design, 48).trials
    tried = {stage: [t.reflector for t in trials if t.stage == stage] for stage in STAGES}
    assert len({cap.fact("ball diameter") for cap in tried["caps"]}) > 3
    for kind in ("caps", "cones"):
        assert len({shape.base_radius for shape in tried[kind]}) > 3
        assert len({round(shape.rim_slope, 6) for shape in tried[kind]}) > 3


def test_limits_are_as_written() -> None:
    lines = ("largest_diameter = 120", "largest_height = 25", "smallest_radius = 10")
    limits = limits_of(carving_design(*lines, "tip_clearance = 8"))
    assert limits == Limits(0.12, 0.025, 0.01, 0.008, undercut=False)
    found = carve_flat(carving_design(*lines), 8)
    widest = max(trial.reflector.widest_radius for trial in found.trials)
    tallest = max(trial.reflector.height for trial in found.trials)
    assert widest <= 0.06 + 1e-9
    assert tallest <= 0.025 + 1e-9


def test_where_plates_move_every_kind_hangs_at_a_gap_of_its_own() -> None:
    """A score that knows only the room over the driver, gap less height: best at 31 mm."""
    back = (HELD[1], HELD[0])

    def score_by_room(bench: Bench, trial: Trial) -> float:
        return abs(trial.plate_gap - trial.reflector.height - 0.031) * 1e3

    class Ridge(Bench):
        def _tried(self, stage: str, reflector: Reflector, plate_gap: float, points: Any) -> Trial:
            trial = Trial(stage, reflector, plate_gap, 0.0, points_mm=points)
            trial = replace(trial, score=score_by_room(self, trial))
            self.trials.append(trial)
            return trial

    design = small_design(back)
    bench = Ridge(design=design, solver=refuse, limits=limits_of(design), solves=240)
    assert bench.limits.largest_height == pytest.approx(0.087)  # gaps up to 90 mm, 3 mm clear
    assert bench.gaps == pytest.approx(design.gap_candidates())
    scan_caps(bench)
    scan_cones(bench)
    for stage in ("caps", "cones"):
        best = bench.of_stages(stage)[0]
        assert len({trial.plate_gap for trial in bench.of_stages(stage)}) > 3
        assert best.score < 1.0
    assert len(bench.trials) < 0.5 * bench.solves
    form = Form(bench.limits, bench.gaps)
    for gap in bench.gaps:
        numbers = form.numbers(cone(0.08, height=0.03), gap)
        assert form.plate_gap(numbers) == gap
        assert form.points_mm(numbers)[0] == pytest.approx((0.0, -30.0), abs=1e-3)
    # The curve begins at the best cap, at its gap.
    best = bench.of_stages("caps")[0]
    numbers = form.numbers(best.reflector, best.plate_gap)
    search = ProfileSearch(bench=bench, form=form, stage="everywhere", until=len(bench.trials) + 1)
    assert search(numbers) == pytest.approx(best.score, abs=1e-3)
    assert bench.trials[-1].plate_gap == best.plate_gap


def test_what_hollows_out_the_treble_is_not_chosen() -> None:
    design = carving_design()
    bench = Bench(design=design, solver=refuse, limits=limits_of(design), solves=8)
    flat = ball_cap(0.18, 0.02)
    bench.trials = [
        Trial("caps", flat, 0.06, 1.0, contends=False),
        Trial("caps", flat, 0.07, 2.0),
        Trial("cones", cone(0.08, height=0.02), 0.06, 3.0, contends=False),
    ]
    assert [trial.score for trial in bench.of_stages("caps")] == [2.0]
    assert [trial.score for trial in bench.of_stages("cones")] == [3.0]
    # The search goes round it too.
    assert bench.solve("caps", flat, 0.06) == pytest.approx(11.0)


def refuse(problem: Problem, progress: object = None) -> Response:
    raise AssertionError("solved")


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (
            ('tip_clearance = "58 mm"', "largest_height = 15"),
            r"carve\.tip_clearance: no cap and no cone leaves so much room .*: allow less, or",
        ),
        (
            ('tip_clearance = "60 mm"',),
            r"carve\.tip_clearance: leaves no room in a plate gap",
        ),
    ],
)
def test_limits_that_nothing_keeps_are_refused_before_anything_is_solved(
    lines: tuple[str, ...], words: str
) -> None:
    with pytest.raises(DesignError, match=words) as refusal:
        carve(carving_design(*lines), refuse, checker=refuse)
    assert "reading_room.toml: " in str(refusal.value)
    assert len(str(refusal.value).splitlines()) == 1


def test_a_driver_that_every_reflector_chokes_is_told_of_the_plate_gap() -> None:
    # Half the driver's radius is where it breathes freely: 26 mm; the cone stands 7 mm up.
    low = ("plate_gap = 60 ", "plate_gap = 24 "), ("keep = 44  ", "keep = 10  ")
    design = small_design(*low, ("[gap]", "[carve]\nlargest_diameter = 172\n\n[gap]"))
    with pytest.raises(DesignError, match=r"plate_gap: no cap and no cone .*make it larger"):
        carve(design, refuse, checker=refuse)


def test_no_curve_is_refused_by_name_once_caps_and_cones_are_known() -> None:
    design = carving_design("largest_height = 20", "largest_diameter = 90", "undercut = false")
    bench = Bench(
        design=design,
        solver=flat_solver,
        limits=limits_of(design),
        solves=2,
        fineness=COARSE_PER_BAND,
    )
    tight = replace(bench, limits=replace(bench.limits, smallest_radius=1e3))
    start = ball_cap(0.18, 0.01)
    with pytest.raises(DesignError, match=r"carve\.smallest_radius: no curve through so few knots"):
        search_curves(tight, Form(tight.limits, bench.gaps), [(start, GAP)])


def test_too_few_knots_or_solves_are_refused() -> None:
    for few in ({"solves": 7}, {"knots": 2}):
        with pytest.raises(ValueError, match="three knots and eight solves"):
            carve(carving_design(), refuse, checker=refuse, **few)


def test_the_chart_shows_every_solve_and_every_profile() -> None:
    found = carved()
    figure = carve_figure(found)
    section, progress = figure.axes
    named = section.get_legend_handles_labels()[1]
    assert [row.name for row in found.rows] == named[:3]
    marks = [line for line in progress.lines if line.get_linestyle() == "None"]
    assert sum(len(line.get_xdata()) for line in marks) == len(found.trials)
    (best,) = [line for line in progress.lines if line.get_label() == "best so far"]
    scores = [trial.score for trial in found.trials]
    # Drawn up to 3 dB above the best.
    expected = [min(*scores[: at + 1], min(scores) + 3.0) for at in range(len(scores))]
    assert best.get_ydata() == pytest.approx(expected)
