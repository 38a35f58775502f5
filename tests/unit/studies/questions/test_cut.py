"""What goes to the shed, read back from the files as a builder would measure them.

Paper: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI/ASME Y14.1); a point is 1/72 in.
"""

import html
import io
import math
import re
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from pathlib import Path

import ezdxf
import ezdxf.bbox
import matplotlib
import numpy as np
import pytest
import trimesh
from matplotlib.backends.backend_agg import FigureCanvasAgg
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

from shapes.assembly import Column, Posts
from shapes.columns import post_angles
from shapes.lengths import in_both
from shapes.reflectors import base_of_cap
from studies.answer.charts.paper.lettering import width_of, wrapped
from studies.answer.charts.paper.page import Imprint, printed
from studies.answer.charts.paper.sizes import PAPERS, Box, Paper, ShedError
from studies.design import Design, DesignError, parse_design
from studies.questions.cut.ball_cut import BallCut
from studies.questions.cut.drill_plan import boards
from studies.questions.cut.gauges import gauges
from studies.questions.cut.lists import lists_html
from studies.questions.cut.question import cutting_files, sheets, sheets_pdf
from studies.questions.cut.study import Cutting, cutting
from studies.questions.cut.tables import cut_tables
from studies.questions.cut.tiling import OVERLAP, Plan, plan_leaves, tiling
from studies.questions.cut.words import drill_notes

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
NAMES = ("reading_room", "reading_room_coaxial", "reading_room_cone")
POINT = 25.4 / 72
DPI = 400
A4, LETTER = PAPERS["a4"], PAPERS["letter"]
PRINTED_MM = 0.01
"""The least that a rule with a loupe tells: common practice, no source."""


def design_of(name: str = "reading_room", *pairs: tuple[str, str]) -> Design:
    """Return an example with parts of its text replaced."""
    path = EXAMPLES / f"{name}.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def without(*tables: str) -> Design:
    """Return the example without some of its tables."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for name in tables:
        text = re.sub(rf"^\[{name}\].*?\n\n", "", text, count=1, flags=re.S | re.M)
    if "reflector" in tables:
        text = text.replace("[air]", '[reflector]\nkind = "none"\n\n[air]')
    return parse_design(text, path)


@cache
def made(name: str) -> tuple[Cutting, dict[str, bytes]]:
    """Return everything an example gives."""
    result = cutting(design_of(name))
    return result, cutting_files(result)


@dataclass(frozen=True)
class Read:
    """A sheet read back: its size and every subpath by the points it passes in mm, its words."""

    size: np.ndarray
    words: str
    paths: list[np.ndarray]

    @property
    def lines(self) -> list[np.ndarray]:
        """Straight lines from one point to another, level or upright."""
        pairs = [path for path in self.paths if len(path) == 2]
        return [pair for pair in pairs if np.min(np.abs(pair[1] - pair[0])) < 1e-6]


def read(data: bytes) -> list[Read]:
    return [
        Read(
            np.array([float(page.mediabox.width), float(page.mediabox.height)]) * POINT,
            " ".join(page.extract_text().split()),
            paths_of(page),
        )
        for page in PdfReader(io.BytesIO(data)).pages
    ]


@cache
def sheets_of(name: str, paper: str) -> list[Read]:
    return read(made(name)[1][f"cut-{paper}.pdf"])


def paths_of(page: PageObject) -> list[np.ndarray]:
    content = ContentStream(page.get_contents(), page.pdf)
    matrices, found, now = [np.eye(3)], [], []

    def placed(x: float, y: float) -> list[float]:
        return list((np.array([float(x), float(y), 1.0]) @ matrices[-1])[:2] * POINT)

    for operands, operator in content.operations:
        match operator:
            case b"q":
                matrices.append(matrices[-1])
            case b"Q":
                matrices.pop()
            case b"cm":
                a, b, c, d, e, f = map(float, operands)
                matrices[-1] = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrices[-1]
            case b"m":
                now = [placed(*operands)]
                found.append(now)
            case b"l" | b"c" | b"v" | b"y":
                now.append(placed(*operands[-2:]))
            case b"h":
                now.append(now[0])
            case b"re":
                x, y, w, h = map(float, operands)
                corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y))
                found.append([placed(*corner) for corner in corners])
    return [np.array(path) for path in found]


def circles(page: Read, diameter: float) -> list[np.ndarray]:
    """Middles of the circles of one diameter, mm."""
    found = []
    for path in page.paths:
        size = np.ptp(path, axis=0)
        if len(path) > 8 and np.allclose(size, diameter, atol=PRINTED_MM):
            found.append((path.min(axis=0) + path.max(axis=0)) / 2)
    return found


def crosses(page: Read) -> list[np.ndarray]:
    """Registration crosses: a level and an upright line of 8 mm with one middle."""
    bars = [p for p in page.lines if abs(np.ptp(p, axis=0).max() - 8.0) < 1e-3]
    level = [p.mean(axis=0) for p in bars if np.ptp(p[:, 1]) < 1e-6]
    upright = [p.mean(axis=0) for p in bars if np.ptp(p[:, 0]) < 1e-6]
    return sorted(
        (a for a in level if any(math.dist(a, b) < 1e-3 for b in upright)), key=lambda m: m[1]
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("paper", "points"), [("a4", (595.276, 841.890)), ("letter", (612.0, 792.0))]
)
def test_sheets_are_as_large_as_the_paper(
    name: str, paper: str, points: tuple[float, float]
) -> None:
    for page in sheets_of(name, paper):
        assert sorted(page.size / POINT) == pytest.approx(points, abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_sheet_has_a_true_bar_and_square(name: str, paper: str) -> None:
    for page in sheets_of(name, paper):
        longest = [np.ptp(p, axis=0).max() for p in page.lines]
        assert any(abs(length - 100.0) < PRINTED_MM for length in longest)
        sizes = [np.ptp(path, axis=0) for path in page.paths if len(path) in (5, 6)]
        assert any(np.allclose(size, 50.0, atol=PRINTED_MM) for size in sizes)


@pytest.mark.parametrize("name", NAMES)
def test_every_sheet_says_where_it_belongs(name: str) -> None:
    result, found = made(name)[0], sheets_of(name, "a4")
    for number, page in enumerate(found, start=1):
        text = page.words
        assert f"sheet {number} of {len(found)}, A4" in text
        assert result.design.title in text
        assert f"design {result.design.fingerprint[:12]}" in text
        assert "Print at 100 %" in text


def test_nothing_stands_where_printers_do_not_reach() -> None:
    for page in sheets_of("reading_room", "a4"):
        if ", part " in page.words:
            continue  # a tile's drawing runs on beyond its window, where it is clipped
        for path in page.lines:
            assert path.min() > 9.9
            assert np.min(page.size - path.max(axis=0)) > 9.9


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_chord_between_posts_measures_true_across_two_sheets(paper: str) -> None:
    result, _ = made("reading_room")
    posts = result.assembly.posts
    found = sheets_of("reading_room", paper)
    tiles = [page for page in found if "Drill plan: top plate, part" in page.words]
    assert len(tiles) == 2
    first, second = map(crosses, tiles)
    assert len(first) == len(second) == 2
    shift = first[0] - second[0]
    np.testing.assert_allclose(first[1] - second[1], shift, atol=PRINTED_MM)
    holes = circles(tiles[0], 2e3 * posts.radius)
    for hole in circles(tiles[1], 2e3 * posts.radius):
        if min(math.dist(hole + shift, other) for other in holes) > 1.0:
            holes.append(hole + shift)
    assert len(holes) == posts.count == 3
    chord = 2e3 * posts.circle_radius * math.sin(math.pi / posts.count)
    for one, other in combinations(holes, 2):
        assert math.dist(one, other) == pytest.approx(chord, abs=PRINTED_MM)


def test_template_is_drawn_at_true_size() -> None:
    result, _ = made("reading_room")
    (page,) = [p for p in sheets_of("reading_room", "a4") if "Half-profile templates" in p.words]
    ball = result.ball
    male = (500 * ball.base_diameter, 1e3 * ball.keep)
    sizes = [np.ptp(path, axis=0) for path in page.paths if len(path) > 20]
    assert any(np.allclose(size, male, atol=PRINTED_MM) for size in sizes)


def test_the_card_states_the_cut_and_the_dxf_measures_it() -> None:
    result, files = made("reading_room")
    card = sheets_of("reading_room", "a4")[0].words
    base = base_of_cap(0.180, 0.044)
    for length in (0.180, 0.044, 0.180 - 0.044, base):
        assert in_both(length) in card
    assert {"KEEP", "WASTE", "NOT TO SCALE"} <= set(re.findall(r"KEEP|WASTE|NOT TO SCALE", card))
    document = ezdxf.read(io.StringIO(files["reflector.dxf"].decode()))
    box = ezdxf.bbox.extents(document.modelspace(), fast=False)
    assert box.size.x == pytest.approx(1e3 * base, abs=1e-3)
    assert in_both(box.size.x / 1e3) in card
    assert cut_tables(result).fact("base_diameter_mm") == pytest.approx(box.size.x, abs=1e-3)


def test_the_printed_solid_is_the_cap() -> None:
    mesh = trimesh.load(
        io.BytesIO(made("reading_room")[1]["reflector.stl"]), file_type="stl", force="mesh"
    )
    keep, radius = 44.0, 90.0
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(math.pi * keep**2 * (3 * radius - keep) / 3, rel=1e-3)
    assert mesh.bounds[:, 2] == pytest.approx((0.0, keep), abs=1e-3)


def test_same_design_gives_same_bytes() -> None:
    design = design_of("reading_room")
    again = cutting_files(cutting(design))
    assert again == made("reading_room")[1]
    assert b"CreationDate" not in again["cut-a4.pdf"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("paper", [A4, LETTER])
@matplotlib.rc_context({"text.hinting": "no_hinting"})
def test_no_words_cover_one_another_and_all_can_be_read(name: str, paper: Paper) -> None:
    imprint, margin = Imprint("title", "roundcast 0", "0" * 12), 9.9 / 25.4
    for leaf in sheets(made(name)[0], paper):
        figure = printed(leaf, imprint, "sheet 1 of 1")
        figure.set_dpi(DPI)
        renderer = FigureCanvasAgg(figure).get_renderer()
        boxes = []
        for axes in figure.axes:
            for text in axes.texts:
                box = text.get_window_extent(renderer)
                if not text.get_text() or not box.overlaps(axes.get_window_extent(renderer)):
                    continue
                assert text.get_fontsize() >= 8.0
                if axes is figure.axes[0]:
                    assert min(box.x0, box.y0) > margin * figure.dpi
                    assert box.x1 < (figure.get_figwidth() - margin) * figure.dpi
                boxes.append((text.get_text(), box))
        for (one, a), (other, b) in combinations(boxes, 2):
            wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            # A line's box has air above and below its letters.
            if not any("chord" in word for word in (one, other)):
                assert wide < 4.0 or high < 0.35 * min(a.height, b.height), (leaf.title, one, other)


def test_tiles_cover_the_drawing_and_share_their_crosses() -> None:
    # Two sheets of A4 upright are 2 x 190 - 10 mm wide inside their margins.
    plan = Plan("a board", Box(-180, -100, 180, 100), lambda sheet: None)
    tiles = tiling(plan, A4)
    assert (tiles.columns, tiles.rows, tiles.count) == (2, 1, 2)
    assert [tile.name for tile in tiles.tiles] == ["A1", "A2"]
    left, right = (tile.window for tile in tiles.tiles)
    assert left.left <= -180 and right.right >= 180
    assert left.right - right.left == pytest.approx(OVERLAP)
    for cross in tiles.crosses:
        assert left.holds(*cross) and right.holds(*cross)
    assert len(list(plan_leaves(plan, A4))) == 2


def test_crosses_give_way_to_holes() -> None:
    plan = Plan("a board", Box(-180, -100, 180, 100), lambda sheet: None)
    x, y = tiling(plan, A4).crosses[0]
    busy = Plan(plan.title, plan.bounds, plan.draw, ((x, y),))
    assert min(math.dist((x, y), cross) for cross in tiling(busy, A4).crosses) >= 25


def test_lying_sheets_are_used_where_they_save_paper() -> None:
    plan = Plan("a lath", Box(0, 0, 215, 100), lambda sheet: None)
    tiles = tiling(plan, A4)
    assert tiles.layout.lying
    assert tiles.count == 1


def test_too_large_for_paper_says_what_to_do() -> None:
    design = design_of(
        "reading_room",
        ("width = 200", "width = 1600"),
        ("[plate]\ndiameter = 200", "[plate]\ndiameter = 1600"),
    )
    with pytest.raises(ShedError, match=r"\d+ x \d+ = \d+ sheets of A4.*larger paper.*DXF"):
        cutting_files(cutting(design, ["a4"]))
    assert set(cutting_files(cutting(design, []))) >= {"reflector.dxf", "assembly.glb"}


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(ShedError, match="a4, letter"):
        cutting_files(replace(made("reading_room")[0], papers=("foolscap",)))


def words_of(page: bytes) -> str:
    """Text of the sheets of words, on one line."""
    body = re.sub(r"<(style|svg).*?</\1>", " ", page.decode("utf-8"), flags=re.S)
    text = html.unescape(re.sub(r"<[^>]*>", " ", body)).replace("\u00a0", " ")
    return " ".join(text.split())


def test_lists_give_what_to_drill_by_and_what_to_get() -> None:
    result, files = made("reading_room")
    words = words_of(files["cut-lists.html"])
    chord = 0.178 * math.sin(math.pi / 3)
    # Three posts of 60 mm and two sockets of 10 mm; 1.2 mm of every cut is saw dust.
    for part in (
        f"chord between neighbours (circle x sin(180/3)) {in_both(chord)}",
        "posts at, degrees 0, 120, 240",
        f"3 6 {in_both(0.006)} {in_both(0.080)} {in_both(3 * 0.0812)}",
        "frame to edge of baffle",
        f"a ring of {in_both(0.089 - 0.003 - 0.065)} is free",
        f"on the flange between the opening and the frame's edge, {in_both(0.065 - 0.058)} wide",
        "12 to 15 deg or more is wanted",
        f"design {result.design.fingerprint[:12]}",
    ):
        assert part in words
    for point in result.coordinates:
        assert f"{point.radius * 1e3:.2f}" in words
        assert f"{point.depth * 1e3:.2f}" in words
    for item in result.items:
        assert f"{item.name} {item.count} {2 * item.count} {item.material}".strip() in words
        assert item.size in words
    for caution in result.cautions:
        assert caution in words
    # One pound is 0.45359237 kg (international yard and pound agreement, 1959).
    whole = sum(part.mass for part in result.masses)
    assert f"all of it {whole:.2f} kg ({whole / 0.45359237:.2f} lb)" in words


def test_felt_is_in_the_bill_on_the_plan_and_in_the_notes() -> None:
    air = "[air]\ntemperature"
    felt = (air, f'[walls]\nfelt_on_baffle = {{ material = "felt 5 mm" }}\n\n{air}')
    found = cutting(design_of("reading_room", felt), ())
    (item,) = [item for item in found.items if item.name == "felt ring on the baffle"]
    assert item.size.startswith("130.0 mm")  # from the frame
    assert "194.0 mm" in item.size  # to the baffle's edge of 3 mm
    (baffle,) = [board for board in boards(found) if board.name == "baffle"]
    rings = {ring.name: ring.radius for ring in baffle.rings}
    assert rings["felt inside"] == pytest.approx(0.065)
    assert rings["felt outside"] == pytest.approx(0.097)
    assert any("Punch it for the posts, 6.0 mm" in note for note in drill_notes(found))


def test_any_title_stays_text() -> None:
    title = "A/B \\\\ <script>alert(1)</script> $x_2$ %s"
    old = 'title = "Reading room, 130 mm driver under a cap of a 180 mm ball"'
    result = cutting(design_of("reading_room", (old, f'title = "{title}"')))
    for page in read(sheets_pdf(result, LETTER)):
        assert "A/B \\ <script>alert(1)</script> $x_2$ %s" in page.words
    page = lists_html(result)
    assert b"<script" not in page
    assert "A/B \\ <script>alert(1)</script> $x_2$ %s" in words_of(page)


def test_what_is_not_built_is_not_drawn() -> None:
    no_posts = cutting(without("posts"))
    titles = [leaf.title for leaf in sheets(no_posts, A4)]
    assert any("top plate" in title for title in titles)
    assert no_posts.post_centres == ()
    no_plate = cutting(without("posts", "plate"))
    titles = [leaf.title for leaf in sheets(no_plate, A4)]
    assert not any("top plate" in title for title in titles)
    bare = cutting(without("posts", "plate", "reflector", "trim"))
    titles = [leaf.title for leaf in sheets(bare, A4)]
    assert not any("card" in title or "template" in title for title in titles)
    assert set(cutting_files(replace(bare, papers=("a4",)))) == {
        "cut-a4.pdf",
        "cut-lists.html",
        "assembly.glb",
    }
    assert cut_tables(bare).cautions


def test_cards_of_other_reflectors_give_every_angle() -> None:
    card = sheets_of("reading_room_cone", "letter")[0].words
    for part in ("Dimension card", "half angle", "included angle", "90.0 deg", "110.0 mm"):
        assert part in card


def test_gauges_are_as_high_as_the_gaps() -> None:
    result, _ = made("reading_room")
    heights = {gauge.name: gauge.height for gauge in gauges(result)}
    assert heights["plate gap and rim gap"] == pytest.approx(0.060)
    assert heights["tip clearance"] == pytest.approx(result.assembly.tip_clearance)
    (page,) = [p for p in sheets_of("reading_room", "a4") if "Gap gauges" in p.words]
    blocks = [np.ptp(path, axis=0)[1] for path in page.paths if len(path) in (5, 6)]
    for height in heights.values():
        assert any(abs(block - 1e3 * height) < PRINTED_MM for block in blocks)


def test_a_gauge_higher_than_the_sheet_is_not_to_scale() -> None:
    result = cutting(design_of("reading_room", ("plate_gap = 60", "plate_gap = 300")))
    text = [p.words for p in read(sheets_pdf(result, A4))]
    (page,) = [t for t in text if "Gap gauges" in t]
    assert page.count("NOT TO SCALE") == 2


def cut_of(diameter: float, keep: float, *measured: float) -> BallCut:
    balls = measured or (diameter,)
    return BallCut(
        diameter=diameter,
        keep=keep,
        kerf=0.002,
        sanding=0.001,
        smallest=min(balls),
        largest=max(balls),
    )


@pytest.mark.parametrize("diameter", [0.04, 0.18, 0.5])
@pytest.mark.parametrize("share", [0.03, 0.13, 0.5, 0.9])
def test_jig_ring_holds_the_ball_either_way_up(diameter: float, share: float) -> None:
    ball = cut_of(diameter, share * diameter)
    q, radius = ball.ring.inner_diameter / 2, diameter / 2
    # The ring's edge touches the ball: q^2 + (R - sunk)^2 = R^2.
    assert math.hypot(q, radius - ball.ring.sunk) == pytest.approx(radius)
    assert ball.above_ring(ball.keep, kept_down=True) > 0
    assert ball.above_ring(ball.keep, kept_down=False) > 0
    total = sum(ball.above_ring(ball.keep, kept_down=down) for down in (True, False))
    assert total == pytest.approx(diameter - 2 * ball.ring.sunk)


def test_saw_runs_on_the_waste_side() -> None:
    near, far = cut_of(0.2, 0.024).blade
    assert (near, far) == pytest.approx((0.025, 0.027))


def test_what_a_millimetre_of_keep_does() -> None:
    # Worked example of the trade: ball 200, keep 24.0, base 130: 2.3 mm of base for 1 mm of keep.
    ball = cut_of(0.2, 0.024)
    slope = (base_of_cap(0.2, 0.0241) - base_of_cap(0.2, 0.0239)) / 0.0002
    assert ball.base_per_keep == pytest.approx(slope, rel=1e-4)
    assert round(ball.base_per_keep, 1) == 2.3


def test_a_ball_that_is_not_round_is_told() -> None:
    assert cut_of(0.2, 0.024).spread == ()
    small, large = cut_of(0.2, 0.024, 0.1975, 0.2025).spread
    assert (small.diameter, small.cut_off) == pytest.approx((0.1975, 0.1735))
    assert small.base_diameter == pytest.approx(2 * math.sqrt(0.024 * 0.1735))
    assert large.diameter == pytest.approx(0.2025)
    design = design_of("reading_room", ("ball_diameter = 180 ", "ball_diameter = [179, 181] "))
    card = read(sheets_pdf(cutting(design), LETTER))[0].words
    assert "not round" in card
    assert in_both(base_of_cap(0.181, 0.044)) in card


def test_posts_turn_to_the_corners_only_where_they_must() -> None:
    square = Column(width=0.2, height=0.9, sides=4)
    assert post_angles(square, Posts(4, 0.003, 0.09))[0] == 0.0
    assert post_angles(square, Posts(4, 0.003, 0.12))[0] == pytest.approx(math.pi / 4)
    hexagon = Column(width=0.2, height=0.9, sides=6)
    angles = post_angles(hexagon, Posts(3, 0.003, 0.105))
    assert np.degrees(angles) == pytest.approx((30, 150, 270))


def test_parts_that_do_not_fit_are_not_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    design = design_of("reading_room")
    squeezed = design.assembly().with_gap(0.04)
    monkeypatch.setattr(Design, "assembly", lambda self: squeezed)
    with pytest.raises(DesignError, match="keep less"):
        cutting(design)


def test_findings_give_the_cut_with_its_checks() -> None:
    findings = cut_tables(made("reading_room")[0])
    first = findings.answer[0]
    for length in (0.044, 0.136, base_of_cap(0.18, 0.044)):
        assert in_both(length) in first
    assert findings.fact("post_length_mm") == pytest.approx(80.0)
    assert findings.fact("chord_mm") == pytest.approx(178 * math.sin(math.pi / 3))
    assert findings.table("profile").values("radius_mm")[1] == pytest.approx(5.0)
    assert findings.table("parts").rows


def test_lines_fit_and_keep_numbers_with_their_units() -> None:
    text = "a base of 154.7 mm (6 3/32 in) and " * 5 + "x" * 200
    for width in (20.0, 33.0, 60.0):
        broken = wrapped(text, width)
        assert all(width_of(line) <= width for line in broken)
        if width > 30:
            assert not any(line.startswith(("mm", "3/32", "in)")) for line in broken)
