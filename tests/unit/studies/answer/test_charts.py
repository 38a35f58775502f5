"""Charts: what is drawn is the data, labels carry units and do not collide, files are sound."""

import itertools
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import QuadMesh
from matplotlib.patches import StepPatch
from matplotlib.text import Text
from pictures import check_files, check_lettering, check_units, words_of

from dispersion.bands import study_frequencies, third_octave_centres
from dispersion.coverage import measure_coverage
from shapes import (
    Assembly,
    Column,
    Driver,
    DustCap,
    Posts,
    TopPlate,
    Tweeter,
    Whizzer,
    ball_cap,
    cone,
    in_both,
    in_degrees,
)
from shapes.clashes import find_clashes
from studies.answer.charts.around import (
    AroundTrace,
    around_figure,
    azimuth_figure,
    places_figure,
    round_band_figure,
)
from studies.answer.charts.coverage import coverage_map_figure, polar_figure
from studies.answer.charts.curves import Trace, curves_figure, index_figure
from studies.answer.charts.section import section_figure
from studies.answer.charts.shaving import shave_figure
from studies.answer.charts.style import in_both_formats, level_limits, short_frequency
from studies.answer.charts.sweeps import Ladder, ladder_figure, sweep_map_figure
from studies.design import Seat

CENTRES = third_octave_centres(100.0, 16000.0)
SEATS = (
    Seat("armchair, near", 2.0, 0.25, 1.15, 6.3),
    Seat("armchair, far", 3.0, 0.25, 1.15, 4.2),
    Seat("on the floor", 1.5, -0.3, 0.6, -12.0),
)
SMALL = Driver(
    effective_radius=0.052,
    frame_radius=0.065,
    cone_depth=0.022,
    centre=DustCap(0.017, 0.009),
    proud=0.003,
    excursion=0.004,
)
LARGE = Driver(
    effective_radius=0.08,
    frame_radius=0.095,
    cone_depth=0.04,
    centre=Whizzer(0.035, 0.025, 0.02, DustCap(0.015, 0.006)),
    excursion=0.005,
)
PIPE, PLATE = Column(width=0.2, height=0.9, edge_radius=0.003), TopPlate(0.1, 0.015, 0.003)
RODS = Posts(3, 0.003, 0.089, 0.01, 0.01)
CAP = Assembly(
    column=PIPE,
    driver=SMALL,
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.044),
    plate=PLATE,
    posts=RODS,
)
COAXIAL = Assembly(
    column=PIPE,
    driver=SMALL,
    plate_gap=0.064,
    reflector=ball_cap(0.18, 0.04),
    plate=PLATE,
    posts=RODS,
    tweeter=Tweeter(0.01, 0.004, 0.002, 0.016),
)
DESIGNS = {
    "cap": CAP,
    "coaxial": COAXIAL,
    "whizzer in a square column": Assembly(
        column=Column(width=0.26, height=0.8, sides=4),
        driver=LARGE,
        plate_gap=0.07,
        reflector=ball_cap(0.12, 0.05),
        plate=TopPlate(0.12, 0.018),
    ),
    "most of a ball": Assembly(
        column=PIPE, driver=SMALL, plate_gap=0.11, reflector=ball_cap(0.12, 0.1), plate=PLATE
    ),
    "half of a small ball": Assembly(
        column=PIPE, driver=SMALL, plate_gap=0.05, reflector=ball_cap(0.06, 0.03), plate=PLATE
    ),
    "cone without a plate": Assembly(
        column=PIPE, driver=SMALL, plate_gap=0.08, reflector=cone(0.07, height=0.06), plate=None
    ),
    "plate alone": Assembly(column=PIPE, driver=SMALL, plate_gap=0.05, reflector=None, plate=PLATE),
    "bare column": CAP.without_upper(),
}


@pytest.fixture(scope="module")
def coverage():
    f, e = study_frequencies(100.0, 16000.0), np.linspace(-90.0, 90.0, 91)
    lobe = np.exp(-((e / 40.0) ** 2) * (f[:, None] / 4000.0)) / (1.0 + (f[:, None] / 3000.0) ** 2)
    return measure_coverage(f, e, lobe + 1e-3, (0.0, 15.0), (100.0, 16000.0))


@pytest.fixture(scope="module")
def figures(coverage):
    sizes, levels = np.arange(20.0, 31.0, 2.0), np.outer(np.arange(6.0), np.ones(CENTRES.size))
    levels[-1] = np.nan
    scores, reasons = [3, 2.5, 2, 2.2, 4, np.nan], [""] * 5 + ["too tall"]
    ladder = Ladder("ball 180.0 mm", sizes, scores, reasons, [True] * 4 + [False] * 2)
    return {
        "section": section_figure(CAP, "Section", SEATS),
        "curves": curves_figure("Curves", [Trace("window", CENTRES, levels[1], by_band=True)]),
        "map": coverage_map_figure("Map", coverage),
        "polar": polar_figure("Polar", coverage),
        "index": index_figure("Index", coverage),
        "ladder": ladder_figure("Ladder", [ladder], "keep, mm", (24.0, 2.0), 0.3, [(23.0, 26.0)]),
        "sweep": sweep_map_figure("Sweep", sizes, "plate gap, mm", CENTRES, levels, 24.0),
        "around": around_figure("Posts", [AroundTrace("rods", CENTRES, -levels[1], levels[1])]),
        "round": round_band_figure(
            "Round", levels[1], levels[0], AroundTrace("rods", CENTRES, -levels[1], levels[2])
        ),
        "azimuth": azimuth_figure(
            "Azimuth",
            np.arange(0, 360, 10),
            CENTRES,
            {
                "dB": np.outer(levels[1], np.sin(np.arange(36))),
                "dB re 0 dB": levels[1][:, None] - 90.0 + np.zeros(36),
            },
        ),
        "places": places_figure(
            "Places", np.arange(0, 360, 10), np.linspace(0.2, 2.0, 36), [0, 120, 240], [40, 80]
        ),
        "shave": shave_figure("Shave", 180.0, [40.0, 30.0, 20.0], CENTRES, levels[:2]),
    }


NAMES = (
    "section",
    "curves",
    "map",
    "polar",
    "index",
    "ladder",
    "sweep",
    "shave",
    "around",
    "round",
    "azimuth",
    "places",
)


@pytest.mark.parametrize("name", NAMES)
def test_written_pictures_are_complete_and_not_blank(figures, name):
    check_files(figures[name])


@pytest.mark.parametrize("name", NAMES)
def test_no_lettering_is_cut_off_by_the_edge(figures, name):
    check_lettering(figures[name])


@pytest.mark.parametrize("name", [name for name in NAMES if name not in ("section", "polar")])
def test_every_axis_says_its_unit(figures, name):
    check_units(figures[name])


def test_absolute_and_normalised_levels_say_so(figures):
    said = words_of(figures["map"])
    assert any(s.startswith("absolute: dB re the driver's own on-axis curve") for s in said)
    assert any(s.startswith("normalised: dB re the window's level") for s in said)
    assert "level, dB re the driver's own on-axis curve" in words_of(figures["curves"])


@pytest.mark.parametrize("design", DESIGNS)
def test_section_lettering_does_not_collide(design):
    assert not find_clashes(DESIGNS[design])
    figure = section_figure(DESIGNS[design], "A title", SEATS)
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    lettering = [*figure.axes[0].texts, *figure.texts, *figure.legends[0].get_texts()]
    boxes = [(t.get_text(), Text.get_window_extent(t, renderer)) for t in lettering]
    for (one, box), (other, second) in itertools.combinations(boxes, 2):
        assert not box.overlaps(second), (one, other)
    for text, box in boxes:
        assert figure.bbox.x0 <= box.x0 <= box.x1 <= figure.bbox.x1, text
        assert figure.bbox.y0 <= box.y0 <= box.y1 <= figure.bbox.y1, text


def test_section_dimensions_are_those_of_the_assembly():
    said = "\n".join(words_of(section_figure(COAXIAL, "Section", SEATS)))
    cap = COAXIAL.reflector
    for name, size in {
        "base ": 2 * cap.base_radius,
        "ball ": 0.18,
        "keep\n": 0.04,
        "cut off\n": 0.14,
        "plate gap\n": COAXIAL.plate_gap,
        "rim gap\n": COAXIAL.rim_gap,
        "at rest\n": COAXIAL.tip_clearance,
        "in motion\n": COAXIAL.tip_clearance_in_motion,
        "top plate ": 0.2,
        "column ": 0.2,
    }.items():
        assert f"{name}{in_both(size)}" in said
    assert f"rim slope {in_degrees(cap.rim_slope)}" in said
    assert "+6.3 deg, 2 m away" in said
    assert "3 posts of 6.0 mm, cut to 84.0 mm" in said


def test_section_is_drawn_to_scale():
    axes = section_figure(CAP, "Section").axes[0]
    wide, high = np.diff(axes.get_xlim())[0], np.diff(axes.get_ylim())[0]
    width_in, height_in = axes.figure.get_size_inches()
    assert wide / width_in == pytest.approx(high / height_in, rel=1e-12)
    outlines = [patch.get_path().vertices for patch in axes.patches]
    assert max(np.ptp(outline[:, 0]) for outline in outlines) == pytest.approx(200.0, abs=0.1)


def test_curves_draw_the_levels_they_are_given():
    levels = np.linspace(-12.0, 3.0, CENTRES.size)
    traces = [
        Trace("window", CENTRES, levels, by_band=True),
        Trace("seat", CENTRES, levels - 2.0),
        Trace("bare", CENTRES, levels - 5.0),
    ]
    axes = curves_figure("Curves", traces).axes[0]
    (steps,) = [patch for patch in axes.patches if isinstance(patch, StepPatch)]
    drawn, edges, _ = steps.get_data()
    np.testing.assert_array_equal(drawn, levels)
    assert np.all((edges[:-1] < CENTRES) & (edges[1:] > CENTRES))
    lines = {line.get_label(): line.get_ydata() for line in axes.lines}
    np.testing.assert_array_equal(lines["seat"], levels - 2.0)
    np.testing.assert_array_equal(lines["bare"], levels - 5.0)


def test_maps_draw_the_levels_of_the_coverage(figures, coverage):
    absolute, normalised = (
        next(iter(axes.findobj(QuadMesh))).get_array() for axes in figures["map"].axes[:2]
    )
    np.testing.assert_array_equal(absolute, coverage.level_db.T)
    difference = np.asarray(absolute) - np.asarray(normalised)
    np.testing.assert_allclose(difference, np.tile(coverage.window_level_db, (91, 1)), atol=1e-9)


def test_polar_cuts_are_symmetrical_and_share_one_scale(figures, coverage):
    panels = [axes for axes in figures["polar"].axes if axes.axison]
    assert [axes.get_title() for axes in panels][3:6] == ["1 kHz", "2 kHz", "4 kHz"]
    assert len({axes.get_ylim() for axes in panels}) == 1
    level = panels[3].lines[0].get_ydata()
    np.testing.assert_array_equal(level, level[::-1])
    np.testing.assert_array_equal(level[:91], coverage.level_db[10])


def test_failed_candidates_are_crosses_with_their_reason(figures):
    axes = figures["ladder"].axes[0]
    lines = {line.get_label(): line for line in axes.lines}
    assert lines["failed: too tall"].get_xdata() == [30.0]
    np.testing.assert_array_equal(lines["ball 180.0 mm"].get_ydata()[:3], [3.0, 2.5, 2.0])
    assert lines["chosen: 24.0 mm, score 2.00 dB"].get_xdata() == [24.0]
    # Four scores have settled; the fifth is coarse, its mark hollow.
    assert lines["ball 180.0 mm"].get_markevery() == [0, 1, 2, 3]
    hollow = [line for line in axes.lines if line.get_markerfacecolor() == "white"]
    assert np.flatnonzero(np.isfinite(hollow[0].get_ydata())).tolist() == [4]
    low, high = axes.get_ylim()
    assert low < 2.0 < 4.0 < high
    # What is chosen for another reason need not have the lowest score: that is shown as well.
    lower = Ladder("", np.array([20.0, 24.0]), np.array([1.0, 2.0]), ["", ""], [True, False])
    (axes,) = ladder_figure("Ladder", [lower], "keep, mm", (24.0, 2.0), 0.3).axes
    assert axes.get_ylim()[0] < 1.0


def test_a_crowd_of_reasons_is_gathered_and_nobody_is_left_out():
    sizes = np.arange(10.0)
    scores, reasons = np.append(np.full(9, np.nan), 1.0), [*map(str, range(9)), ""]
    ladder = Ladder("", sizes, scores, reasons, [True] * 10)
    axes = ladder_figure("Ladder", [ladder], "keep, mm", (9.0, 1.0), 0.3).axes[0]
    failed = [line for line in axes.lines if str(line.get_label()).startswith("failed")]
    assert len(failed) == 4
    assert sorted(x for line in failed for x in line.get_xdata()) == list(sizes[:9])


def drawn_maps(figure):
    return [next(iter(axes.findobj(QuadMesh))).get_array() for axes in figure.axes[:2]]


def test_sweep_map_leaves_failures_grey(figures):
    for drawn in drawn_maps(figures["sweep"]):
        assert np.all(np.ma.getmaskarray(drawn)[-1])
    absolute, _ = drawn_maps(figures["sweep"])
    np.testing.assert_array_equal(absolute[2], np.full(CENTRES.size, 2.0))
    assert {"failed: no level", "present choice: 24.0 mm"} <= set(words_of(figures["sweep"]))


def test_sweep_map_says_what_it_is_normalised_to(figures):
    absolute, normalised = drawn_maps(figures["sweep"])
    np.testing.assert_array_equal(normalised[:-1], absolute[:-1] - absolute[2])
    said = words_of(figures["sweep"])
    assert "absolute: dB re the driver's own on-axis curve" in said
    assert "normalised: dB re the present choice, 24.0 mm" in said
    assert "now" in said


@pytest.mark.parametrize(
    ("best", "said", "row"), [(28.0, "the best, 28.0 mm", 4), (None, "the mean of all sizes", 2)]
)
def test_a_sweep_without_a_present_choice_is_held_against_another(best, said, row):
    levels = np.outer(np.arange(5.0), np.ones(CENTRES.size))
    sizes = np.arange(20.0, 29.0, 2.0)
    figure = sweep_map_figure("Sweep", sizes, "keep, mm", CENTRES, levels, best_mm=best)
    np.testing.assert_array_equal(drawn_maps(figure)[1], levels - levels[row])
    assert f"normalised: dB re {said}" in words_of(figure)
    assert "now" not in words_of(figure)


def test_round_picture_is_absolute_above_normalised(figures):
    top, bottom = figures["round"].axes[:2]
    for axes, without in ((top, np.ones(CENTRES.size)), (bottom, np.zeros(CENTRES.size))):
        band, mean = (patch.get_data() for patch in axes.patches if isinstance(patch, StepPatch))
        np.testing.assert_array_equal(band.values, without + 2.0)
        np.testing.assert_array_equal(band.baseline, without - 1.0)
        np.testing.assert_array_equal(mean.values, without)
    said = words_of(figures["round"])
    assert "absolute" in said
    assert any(s.startswith("normalised: dB re no posts") for s in said)


def test_shaving_writes_only_what_a_meter_shows():
    change = np.zeros((1, CENTRES.size))
    change[0, 3:7] = (0.4, -0.6, 1.26, 12.0)
    figure = shave_figure("Shave", 180.0, [40.0, 38.0], CENTRES, change)
    assert [text.get_text() for text in figure.axes[0].texts] == ["-0.6", "1.3", "12"]
    assert "40.0 (140.0) to 38.0 (142.0)" in words_of(figure)


@pytest.mark.parametrize("title", ["<script>alert(1)</script> & co", "from $5 to $6 a_b^c \\frac"])
def test_titles_stay_text(title):
    for figure in (
        section_figure(CAP, title),
        curves_figure(title, [Trace(title, [1e2, 1e3], [0.0, 1.0])]),
    ):
        root = ElementTree.fromstring(in_both_formats(figure)["svg"])
        assert title in [element.text for element in root.iter() if element.tag.endswith("text")]
        assert not [element for element in root.iter() if element.tag.endswith("script")]


def test_pictures_are_the_same_every_time_and_under_any_settings():
    def drawn():
        return in_both_formats(section_figure(CAP, "Section", SEATS))

    first = drawn()
    with matplotlib.rc_context({"font.size": 30.0, "svg.hashsalt": "x", "lines.linewidth": 9.0}):
        assert drawn() == first
        assert matplotlib.rcParams["font.size"] == 30.0


def test_charts_keep_out_of_pyplot():
    code = (
        "import importlib, pkgutil, sys, studies.answer.charts as charts\n"
        "for module in pkgutil.iter_modules(charts.__path__):\n"
        "    importlib.import_module(f'studies.answer.charts.{module.name}')\n"
        "assert 'studies.answer.charts.style' in sys.modules\n"
        "sys.exit('matplotlib.pyplot' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_level_limits_show_the_top_and_are_not_blown_up():
    assert level_limits([-0.1, 0.1]) == (-25.0, 5.0)
    assert level_limits([-80.0, -2.0]) == (-45.0, 0.0)
    assert level_limits([-31.0, np.nan, 4.5]) == (-35.0, 10.0)
    assert level_limits([np.nan]) == (-30.0, 0.0)


def test_ticks_are_written_as_on_an_equaliser():
    assert [short_frequency(f) for f in (50, 500, 1000, 12500)] == ["50", "500", "1k", "12.5k"]


def test_around_picture_draws_lowest_and_highest_of_every_choice():
    centres = third_octave_centres(1000.0, 4000.0)
    low, high = -np.arange(1.0, 1.0 + len(centres)), np.full(len(centres), 0.5)
    figure = around_figure("posts", [AroundTrace("3 x 6 mm", centres, low, high)])
    steps = [patch for patch in figure.axes[0].patches if isinstance(patch, StepPatch)]
    drawn = [patch.get_data().values for patch in steps]
    assert drawn[0] == pytest.approx(high) and drawn[1] == pytest.approx(low)
    bottom, top = figure.axes[0].get_ylim()
    assert bottom <= low.min() and top >= high.max()


def test_azimuth_picture_is_scaled_evenly_about_nothing():
    centres = third_octave_centres(1000.0, 2000.0)
    levels = np.linspace(-2.4, 0.5, len(centres) * 8).reshape(len(centres), 8)
    both = {"dB re no posts": levels, "dB re 0 dB": levels - 9.0}
    figure = azimuth_figure("posts", np.arange(0.0, 360.0, 45.0), centres, both)
    mesh, absolute = (figure.axes[panel].collections[0] for panel in range(2))
    assert mesh.get_clim() == (-3.0, 3.0)
    assert absolute.get_clim() == (-12.0, -8.0)
    assert pytest.approx(levels) == np.asarray(mesh.get_array()).reshape(8, -1).T
