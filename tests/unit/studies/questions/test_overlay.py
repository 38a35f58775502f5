"""Measured over predicted: what is removed, what is left, and which size would explain it."""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from dispersion.bands import third_octave_centres
from dispersion.driver_curve import DriverCurve
from dispersion.problem import Problem
from dispersion.reference import Reference
from dispersion.response import Response
from dispersion.ripple import Balance
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from studies.cli import main
from studies.design import Design, parse_design
from studies.design.moves import HALF_DEGREE, Dimension
from studies.measured.comparing import MODEL_DB, READING_DB, STATED_DB, compare, scatter_round_db
from studies.measured.positions import Measurement, Position
from studies.measured.reading import read_measurements
from studies.measured.text_files import MeasurementError
from studies.questions.overlay import one_size_off
from studies.questions.overlay.figures import differences_figure, overlay_pictures
from studies.questions.overlay.off_axis import OffAxis
from studies.questions.overlay.one_size_off import SizeOff
from studies.questions.overlay.study import Overlay, overlay
from studies.questions.overlay.tables import overlay_tables
from studies.questions.overlay.words import change_in_words
from studies.questions.spread.study import spread
from studies.solving import levels_of_members
from studies.solving.members import members
from studies.solving.posted import ChangeAround
from studies.solving.predicting import as_read, predict

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
PLACES = (
    Position("low", 2.0, 0.6),
    Position("level", 1.0, 0.93, 0.0),
    Position("level, behind", 1.0, 0.93, 60.0),
    Position("seated", 2.0, 1.15),
    Position("steep", 0.8, 1.7),
)
DRIVER = np.array([1.0, -2.0, 0.5, 3.0])  # dB, in the four bands


def example(*pairs: tuple[str, str]) -> Design:
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (('band = ["100 Hz", "16 kHz"]', "band = [4000, 8000]"), *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


WAVES = partial(solve_waves, shared=SharedBlocks())
SOLVED: dict[object, Response] = {}


def solver(
    problem: Problem, progress: Callable[[int], None] | None = None, also: object = ()
) -> Response:
    """Solve every problem of these tests once, however its cone moves."""
    key = (problem.assembly, problem.frequencies.tobytes(), problem.points.tobytes())
    if key not in SOLVED:
        SOLVED[key] = WAVES(problem)
    if progress is not None:
        progress(len(problem.frequencies))
    return SOLVED[key]


@pytest.fixture(autouse=True, scope="module")
def few_steps() -> Iterator[None]:
    """Two changes of every size in place of six; no doubt of driver and build unless asked for."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(one_size_off, "STEPS", (-4.0, 2.0))
        patch.setattr(levels_of_members, "members", partial(members, count=1, per_build=2))
        yield


@pytest.fixture
def one_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """One change of every size, where the test is not about that."""
    monkeypatch.setattr(one_size_off, "STEPS", (1.0,))


def measured_on(
    design: Design, places: tuple[Position, ...] = PLACES, driver: np.ndarray = DRIVER
) -> tuple[Measurement, ...]:
    """What a perfect meter would read on a speaker of a design whose driver is not flat."""
    found = predict(design, design.assembly(), places, solver, 4)
    return tuple(
        Measurement(
            position=place,
            source="made up",
            frequencies=found.centres,
            level_db=levels + 84.0 + driver,
            kind="bands",
        )
        for place, levels in zip(places, found.level_db, strict=True)
    )


@pytest.fixture(scope="module")
def perfect() -> Overlay:
    design = example()
    return overlay(design, solver, fineness=4, measurements=measured_on(design))


@pytest.fixture(scope="module")
def wider() -> Overlay:
    """The speaker was built with a plate gap of 62 mm where 60 is written."""
    built = measured_on(example(("plate_gap = 60 ", "plate_gap = 62 ")))
    return overlay(example(), solver, fineness=4, measurements=built)


# Arithmetic of the comparison --------------------------------------------------------------------


def test_level_and_driver_are_removed_and_nothing_else() -> None:
    predicted = np.array([[0.0, 1.0, 2.0], [3.0, 1.0, 0.0], [1.0, 1.0, 5.0]])
    held = compare(predicted + 80.0 + np.array([1.0, 0.0, -2.0]), predicted)
    assert held.driver_removed
    assert held.offset_db == 80.0
    assert held.driver_db == pytest.approx([1.0, 0.0, -2.0])
    assert held.rms_db == pytest.approx(0.0, abs=1e-12)
    # One reading 3 dB off: two thirds of it stay there, a third goes to the others of its band.
    off = predicted.copy()
    off[1, 2] += 3.0
    held = compare(off, predicted)
    assert held.offset_db == 0.0
    assert held.difference_db[:, 2] == pytest.approx([-1.0, 2.0, -1.0])
    assert held.worst_at == (1, 2) and held.worst_db == pytest.approx(2.0)
    assert held.rms_db == pytest.approx(math.sqrt(6.0 / 9.0))
    assert held.rms_by_position_db == pytest.approx([math.sqrt(1 / 3), math.sqrt(4 / 3),
                                                     math.sqrt(1 / 3)])  # fmt: skip
    assert held.rms_by_band_db == pytest.approx([0.0, 0.0, math.sqrt(2.0)])


def test_two_positions_keep_their_drivers_curve() -> None:
    predicted = np.zeros((2, 3))
    held = compare(np.array([[80.0, 81.0, 79.0]] * 2), predicted)
    assert not held.driver_removed
    assert held.driver_db == pytest.approx([0.0, 0.0, 0.0])
    assert held.difference_db == pytest.approx(np.array([[0.0, 1.0, -1.0]] * 2))


def test_bands_of_too_few_positions_are_not_compared_with_the_others() -> None:
    measured = np.array([[1.0, np.nan, 5.0], [1.0, np.nan, 6.0], [1.0, np.nan, np.nan]])
    held = compare(measured, np.zeros((3, 3)))
    assert held.compared.tolist() == [[True, False, False]] * 3
    assert np.isnan(held.driver_db[1:]).all()


def test_what_is_expected_follows_from_both_uncertainties() -> None:
    """Simulated: noise of the stated size leaves, on average, what is said to be expected."""
    rng = np.random.default_rng(3)
    sigma = math.hypot(MODEL_DB, READING_DB)
    squares, expected = [], 0.0
    for _ in range(400):
        held = compare(rng.normal(0.0, sigma, (5, 20)), np.zeros((5, 20)))
        squares.append(held.rms_db**2)
        expected = held.expected_db
    assert held.free == 5 * 20 - 20
    # The mean of 400 x 80 squares is known within about 1 % (one standard error: 0.8 %).
    assert math.sqrt(np.mean(squares)) == pytest.approx(expected, rel=0.02)


def test_what_is_expected_holds_what_the_driver_does_to_all_readings() -> None:
    """Simulated: noise and one error of all readings leave what is said to be expected."""
    rng, squares, weighed = np.random.default_rng(4), [], []
    shared = rng.normal(0.0, 2.0, (1, 5, 20))
    for _ in range(400):
        noise = rng.normal(0.0, math.hypot(MODEL_DB, READING_DB), (5, 20))
        held = compare(noise + rng.normal() * shared[0], np.zeros((5, 20)), shared)
        squares.append(held.rms_db**2)
        weighed.append(held.weighed_db**2)
    assert math.sqrt(np.mean(squares)) == pytest.approx(held.expected_db, rel=0.04)
    # Weighed by its covariance each residual counts alike: 400 x 80 squares again.
    assert math.sqrt(np.mean(weighed)) == pytest.approx(held.expected_weighed_db, rel=0.02)
    assert held.limit_db.min() > 2.0 * math.hypot(MODEL_DB, READING_DB)


def test_what_nobody_knows_of_the_driver_explains_what_is_left(
    wider: Overlay, one_step: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(levels_of_members, "members", partial(members, count=3, per_build=1))
    found = overlay(wider.design, solver, fineness=4, measurements=wider.measurements)
    assert found.members_db.shape == (3, *found.predicted.level_db.shape)
    assert found.comparison.expected_db > wider.comparison.expected_db
    assert found.comparison.rms_db == pytest.approx(wider.comparison.rms_db)
    assert found.comparison.weighed_db < wider.comparison.weighed_db
    said = " ".join(overlay_tables(found).answer)
    assert f"would leave {found.members_rms_db.min():.1f} to" in said


def test_what_another_driver_would_leave_counts_little() -> None:
    """r^T (s^2 + d d^T)^-1 r, written out: along d it is r^2 / (s^2 + d^2), across it r^2 / s^2."""
    along = np.array([[3.0, 0.0, -1.0], [-3.0, 0.0, 1.0], [0.0, 0.0, 0.0]])
    across = np.array([[0.0, 2.0, 0.0], [0.0, -2.0, 0.0], [0.0, 0.0, 0.0]])
    # No residual is moved by what is removed: each band has mean 0, and the median is 0.
    left = [compare(one, np.zeros((3, 3)), along[None]).weighed_db for one in (along, across)]
    size = np.sum(along**2)
    share = STATED_DB**2 / (STATED_DB**2 + size)
    assert left == pytest.approx([math.sqrt(share * size / 9.0), math.sqrt(8.0 / 9.0)])
    assert compare(along, np.zeros((3, 3))).weighed_db == pytest.approx(math.sqrt(size / 9.0))


def test_scatter_round_the_column() -> None:
    difference = np.array([[1.0, np.nan], [-1.0, 2.0], [0.0, 9.0]])
    # One pair in the first band: variance 2; the second band has but one of them.
    assert scatter_round_db(difference, [[0, 1], [2]]) == pytest.approx(math.sqrt(2.0))
    assert math.isnan(scatter_round_db(difference, [[0], [1], [2]]))


# Prediction --------------------------------------------------------------------------------------


def test_prediction_at_the_seats_is_that_of_the_design() -> None:
    design = example()
    seats = tuple(Position(seat.name, seat.r, seat.ear_height) for seat in design.seats)
    response = spread(design, solver, fineness=4).row.response
    alone = (np.abs(response.alone) ** 2).reshape(4, 4, 1)
    power = (np.abs(response.near) ** 2).reshape(4, 4, -1)
    mean = (alone * power).mean(axis=1) / alone.mean(axis=1)
    distance = [math.hypot(seat.r, seat.z) for seat in design.seats]
    found = predict(design, design.assembly(), seats, solver, 4)
    assert found.centres == pytest.approx(third_octave_centres(4000.0, 8000.0))
    assert found.level_db == pytest.approx(10 * np.log10(mean).T - 20 * np.log10(distance)[:, None])


def test_readings_hold_a_measured_curve_once() -> None:
    """What is heard re the driver alone, times its curve; 0 dB alone does not know the curve."""
    design = example()
    response = spread(design, solver, fineness=4).row.response
    curve = DriverCurve((1000.0, 20e3), (9.0, 9.0), zero_db=3.0)
    flush = response.reference.flush
    curved = Reference((replace(response.reference.ways[0], curve=curve),), flush)
    heard = replace(response, reference=curved)
    each = np.abs(response.near) ** 2
    assert np.abs(heard.near) ** 2 == pytest.approx(each)
    expected = 10.0**0.6 * each.reshape(4, 4, -1).mean(axis=1)
    assert as_read(heard, heard.band_means(each)) == pytest.approx(expected)
    bands = response.band_means(each)
    assert as_read(response, bands) == pytest.approx(bands)


def test_far_away_the_level_falls_by_the_distance() -> None:
    design = example()
    ring = design.assembly().height_of_ring
    places = tuple(Position(str(r), r, ring) for r in (100.0, 200.0))
    near, far = predict(design, design.assembly(), places, solver, 4, band=(500, 630)).level_db
    assert near - far == pytest.approx(20.0 * math.log10(2.0), abs=0.01)


# The study ---------------------------------------------------------------------------------------


def test_a_perfect_speaker_is_explained_and_needs_no_culprit(perfect: Overlay) -> None:
    held = perfect.comparison
    assert held.explained and held.rms_db == pytest.approx(0.0, abs=1e-9)
    assert held.offset_db + held.driver_db == pytest.approx(84.0 + DRIVER)
    assert perfect.culprits == ()
    findings = overlay_tables(perfect)
    assert findings.answer[0].startswith("The model explains this measurement")
    assert any("No one size being off would explain the rest better" in s for s in findings.answer)
    assert findings.fact("culprit") is None


def test_a_wider_gap_is_found_out(wider: Overlay) -> None:
    best = wider.culprits[0]
    assert best.dimension.name == "plate gap"
    assert best.change == pytest.approx(2e-3)
    # Sizes differ in their last bits, and so do the meshes: far below what is printed.
    assert best.rms_db == pytest.approx(0.0, abs=1e-5)
    assert wider.comparison.rms_db > 0.3
    findings = overlay_tables(wider)
    assert findings.fact("culprit") == "plate gap"
    assert any(
        "plate gap 2.0 mm (3/32 in) larger the rms falls" in line for line in findings.answer
    )
    first = findings.table("sizes").records()[0]
    assert (first["size"], first["change"], first["unit"]) == ("plate gap", 2.0, "mm")
    assert first["fall_db"] == pytest.approx(wider.comparison.rms_db, abs=1e-5)


def test_everything_tried_is_listed(wider: Overlay) -> None:
    tried = {(one.dimension.name, round(one.change * 1e3)) for one in wider.tried}
    names = {"keep", "ball diameter", "plate gap", "driver proud height"}
    every = {(name, step) for name in names for step in (-4, 2)}
    assert tried == every - {("driver proud height", -4)}  # proud = 3: frames do not sink
    assert len(overlay_tables(wider).table("tried").rows) == len(tried)


def test_the_best_of_each_size_is_solved_as_finely_as_the_prediction(one_step: None) -> None:
    design = example(("band = [4000, 8000]", "band = [4000, 5000]"))
    built = measured_on(design, driver=DRIVER[:2])
    found = overlay(design, solver, fineness=8, measurements=built)
    counts = {len(one.response.problem.frequencies) for one in found.best_by_size}
    assert counts == {16} and {len(one.response.problem.frequencies) for one in found.tried} == {8}


def test_a_size_that_cannot_be_built_is_listed() -> None:
    # 44 of 46 mm are kept: 4 mm more would stand in the cone, and a gap 4 mm less too.
    tight = example(("plate_gap = 60 ", "plate_gap = 46 "), ("proud = 3 ", "proud = 0 "))
    found = overlay(tight, solver, fineness=4, measurements=measured_on(tight))
    reasons = {(one.dimension.name, one.change): one.reason for one in found.tried if one.reason}
    assert reasons
    rows = overlay_tables(found).table("tried").records()
    assert {row["reason"] for row in rows if row["rms_db"] is None} == set(reasons.values())
    assert "driver proud height" in {one.dimension.name for one in found.tried}


def test_what_the_gate_hides_is_grey_and_not_compared(perfect: Overlay) -> None:
    gated = [replace(one, gate_limit_hz=4600.0) for one in perfect.measurements]
    found = overlay(perfect.design, solver, fineness=4, measurements=gated)
    # Lower edges of IEC 61260-1: the 5 kHz band begins at 4467 Hz, the 6.3 kHz band at 5623 Hz.
    assert found.comparison.compared.any(axis=0).tolist() == [False, False, True, True]
    assert np.isfinite(found.whole_db).all()
    findings = overlay_tables(found)
    why = findings.table("levels").values("not_compared")
    assert why.count("below the gate's limit") == 10 and why.count("") == 10
    assert any("(4.6 kHz) are shown in grey" in line for line in findings.answer)
    grey = overlay_pictures(found)["positions"].figure.axes[0]
    assert len(grey.patches) == 2 + 3  # two bands shaded; predicted, measured, left out


def test_a_measurement_below_the_gate_is_refused(perfect: Overlay) -> None:
    gated = [replace(one, gate_limit_hz=9000.0) for one in perfect.measurements]
    with pytest.raises(MeasurementError, match="made up: nothing to compare.*9000 Hz"):
        overlay(perfect.design, solver, fineness=4, measurements=gated)
    beyond = [replace(one, frequencies=one.frequencies / 10) for one in perfect.measurements]
    with pytest.raises(MeasurementError, match="at least two third octaves"):
        overlay(perfect.design, solver, fineness=4, measurements=beyond)


def test_one_position_says_what_it_cannot_tell(perfect: Overlay, one_step: None) -> None:
    found = overlay(perfect.design, solver, fineness=4, measurements=perfect.measurements[:1])
    assert not found.comparison.driver_removed
    # The driver's curve about its median, 0.75 dB, is all there is.
    left = DRIVER - np.median(DRIVER)
    assert found.comparison.difference_db[0] == pytest.approx(left, abs=1e-9)
    words = " ".join(overlay_tables(found).answer)
    assert "is not removed, which takes 3 positions" in words
    assert "No azimuth is noted" in words
    assert "Only 3 of these numbers can still differ" in words
    assert len(overlay_pictures(found)["differences"].figure.axes) == 2  # map and its scale


def test_positions_at_one_height_test_little(perfect: Overlay, one_step: None) -> None:
    around = tuple(Position(f"at {a}", 2.0, 1.15, float(a)) for a in (0, 20, 40, 60))
    built = measured_on(perfect.design, around)
    built = (replace(built[0], level_db=built[0].level_db + 2.0), *built[1:])
    found = overlay(perfect.design, solver, fineness=4, measurements=built)
    assert found.predicted_spread_db == pytest.approx(0.0, abs=1e-9)
    # 2 dB at one of four: a standard deviation of 1 dB.
    assert found.round_db == pytest.approx(1.0)
    words = " ".join(overlay_tables(found).answer)
    assert "This tests little" in words
    assert "scatter by 1.0 dB" in words


def test_a_shift_that_azimuths_call_for_is_said(perfect: Overlay) -> None:
    fit = OffAxis(
        shift=1.4e-3,
        towards_deg=120.0,
        uncertainty=0.2e-3,
        rms_straight_db=0.9,
        rms_db=0.4,
        count=80,
    )
    told = overlay_tables(replace(perfect, off_axis=fit))
    said = " ".join(told.answer)
    assert "hang 1.4 mm (to within 0.4 mm) off the centre towards azimuth 120" in said
    assert "0.40 dB rms are left of 0.90" in said
    assert next(one.value for one in told.facts if one.key == "off_axis_mm") == 1.4
    chance = overlay_tables(replace(perfect, off_axis=replace(fit, shift=0.3e-3)))
    assert "no reflector off the centre" in " ".join(chance.answer)
    hung = replace(
        perfect,
        askew=ChangeAround(
            np.full(perfect.measured.level_db.shape, -0.7), Balance(0.002, np.ones(1))
        ),
    )
    assert "changes the prediction by up to 0.7 dB" in " ".join(overlay_tables(hung).answer)


def test_single_bands_that_stand_out_are_named(perfect: Overlay) -> None:
    bad = perfect.measurements[3]
    levels = bad.level_db.copy()
    levels[2] += 7.0
    built = (*perfect.measurements[:3], replace(bad, level_db=levels), perfect.measurements[4])
    found = overlay(perfect.design, solver, fineness=4, measurements=built)
    # A fifth of it goes into the driver's curve.
    assert found.comparison.worst_db == pytest.approx(5.6, abs=1e-6)
    assert found.comparison.beyond == 1
    worst = next(line for line in overlay_tables(found).answer if "largest difference" in line)
    assert "+5.6 dB at 6.3 kHz, seated" in worst
    noisy = tuple(
        replace(one, level_db=one.level_db + change)
        for one, change in zip(perfect.measurements, (4.0, -4.0, 4.0, -4.0, 0.0), strict=True)
    )
    unlike = overlay(perfect.design, solver, fineness=4, measurements=noisy)
    assert not unlike.comparison.explained
    assert overlay_tables(unlike).answer[0].startswith("The model does not explain")


def test_changes_are_named_in_their_unit() -> None:
    angle = Dimension("half angle", HALF_DEGREE, 0.0, 0.0, lambda now, _: now)
    assert (
        change_in_words(SizeOff(angle, math.radians(-1.0), 0.0, 0.0))
        == "half angle 1.0 deg smaller"
    )


def test_pictures_carry_what_they_show(wider: Overlay) -> None:
    pictures = overlay_pictures(wider)
    assert list(pictures) == ["positions", "differences", "sizes"]
    titles = [axes.get_title(loc="left") for axes in pictures["positions"].figure.axes]
    for place, rms in zip(PLACES, wider.comparison.rms_by_position_db, strict=True):
        assert f"{place.name}: {rms:.1f} dB rms" in titles
    shown = [float(text.get_text()) for text in pictures["differences"].figure.axes[0].texts]
    assert shown == pytest.approx(wider.comparison.difference_db.ravel(), abs=0.051)
    lines = pictures["sizes"].figure.axes[0].lines
    assert len(lines) == 5  # four sizes, and the point as written


def test_many_positions_are_still_legible() -> None:
    centres = third_octave_centres(100.0, 16_000.0)
    names = [f"position {n}" for n in range(120)]
    figure = differences_figure("t", centres, names, np.zeros((120, len(centres))), None)
    assert not figure.axes[0].texts
    assert len(figure.axes[0].get_yticks()) == 40
    assert figure.get_size_inches()[1] < 20.0


# The command -------------------------------------------------------------------------------------


def run(*words: object) -> tuple[int, str]:
    result = CliRunner().invoke(main, [str(word) for word in words])
    return result.exit_code, result.output


def test_the_examples_are_measured_files_too(tmp_path: Path) -> None:
    assert run("examples", tmp_path)[0] == 0
    design = example()
    found = read_measurements([tmp_path / "measured" / "index.toml"], design)
    assert [one.kind for one in found] == ["curve"] * 4 + ["bands"]
    assert {one.frequencies[-1] for one in found[:4]} == {19952.6}
    assert "left alone" in run("examples", tmp_path)[1]


def test_the_command_answers_and_writes_everything(tmp_path: Path, one_step: None) -> None:
    run("examples", tmp_path)
    path = tmp_path / "reading_room.toml"
    text = path.read_text().replace('band = ["100 Hz", "16 kHz"]', "band = [1000, 1250]")
    path.write_text(text)
    words = ("overlay", path, tmp_path / "measured" / "index.toml", "--per-band", 4)
    code, output = run(*words, "--out", tmp_path / "a")
    assert code == 0, output
    assert "The model explains this measurement" in output
    names = {file.name for file in (tmp_path / "a").iterdir()}
    assert {"overlay.html", "overlay.json", "overlay-differences.csv", "overlay-positions.png",
            "overlay-sizes.svg", "overlay-levels.csv"} <= names  # fmt: skip
    assert "--files" not in (tmp_path / "a" / "overlay.html").read_text()
    facts = json.loads((tmp_path / "a" / "overlay.json").read_text())["facts"]
    assert facts["compared"] == 10
    run(*words, "--out", tmp_path / "b")
    for file in (tmp_path / "a").iterdir():
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes(), file.name


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("100 80\n200 81\n", "nothing says where this was measured"),
        (None, "cannot be read"),
        ("", "no row of numbers"),
        ("\x00\x01", "no text file"),
    ],
)
def test_the_command_refuses_in_words(tmp_path: Path, content: str | None, message: str) -> None:
    path = tmp_path / "x.txt"
    if content is not None:
        path.write_text(content)
    code, output = run("overlay", EXAMPLES / "reading_room.toml", path, "--out", tmp_path / "out")
    assert code == 2
    assert f"{path}" in output and message in output and "Traceback" not in output
    assert not (tmp_path / "out").exists()


def test_the_command_needs_files() -> None:
    code, output = run("overlay", EXAMPLES / "reading_room.toml")
    assert code == 2 and "FILES" in output
