"""The measuring plan: places, lower limits, readings that separate candidates, files."""

import csv
import io
import math
import re
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from dispersion.ripple import Balance
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from shapes.lengths import written_in
from studies.design import Design, DesignError, parse_design
from studies.design.fit_table import EFFECTIVE_DIAMETER, FitSizeTable, known_driver
from studies.design.workshop_tables import MeasuringTable
from studies.measured.positions import Position, by_hung
from studies.measured.reading import read_measurements
from studies.measured.sheet import header, read_sheet
from studies.questions.meter import study
from studies.questions.meter.command import INSTRUMENTS
from studies.questions.meter.figures import meter_pictures
from studies.questions.meter.files import meter_files, to_fill
from studies.questions.meter.open_question import open_question
from studies.questions.meter.places import RoomLimits, azimuths, bounces_of, stands_of
from studies.questions.meter.prediction import ROOM_MOST_DB
from studies.questions.meter.question import QUESTION
from studies.questions.meter.selection import ENOUGH, honest_confusion, select_readings
from studies.questions.meter.stop_rule import Steps, StopRule, stop_rule
from studies.questions.meter.study import Meter, members_but_for, meter, with_options
from studies.questions.meter.tables import meter_tables
from studies.questions.meter.words import answer, percent
from studies.questions.trim.study import trim
from studies.solving.levels_of_members import (
    MemberSolving,
    in_the_room,
    levels_of_members,
    sure_change,
)
from studies.solving.members import members
from studies.solving.posted import ChangeAround
from studies.solving.predicting import predict
from studies.solving.uncertainty import Uncertainty, late_db, noise_db, room_db

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
SPEED = 343.0


def example(*pairs: tuple[str, str], more: str = "") -> Design:
    """Return the example with a narrow band, few keeps, and whatever else is asked."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (
        ('band = ["100 Hz", "16 kHz"]', "band = [3150, 4000]"),
        ("keep = { from = 15, to = 55, step = 1 }", "keep = [20, 26, 40, 55]"),
        *pairs,
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(f"{text}\n{more}\n", path)


def plan(design: Design, **how: object) -> Meter:
    return meter(design, partial(solve_waves, shared=SharedBlocks()), **how)


@pytest.fixture(autouse=True)
def few_members(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two builds do where only the plan counts."""
    monkeypatch.setattr(study, "members_of_file", partial(members, count=2, per_build=1))


@cache
def by_microphone() -> Meter:
    return plan(with_options(example(), {"instrument": "microphone"}))


@cache
def by_meter() -> Meter:
    return plan(example())


# Where to stand


def test_the_floor_bounce_of_the_usual_example() -> None:
    # Room of 2.5 m, speaker and microphone at half its height, 1 m apart: floor and ceiling both
    # sqrt(1 + 2.5^2) - 1 m later (plain geometry).
    bounces = bounces_of(Position("m", 1.0, 1.25), 1.25, RoomLimits(2.5, 10.0), SPEED)
    late = (math.sqrt(1.0 + 2.5**2) - 1.0) / SPEED
    assert [bounce.surface for bounce in bounces] == ["floor", "ceiling", "wall"]
    assert [bounce.delay for bounce in bounces[:2]] == pytest.approx([late, late])
    assert bounces[2].delay == pytest.approx((20.0 - 1.0 - 1.0) / SPEED)
    assert 1.0 / late == pytest.approx(202.6, abs=0.1)


def test_places_keep_their_distance_and_their_elevation() -> None:
    found = by_microphone()
    ring = found.assembly.height_of_ring
    for stand in found.stands:
        place = stand.position
        assert math.hypot(place.r, place.height - ring) == pytest.approx(1.0, abs=0.006)
        for length in (place.r, place.height):
            assert length * 200 == pytest.approx(round(length * 200), abs=1e-6)
    low, high = found.design.window_deg
    angles = [stand.elevation_deg for stand in found.stands]
    assert min(angles) < low
    assert max(angles) > high
    assert any(abs(angle - high) < 0.5 for angle in angles)


def test_azimuths_lie_between_posts_and_in_line_with_one() -> None:
    design = example()
    for count, expected in ((3, (60.0, 0.0, 180.0)), (4, (45.0, 0.0, 225.0))):
        assembly = example(("count = 3", f"count = {count}")).assembly()
        between, in_line, far = azimuths(assembly)
        assert (between, in_line, far) == expected
        pitch = 360.0 / count
        assert (far / pitch) % 1.0 == pytest.approx(0.5)
    bare = design.assembly().without_upper()
    assert azimuths(bare) == (0.0, 90.0, 180.0)


def test_over_a_bare_column_no_size_is_asked_for() -> None:
    found = by_meter()
    bare = replace(found, assembly=found.assembly.without_upper())
    told = meter_tables(bare)
    assert told.answer[0].startswith("Nothing hangs over the driver, so no size is to be found")
    assert "candidates" not in [table.name for table in told.tables]
    assert "candidates" in [table.name for table in meter_tables(found).tables]


def test_posts_and_what_hangs_askew_are_told_where_they_are_solved() -> None:
    found = by_meter()
    predicted = found.predicted
    ones = np.ones(predicted.level_db.shape)
    mended = Balance(0.02, np.array([1.0, 1.5]))
    both = replace(
        predicted, posts=ChangeAround(0.5 * ones, mended), askew=ChangeAround(-0.2 * ones, mended)
    )
    assert both.changed_db == pytest.approx(0.3 * ones)
    assert not predicted.changed_db.any()
    said = " ".join(answer(replace(found, predicted=both)))
    assert "(power within 0.020 dB, 1 solved again on a mesh up to 1.5 times as fine)" in said
    assert "change what is expected by up to 0.5 dB" in said
    assert "changes what is expected by up to 0.2 dB" in said
    assert "Posts are solved" not in " ".join(answer(found))


def test_a_turntable_adds_a_place_beside_a_post() -> None:
    design = with_options(example(), {"turntable": True})
    stands, _ = stands_of(design, design.assembly())
    beside = next(stand for stand in stands if stand.position.name == "beside post")
    assert beside.position.azimuth_deg == pytest.approx(30.0)


def test_a_room_without_room_is_refused_with_the_remedy() -> None:
    design = with_options(example(), {"distance": "1.4 m", "wall": "1.5 m"})
    with pytest.raises(DesignError, match=r"measuring\.distance.*go nearer"):
        stands_of(design, design.assembly())


def test_places_that_the_room_does_not_hold_are_left_out_with_a_reason() -> None:
    design = with_options(example(), {"wall": "0.9 m"})
    stands, left_out = stands_of(design, design.assembly())
    assert "twice as far" not in [stand.position.name for stand in stands]
    assert "wall" in left_out["twice as far"]


def test_a_foot_on_the_floor_keeps_no_microphone_away() -> None:
    path = EXAMPLES / "reading_room_boards.toml"
    design = parse_design(path.read_text(encoding="utf-8"), path)
    stands, left_out = stands_of(design, design.assembly())
    assert left_out == {}
    assert "above" in [stand.position.name for stand in stands]


def test_options_are_read_like_the_file_and_mistakes_name_them() -> None:
    assert with_options(example(), {"wall": "60 in"}).tables.measuring.wall == pytest.approx(1.524)
    kept = with_options(example(more="[measuring]\nwall = 2000"), {"turntable": True})
    assert kept.tables.measuring.wall == pytest.approx(2.0)
    with pytest.raises(DesignError, match="--wall"):
        with_options(example(), {"wall": "3 mm"})


def test_the_command_offers_what_the_table_knows() -> None:
    field = MeasuringTable.model_fields["instrument"]
    assert field.annotation.__args__ == INSTRUMENTS


# How far a reading may be off


def test_noise_of_a_third_octave_read_for_ten_seconds() -> None:
    # 4.34 / sqrt(W T), W = 0.2308 f (IEC 61260-1): at 1 kHz and 10 s, 0.0904 dB.
    assert noise_db(np.array([1000.0]), 10.0)[0] == pytest.approx(
        4.3429 / math.sqrt(2308), rel=1e-3
    )


def test_noise_against_a_simulation() -> None:
    # The power of Gaussian noise of bandwidth W over T is chi squared with 2 W T degrees.
    rng, freedom = np.random.default_rng(6), 2 * 231 * 10
    levels = 10 * np.log10(rng.chisquare(freedom, 20_000) / freedom)
    assert levels.std() == pytest.approx(noise_db(np.array([1000.0]))[0], rel=0.03)


def test_bounces_add_energy_and_beat_only_in_narrow_bands() -> None:
    # One bounce as loud as the direct sound, long after it: 3.01 dB of bias and no beats.
    level, centres = np.zeros(1), np.array([8000.0])
    assert room_db(level, [level], [0.05], centres)[0] == pytest.approx(3.0103, abs=0.02)
    # The same at once: beats of 4.34 sqrt(2) / 2 dB on top.
    low = room_db(level, [level], [1e-9], centres)[0]
    assert low == pytest.approx(math.hypot(3.0103, 4.3429 * math.sqrt(2) / 2), abs=1e-3)
    assert room_db(level, [level - 200], [0.001], centres)[0] == pytest.approx(0.0, abs=1e-6)


def test_late_sound_halves_a_small_difference_where_it_is_as_loud() -> None:
    # Evenly radiating source of 0 dB at 1 m: direct and late are equal at r^2 = A / 16 pi.
    area = 16.0 * math.pi
    levels = np.array([[0.0], [0.1]])
    change = late_db(levels, np.array([0.0]), area)
    assert change[0, 0] == 0.0
    assert change[1, 0] == pytest.approx(-0.05, abs=1e-3)
    assert late_db(levels, np.array([0.0]), 1e12) == pytest.approx(np.zeros((2, 1)), abs=1e-9)


def test_covariance_is_that_of_simulated_errors() -> None:
    rng = np.random.default_rng(1)
    alone, placing = rng.uniform(0.3, 1.0, (3, 2)), rng.normal(size=(2, 3, 2))
    shared = rng.normal(size=(1, 3, 2))
    uncertainty = Uncertainty(alone, placing, shared)
    count = 200_000
    moved = np.einsum("napx,apb->npb", rng.normal(size=(count, 2, 3, 1)), placing)
    errors = alone * rng.normal(size=(count, 3, 2)) + moved
    errors += rng.normal(size=(count, 1, 1)) * shared[0]
    differences = (errors - errors[:, :1])[:, 1:].reshape(count, -1)
    # The reference's own rows stand for a second reading, so only the others are compared.
    found = uncertainty.covariance[2:, 2:]
    assert np.cov(differences.T) == pytest.approx(found, abs=0.03 * found.max())
    spread = differences.std(axis=0)
    assert uncertainty.difference_db[1:].ravel() == pytest.approx(spread, rel=0.02)


def test_what_nobody_knows_joins_the_uncertainty_and_is_shared_by_all_places() -> None:
    # One driver makes all levels: the covariance is that of noise and of the members' readings.
    found = by_meter()
    assert found.members_db.shape == (2, len(found.stands), 2)
    relative = found.members_db - found.members_db[:, :1]
    over = relative.var(axis=0, ddof=1)
    assert over[1:].max() > 0.01
    noise = found.predicted.uncertainty.difference_db
    assert found.uncertainty_db**2 == pytest.approx(noise**2 + over)
    # Candidates have one covariance: the mean of theirs.
    each = found.contenders_members_db - found.contenders_members_db[:, :, :1]
    among = found.contenders_uncertainty.difference_db
    assert among**2 == pytest.approx(noise**2 + each.var(axis=1, ddof=1).mean(axis=0))


def test_a_thermometer_narrows_what_is_read() -> None:
    design = example(("band = [3150, 4000]", "band = [8000, 10000]"))
    assembly, place = design.assembly(), [Position("m", 0.6, 1.0)]
    read = with_options(design, {"temperature": 12.0})
    assert in_the_room(read).air.temperature_c == 12.0
    solving = MemberSolving(solver=partial(solve_waves, shared=SharedBlocks()), fineness=4)
    # The same build in every air: all that differs is how warm it is.
    (build, moves), *_ = members(design)
    every = [(build, (replace(moves[0], temperature=warm),)) for warm in (10.0, 20.0, 30.0)]
    wide, narrow = (
        np.ptp(levels_of_members(one, [assembly], place, solving, every), axis=1).max()
        for one in (design, read)
    )
    assert narrow < 0.5 * wide


def test_only_what_nine_of_ten_members_show_is_promised() -> None:
    # Of 21 even steps the 5 per cent at either end are the second and the last but one.
    steps = np.arange(21.0)[:, None] + np.array([2.0, -10.0])
    assert sure_change(steps) == pytest.approx([3.0, 0.0])


# Which readings to take


def test_chance_of_a_mistake_with_independent_and_with_shared_errors() -> None:
    # Phi(-d'/2): d' = sqrt(2) for two independent readings that differ by one sigma, 1 if both have
    # one error, and without limit if their difference is free of it.
    predicted, every = np.array([[0.0, 0.0], [1.0, 1.0]]), np.ones(2, bool)
    alone = select_readings(predicted, np.eye(2), every, 2)
    assert alone[-1].largest_confusion == pytest.approx(ndtr(-math.sqrt(2) / 2))
    both = np.ones((2, 2)) + 1e-9 * np.eye(2)
    (one,) = select_readings(predicted, both, every, 2)
    assert one.largest_confusion == pytest.approx(ndtr(-0.5), rel=1e-6)
    apart = select_readings(np.array([[0.0, 0.0], [1.0, -1.0]]), both, every, 2)
    assert apart[-1].largest_confusion < 1e-9


def test_no_chance_is_said_to_be_certain() -> None:
    said = [percent(chance) for chance in (0.0, 0.049, 0.05, 0.5, 0.95, 0.96, 1.0)]
    few, many = "less than 5 %", "more than 95 %"
    assert said == [few, few, "5 %", "50 %", "95 %", many, many]


def test_the_chance_is_that_of_drivers_that_had_no_part_in_choosing() -> None:
    # Many readings, eight builds of chance alone: the formula finds some that seem to tell, and a
    # driver that is none of them is taken wrong as often as right.
    rng = np.random.default_rng(4)
    members, noise = rng.normal(size=(2, 8, 40)), 0.01 * np.eye(40)
    builds, usable = np.arange(8), np.ones(40, bool)
    mean = members.mean(axis=1)
    off = (members - mean[:, None]).reshape(-1, 40)
    seeming = select_readings(mean, noise + off.T @ off / 14, usable, 4)
    assert seeming[-1].largest_confusion < 0.1
    assert honest_confusion(members, noise, usable, 4, builds)[0, 1] > 0.2
    # Where every member tells, so does it: 2 dB apart with 0.1 dB of noise.
    sure = np.zeros((2, 8, 3))
    sure[1, :, 1] = 2.0
    found = honest_confusion(sure, 0.01 * np.eye(3), np.ones(3, bool), 4, builds)
    assert found[0, 1] == pytest.approx(ndtr(-10.0), abs=1e-12)


def test_selection_passes_over_shared_errors_and_what_is_not_usable() -> None:
    predicted = np.array([[0.0, 0.0, 0.0, 0.0], [2.0, 1.9, 1.5, 9.0]])
    covariance = np.eye(4) * 0.1
    covariance[:2, :2] += 1.0
    usable = np.array([True, True, True, False])
    found = select_readings(predicted, covariance, usable, 2)
    assert found[0].index == 2
    assert found[0].largest_confusion == pytest.approx(ndtr(-1.5 / math.sqrt(0.1) / 2))
    assert found[0].largest_confusion <= ENOUGH
    assert len(found) == 1


def test_nothing_tells_candidates_that_are_alike() -> None:
    assert select_readings(np.zeros((2, 3)), np.eye(3), np.ones(3, bool), 3) == ()


# When to stop


def test_the_rule_adds_up_what_moves_alike_in_all_members() -> None:
    # Band 0 moves by 3 dB a cut in the mean, but by anything in a member; band 1 falls by 1 dB in
    # all. Right is the second of three cuts: 2 dB of fall, halfway between 1 and 3.
    rng = np.random.default_rng(5)
    change = np.zeros((24, 3, 2))
    change[:, :, 0] = np.cumsum(rng.normal(3.0, 6.0, (24, 3)), axis=1)
    change[:, :, 1] = -np.arange(1.0, 4.0)
    steps = Steps(change, np.array([False, True, False]), np.array([0.1, 0.1]))
    rule = stop_rule(steps, np.ones(2, bool))
    assert (rule.bands, rule.signs) == ((1,), (-1,))
    assert 1.25 <= rule.threshold_db <= 1.75
    assert rule.stop(change[0]) == 1
    assert rule.chance(steps) == pytest.approx(np.ones(24), abs=1e-3)


def test_the_chance_of_a_good_stop_against_a_simulation() -> None:
    rng, noise = np.random.default_rng(6), np.array([0.8, 0.6])
    change = np.array([[1.0, -0.5], [2.0, -1.5], [3.0, -3.0]])
    steps = Steps(change[None], np.array([False, True, False]), noise)
    rule = StopRule((0, 1), (1, -1), 3.0)
    read = change + noise * (rng.normal(size=(20_000, 3, 2)) - rng.normal(size=(20_000, 1, 2)))
    stopped = [rule.stop(one) for one in read]
    assert rule.chance(steps)[0] == pytest.approx(np.mean([at == 1 for at in stopped]), abs=0.015)


def test_no_rule_where_every_stop_is_as_good() -> None:
    steps = Steps(np.ones((4, 3, 2)), np.ones(3, bool), np.ones(2))
    assert stop_rule(steps, np.ones(2, bool)) is None


# The whole plan


@pytest.mark.slow
def test_the_open_question_is_that_of_trim() -> None:
    # Who moves the plate as well gets a gap for every height from trim: the meter stays at one.
    design = example(('hold = "nothing"', 'hold = "plate gap"'))
    solver = partial(solve_waves, shared=SharedBlocks())
    asked, study = open_question(design, solver, 4), trim(design, solver)
    assert asked.best.size == study.best.keep
    assert (asked.near_best.low, asked.near_best.high) == (
        study.near_best.low,
        study.near_best.high,
    )
    assert [s.size for s in asked.stops[1:]] == [step.stop.keep for step in study.steps]


def test_readings_are_those_of_solving_at_the_places() -> None:
    found = by_microphone()
    places = [stand.position for stand in found.stands]
    alone = predict(found.design, found.assembly, places, solve_waves, 12)
    behind = [place.name for place in places].index("behind post")
    others = [n for n in range(len(places)) if n != behind]
    expected = alone.level_db - alone.level_db[:1]
    assert found.relative_db[others] == pytest.approx(expected[others], abs=1e-9)
    assert np.all(found.relative_db[0] == 0.0)


def test_a_gate_says_how_low_and_a_meter_how_much_is_the_room() -> None:
    reference = by_microphone().stands[0]
    assert reference.one_period_hz * reference.first_bounce.delay == pytest.approx(1.0)
    # 10^0.05 - 10^-0.05 = 0.2308 of the centre is a third octave wide.
    assert reference.resolved_hz / reference.one_period_hz == pytest.approx(1 / 0.2308, rel=1e-3)
    limits = [stand.one_period_hz for stand in by_microphone().stands]
    assert by_microphone().predicted.comparable.all() == (max(limits) < 3150 / 10**0.05)
    assert not by_microphone().predicted.late_db.any()
    far = [s.position.name for s in by_meter().stands].index("twice as far")
    free = by_meter().relative_db[far]
    assert free == pytest.approx(-6.0, abs=1.5)
    assert np.all(by_meter().predicted.late_db[far] > 0.0)


def test_bands_below_the_gate_are_not_compared() -> None:
    design = example(("band = [3150, 4000]", "band = [200, 500]"))
    design = with_options(design, {"instrument": "microphone"})
    found = plan(design, question="plate gap", among=[0.055, 0.065])
    edges = found.centres / 10**0.05
    limits = np.array([stand.one_period_hz for stand in found.stands])
    expected = (edges >= limits[:, None]) & (edges >= limits[0])
    assert np.array_equal(found.predicted.comparable, expected)
    assert expected.any()
    assert not expected.all()


def test_the_room_takes_bands_from_a_meter() -> None:
    found = by_meter()
    doubt = np.abs(found.predicted.late_db)
    names = [stand.position.name for stand in found.stands]
    near = [n for n, name in enumerate(names) if name != "twice as far"]
    assert np.all(doubt[near][found.predicted.comparable[near]] <= ROOM_MOST_DB)
    quiet = plan(
        example(more="[measuring]\nvolume = 100000\nreverberation = 0.1"), among=[0.02, 0.03]
    )
    assert np.all(
        quiet.predicted.uncertainty.difference_db <= found.predicted.uncertainty.difference_db
    )


def test_a_plan_without_any_comparable_band_says_so_and_is_still_drawn() -> None:
    nearly_nothing = (
        ("band = [3150, 4000]", "band = [100, 125]"),
        ("[posts]                # three thin rods\ncount = 3", "[posts]\ncount = 1"),
    )
    design = with_options(example(*nearly_nothing), {"instrument": "microphone", "wall": "1.3 m"})
    found = plan(design, among=[0.02, 0.03])
    assert not found.predicted.comparable.any()
    assert found.selected == ()
    assert found.confusion == {(0, 1): 0.5}
    assert any("A meter cannot tell this" in sentence for sentence in meter_tables(found).answer)
    assert set(meter_pictures(found)) == {"places", "telling", "readings"}
    assert meter_files(found)["meter-sheets.html"].count(b"<section") == 1


def test_named_candidates_are_separated_and_nothing_is_searched() -> None:
    found = plan(example(), among=[0.055, 0.02])
    assert [contender.size for contender in found.question.contenders] == [0.02, 0.055]
    assert found.shaving is None
    assert found.confusion[0, 1] < 0.2
    with pytest.raises(DesignError, match="--tell.*name two sizes"):
        plan(example(), among=[0.03])
    with pytest.raises(DesignError, match="--tell: keep 500 mm"):
        plan(example(), among=[0.03, 0.5])


def test_without_trim_the_gap_is_open_and_is_no_error_of_its_own() -> None:
    design = example(("from = 50\nto = 90\nstep = 2", "from = 56\nto = 64\nstep = 4"))
    found = plan(design, question="plate gap")
    assert found.question.kind == "plate gap"
    assert all(build.gap == 0.0 != build.keep for build, _ in members_but_for("plate gap", design))
    assert all(build.keep == 0.0 != build.gap for build, _ in members_but_for("keep", design))


def test_shaving_ends_at_the_best_and_warns_of_too_far() -> None:
    shaving = by_meter().shaving
    assert np.all(shaving.change_db[0] == 0.0)
    sizes = [stop.size for stop in shaving.way]
    assert sizes == sorted(sizes, reverse=True)
    assert shaving.stops[-1].size == by_meter().question.best.size
    places = [by_meter().stands[0].position]
    ends = [
        predict(by_meter().design, stop.assembly, places, solve_waves, 12).level_db[0]
        for stop in (shaving.stops[0], shaving.stops[-1])
    ]
    at_best = shaving.change_db[len(shaving.stops) - 1]
    assert at_best == pytest.approx(ends[1] - ends[0], abs=1e-9)


# What is written


def test_the_csv_has_the_agreed_header_and_a_row_for_each_compared_reading() -> None:
    found = by_meter()
    lines = to_fill(found).splitlines()
    assert found.design.title.replace(",", ";") in lines[0]
    assert found.design.fingerprint in lines[0]
    assert lines[0].startswith("# ")
    body = [line for line in lines if not line.startswith("#")]
    assert body[0] == "position,distance_mm,height_mm,azimuth_deg,band_hz,predicted_db,reading_db"
    assert tuple(body[0].split(",")) == header("mm")
    rows = list(csv.DictReader(io.StringIO("\n".join(body))))
    assert len(rows) == found.predicted.comparable.sum()
    assert all(row["reading_db"] == "" for row in rows)
    assert {row["predicted_db"] for row in rows if row["position"] == "reference"} == {"0.00"}
    assert {float(row["band_hz"]) for row in rows} <= {3150.0, 4000.0}


def test_the_driver_is_found_first_over_the_bare_column_and_under_the_uncut_cap(
    tmp_path: Path,
) -> None:
    found = by_meter()
    sheet = tmp_path / "driver-to-fill.csv"
    blank = meter_files(found)["driver-to-fill.csv"].decode()
    sheet.write_text(blank.replace(",,,", ",,70,"), "utf-8")
    read = read_measurements([sheet], found.design)
    assert len(read) == 2 * len(found.stands)
    assert sum(len(one.frequencies) for one in read) == 2 * found.predicted.comparable.sum()
    bare, uncut = by_hung([one.position for one in read])
    assert bare.of(found.assembly).plate is None
    cap = uncut.of(found.assembly)
    assert cap.reflector.fact("keep") == pytest.approx(0.055)
    outline = found.shaving.stops[0].assembly.reflector.profile.sample(1e-4)
    assert cap.reflector.profile.sample(1e-4) == pytest.approx(outline)
    said = meter_tables(found).answer[0]
    for word in ("bare column", "uncut", "55.0 mm", "--fit-cone", "driver-to-fill.csv", "known ="):
        assert word in said.replace("before its first cut", "uncut")
    boxes = boxes_of(meter_files(found)["meter-sheets.html"], "To find the driver: nothing")
    assert len(boxes) == np.count_nonzero(found.predicted.comparable.any(axis=0))
    steps = QUESTION.next_steps(found.design, tmp_path)
    assert steps[0][0].endswith("driver-to-fill.csv --fit-cone")


def test_a_driver_that_was_found_is_not_asked_for_again() -> None:
    table = {"size": EFFECTIVE_DIAMETER, "written": 104.0, "found": 103.0, "deviation": 1.0}
    sizes = (FitSizeTable.model_validate({**table, "correlations": [1.0]}),)
    known = known_driver("fitted.toml", sizes)
    found = replace(by_meter(), design=replace(by_meter().design, known=known))
    assert set(meter_files(found)) == {"meter-sheets.html", "meter-to-fill.csv"}
    assert "First find your driver" not in " ".join(meter_tables(found).answer)
    assert len(QUESTION.next_steps(found.design, Path())) == 1


def test_a_plan_in_inches_is_filled_in_and_read_in_inches(tmp_path: Path) -> None:
    found = by_meter()
    with written_in("in"):
        blank = to_fill(found)
    assert "_mm" not in blank
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(re.sub(r"(?m),$", ",70", blank), "utf-8")
    read = {reading.position.name: reading.position for reading in read_sheet(sheet).readings}
    for stand in found.stands:
        at = read[stand.position.name]
        assert (at.r, at.height) == pytest.approx((stand.position.r, stand.position.height), 1e-4)


def boxes_of(page: bytes, title: str) -> list[list[str]]:
    """Class and words of every field of a sheet, row by row."""
    (sheet,) = [part for part in page.decode().split("<section") if f"<h1>{title}</h1>" in part]
    return [
        [f"{kind}{grey}:{words}" for kind, words, grey in re.findall(FIELD, row)]
        for row in sheet.split("<tr>")[2:]
    ]


FIELD = r'<div(?: class="(telling)")?><span>(.*?)</span><i(?: class="(grey)")?></i></div>'


def test_every_reading_has_a_box_for_a_pencil() -> None:
    found = by_meter()
    page = meter_files(found)["meter-sheets.html"]
    *rows, again = boxes_of(page, "Readings")
    comparable = found.predicted.comparable
    bands = np.flatnonzero(comparable.any(axis=0))
    assert len(rows) == len(bands)
    assert again == [":"] * len(found.stands)
    for row, band in zip(rows, bands, strict=True):
        assert [box.startswith("grey") for box in row] == list(~comparable[:, band])
        assert row[0] == ":"  # nothing is predicted for the reference, whose own level is not known
    telling = [(row, place) for row in rows for place, box in enumerate(row) if "telling" in box]
    assert len(telling) == len(found.selected)
    assert meter_files(found)["meter-sheets.html"] == page


def test_a_row_of_boxes_for_each_cut() -> None:
    shaving = by_meter().shaving
    rows = boxes_of(
        meter_files(by_meter())["meter-sheets.html"], "After each cut, at the reference"
    )
    assert len(rows) == len(shaving.way)
    assert rows[0] == [":"] * (len(shaving.shown) + shaving.tells)
    stop = rows[shaving.last]
    told = [band in shaving.bands for band in shaving.shown]
    assert ["telling" in box for box in stop] == [*told, *([True] if shaving.tells else [])]
    middle = shaving.range_db[:, shaving.last].mean(axis=0)
    for box, band in zip(stop, shaving.shown, strict=False):
        ends = [float(end) for end in box.split(":")[1].split(" to ")]
        assert np.mean(ends) == pytest.approx(middle[band], abs=0.51)


def test_the_answer_names_limits_and_cautions() -> None:
    spoken = meter_tables(by_microphone())
    assert any("honest lower limit" in sentence for sentence in spoken.answer)
    assert any("has no gate" in sentence for sentence in meter_tables(by_meter()).answer)
    cautions = " ".join(spoken.cautions)
    for word in ("safe", "85 dB(A)", "ladder", "licensed"):
        assert word in cautions
    assert spoken.fact("one_period_hz") == by_microphone().stands[0].one_period_hz
    assert len(spoken.table("telling").rows) == len(by_microphone().selected)
