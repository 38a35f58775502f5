"""The slice: the same field as everywhere else, nothing inside solids, a wave without a jump.

0 dB is what the driver gives flush in an endless baffle, on axis, r p exp(-ikr) over 1 m, solved
here by itself.
"""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from dispersion.flush_driver import flush_driver
from dispersion.problem import Problem
from dispersion.rational import Resonance
from dispersion.solvers import solve_waves
from dispersion.waves import WaveSettings, axial_motion, solve, solve_flush
from studies.answer.release import mark_of
from studies.design import Design, DesignError, parse_design
from studies.questions.slice import study as module
from studies.questions.slice.figures import FRAMES, slice_figure, slice_files
from studies.questions.slice.ringing import ACROSS, ringing_part, where_they_ring
from studies.questions.slice.slices import Slices, short_name
from studies.questions.slice.study import (
    by_number,
    inside,
    pressure_re_1m,
    sharp_resonances,
    slice_study,
    usual_frequencies,
)
from studies.questions.slice.tables import slices_tables
from studies.solving.grid import problem_of

TEXT = """
title = "A small one"
unit = "mm"
plate_gap = 50
[column]
width = 200
height = 500
[driver]
effective_diameter = 104
frame_diameter = 130
cone_depth = 20
[reflector]
kind = "ball"
ball_diameter = 180
keep = 30
[plate]
diameter = 200
thickness = 15
[[seats]]
name = "sofa"
ear_height = "1.1 m"
distance = "2 m"
"""
FREQUENCIES = (1000.0, 4000.0)
RINGS_HZ, RINGS_Q = 7405.1, 28.55


def small(text: str = TEXT) -> Design:
    return parse_design(text, "small.toml")


@pytest.fixture(scope="module")
def slices() -> Slices:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "USUAL_POINTS", 1500)
        return slice_study(small(), FREQUENCIES[::-1])


def test_the_slice_is_the_pressure_of_the_wave_solver(slices: Slices) -> None:
    design, assembly = slices.design, slices.assembly
    drives = [axial_motion("driver", assembly.ways[0].parts, design.air)]
    rows, columns = np.nonzero(~slices.solid)
    some = slice(None, None, 97)
    rows, columns = rows[some], columns[some]
    points = np.column_stack((np.abs(slices.x[columns]), slices.z[rows]))
    for number, frequency in enumerate(FREQUENCIES):
        settings = WaveSettings().finer(1.0)
        solution = solve(
            assembly.bodies,
            frequency,
            drives,
            design.air,
            settings=settings,
            walls=design.walls_on(assembly),
        )
        flush = flush_driver(slices.response.problem, settings)
        at_1m = solve_flush(
            flush.outline.pieces, frequency, drives, design.air, settings, walls=flush.walls
        ).on_axis[0]
        expected = solution.pressure_at(points)[:, 0] / at_1m
        # Between its places the driver alone is read within 0.001 dB here.
        assert slices.pressure[number, rows, columns] == pytest.approx(expected, rel=1.2e-4)


def test_far_away_it_is_the_far_field() -> None:
    design, distance = small(), 1e4
    angles = np.array([-60.0, 0.0, 10.0, 45.0])
    across = np.cos(np.radians(angles)), np.sin(np.radians(angles))
    points = distance * np.column_stack(across)
    frequency = np.array([1000.0])
    problem = Problem(
        assembly=design.assembly(),
        ways=design.ways,
        frequencies=frequency,
        air=design.air,
        points=points,
    )
    response = solve_waves(problem)
    k = 2.0 * np.pi * frequency[0] / design.air.speed
    found = pressure_re_1m(response)[0] * distance * np.exp(-1j * k * distance)
    far = response.far[0, np.searchsorted(problem.elevations, angles)]
    # What a body of size L leaves at a distance R: a phase of k L^2 / 2 R.
    largest = k * 0.6**2 / (2.0 * distance) * np.abs(response.far).max()
    assert np.abs(found - far).max() < largest


def test_at_a_seat_it_is_the_response_there(slices: Slices) -> None:
    seat = slices.design.seats[0]
    point = np.array([(seat.r, seat.z)])
    response = solve_waves(replace(slices.response.problem, points=point))
    distance = np.hypot(seat.r, seat.z)
    level = 20.0 * np.log10(np.abs(pressure_re_1m(response))) + 20.0 * np.log10(distance)
    assert level == pytest.approx(20.0 * np.log10(np.abs(response.near)), abs=1e-9)


def test_inside_a_ball_and_a_hollow_that_doubles_back() -> None:
    angle = np.linspace(-np.pi / 2, np.pi / 2, 2001)
    ball = np.column_stack((np.cos(angle), np.sin(angle)))
    ball[[0, -1], 0] = 0.0
    r, z = np.linspace(0.011, 1.2, 60), np.linspace(-1.21, 1.19, 80)
    distance = np.hypot(*np.meshgrid(r, z))
    found = inside([ball], r, z)
    clear = np.abs(distance - 1.0) > 1e-4
    np.testing.assert_array_equal(found[clear], (distance < 1.0)[clear])
    cup = np.array([(0, 0), (1, 0), (1, 2), (0.8, 2), (0.8, 0.5), (0, 0.5)], dtype=float)
    at = inside([cup], np.array([0.4, 0.9, 1.1]), np.array([0.25, 1.0]))
    assert at.tolist() == [[True, True, False], [False, True, False]]


def test_solids_are_hidden_and_air_is_not(slices: Slices) -> None:
    np.testing.assert_array_equal(np.isnan(slices.pressure), np.stack([slices.solid] * 2))
    x, z = np.meshgrid(np.abs(slices.x), slices.z)
    deep = (x < 0.099) & (z < -0.021)
    plate = (x < 0.099) & (z > 0.051) & (z < 0.064)
    assert slices.solid[deep].all() and slices.solid[plate].all()
    beside = x > 0.101
    ring = (x > 0.08) & (z > 0.001) & (z < 0.049)
    assert not slices.solid[beside].any() and not slices.solid[ring].any()


def test_both_halves_are_alike(slices: Slices) -> None:
    np.testing.assert_array_equal(slices.x, -slices.x[::-1])
    np.testing.assert_array_equal(slices.pressure, slices.pressure[:, :, ::-1])


def test_frequencies_are_sorted_and_asked_once() -> None:
    assert [short_name(f) for f in (500.0, 2000.0, 12500.0)] == ["500Hz", "2kHz", "12.5kHz"]
    assert usual_frequencies(small()) == (500.0, 2000.0, 8000.0)
    narrow = small(TEXT + "[target]\nband = [1000, 4000]\n")
    assert usual_frequencies(narrow) == (2000.0,)
    low = small(TEXT + "[target]\nband = [100, 400]\n")
    assert usual_frequencies(low) == pytest.approx((200.0,))


@pytest.mark.parametrize("frequency", [0.0, -5.0, 1e6])
def test_a_frequency_without_a_slice_is_refused(frequency: float) -> None:
    with pytest.raises(DesignError, match=r"--at: .*(above 0 Hz|less than \d+ Hz)"):
        slice_study(small(), [frequency])


def test_every_frequency_is_counted() -> None:
    steps: list[tuple[str, int, int]] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "USUAL_POINTS", 200)
        slice_study(small(), [500.0, 500.0, 700.0], progress=lambda *step: steps.append(step))
    assert steps == [("slice", 1, 2), ("slice", 2, 2)]


def test_the_wave_runs_round_without_a_jump(slices: Slices) -> None:
    """Equal phase steps: p(n+1) + p(n-1) = 2 cos(step) p(n), from the last to the first too."""
    frames = np.array([slices.instant(1, n / FRAMES) for n in range(FRAMES)])
    neighbours = np.roll(frames, 1, axis=0) + np.roll(frames, -1, axis=0)
    expected = 2.0 * np.cos(2.0 * np.pi / FRAMES) * frames
    assert np.abs(neighbours - expected).max() < 1e-12 * np.abs(frames).max()


def test_the_wave_runs_outwards(slices: Slices) -> None:
    """Beside the ring a crest is farther away a moment later: exp(-i omega t), outgoing waves."""
    row = int(np.searchsorted(slices.z, 0.025))
    outside = slices.x > 0.13
    phase = np.unwrap(np.angle(slices.pressure[1, row, outside]))
    assert np.all(np.diff(phase) > 0.0)


def test_animations_loop_are_small_and_the_same_every_time(slices: Slices) -> None:
    files = slice_files(slices)
    assert list(files) == ["slice-1kHz.gif", "slice-4kHz.gif"]
    assert slice_files(slices) == files
    for data in files.values():
        picture = Image.open(io.BytesIO(data))
        assert (picture.n_frames, picture.info["loop"], picture.width) == (FRAMES, 0, 640)
        assert picture.info["comment"].decode("ascii") == mark_of(slices.design)
        assert len(data) < 1.5e6


def test_lettering_is_whole_and_has_units(slices: Slices) -> None:
    figure = slice_figure(slices, 1)
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    inches = figure.get_tightbbox(renderer)
    width, height = figure.get_size_inches()
    assert 0 <= inches.x0 <= inches.x1 <= width
    assert 0 <= inches.y0 <= inches.y1 <= height
    labels = [axes.get_xlabel() for axes in figure.axes]
    assert sum("mm" in label for label in labels) == 2
    assert sum("dB re the driver's own on-axis level at 1 m" in label for label in labels) == 1
    assert "4 kHz, wavelength 86 mm" in figure.get_suptitle()


def test_tables_tell_what_the_slice_shows(slices: Slices) -> None:
    found = slices_tables(slices)
    assert found.command == "slice"
    level = np.nanmax(20.0 * np.log10(np.abs(slices.pressure[0])))
    assert found.fact("loudest_1kHz_db") == pytest.approx(level)
    waves = found.table("waves")
    assert waves.values("wavelength_mm") == pytest.approx(
        [slices.design.air.speed / f * 1e3 for f in FREQUENCIES], abs=1e-5
    )
    in_waves = 0.05 * FREQUENCIES[1] / slices.design.air.speed
    assert waves.values("plate_gap_in_waves")[1] == pytest.approx(in_waves)
    assert found.evidence.worst_power_error_db == slices.response.worst_power_error_db < 0.1
    assert any(
        "plate gap" in sentence and "stand and split" in sentence for sentence in found.answer
    )


def test_without_anything_above_there_is_no_ring() -> None:
    text = TEXT.replace('kind = "ball"\nball_diameter = 180\nkeep = 30', 'kind = "none"')
    text = text.replace("[plate]\ndiameter = 200\nthickness = 15\n", "")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "USUAL_POINTS", 400)
        bare = slice_study(small(text), [1000.0])
    assert bare.mouth is None and bare.ring_mouth_power is None
    found = slices_tables(bare)
    assert "no ring" in found.answer[0]
    assert found.table("places").values("ring_mouth_db") == (None,)
    slice_figure(bare, 0)


def test_resonances_are_named_as_spread_names_them() -> None:
    """Where to look: the ring of the small design, and none of it where it is looked at."""
    found = slice_study(small(), FREQUENCIES)
    assert "Rings at" not in " ".join(slices_tables(found).answer)
    sharp = (
        Resonance(frequency=4321.0, q=90.0, peak=1.0, trusted=True),
        Resonance(frequency=6630.0, q=480.0, peak=1.0, trusted=True),
    )
    findings = slices_tables(replace(found, resonances=sharp))
    said = " ".join(findings.answer)
    assert "Rings at 6630 Hz (Q 480) and 4321 Hz (Q 90): between driver and reflector" in said
    assert "ask --resonance 2." in said
    assert findings.table("resonances").values("q") == (90.0, 480.0)
    at_it = replace(sharp[0], frequency=4001.0, q=500.0)
    assert "ask --resonance" not in " ".join(
        slices_tables(replace(found, resonances=(at_it,))).answer
    )


def test_what_rings_is_parted_from_what_runs_straight_across_it() -> None:
    """A / (f - f0 + i b / 2) at f0 and b either way leaves 0.8 of its peak, 2 A / (i b)."""
    frequency, width, shape = 5000.0, 40.0, np.array([1.0, 0.5j, -0.2])
    across = frequency + width * np.array(ACROSS)
    background = np.outer(across, [2e-4, 1e-4j, 0.0]) + 0.3
    rings = np.outer(width / (across - frequency + 0.5j * width), shape)
    (found,) = ringing_part((background + rings)[None])
    assert found == pytest.approx(0.8 * shape * 2.0 / 1j)


def test_resonances_are_asked_for_by_number() -> None:
    sharp = tuple(Resonance(frequency=f, q=90.0, peak=1.0, trusted=True) for f in (4e3, 6e3))
    assert by_number(small(), sharp, (2, 1)) == (6e3, 4e3)
    with pytest.raises(DesignError, match="--resonance: number 3 of 2 sharp resonances: give 1 to"):
        by_number(small(), sharp, (3,))
    with pytest.raises(DesignError, match="number 1 of 0 sharp resonances: leave it out"):
        by_number(small(), (), (1,))


def test_a_resonance_has_one_shape_and_a_place(slices: Slices) -> None:
    """With hard walls, as `sharp_resonances` finds it: the same whatever width it is taken over."""
    design = small(TEXT + '[walls]\nlosses = "none"\n')
    rings = Resonance(frequency=RINGS_HZ, q=RINGS_Q, peak=1.0, trusted=True)
    (place,) = where_they_ring(design, [rings])
    (again,) = where_they_ring(design, [replace(rings, q=2.0 * RINGS_Q)])
    assert place.where == again.where and place.share == pytest.approx(again.share, abs=0.05)
    assert (place.radius, place.height) == (again.radius, again.height)
    found = replace(slices, resonances=(rings,), places=(place,))
    findings = slices_tables(found)
    assert f"(Q {RINGS_Q:.0f}, {place.where})" in " ".join(findings.answer)
    assert findings.table("resonances").values("where") == (place.where,)


@pytest.mark.slow
def test_the_sharpest_resonance_of_the_example_is_loud_below_the_reflector() -> None:
    """Solved point by point across it, inside the ring: the peak stands within a bandwidth."""
    path = Path(__file__).resolve().parents[4] / "studies" / "examples" / "reading_room.toml"
    design = parse_design(path.read_text(encoding="utf-8"), path)
    sharpest = max(sharp_resonances(design), key=lambda one: one.q)
    across = sharpest.frequency + sharpest.bandwidth * np.linspace(-6.0, 6.0, 49)
    inside_ring = np.array([(r, 0.01) for r in (0.03, 0.05, 0.08)])
    problem = replace(problem_of(design, design.assembly()), frequencies=across, points=inside_ring)
    power = np.mean(np.abs(solve_waves(problem).near) ** 2, axis=1)
    assert abs(across[int(np.argmax(power))] - sharpest.frequency) < sharpest.bandwidth
    assert power.max() > 10.0 * np.median(power)
