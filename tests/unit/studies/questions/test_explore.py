"""The explorer's study, its words, and what its page carries."""

import base64
import json
import math
import re
import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.solvers import SOLVERS, solve_waves
from shapes.lengths import written_in
from studies.design import Design, DesignError, parse_design, read_design
from studies.questions.explore.page import explore_files, explorer_data
from studies.questions.explore.study import (
    MOST_CANDIDATES,
    Explore,
    Knob,
    explore,
    knobs_of,
)
from studies.questions.explore.tables import explore_tables
from studies.questions.explore.words import what_to_build
from studies.solving.candidates import Candidate, Row
from studies.solving.ensemble import Judged
from studies.solving.grid import run
from studies.solving.memory import Remembering

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
MOST_BYTES = 8_000_000
"""Stated requirement, for 200 candidates."""
HOSTILE = "<script>alert(1)</script>"


def room(*pairs: tuple[str, str]) -> Design:
    """Return the example without its contest, and with whatever else is asked."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8").split("[[contest]]")[0]
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def in_mm(knob: Knob) -> list[float]:
    return [round(1e3 * size, 6) for size in knob.sizes]


SMALL = "[explore]\nkeep = [20, 44, 54]\nplate_gap = { from = 52, to = 76, step = 8 }\n\n[gap]\n"

FELT = """[walls]
felt_on_baffle = { material = "felt 5 mm", outer_diameter = 170 }
felt_under_plate = { material = "felt 3 mm", let_in = true }
"""


REMEMBERING = partial(solve_waves, store=Remembering(None))


def small_room() -> Design:
    return room(
        ('band = ["100 Hz", "16 kHz"]', "band = [500, 800]"),
        ("[gap]\n", SMALL),
        ("[air]\n", f"{FELT}\n[air]\n"),
        ("Reading room, 130 mm driver under a cap of a 180 mm ball", HOSTILE),
        ('name = "armchair, near"', 'name = "</script><b>"'),
    )


@pytest.fixture(scope="module")
def found() -> Explore:
    return explore(small_room(), REMEMBERING)


def test_ranges_of_trim_and_gap_are_thinned_round_the_design_as_written() -> None:
    keep, gap = knobs_of(room())
    assert (keep.key, gap.key) == ("keep", "plate_gap")
    assert len(keep.sizes) * len(gap.sizes) <= MOST_CANDIDATES
    assert (keep.wanted, gap.wanted) == (41, 21)
    assert 44.0 in in_mm(keep)
    assert 60.0 in in_mm(gap)
    assert len({round(step, 6) for step in np.diff(in_mm(keep))}) == 1


def test_the_explore_table_goes_before_trim_and_gap() -> None:
    keep, gap = knobs_of(room(("[gap]\n", "[explore]\nkeep = [50, 20]\n\n[gap]\n")))
    assert in_mm(keep) == [20.0, 50.0]
    assert gap.wanted == 21


def test_without_tables_the_sizes_spread_round_the_design_as_written() -> None:
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8").split("[trim]")[0]
    keep, gap = knobs_of(parse_design(text, path))
    assert in_mm(keep)[len(keep.sizes) // 2] == 44.0
    assert in_mm(gap)[len(gap.sizes) // 2] == 60.0
    assert min(keep.sizes) > 0.0


def test_a_cone_is_turned_by_its_half_angle() -> None:
    path = EXAMPLES / "reading_room_cone.toml"
    text = path.read_text(encoding="utf-8").split("[[contest]]")[0]
    angle, _ = knobs_of(
        parse_design(f"{text}[explore]\nhalf_angle = {{ from = 40, to = 50, step = 5 }}\n", path)
    )
    assert [math.degrees(size) for size in angle.sizes] == pytest.approx([40.0, 45.0, 50.0])
    assert math.degrees(angle.written) == pytest.approx(45.0)
    assert angle.in_words(angle.sizes[1]) == "45.0 deg"


@pytest.mark.parametrize(
    "kind", ['kind = "flared"', 'kind = "parabola"\nsource_distance = 40', 'kind = "cone"']
)
def test_another_kind_is_turned_by_its_height_but_a_cone(kind: str) -> None:
    path = EXAMPLES / "reading_room_cone.toml"
    text = path.read_text(encoding="utf-8").split("[trim]")[0]
    start, end = text.index('kind = "cone"'), text.index("[plate]")
    text = f"{text[:start]}{kind}\nbase_diameter = 110\nheight = 40\n\n{text[end:]}"
    knob, _ = knobs_of(parse_design(text, path))
    # A cone 40 high on a base radius of 55: tan(half angle) = 55 / 40.
    written = {"half_angle": math.atan2(55, 40), "height": 0.04}
    assert knob.key == ("half_angle" if "cone" in kind else "height")
    assert knob.written == pytest.approx(written[knob.key])


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ('kind = "none"', "no reflector has no single size to turn"),
        ('kind = "turned"\npoints = [[0, 0], [40, 20], [78, 40]]', "roundcast gap"),
    ],
)
def test_a_reflector_without_a_size_is_refused_with_the_remedy(kind: str, message: str) -> None:
    ball = 'kind = "ball"\nball_diameter = 180        # several measured diameters'
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index(ball), text.index("[plate]")
    text = f"{text[:start]}{kind}\n\n{text[end:]}".replace("# balls_on_sale", "balls_on_sale")
    with pytest.raises(DesignError, match=message):
        knobs_of(parse_design(text, path))


def test_a_size_of_another_kind_is_refused_with_the_right_one() -> None:
    wrong = room(("[gap]\n", "[explore]\nhalf_angle = [40, 45]\n\n[gap]\n"))
    with pytest.raises(DesignError, match=r"explore\.half_angle: .* write keep in its place"):
        knobs_of(wrong)


def test_an_angle_in_the_table_is_checked() -> None:
    with pytest.raises(DesignError, match=r"explore\.half_angle.*outside 5 to 85 degrees"):
        room(("[gap]\n", "[explore]\nhalf_angle = [4]\n\n[gap]\n"))


def test_every_pair_is_a_row_and_none_is_hidden(found: Explore) -> None:
    assert found.region.shape == (3, 4)
    assert len(found.rows) == 12
    for place, row in enumerate(found.rows):
        size, gap = found.sizes_at(place)
        assert row.solved != bool(row.reason)
        if row.assembly is not None:
            assert row.assembly.plate_gap == gap
            assert row.assembly.reflector.height == pytest.approx(size, abs=1e-9)
    assert 0 < sum(not row.solved for row in found.rows) < 12


def test_the_best_is_settled(found: Explore) -> None:
    free = [found.rows[place] for place in found.contenders]
    best = found.rows[found.best]
    assert best.score == min(row.score for row in free)
    assert best.per_band == 12


def test_near_best_is_what_the_target_says_and_all_of_it_is_settled(found: Explore) -> None:
    free = [found.rows[place] for place in found.contenders]
    limit = found.rows[found.best].score + found.design.target.near_best_db
    for row, near in zip(found.rows, found.region.flat, strict=True):
        assert bool(near) == (row in free and row.score <= limit)
        assert not near or row.per_band == 12


def test_the_nearest_pair_stands_for_the_design_as_written(found: Explore) -> None:
    assert found.sizes_at(found.written) == pytest.approx((0.044, 0.060))


def test_nothing_that_can_be_built_is_an_error_with_the_reason() -> None:
    hopeless = "[explore]\nkeep = [62]\nplate_gap = [52]\n\n[gap]\n"
    with pytest.raises(DesignError, match="explore: no candidate can be built; the first: "):
        explore(room(("[gap]\n", hopeless)), solve_waves)


def test_the_best_has_the_least_regret_over_drivers_and_builds(
    found: Explore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scores of the members are made up: the second of what is judged loses in none of them."""
    asked: list[Row] = []

    def made_up(_design: Design, rows: Sequence[Row], *_: object) -> Judged:
        asked.extend(rows)
        scores = np.ones((len(rows), 24))
        scores[1] = np.where(np.arange(24) < 20, 0.5, 1.0)
        scores[2:] = np.where(np.arange(24) < 14, 1.2, 0.6)
        return Judged(rows=tuple(rows), scores=scores, levels_db=np.zeros((len(rows), 24, 3)))

    study = sys.modules[explore.__module__]
    monkeypatch.setattr(study, "judge", made_up)
    again = explore(small_room(), REMEMBERING, ensemble=True)
    assert [row.score for row in again.rows] == [row.score for row in found.rows]
    assert asked[0] is again.rows[again.lowest]
    assert {id(row) for row in asked} <= {id(again.rows[place]) for place in again.contenders}
    assert again.best_row is asked[1]
    assert again.lowest == found.best
    # 20 of 24 members are more than three quarters, less than nine in ten.
    assert again.compare_at(again.lowest).verdict == "probable"
    told = explore_tables(again)
    said = " ".join(told.answer)
    assert "The very sizes of the file would choose" in said
    assert "Judged by 24 drivers and builds" in said
    assert told.fact("regret_db") == pytest.approx(0.4)
    assert told.table("judged").values("verdict")[0] == "the choice"
    assert "best" in told.table("leaders").values("standing")
    hover = [cell["hover"] for cell in explorer_data(again)["cells"]]
    assert sum("over drivers and builds" in text for text in hover) == len(asked) - 1


def test_words_name_keep_cut_off_and_the_check(found: Explore) -> None:
    # b = 2 sqrt(h (D - h)): 2 sqrt(44 x 136) = 154.71 mm; 60 + 10 + 10 mm of post.
    said = what_to_build(found.rows[found.written].assembly)
    for part in ("Keep 44.0 mm", "cut off 136.0 mm", "flat is 154.7 mm", "posts 80.0 mm"):
        assert part in said


def test_words_of_a_cone_name_every_angle() -> None:
    # Base 110 mm, 45 deg, tip radius 4 mm: 55 - 4 (sqrt 2 - 1) = 53.34 mm high.
    said = what_to_build(read_design(EXAMPLES / "reading_room_cone.toml").assembly())
    for part in ("half angle 45.0 deg", "included angle 90.0 deg", "slope 45.0 deg", "53.3 mm"):
        assert part in said


def test_findings_hold_every_pair_and_print_the_leaders(found: Explore) -> None:
    findings = explore_tables(found)
    assert findings.command == "explore"
    assert len(findings.table("cells").rows) == 12
    assert findings.table("leaders").values("standing")[0] == "best"
    scores = findings.table("leaders").values("score_db")
    assert list(scores) == sorted(scores)
    assert findings.fact("keep_mm") == pytest.approx(1e3 * found.sizes_at(found.best)[0])
    assert findings.evidence.solved == sum(row.solved for row in found.rows)


def test_levels_survive_packing(found: Explore) -> None:
    data = explorer_data(found)
    row = next(row for row in found.rows if row.solved)
    packed = np.frombuffer(base64.b64decode(data["maps"]), dtype="<i2")
    levels = row.coverage.level_db[:, ::3].T
    unpacked = packed[: levels.size].reshape(levels.shape) / 100.0
    assert unpacked == pytest.approx(levels, abs=0.005 + 1e-9)
    assert data["elevations"] == pytest.approx(np.linspace(-90.0, 90.0, 121))


def test_the_outline_goes_round_the_near_best_cells(found: Explore) -> None:
    lone = np.zeros_like(found.region)
    lone[1, 1] = True
    outline = explorer_data(replace(found, region=lone))["region"]
    # Middles at 20, 44, 54 and 52, 60, 68, 76 mm: cell edges halfway, 32 and 49, 56 and 64 mm.
    assert {x for x in outline["x"] if x is not None} == {32.0, 49.0}
    assert {y for y in outline["y"] if y is not None} == {56.0, 64.0}
    assert outline["x"].count(None) == 4


def test_in_inches_the_section_is_drawn_in_its_own_millimetres(found: Explore) -> None:
    """Axes and sliders turn to inches; outlines, and the height at which they hang, do not."""
    with written_in("in"):
        data = explorer_data(found)
    assert data["section"]["heights"] == pytest.approx([1e3 * gap for gap in found.gap.sizes])
    assert data["knobs"][1]["sizes"] == pytest.approx(
        [gap / 0.0254 for gap in found.gap.sizes], abs=1e-4
    )
    assert data["section"]["heights"][-1] < data["section"]["top"]
    # Edges of cells at 48 and 80 mm: marks of a rule in between.
    assert data["knobs"][1]["tick_names"] == ["2", "2 1/4", "2 1/2", "2 3/4", "3"]
    assert data["knobs"][1]["ticks"] == [2.0, 2.25, 2.5, 2.75, 3.0]


def test_the_section_shows_felt_where_it_lies(found: Explore) -> None:
    """Under the plate it begins where each cap ends: flat of 2 sqrt(h (D - h)) across."""
    section = explorer_data(found)["section"]
    assert section["felt"] == {"inner": 65.0, "outer": 85.0, "low": 0.0, "high": 5.0}
    flats = [math.sqrt(keep * (180.0 - keep)) for keep in (20, 44, 54)]
    assert [one["inner"] for one in section["hung_felts"]] == pytest.approx(flats, abs=1e-3)
    assert {(one["low"], one["high"]) for one in section["hung_felts"]} == {(0.0, 3.0)}


def test_the_page_keeps_names_as_text(found: Explore) -> None:
    page = explore_files(found)["explore.html"].decode("utf-8")
    assert HOSTILE not in page
    assert "</script><b>" not in page
    block = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    assert json.loads(block.group(1))["seats"][0] == "</script><b>"
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_the_page_is_complete_and_the_same_each_time(found: Explore) -> None:
    files = explore_files(found)
    assert files == explore_files(found)
    page = files["explore.html"].decode("utf-8")
    own = page.replace(_library(), "")
    assert not re.findall(r"(?:src|href)\s*=|url\(|@import", own)
    body = own.index("<body")
    assert own.index("Keep ", body) < own.index('id="data"')
    assert found.design.fingerprint in own


def _library() -> str:
    from plotly.offline import get_plotlyjs

    return get_plotlyjs()


def test_two_hundred_candidates_stay_below_the_limit() -> None:
    design = room()
    (row,) = run(design, [Candidate("as written", design.assembly)], SOLVERS["edges"], 12, "one")
    many = Explore(
        design=design,
        knob=Knob("keep", tuple(np.linspace(0.02, 0.058, 20)), 0.044, 20),
        gap=Knob("plate_gap", tuple(np.linspace(0.05, 0.086, 10)), 0.06, 10),
        rows=(row,) * 200,
        best=0,
        region=np.ones((20, 10), dtype=bool),
    )
    size = len(explore_files(many)["explore.html"])
    assert size < MOST_BYTES
