"""The design file: what is read, and what each mistake is called."""

import json
import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from dispersion.sources import Crossover
from shapes.clashes import find_clashes
from shapes.parts import Tweeter, Whizzer
from studies.answer.standing import best_at_end_of_gaps, out_of_reach_in_words
from studies.design import Design, DesignError, design_schema, parse_design, read_design
from studies.design.design import DesignFile
from studies.questions.explore.study import knobs_of

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"

PLAIN = """\
title = "A test"
unit = "mm"
plate_gap = 60
[column]
width = 200
height = 900
[driver]
effective_diameter = 104
frame_diameter = 130
cone_depth = 22
dust_cap = { diameter = 34, height = 9 }
proud = 3
excursion = 4
[reflector]
kind = "ball"
ball_diameter = 180
keep = 44
[plate]
diameter = 200
thickness = 15
[posts]
count = 3
diameter = 6
circle_diameter = 178
[target]
window = [0, 20]
[trim]
keep = { from = 15, to = 55, step = 1 }
[gap]
from = 50
to = 90
step = 2
"""


def changed(*pairs: tuple[str, str], more: str = "") -> str:
    """Text of the plain design with each old passage, which must be there, made new."""
    text = PLAIN
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text + more


def read(*pairs: tuple[str, str], more: str = "") -> Design:
    return parse_design(changed(*pairs, more=more), "test.toml")


def complaint(*pairs: tuple[str, str], more: str = "") -> str:
    with pytest.raises(DesignError) as caught:
        read(*pairs, more=more)
    text = str(caught.value)
    assert all(line.startswith("test.toml: ") for line in text.splitlines())
    return text


# What is read


def test_lengths_become_metres() -> None:
    assembly = read().assembly()
    assert assembly.plate_gap == pytest.approx(0.06)
    assert assembly.column.width == pytest.approx(0.2)
    assert assembly.driver.effective_radius == pytest.approx(0.052)
    assert assembly.driver.centre.radius == pytest.approx(0.017)
    assert assembly.posts.circle_radius == pytest.approx(0.089)
    assert assembly.reflector.height == pytest.approx(0.044)


def test_every_length_may_have_its_own_unit() -> None:
    design = read(
        ('unit = "mm"\n', ""),
        ("plate_gap = 60", 'plate_gap = "2 3/8 in"'),
        ("width = 200\nheight = 900", 'width = "20 cm"\nheight = "0.9 m"'),
        (
            "effective_diameter = 104\nframe_diameter = 130\ncone_depth = 22\n"
            "dust_cap = { diameter = 34, height = 9 }\nproud = 3\nexcursion = 4",
            'effective_diameter = "104 mm"\nframe_diameter = \'5-1/4"\'',
        ),
        ("ball_diameter = 180\nkeep = 44", 'ball_diameter = "18 cm"\nkeep = "44 mm"'),
        ("diameter = 200\nthickness = 15", 'diameter = "200 mm"\nthickness = "5/8 in"'),
        ("diameter = 6\ncircle_diameter = 178", 'diameter = "6 mm"\ncircle_diameter = "7 in"'),
        ("from = 15, to = 55, step = 1", 'from = "15 mm", to = "55 mm", step = "1 mm"'),
        ("[gap]\nfrom = 50\nto = 90\nstep = 2\n", ""),
    )
    assert design.tables.plate_gap == pytest.approx(2.375 * 0.0254)
    assert design.tables.column.width == pytest.approx(0.2)
    assert design.tables.driver.frame_diameter == pytest.approx(5.25 * 0.0254)


def test_bare_numbers_count_in_the_declared_unit() -> None:
    def tenth(found: re.Match[str]) -> str:
        return f"{found[1]}{int(found[2]) / 10}"

    # Every bare length follows "= ", except in the two lines that hold no lengths.
    lines = PLAIN.replace('unit = "mm"', 'unit = "cm"').splitlines()
    others = ("count", "window")
    text = "\n".join(
        line if line.startswith(others) else re.sub(r"(= )(\d+)", tenth, line) for line in lines
    )
    assert "ball_diameter = 18.0" in text
    in_cm, in_mm = parse_design(text, "test.toml").assembly(), read().assembly()
    assert in_cm.lower.volume == pytest.approx(in_mm.lower.volume, rel=1e-12)
    assert in_cm.upper.volume == pytest.approx(in_mm.upper.volume, rel=1e-12)


def test_effective_area_in_place_of_a_diameter() -> None:
    design = read(("effective_diameter = 104", 'effective_area = "85 cm2"'))
    assert math.pi * design.assembly().driver.effective_radius ** 2 == pytest.approx(85e-4)


def test_cut_off_is_the_rest_of_the_ball() -> None:
    design = read(("keep = 44", "cut_off = 136"))
    assert design.reflector().height == pytest.approx(0.044)


def test_several_measured_diameters_are_averaged_and_their_spread_is_kept() -> None:
    design = read(("ball_diameter = 180", "ball_diameter = [179, 180, 182]"))
    assert design.ball.diameter == pytest.approx(0.541 / 3)
    assert design.ball.spread == pytest.approx(0.003)
    assert design.reflector().fact("ball diameter") == pytest.approx(0.541 / 3)


BALL = 'kind = "ball"\nball_diameter = 180\nkeep = 44'
CROSSING = (
    'kind = "turned"\nsmooth = false\npoints = [[0, 0], [60, 5], [50, 30], [40, 1], [70, 40]]'
)
NO_TRIM = ("[trim]\nkeep = { from = 15, to = 55, step = 1 }\n", "")


@pytest.mark.parametrize(
    ("table", "kind", "height_mm"),
    [
        ('kind = "cone"\nbase_diameter = 80\nhalf_angle = 45', "cone", 40.0),
        ('kind = "cone"\nbase_diameter = 80\nheight = 30\ntip_radius = 3', "cone", 30.0),
        ('kind = "flared"\nbase_diameter = 150\nheight = 40', "flared", 40.0),
        (
            'kind = "parabola"\nbase_diameter = 150\nheight = 40\nsource_distance = 40',
            "parabola",
            40.0,
        ),
        ('kind = "turned"\npoints = [[0, 0], [20, 15], [70, 35]]', "turned", 35.0),
    ],
)
def test_other_reflectors(table: str, kind: str, height_mm: float) -> None:
    reflector = read((BALL, table), NO_TRIM).reflector()
    assert reflector.kind == kind
    assert reflector.height == pytest.approx(height_mm / 1e3)


def test_no_reflector_leaves_the_bare_plate() -> None:
    design = read((BALL, 'kind = "none"'), NO_TRIM)
    assert design.reflector() is None
    assert design.assembly().rim_gap == pytest.approx(0.06)


def test_coaxial_ways_with_their_filters() -> None:
    filter_ = '{ kind = "linkwitz-riley", order = 4, frequency = "3 kHz" }'
    tweeter = (
        "[tweeter]\ndome_diameter = 20\ndome_height = 4\nface_height = -2\n"
        'housing_diameter = 32\nlevel_db = -2\npolarity = "reversed"\ndelay = "50 us"\n'
        f"crossover = {filter_}\n"
    )
    design = read(
        ("dust_cap = { diameter = 34, height = 9 }", f"crossover = {filter_}\ndelay = 0.12"),
        more=tweeter,
    )
    low, high = design.ways
    assert low.crossovers == (Crossover("linkwitz-riley", 4, 3000.0, "low"),)
    assert high.crossovers == (Crossover("linkwitz-riley", 4, 3000.0, "high"),)
    assert (high.polarity, high.level_db) == (-1, -2.0)
    assert (low.delay, high.delay) == (pytest.approx(0.12e-3), pytest.approx(50e-6))
    assert design.assembly().tweeter == Tweeter(0.01, 0.004, -0.002, 0.016)


def test_whizzer_stands_in_the_cone() -> None:
    whizzer = "whizzer = { diameter = 50, height = 20, neck_diameter = 30 }"
    design = read(("dust_cap = { diameter = 34, height = 9 }", whizzer))
    assert design.assembly().driver.centre == Whizzer(0.025, 0.02, 0.015)


def test_a_cone_that_lets_go() -> None:
    design = read(("proud = 3", 'proud = 3\nlets_go = { above = "4 kHz", down_to = 34 }'))
    (way,) = design.ways
    assert (way.lets_go.frequency, way.lets_go.least_radius) == (4000.0, pytest.approx(0.017))


SEATS = """\
[[seats]]
name = "chair"
ear_height = "1.15 m"
distance = "3 m"
[[seats]]
name = "standing"
ear_height = "1.6 m"
distance = "2 m"
"""


def test_seats_stand_in_house_coordinates() -> None:
    design = read(more=SEATS)
    chair = design.seats[0]
    assert (chair.r, chair.z) == (pytest.approx(3.0), pytest.approx(0.25))
    ring = design.assembly().height_of_ring
    assert chair.elevation_deg == pytest.approx(math.degrees(math.atan((1.15 - ring) / 3.0)))


def test_window_follows_from_the_seats_where_none_is_written() -> None:
    design = read(("[target]\nwindow = [0, 20]\n", ""), more=SEATS)
    low, high = design.window_deg
    angles = sorted(seat.elevation_deg for seat in design.seats)
    assert angles[0] - 4 < low <= angles[0] - 3
    assert angles[1] + 3 <= high < angles[1] + 4
    assert read(more=SEATS).window_deg == (0, 20)


def test_trim_candidates_are_every_ball_with_every_keep() -> None:
    assert len(read().trim_candidates()) == 41
    assert read().trim_candidates()[-1] == (pytest.approx(0.18), pytest.approx(0.055))
    several = read(
        ("{ from = 15, to = 55, step = 1 }", "[20, 30, 160]\nballs_on_sale = [150, 180]")
    )
    expected = [(0.15, 0.02), (0.15, 0.03), (0.15, 0.16), (0.18, 0.02), (0.18, 0.03), (0.18, 0.16)]
    assert several.trim_candidates() == tuple(pytest.approx(pair) for pair in expected)


@pytest.mark.parametrize(
    ("steps", "count", "last_mm"), [("0.1", 401, 55.0), ("3", 14, 54.0), ("40", 2, 55.0)]
)
def test_steps_end_at_or_before_the_last_size(steps: str, count: int, last_mm: float) -> None:
    candidates = read(("step = 1 }", f"step = {steps} }}")).trim_candidates()
    assert len(candidates) == count
    assert candidates[-1][1] == pytest.approx(last_mm / 1e3, abs=1e-9)


def test_trimming_holds_the_plate_gap_or_the_tip_clearance() -> None:
    design = read()
    taller = design.trimmed(0.18, 0.05)
    assert taller.plate_gap == pytest.approx(0.06)
    assert taller.tip_clearance < design.assembly().tip_clearance
    held = read(("step = 1 }", 'step = 1 }\nhold = "tip clearance"')).trimmed(0.18, 0.05)
    assert held.plate_gap == pytest.approx(0.066)
    # The cap hangs with its apex at one height; a wider one is only lower further out.
    assert held.plate_gap - held.reflector.height == pytest.approx(0.016)


def test_the_plate_moves_where_nothing_is_held_and_gaps_are_there() -> None:
    gaps = "[gap]\nfrom = 50\nto = 90\nstep = 2\n"
    assert read().moves_plate
    assert not read((gaps, "")).moves_plate
    assert not read(("step = 1 }", 'step = 1 }\nhold = "plate gap"')).moves_plate
    free = ("step = 1 }", 'step = 1 }\nhold = "nothing"')
    assert read(free).moves_plate
    assert "trim.hold: nothing is held, and no [gap]" in complaint(free, (gaps, ""))


def test_gap_candidates() -> None:
    gaps = read().gap_candidates()
    assert len(gaps) == 21
    assert (gaps[0], gaps[-1]) == (pytest.approx(0.05), pytest.approx(0.09))


SOCKETS = "circle_diameter = 178\nsocket_plate = 10\nsocket_baffle = 8\n"


def test_no_gap_is_tried_that_the_rods_at_hand_are_too_short_for() -> None:
    posts = ("circle_diameter = 178\n", f"{SOCKETS}longest = 98\n")
    design = read(posts)
    # 98 mm of rod less sockets of 10 and 8 mm: gaps up to 80 mm.
    assert design.gap_candidates() == pytest.approx(np.arange(0.050, 0.0801, 0.002))
    assert design.gaps_out_of_reach == pytest.approx(np.arange(0.082, 0.0901, 0.002))
    (said,) = out_of_reach_in_words(design)
    assert said.startswith("Not tried: plate gaps of 82.0 mm")
    assert "98.0 mm" in said
    at_end = best_at_end_of_gaps(design, 0.08, [0.05, 0.08], [0.05, 0.08])
    assert "widen posts.longest to larger sizes" in at_end[0]
    assert out_of_reach_in_words(read()) == []
    held = read(posts, ("step = 1 }", 'step = 1 }\nhold = "tip clearance"'))
    assert held.trimmed(0.18, 0.044 + 0.020).plate_gap == pytest.approx(0.080)
    with pytest.raises(ValueError, match=r"posts would be 99\.0 mm long, and posts\.longest"):
        held.trimmed(0.18, 0.044 + 0.021)
    assert knobs_of(design)[1].sizes[-1] == pytest.approx(0.080)


def test_rods_that_are_too_short_for_the_file_are_a_mistake() -> None:
    said = complaint(("circle_diameter = 178\n", f"{SOCKETS}longest = 60\n"))
    assert "posts.longest: is too short for plate_gap: 60.0 mm takes posts of 78.0 mm" in said
    assert "posts.longest: is too short for [gap]: 50.0 mm takes posts of 68.0 mm" in said


@pytest.mark.parametrize(("table", "ask"), [("trim", "trim_candidates"), ("gap", "gap_candidates")])
def test_a_question_that_the_file_does_not_ask(table: str, ask: str) -> None:
    text = PLAIN[: PLAIN.index(f"[{table}]")]
    design = parse_design(text, "test.toml")
    with pytest.raises(DesignError, match=rf"test.toml: {table}: .*add one"):
        getattr(design, ask)()


def test_contest_takes_tables_and_reflectors_of_other_designs(tmp_path: Path) -> None:
    other = changed(("keep = 44", "keep = 30"))
    (tmp_path / "other.toml").write_text(other)
    contest = (
        '[[contest]]\nname = "cone"\n'
        'reflector = { kind = "cone", base_diameter = 80, half_angle = 45 }\nplate_gap = 70\n'
        '[[contest]]\nname = "flatter"\ndesign = "other.toml"\n'
        '[[contest]]\nname = "plate"\nreflector = { kind = "none" }\n'
    )
    (tmp_path / "test.toml").write_text(changed(more=contest))
    own, straight, flatter, bare = read_design(tmp_path / "test.toml").contest_entries()
    assert (own.name, own.plate_gap) == ("as designed", pytest.approx(0.06))
    assert (straight.name, straight.plate_gap) == ("cone", pytest.approx(0.07))
    assert flatter.reflector.height == pytest.approx(0.03)
    assert bare.reflector is None


def curve_file(folder: Path, name: str = "curve.txt", first: int = 50, last: int = 20000) -> Path:
    path = folder / name
    path.write_text(f"{first} 80\n1000 85\n{last} 82\n")
    return path


def test_driver_curve_beside_the_file(tmp_path: Path) -> None:
    curve_file(tmp_path)
    path = tmp_path / "test.toml"
    path.write_text(changed(("proud = 3", 'proud = 3\ncurve = "curve.txt"')))
    (way,) = read_design(path).ways
    assert way.curve.levels_db == (80, 85, 82)


def test_driver_curve_counts_from_its_own_level_or_the_one_given(tmp_path: Path) -> None:
    curve_file(tmp_path)
    path = tmp_path / "test.toml"
    path.write_text(changed(("proud = 3", 'proud = 3\ncurve = "curve.txt"')))
    (way,) = read_design(path).ways
    assert 20 * np.log10(abs(way.transfer(1000.0))) == pytest.approx(0.0, abs=1.0)
    given = ("proud = 3", 'proud = 3\ncurve = "curve.txt"\ncurve_zero_db = 75')
    path.write_text(changed(given))
    (way,) = read_design(path).ways
    assert 20 * np.log10(abs(way.transfer(1000.0))) == pytest.approx(10.0)


def test_fingerprint_follows_the_text_and_its_companions(tmp_path: Path) -> None:
    curve_file(tmp_path)
    path = tmp_path / "test.toml"
    path.write_text(changed(("proud = 3", 'proud = 3\ncurve = "curve.txt"')))
    first = read_design(path).fingerprint
    assert read_design(path).fingerprint == first
    curve_file(tmp_path, last=20001)
    second = read_design(path).fingerprint
    path.write_text(path.read_text() + "# a remark\n")
    assert len({first, second, read_design(path).fingerprint}) == 3


def test_a_design_is_frozen() -> None:
    design = read()
    with pytest.raises(AttributeError):
        design.path = Path("other.toml")
    with pytest.raises(ValueError, match="frozen"):
        design.tables.column.width = 1.0


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "test.toml"
    path.write_bytes(b"\xef\xbb\xbf" + PLAIN.encode())
    assert read_design(path).title == "A test"


# Mistakes


def test_broken_toml_names_the_line() -> None:
    assert "test.toml: line 5 is not valid TOML" in complaint(("width = 200", "width = 200 mm"))


@pytest.mark.parametrize("text", ['title = "A test', "[column", "title = 'x'\n["])
def test_toml_that_ends_too_soon_names_a_line(text: str) -> None:
    with pytest.raises(DesignError, match=r"line \d+ is not valid TOML"):
        parse_design(text, "test.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(DesignError, match=r"missing.toml: cannot be read"):
        read_design(tmp_path / "missing.toml")
    with pytest.raises(DesignError, match="cannot be read"):
        read_design(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'unit = "mm"\ntitle = "\xe4"\n')
    with pytest.raises(DesignError, match="line 2 is not UTF-8"):
        read_design(tmp_path / "latin.toml")


@pytest.mark.parametrize(
    ("pairs", "expected"),
    [
        ([("keep = 44", "kepe = 44")], "reflector.kepe: unknown key: did you mean keep?"),
        ([("thickness = 15", "thick = 15")], "plate.thick: unknown key: did you mean thickness?"),
        (
            [("plate_gap = 60\n", ""), ("thickness = 15", "thickness = 15\nplate_gap = 60")],
            "plate.plate_gap: unknown key here: plate_gap belongs at the top of the file",
        ),
        ([("[posts]", "[pots]")], "pots: unknown key: did you mean posts?"),
        (
            [('kind = "ball"', 'kind = "none"')],
            "reflector.keep: does not go with the kind that [reflector] has: remove it",
        ),
        ([("proud = 3", "colour = 3")], "driver.colour: unknown key: remove it, or use one of"),
        ([("width = 200\n", "")], "column.width: is missing"),
        ([('kind = "ball"', 'kind = "egg"')], "reflector.kind: 'egg' is not known"),
        ([('kind = "ball"\n', "")], 'reflector.kind: is missing: add one, such as kind = "ball"'),
        ([('unit = "mm"\n', "")], 'plate_gap: 60 has no unit: put unit = "mm"'),
        ([('unit = "mm"', 'unit = "ft"')], "unit: 'ft' is not a choice here"),
        ([("keep = 44", 'keep = "44"')], "reflector.keep: "),
        ([("keep = 44", 'keep = "44 furlongs"')], "reflector.keep: unknown unit 'furlongs'"),
        ([("keep = 44", "keep = -44")], "reflector.keep: -44 mm is negative"),
        ([("keep = 44", "keep = 0")], "reflector.keep: 0 mm is zero"),
        ([("keep = 44", "keep = nan")], "reflector.keep: nan is not a size"),
        ([("keep = 44", "keep = true")], "reflector.keep: must be a number or text with a unit"),
        (
            [("ball_diameter = 180", 'ball_diameter = "180 m"')],
            "reflector.ball_diameter: 180 m is an absurd size",
        ),
        ([("ball_diameter = 180", 'ball_diameter = "180 m"')], "did you mean 180 mm?"),
        ([("height = 900", "height = 0.9")], "column.height: 0.9 mm is an absurd size"),
        ([("height = 900", "height = 0.9")], "did you mean 0.9 m?"),
        ([("keep = 44", "keep = 181")], "reflector.keep: 181.0 mm is larger than the ball"),
        ([("keep = 44", "cut_off = 180")], "reflector.cut_off: 180.0 mm leaves nothing"),
        ([("keep = 44", "keep = 44\ncut_off = 136")], "reflector.keep: give keep"),
        ([("ball_diameter = 180", "ball_diameter = [180, 18]")], "that is no ball"),
        ([("window = [0, 20]", "window = [20, 0]")], "target.window: [20, 0] is upside down"),
        ([("window = [0, 20]", "window = [0, 10, 20]")], "target.window: has too many entries"),
        ([("window = [0, 20]", "window = 20")], "target.window: must be a list"),
        ([("window = [0, 20]", "window = [-91, 20]")], "target.window[1]: must be at least -90"),
        ([("count = 3", "count = 3.5")], "posts.count: must be a whole number"),
        ([("[gap]", "[air]\ntemperature = 60\n[gap]")], "air: temperature 60"),
        ([('title = "A test"', "title = 3")], "title: must be text in quotes"),
        ([("proud = 3", "proud = 3\nposts = 3")], "driver.posts: unknown key here: write it as a"),
        ([("window = [0, 20]", "window = [5, 5]")], "target.window: [5, 5] is upside down"),
        ([("[target]\nwindow = [0, 20]\n", "")], "target.window: is missing and no [[seats]]"),
        ([("window = [0, 20]", "window = [0, 20]\nband = [10, 16000]")], "target.band[1]: 10 is"),
        ([("window = [0, 20]", 'window = [0, 20]\nband = [20, "40 kHz"]')], "target.band[2]: 40"),
        ([("window = [0, 20]", "window = [0, 20]\nband = [900, 90]")], "target.band: is upside"),
        ([("from = 15, to = 55", "from = 55, to = 15")], "trim.keep.from: is larger than to"),
        ([("{ from = 15, to = 55, step = 1 }", "[]")], "trim.keep: "),
        ([("to = 55, step = 1", "to = 55, step = 0")], "trim.keep.step: 0 mm is zero"),
        ([("to = 55, step = 1", "to = 55, step = 0.01")], "trim.keep.step: makes more than"),
        ([("effective_diameter = 104", "effective_diameter = 135")], "larger than frame_diameter"),
        (
            [("proud = 3", 'proud = 3\ncrossover = { kind = "brick", order = 4, frequency = 1 }')],
            "driver.crossover.frequency: 1 is outside 20 Hz to 20 kHz",
        ),
        ([("proud = 3", "proud = 3\nmoving_mass = 9")], "driver.moving_mass: 9 has no unit"),
        ([("proud = 3", 'proud = 3\nmoving_mass = "0.2 g"')], "is less than the air alone"),
        ([("proud = 3", "proud = 3\ndelay = 12")], "driver.delay: 12 is more than 10 ms"),
        ([("proud = 3", 'proud = 3\ndelay = "-1 ms"')], "driver.delay: -1 ms is negative"),
        (
            [("proud = 3", 'proud = 3\ncurve = "gone.txt"')],
            "driver.curve: gone.txt cannot be read (No such file or directory)",
        ),
        (
            [(BALL, 'kind = "turned"\npoints = [[10, 0], [70, 35]]'), NO_TRIM],
            "reflector: the turned profile starts",
        ),
        (
            [(BALL, CROSSING), NO_TRIM],
            "reflector: the turned profile meets itself",
        ),
        ([(BALL, 'kind = "none"')], "trim.balls_on_sale: is missing and the reflector is no ball"),
    ],
)
def test_each_mistake_names_its_key_and_a_remedy(
    pairs: list[tuple[str, str]], expected: str
) -> None:
    assert expected in complaint(*pairs)


def test_one_mistake_is_told_once() -> None:
    inches = ("height = 900", "height = 3")
    assert "\n" not in complaint(('unit = "mm"', 'unit = "inch"'), inches)
    poplar = '[build]\ncolumn_material = { name = "poplar", density = -1 }\n[gap]'
    said = complaint(("[gap]", poplar))
    assert "build.column_material.density: must be at least" in said and "\n" not in said


@pytest.mark.parametrize(
    ("pairs", "key"),
    [
        ([("keep = 44", "keep = 90")], "reflector"),
        ([("plate_gap = 60", "plate_gap = 20")], "reflector"),
        ([("diameter = 200\nthickness", "diameter = 150\nthickness")], "reflector"),
        ([("circle_diameter = 178", "circle_diameter = 134")], "posts"),
        ([("circle_diameter = 178", "circle_diameter = 196")], "posts"),
        ([("width = 200", "width = 120")], "column"),
        ([("height = 9 }", "height = 30 }")], "driver.dust_cap"),
    ],
)
def test_what_does_not_fit_together_is_a_mistake(pairs: list[tuple[str, str]], key: str) -> None:
    lines = complaint(*pairs).splitlines()
    assert any(line.startswith(f"test.toml: {key}") for line in lines), lines


def test_all_mistakes_are_reported_at_once() -> None:
    text = complaint(
        ("width = 200", "width = -200"),
        ("keep = 44", "kepe = 44"),
        ("window = [0, 20]", "window = [20, 0]"),
        ("thickness = 15\n", ""),
    )
    keys = {line.split(": ")[1] for line in text.splitlines()}
    assert {"column.width", "reflector.kepe", "target.window", "plate.thickness"} <= keys


def test_a_missing_unit_is_one_mistake() -> None:
    assert len(complaint(('unit = "mm"\n', "")).splitlines()) == 1


def test_a_wrong_entry_does_not_make_its_list_too_short() -> None:
    text = complaint(("ball_diameter = 180", "ball_diameter = [180, -1]"))
    assert text == "test.toml: reflector.ball_diameter[2]: -1 mm is negative: sizes are positive"


def test_a_key_that_stands_twice() -> None:
    assert "remove one" in complaint(("width = 200", "width = 200\nwidth = 210"))


def test_an_unreadable_driver_curve_names_its_line(tmp_path: Path) -> None:
    (tmp_path / "curve.txt").write_text("50 80\n100 eighty\n20000 82\n")
    path = tmp_path / "test.toml"
    path.write_text(changed(("proud = 3", 'proud = 3\ncurve = "curve.txt"')))
    with pytest.raises(DesignError, match=r"driver\.curve: .*curve\.txt, line 2"):
        read_design(path)


def test_a_driver_curve_shorter_than_the_band(tmp_path: Path) -> None:
    curve_file(tmp_path, first=200)
    path = tmp_path / "test.toml"
    path.write_text(changed(("proud = 3", 'proud = 3\ncurve = "curve.txt"')))
    with pytest.raises(DesignError, match=r"driver\.curve: reaches from 200 to 20000 Hz"):
        read_design(path)
    path.write_text(changed(("proud = 3", 'proud = 3\ncurve = "curve.txt"\ncurve_beyond = "hold"')))
    assert read_design(path).ways[0].curve.beyond == "hold"


def test_a_contest_entry_holds_only_what_its_kind_chooses() -> None:
    entry = '[[contest]]\nname = "plate"\nreflector = {{ kind = "{}" }}\nhold = "half angle"\n'
    assert (
        'contest[1].hold: "half angle" is no size that a reflector of kind "none" chooses: write'
        ' one of "nothing", "sizes"'
    ) in complaint(more=entry.format("none"))
    cone = 'cone", base_diameter = 80, half_angle = "45 deg'
    assert read(more=entry.format(cone)).contest_entries()[1].hold == "half angle"


def test_a_contest_entry_with_mistakes_of_its_own(tmp_path: Path) -> None:
    (tmp_path / "other.toml").write_text(changed(("keep = 44", "kepe = 44")))
    path = tmp_path / "test.toml"
    path.write_text(changed(more='[[contest]]\nname = "other"\ndesign = "other.toml"\n'))
    with pytest.raises(DesignError, match=r"contest\[1\]\.design: other\.toml has mistakes"):
        read_design(path)


# Schema and examples


def test_schema_knows_every_key_of_the_examples() -> None:
    schema = json.loads(json.dumps(design_schema()))
    for path in EXAMPLES.glob("*.toml"):
        unknown = set(tomllib.loads(path.read_text())) - set(schema["properties"])
        assert not unknown
    assert schema["additionalProperties"] is False
    assert {"from", "to", "step"} == set(schema["$defs"]["StepTable"]["properties"])


def test_defaults_in_the_schema_are_as_a_user_writes_them() -> None:
    tables = design_schema()["$defs"]
    shown = {name: table["properties"] for name, table in tables.items() if "properties" in table}
    assert shown["BuildTable"]["kerf"]["default"] == "1.2 mm"
    assert shown["ToleranceTable"]["tilt"]["default"] == "0.5 deg"
    assert shown["RoomTable"]["ceiling"]["default"] == "2500 mm"
    assert design_schema()["properties"]["tolerance"]["default"]["half_angle"] == "0.5 deg"


def test_defaults_in_the_schema_read_back_as_the_defaults() -> None:
    schema = design_schema()
    for key, table in schema["properties"].items():
        if isinstance(table.get("default"), dict):
            # No unit is declared, so that a bare number would be refused.
            model = DesignFile.model_fields[key].annotation
            read = model.model_validate(table["default"], context={"unit": None})
            given, wanted = (each.model_dump() for each in (read, model()))
            assert given == pytest.approx(wanted) if key == "tolerance" else given == wanted


@pytest.mark.parametrize("name", ["reading_room", "reading_room_coaxial", "reading_room_cone"])
def test_examples_load_and_can_be_built(name: str) -> None:
    design = read_design(EXAMPLES / f"{name}.toml")
    assembly = design.assembly()
    assert find_clashes(assembly) == ()
    assert assembly.tip_clearance_in_motion > 0.003
    assert not assembly.is_choked
    assert len(design.trim_candidates()) == 41
    low, high = design.window_deg
    assert 0 <= low <= 2
    assert 18 <= high <= 25
