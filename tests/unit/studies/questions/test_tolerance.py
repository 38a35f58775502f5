"""What a millimetre costs: changes are those of solving again, and nothing impossible is hidden."""

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from shapes.reflectors import ball_cap
from studies.design import Design, DesignError, parse_design
from studies.design.design import assemble
from studies.design.fit_table import EFFECTIVE_DIAMETER, SHRINK_FREQUENCY, KnownDriver
from studies.design.moves import HALF_DEGREE, dimensions_of, moved
from studies.questions.tolerance import sensitivity, speakers, study, words
from studies.questions.tolerance.askew import Askew, hung_askew, solved_askew
from studies.questions.tolerance.figures import ESTIMATE, batch_figure, worries_figure
from studies.questions.tolerance.response_surface import read_levels
from studies.questions.tolerance.sensitivity import Sensitivity, seat_levels_db
from studies.questions.tolerance.study import Tolerance, tolerance
from studies.questions.tolerance.tables import tolerance_tables
from studies.questions.tolerance.unknowns import unknowns_of
from studies.questions.tolerance.words import BY_RAYS, ends_in_words
from studies.solving import ensemble
from studies.solving.candidates import Candidate, Row
from studies.solving.grid import CHANGES_BY_NEED, Fineness, problem_of, run
from studies.solving.members import members
from studies.solving.memory import Remembering
from studies.solving.verdicts import Lead

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
NARROW = ('band = ["100 Hz", "16 kHz"]', "band = [500, 800]")
NOTHING_OFF = "\n".join(
    f"{key} = 0"
    for key in ("keep", "ball_diameter", "plate_gap", "plate_diameter", "proud", "temperature")
)


WAVES = partial(solve_waves, shared=SharedBlocks(), store=Remembering(None))
"""Solves nothing twice in these tests."""


def example(*pairs: tuple[str, str], allowed: str = "", name: str = "reading_room.toml") -> Design:
    """Return an example with a narrow band, tolerances, and whatever else is asked."""
    path = EXAMPLES / name
    text = path.read_text(encoding="utf-8")
    for old, new in (NARROW, *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(f"{text}\n[tolerance]\n{allowed}\n", path)


def solved(design: Design, samples: int = 4, per_band: Fineness = 4, seed: int = 5) -> Tolerance:
    return tolerance(design, WAVES, fineness=per_band, samples=samples, seed=seed)


@pytest.fixture(autouse=True, scope="module")
def two_builds() -> Iterator[None]:
    """Two builds in place of eight."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ensemble, "members", partial(members, count=2, per_build=1))
        yield


@pytest.fixture(scope="module")
def found() -> Tolerance:
    return solved(example())


@pytest.fixture(scope="module")
def impossible() -> Tolerance:
    """Far too much of the ball kept at the upper end: it would stand in the cone."""
    return solved(example(allowed="keep = 40"), samples=8)


def one(design: Design, assembly: object) -> Row:
    """Solve one assembly of a design."""
    (row,) = run(design, [Candidate("", lambda: assembly)], solve_waves, 4, "")
    assert row.solved, row.reason
    return row


def size(found: Tolerance, name: str) -> object:
    return next(size for size in found.sizes if size.dimension.name == name)


@pytest.mark.parametrize("name", ["keep", "ball diameter", "plate gap", "driver proud height"])
def test_slopes_are_those_of_solving_again(found: Tolerance, name: str) -> None:
    design, now = found.design, found.design.assembly()

    def built(change: float) -> object:
        if name == "keep":
            return now.with_reflector(ball_cap(0.180, 0.044 + change))
        if name == "ball diameter":
            return now.with_reflector(ball_cap(0.180 + change, 0.044))
        if name == "plate gap":
            return now.with_gap(0.060 + change)
        return replace(now, driver=replace(now.driver, proud=0.003 + change))

    low, high = (one(design, built(change)) for change in (-1e-3, 1e-3))
    cost = size(found, name)
    # Sizes differ in their last bits, and so do the meshes: far below what is printed.
    assert cost.slope_db == pytest.approx((high.score - low.score) / 2.0, abs=1e-6)
    assert cost.plus_db == pytest.approx(high.score - found.nominal.score, abs=1e-6)
    assert cost.minus_db == pytest.approx(low.score - found.nominal.score, abs=1e-6)
    worst = max(low.score, high.score, found.nominal.score)
    assert cost.cost_db == pytest.approx(worst - found.nominal.score, abs=1e-6)
    levels = 0.5 * (seat_levels_db(high) - seat_levels_db(low))
    assert cost.curve_slope_db == pytest.approx(levels, abs=1e-6)


def test_temperature_is_the_air_of_the_solve(found: Tolerance) -> None:
    design = found.design
    assembly = design.assembly()
    problem = problem_of(design, assembly, 4)
    warm = solve_waves(replace(problem, air=Air(25.0, 50.0)))
    row = size(found, "temperature").plus
    assert row.response.near == pytest.approx(warm.near[:, :1], rel=1e-12)


def test_a_smaller_step_has_the_same_slope(found: Tolerance) -> None:
    gentle = solved(example(allowed="plate_gap = 0.25"), samples=2)
    # Over three low bands the score is nearly straight: its bend is the measure of how nearly.
    whole, quarter = size(found, "plate gap"), size(gentle, "plate gap")
    assert quarter.slope_db == pytest.approx(whole.slope_db, rel=0.05)
    assert abs(whole.bend_db) < 0.1 * abs(whole.slope_db)


def test_the_most_costly_comes_first(found: Tolerance) -> None:
    costs = [round(size.cost_db, 2) for size in found.sizes]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] > costs[-1]
    assert found.worst.dimension.name in tolerance_tables(found).answer[0]


def test_no_saw_mends_the_temperature(found: Tolerance, monkeypatch: pytest.MonkeyPatch) -> None:
    """The headline is about a size, wherever the temperature ranks."""
    warmth = size(found, "temperature")
    others = tuple(one for one in found.sizes if one is not warmth)
    told = tolerance_tables(replace(found, sizes=(warmth, *others), unknowns=())).answer
    assert "temperature" not in told[0].partition(";")[0]
    assert told[1].startswith("No saw mends the temperature: 5 K off, the score worsens by")
    # Where no score is worse by what counts, the curve is what is left to watch.
    monkeypatch.setattr(words, "NO_DIFFERENCE_DB", 100.0)
    monkeypatch.setattr(sensitivity, "METER_DB", 0.0)
    told = tolerance_tables(replace(found, unknowns=())).answer
    assert told[0].startswith("No size off within its tolerance worsens the score by 100 dB.")
    assert found.loudest.dimension.name in told[0]


def test_a_cost_that_hangs_on_the_driver_is_said_to(
    found: Tolerance, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(words, "NO_DIFFERENCE_DB", 0.0)
    monkeypatch.setattr(sensitivity, "METER_DB", 0.0)
    # 13 of 24 agree: no claim; 23 of 24: a claim, with the mean over them.
    for holds, lead_db, said in (
        (13 / 24, 0.3, "over 24 drivers and builds cannot be told apart (13 of 24 agree)"),
        (23 / 24, 0.3, "by 0.30 dB in the mean of 24 drivers and builds, real (23 of 24 agree)"),
    ):
        lead = Lead(lead_db=lead_db, holds=holds, members=24)
        told = replace(found, leads={found.worst.dimension.name: lead})
        assert any(said in line for line in tolerance_tables(told).answer)


def test_a_cost_has_a_verdict_only_where_other_drivers_were_asked(
    found: Tolerance, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Less than 0.1 dB is no difference; of more nothing is claimed that was not asked."""
    first = found.worst
    assert first.cost_db < 0.1 and found.verdict_of(first) == "no difference"
    monkeypatch.setattr(study, "NO_DIFFERENCE_DB", 0.0)
    assert found.verdict_of(first) == "not asked"
    for lead_db, said in ((0.3, "real"), (-0.3, "turned round")):
        lead = Lead(lead_db=lead_db, holds=0.95, members=24)
        told = replace(found, leads={first.dimension.name: lead})
        (row,) = (
            row
            for row in tolerance_tables(told).table("sizes").records()
            if row["size"] == first.dimension.name
        )
        assert row["verdict"] == said


def test_what_nobody_knows_of_the_driver_comes_first(found: Tolerance) -> None:
    names = [one.dimension.name for one in found.unknowns]
    assert set(names) == {
        "effective diameter", "depth of the cone", "height of the dust cap", "cone's loss",
        "where the cone lets go", "wave in the cone",
    }  # fmt: skip
    listed = [row["size"] for row in tolerance_tables(found).table("sizes").records()]
    assert listed == [*names, *(one.dimension.name for one in found.sizes)]
    costs = [round(one.cost_db, 2) for one in found.unknowns]
    assert costs == sorted(costs, reverse=True)
    wide = next(one for one in found.unknowns if one.dimension.name == "effective diameter")
    driver = found.design.assembly().driver
    as_solved = replace(
        found.design.assembly(),
        driver=replace(driver, effective_radius=1.05 * driver.effective_radius),
    )
    assert wide.plus.score == pytest.approx(one(found.design, as_solved).score, abs=1e-6)


def test_a_fit_narrows_what_nobody_knows(found: Tolerance) -> None:
    known = KnownDriver(
        file="fitted.toml",
        sizes=(EFFECTIVE_DIAMETER, SHRINK_FREQUENCY),
        written=np.array([0.104, 4000.0]),
        found=np.array([0.104, 4000.0]),
        covariance=np.diag([0.00052**2, 0.1**2]),
    )
    fitted = replace(found.design, known=known)
    left = {s.dimension.name: s.dimension for s in unknowns_of(fitted, found.nominal, WAVES, 4)}
    # Two standard deviations: 1 per cent and 0.2 octaves; no wave once the fit knows where.
    assert left["effective diameter"].up == pytest.approx(0.01)
    assert left["where the cone lets go"].down == pytest.approx(0.2)
    assert "wave in the cone" not in left


def test_no_tolerance_no_change() -> None:
    exact = solved(example(allowed=NOTHING_OFF))
    for cost in exact.sizes:
        assert cost.minus_db == cost.plus_db == cost.slope_db == cost.curve_rms_db == 0.0
    assert set(exact.batch.scores_db) == {exact.nominal.score}
    assert exact.batch.passing == 1.0
    said = tolerance_tables(exact).answer
    assert "Nothing here matters: " in said[0]
    # Four of four: 0.05^(1/4) = 0.47.
    assert any("Yield: all of 4" in one and "more than 47 %" in one for one in said)


def test_a_tiny_tolerance_lets_everything_pass() -> None:
    tiny = NOTHING_OFF.replace("= 0", "= 0.001")
    careful = solved(example(allowed=tiny))
    assert careful.batch.passing == 1.0
    assert len(set(careful.batch.scores_db)) == 4


def test_the_batch_lies_within_the_tolerances(found: Tolerance) -> None:
    batch = found.batch
    for dimension, changes in zip(batch.dimensions, batch.changes.T, strict=True):
        assert changes.min() >= -dimension.down and changes.max() <= dimension.up
        # Four points of a Sobol sequence: one in each quarter, whatever the scramble.
        quarters = np.floor(4.0 * (changes + dimension.down) / (dimension.up + dimension.down))
        assert sorted(quarters) == [0.0, 1.0, 2.0, 3.0]


def test_band_and_yield_are_those_of_the_speakers(found: Tolerance) -> None:
    """Of four ordered values the 5th percentile lies 0.15 of the way from the first to the second.

    Percentile q of n values: at q (n - 1) between them in their order (linear interpolation).
    """
    batch = found.batch
    levels = np.sort([speaker.seat_db for speaker in batch.speakers], axis=0)
    low = levels[0] + 0.15 * (levels[1] - levels[0])
    high = levels[3] - 0.15 * (levels[3] - levels[2])
    assert batch.seat_band_db == pytest.approx(np.array([low, 0.5 * (levels[1] + levels[2]), high]))
    assert batch.seat_width_db == pytest.approx(high - low)
    passed = sum(one.score <= batch.nominal.score + batch.within_db for one in batch.speakers)
    assert batch.passing == passed / 4
    # As if drawn by lot, with one more that passes and one more that fails.
    share = (passed + 1) / 6
    assert batch.passing_error == pytest.approx(math.sqrt(share * (1 - share) / 4))


def test_every_speaker_is_what_its_changes_say(found: Tolerance) -> None:
    batch, design = found.batch, found.design
    tables = moved(design.tables, batch.dimensions, batch.changes[2])
    again = replace(design, tables=tables)
    direct = one(replace(design, tables=design.tables.model_copy(update={"air": tables.air})),
                 again.assembly())  # fmt: skip
    assert batch.speakers[2].score == direct.score


def test_the_same_seed_gives_the_same_speakers(found: Tolerance) -> None:
    again, other = solved(found.design), solved(found.design, seed=6)
    assert np.array_equal(again.batch.changes, found.batch.changes)
    assert np.array_equal(again.batch.scores_db, found.batch.scores_db)
    assert not np.array_equal(other.batch.changes, found.batch.changes)


def test_what_cannot_be_built_is_told_and_fails(impossible: Tolerance) -> None:
    first = impossible.sizes[0]
    assert first.dimension.name == "keep"
    assert not first.plus.solved and first.reason.startswith("plus: ")
    assert math.isnan(first.plus_db) and not math.isnan(first.minus_db)
    failed = [speaker for speaker in impossible.batch.speakers if not speaker.known]
    assert failed and all(math.isinf(speaker.score) for speaker in failed)
    assert impossible.batch.passing <= 1.0 - len(failed) / 8
    told = tolerance_tables(impossible)
    assert told.fact("failed") == len(failed)
    assert any("cannot be built and count as failures" in line for line in told.answer)
    assert set(told.table("speakers").values("reason")) >= {speaker.reason for speaker in failed}


def test_a_profile_that_cannot_be_cut_is_a_row_with_its_reason() -> None:
    """A cap of less than nothing is refused while it is built, not before and not by a crash."""
    found = solved(example(("keep = 44 ", "keep = 5 "), allowed="keep = 8"), samples=2)
    assert "keep" in size(found, "keep").minus.reason


def test_a_frame_does_not_sink_and_air_stays_in_its_formula() -> None:
    flush = example(("proud = 3 ", "proud = 0.4 "), ("temperature = 20", "temperature = 28"))
    ends = {d.name: (d.down, d.up) for d in dimensions_of(flush.tables)}
    assert ends["driver proud height"] == (0.0004, 0.001)
    assert ends["temperature"] == (5.0, 2.0)
    told = {d.name: ends_in_words(d) for d in dimensions_of(flush.tables)}
    assert told["driver proud height"] == "-0.4, +1 mm"
    assert told["keep"] == "±1 mm"


@pytest.mark.parametrize(
    ("reflector", "names"),
    [
        ("kind = 'cone'\nbase_diameter = 150\nhalf_angle = 60", {"base diameter", "half angle"}),
        ("kind = 'cone'\nbase_diameter = 150\nheight = 40", {"base diameter", "reflector height"}),
        (
            "kind = 'flared'\nbase_diameter = 150\nheight = 40",
            {"base diameter", "reflector height"},
        ),
        ("kind = 'none'", set()),
        ("kind = 'turned'\npoints = [[0, 0], [40, 20], [75, 30]]", set()),
    ],
)
def test_other_reflectors_have_their_own_sizes(reflector: str, names: set[str]) -> None:
    ball = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")
    start, end = ball.index('kind = "ball"'), ball.index("[plate]")
    trim = ball[ball.index("[trim]") : ball.index("[gap]")]
    design = example((ball[start:end], f"{reflector}\n\n"), (trim, ""))
    common = {"plate gap", "plate diameter", "driver proud height", "temperature"}
    assert {d.name for d in dimensions_of(design.tables)} == names | common
    for dimension in dimensions_of(design.tables):
        changed = dimension.move(design.tables, dimension.up)
        assert changed != design.tables
        assert dimension.move(design.tables, 0.0) == design.tables


def test_a_mean_of_measured_balls_is_moved_as_one() -> None:
    several = example(("ball_diameter = 180 ", "ball_diameter = [181, 180, 178] "))
    ball = dimensions_of(several.tables)[1]
    assert ball.move(several.tables, 1e-3).reflector.diameter == pytest.approx(0.1806666667)


@pytest.fixture(scope="module")
def read() -> Tolerance:
    """By need: of eight speakers four are solved throughout, four are read."""
    return solved(example(), samples=8, per_band=CHANGES_BY_NEED)


def test_what_is_read_is_what_a_solve_finds(read: Tolerance) -> None:
    batch, design = read.batch, read.design
    assert [speaker.row is not None for speaker in batch.speakers] == [True] * 4 + [False] * 4
    assert batch.reads and 0.0 < batch.doubt_db < 0.01
    tables = moved(design.tables, batch.dimensions, batch.changes[6])
    there = replace(design, tables=tables.model_copy(update={"target": design.target}))
    candidate = Candidate("", there.assembly)
    (direct,) = run(there, [candidate], solve_waves, CHANGES_BY_NEED, "", settle_seats=True)
    # Off by no more than on the speakers that were checked, but for what both may be off by.
    assert batch.speakers[6].score == pytest.approx(direct.score, abs=2.0 * batch.doubt_db + 2e-3)
    off = np.abs(batch.speakers[6].seat_db - direct.seat_levels_db[:, 0])
    assert np.all(off <= 2.0 * batch.curve_doubt_db + 0.01)
    told = " ".join(tolerance_tables(read).answer)
    assert "On 4 that were solved throughout" in told and "but for" not in told


def test_a_band_that_cannot_be_read_is_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where reading may be off by next to nothing, every speaker is solved throughout."""
    monkeypatch.setattr(speakers, "METER_DB", 1e-9)
    all_solved = solved(example(), samples=8, per_band=CHANGES_BY_NEED).batch
    assert all_solved.solved.all() and not all_solved.reads and all_solved.doubt_db == 0.0
    assert len(all_solved.throughout) == len(all_solved.known)


def test_a_surface_goes_through_both_ends_and_is_a_parabola_between(found: Tolerance) -> None:
    keep = size(found, "keep")
    written, minus, plus = map(seat_levels_db, (keep.nominal, keep.minus, keep.plus))
    assert read_levels([keep], [0.0]).seat_db == pytest.approx(written)
    assert read_levels([keep], [1e-3]).seat_db == pytest.approx(plus)
    assert read_levels([keep], [-1e-3]).seat_db == pytest.approx(minus)
    # Lagrange at half the way up: 6/8 of the middle, 3/8 of the upper and -1/8 of the lower end.
    half = read_levels([keep], [0.5e-3]).seat_db
    assert half == pytest.approx(0.75 * written + 0.375 * plus - 0.125 * minus)
    alone = Sensitivity(keep.dimension, keep.nominal, replace(keep.minus, found=None), keep.plus)
    straight = read_levels([alone], [-0.5e-3]).seat_db
    assert straight == pytest.approx(written - 0.5 * (plus - written))
    two = read_levels([keep, size(found, "plate gap")], [1e-3, 0.0])
    assert two.seat_db == pytest.approx(plus)


def test_bands_to_be_solved_come_in_pairs() -> None:
    alone = np.array([False, True, False, False, True])
    assert speakers._in_pairs(alone).tolist() == [False, True, True, True, True]
    assert speakers._runs(alone) == [slice(1, 2), slice(4, 5)]


@pytest.mark.long
def test_by_need_is_what_a_very_fine_grid_finds() -> None:
    """The whole band of the example, its two most costly sizes, at 96 even frequencies a band.

    At the 24 of `--full` a resonance of Q 150 puts changes of score off by up to 0.16 dB.
    """
    path = EXAMPLES / "reading_room.toml"
    design = parse_design(path.read_text(encoding="utf-8"), path)
    need = solved(design, 2, CHANGES_BY_NEED)
    costs = []
    for cost in need.sizes[:2]:
        move, dimension = cost.dimension.move, cost.dimension
        files = (
            design.tables,
            move(design.tables, -dimension.down),
            move(design.tables, dimension.up),
        )
        candidates = [Candidate("", partial(assemble, tables)) for tables in files]
        written, minus, plus = (row.score for row in run(design, candidates, WAVES, 96, ""))
        assert cost.minus_db == pytest.approx(minus - written, abs=0.03)
        assert cost.plus_db == pytest.approx(plus - written, abs=0.03)
        costs.append(max(minus - written, plus - written, 0.0))
    assert costs[0] > costs[1]


@pytest.mark.parametrize("samples", [0, 1, 12, 8192])
def test_samples_are_a_power_of_two(samples: int) -> None:
    with pytest.raises(ValueError, match="power of two"):
        tolerance(example(), solve_waves, samples=samples)


def test_tolerances_are_read_with_their_units() -> None:
    allowed = example(allowed='keep = "0.1 in"\ntilt = 1\ntemperature = 3').tables.tolerance
    assert (allowed.keep, allowed.tilt) == (pytest.approx(2.54e-3), pytest.approx(math.radians(1)))
    assert (allowed.plate_gap, allowed.temperature) == (1e-3, 3.0)
    with pytest.raises(DesignError, match="keep"):
        example(allowed="keep = -1")


def test_off_centre_is_told_by_rays_only_where_they_mean_something(found: Tolerance) -> None:
    assert found.askew == ()
    assert "not told" in " ".join(tolerance_tables(found).answer)
    high = ("band = [500, 800]", "band = [5000, 8000]")
    little, none = (
        hung_askew(example(high, allowed=allowed))
        for allowed in ("off_centre = 5", "off_centre = 0\ntilt = 0")
    )
    assert [case.name for case in little] == ["off-centre", "tilt"]
    assert little[0].largest_db > 4.0 * little[0].error_db
    assert little[0].per_unit_db == pytest.approx(little[0].largest_db / 5.0)
    assert all(case.largest_db == 0.0 == case.per_unit_db for case in none)
    told = tolerance_tables(replace(found, askew=little))
    assert any(BY_RAYS in line for line in told.answer)
    assert BY_RAYS in told.table("askew").title


@pytest.mark.slow
def test_off_centre_is_solved_with_an_axis_for_each_part(found: Tolerance) -> None:
    narrow = ("band = [500, 800]", "band = [1600, 2000]")
    one = solved_askew(example(narrow, allowed="off_centre = 1"), solve_waves)
    assert [case.name for case in one] == ["off-centre", "tilt"]
    assert one[0].largest_db > 0.02
    assert max(case.balance.power_error_db for case in one) < 0.005
    told = tolerance_tables(replace(found, askew=one))
    assert any("with an axis for each part" in line for line in told.answer)
    assert told.fact("off_centre_solved_db") == one[0].largest_db
    assert worries_figure(replace(found, askew=one))


def test_pictures_show_what_cannot_be_built(impossible: Tolerance) -> None:
    tilt = Askew(
        name="tilt",
        tolerance=math.radians(0.5),
        unit=HALF_DEGREE,
        frequencies=np.array([8000.0]),
        side_db=np.array([0.12]),
        error_db=0.01,
    )
    figure = worries_figure(replace(impossible, askew=(tilt,)))
    words = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert words.count(" cannot be built") == 2  # in either panel
    assert ESTIMATE in words and "  tilt, 0.5 deg: 0.12 dB" in words
    batch = impossible.batch
    drawn = batch_figure("t", batch)
    marks = sum(len(line.get_xdata()) for line in drawn.axes[2].lines[:2])
    assert marks == len(batch.known)


def test_without_seats_the_window_is_heard() -> None:
    text = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")
    seats = text[text.index("[[seats]]") : text.index("[target]")]
    design = example((seats, ""), ("# window = [0, 20] ", "window = [0, 20] "))
    deaf = solved(design, samples=2)
    assert deaf.ears == "mean of the window"
    assert np.array_equal(seat_levels_db(deaf.nominal), deaf.nominal.coverage.window_level_db)
    assert "the window" in tolerance_tables(deaf).table("bands").title
