"""Two builds of boards, from the file to the sheets: every number by plane geometry, in inches."""

import html
import io
import math
from pathlib import Path

import pytest
from pypdf import PdfReader

from shapes.clearances import list_clearances
from shapes.footprints import Footprint
from shapes.lengths import INCH, written_in
from studies.answer.charts.paper.sizes import PAPERS, SheetLayout
from studies.design import Design, DesignError, parse_design, read_design
from studies.questions.cut.drill_plan import boards
from studies.questions.cut.lists import lists_html
from studies.questions.cut.question import sheets_pdf
from studies.questions.cut.stock import boards_needed, nominal_stock
from studies.questions.cut.study import cutting
from studies.questions.cut.tables import cut_tables
from studies.questions.section.tables import section_tables

DATA = Path(__file__).resolve().parents[3] / "data"
TALL, SMALL = DATA / "tall_build.toml", DATA / "small_build.toml"


def facts(path: Path) -> dict[str, float]:
    found = cut_tables(cutting(read_design(path), ()))
    return {fact.key: fact.value for fact in found.facts}


def changed(*pairs: tuple[str, str], path: Path = TALL) -> Design:
    text = path.read_text(encoding="utf-8")
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def test_the_tall_one() -> None:
    """Six faces of 4 3/4 in: across flats 4.75 sqrt(3), corners 9.5; inside 4.75 sqrt(3) - 1.25.

    Air: sqrt(3) / 2 x 6.977^2 x 36 = 1517.7 in3 = 24.87 l, less 1.1 and 0.4 l, less the port's
    5 in2 x 3.375 in = 0.28 l. Its resonance by hand stands in tests/unit/dispersion/test_ports.py.
    """
    found = facts(TALL)
    assert (found["board_count"], found["bevel_off_square_deg"]) == (6, pytest.approx(30))
    assert found["board_width_mm"] == pytest.approx(4.75 * 25.4)
    assert found["board_length_mm"] == pytest.approx(36 * 25.4)
    assert found["across_flats_mm"] == pytest.approx(4.75 * math.sqrt(3) * 25.4)
    assert found["across_corners_mm"] == pytest.approx(9.5 * 25.4)
    assert found["air_inside_litres"] == pytest.approx(23.09, abs=0.01)
    assert found["port_resonance_hz"] == pytest.approx(53.1, abs=0.1)
    assert found["post_length_mm"] == pytest.approx(4.125 * 25.4)
    assert found["chord_mm"] == pytest.approx(8.375 / math.sqrt(2) * 25.4)
    # Laid on both ends: 36 in of boards, 5/8 in of baffle and of bottom.
    assert read_design(TALL).column_height == pytest.approx(37.25 * INCH)


def test_the_small_one() -> None:
    """Eight faces of 2 5/8 in: across flats 2.625 (1 + sqrt(2)); 30 in less both ends of 1/2 in."""
    found = facts(SMALL)
    flats = 2.625 * (1 + math.sqrt(2))
    assert (found["board_count"], found["bevel_off_square_deg"]) == (8, pytest.approx(22.5))
    assert found["across_flats_mm"] == pytest.approx(flats * 25.4)
    assert found["across_corners_mm"] == pytest.approx(flats / math.cos(math.pi / 8) * 25.4)
    assert found["board_length_mm"] == pytest.approx(29 * 25.4)
    inside = 2 * math.tan(math.pi / 8) * (flats - 1) ** 2 * 29 * INCH**3
    driver = 0.15 * (4.25 * INCH) ** 3
    assert found["air_inside_litres"] == pytest.approx(1e3 * (inside - driver))
    assert "port_resonance_hz" not in found
    assert found["base_diameter_mm"] == pytest.approx(4.25 * 25.4)


def test_corners_of_the_tall_one_poke_out_and_those_of_the_small_one_do_not() -> None:
    rooms = {
        path: {
            row.name: row.value_m / INCH for row in list_clearances(read_design(path).assembly())
        }
        for path in (TALL, SMALL)
    }
    corners = "column's corners to edge of baffle"
    assert rooms[TALL][corners] == pytest.approx(9.25 / 2 - 4.75)
    assert rooms[SMALL][corners] == pytest.approx(3.5 - 2.625 / 2 / math.sin(math.pi / 8))
    assert rooms[TALL]["wood under the sockets"] == pytest.approx(5 / 16)
    said = " ".join(section_tables(read_design(TALL)).answer)
    assert "counts as it is and stands out over it" in said
    assert "corners reach 3.2 mm (1/8 in) past it" in said


def test_the_answer_says_what_to_set_the_saw_to() -> None:
    said = " ".join(cut_tables(cutting(read_design(TALL), ())).answer)
    assert "6 boards (a pair of speakers 12)" in said
    assert "30.0 deg off square, which is 60.0 deg from the outside face" in said
    assert "23.1 litres (0.82 cu ft)" in said
    assert "resonator of Helmholtz" in said and "lies 13 % lower" in said


def test_lists_hold_boards_gluing_and_what_to_buy() -> None:
    text, small = (
        html.unescape(lists_html(cutting(read_design(path), ("letter",))).decode("utf-8")).replace(
            "\u00a0", " "
        )
        for path in (TALL, SMALL)
    )
    for words in ("Boards of the column", "Order of gluing", "1 and 4, 2 and 5, 3 and 6"):
        assert words in text
    assert "1 x 6 poplar, planed to 5/8 in" in text
    assert "Bevels on a table saw" in text
    # 2 5/8 in is wider than a 1 x 3 (2 1/2 in); three pieces of 29 in out of 96 in.
    assert "1 x 4, in truth" in small and "3 of 96 in" in small
    assert "1 and 5, 2 and 6, 3 and 7, 4 and 8" in small


def test_the_baffle_shows_the_walls_below_at_true_size() -> None:
    found = cutting(read_design(TALL), ("a3",))
    _, baffle = boards(found)
    walls = {ring.name: ring.footprint.width / INCH for ring in baffle.rings[-2:]}
    flats = 4.75 * math.sqrt(3)
    assert walls["outside of walls below,"] == pytest.approx(flats)
    assert walls["inside of walls below,"] == pytest.approx(flats - 1.25)
    # The corners, 9 1/2 in apart, are on the paper though the board is 9 1/4 in across.
    assert baffle.size == pytest.approx(9.5 * 25.4)
    pages = PdfReader(io.BytesIO(sheets_pdf(found, PAPERS["a3"]))).pages
    assert any("outside of walls below" in page.extract_text() for page in pages)


def test_sheets_of_an_inch_design_are_checked_and_gauged_in_inches() -> None:
    """A bar of 4 in and a square of 2 in; blocks within a fifth of the plate gap's 1/32 in."""
    found = cutting(read_design(TALL), ("letter",))
    with written_in(found.design.unit):
        layout = SheetLayout(PAPERS["letter"])
        assert (layout.bar_length, layout.square_side) == (4 * 25.4, 2 * 25.4)
        pages = [page.extract_text() for page in PdfReader(io.BytesIO(
            sheets_pdf(found, PAPERS["letter"]))).pages]  # fmt: skip
    assert all("4 in (101.6 mm)" in " ".join(page.split()) for page in pages)
    assert "3.494 to 3.506 in" in pages[-1]
    steps = [point.radius / (INCH / 8) for point in found.coordinates[:-1]]
    assert steps == pytest.approx([round(step) for step in steps], abs=1e-6)


def test_a_foot_is_drawn_and_carries_the_column() -> None:
    foot = '[foot]\ndiameter = 12\nthickness = 0.75\nmaterial = "MDF"\n\n[driver]'
    found = cutting(changed(("[driver]", foot)), ())
    assert [board.name for board in boards(found)] == ["top plate", "baffle", "foot"]
    assert found.stance.half_base == pytest.approx(6 * INCH)
    names = [item.name for item in found.items]
    assert "foot" in names and "column bottom" not in names
    assert found.design.column_height == pytest.approx((36 + 0.625 + 0.75) * INCH)


def test_a_tube_of_known_wall_needs_no_boards() -> None:
    tube = (
        ("sides = 6\n", "diameter = 8.5\n"),
        ('board_width = "4 3/4 in"\n', ""),
        ("board_thickness", "wall"),
        ("board_length", "height"),
    )
    found = cutting(changed(*tube), ())
    assert found.carcass.boards is None
    sizes = {item.name: item.size for item in found.items}
    assert "34 3/4 in) long" in sizes["column, round"]
    assert "Air inside" in " ".join(cut_tables(found).answer)


@pytest.mark.parametrize(
    "pairs, key, words",
    [
        ((("width = 2\n", "width = 4.5\n"), ("height = \"2 1/2 in\"", "height = 5")), "port",
         "4 1/32 in"),
        ((("depth = 4", "depth = 7"),), "port", "5 19/32 in (142.3 mm) deep"),
        ((('socket_baffle = "5/16 in"', 'socket_baffle = "5/8 in"'),), "posts",
         "make them shallower than 5/8 in (15.9 mm)"),
        ((('diameter = "9 1/4 in"\nthickness = "5/8 in"\nmaterial', 'diameter = 7.5\nmaterial'),),
         "baffle", "8 1/16 in (204.6 mm) across its corners"),
        ((('frame_diameter = 7', 'frame_diameter = 9.5'),), "baffle", "9 1/2 in (241.3 mm) across"),
        ((("face_height = \"1/8 in\"", "face_height = \"1/2 in\""),), "reflector",
         "into the dome at rest"),
        ((("keep = \"2 7/8 in\"", "keep = \"3 1/4 in\""),), "reflector", "dome"),
    ],
)  # fmt: skip
def test_clashes_come_with_a_remedy(
    pairs: tuple[tuple[str, str], ...], key: str, words: str
) -> None:
    with pytest.raises(DesignError) as error:
        changed(*pairs)
    lines = [line for line in str(error.value).splitlines() if f": {key}: " in line]
    assert any(words in line for line in lines), str(error.value)


def test_stock_is_named_as_it_is_sold() -> None:
    """PS 20, dry planed boards: 1 x 6 is 3/4 x 5 1/2 in, 5/4 is 1 in, 2 x 4 is 1 1/2 x 3 1/2 in."""
    names = [
        nominal_stock(4.75 * INCH, 0.625 * INCH),
        nominal_stock(5.5 * INCH, 1.0 * INCH),
        nominal_stock(3.0 * INCH, 1.5 * INCH),
    ]
    assert [stock.name for stock in names if stock] == ["1 x 6", "5/4 x 6", "2 x 4"]
    assert nominal_stock(12 * INCH, 0.5 * INCH) is None
    assert boards_needed(6, 36 * INCH, 0.0012) == 3
    assert boards_needed(6, 100 * INCH, 0.0012) == 0


def test_a_level_line_meets_the_left_side_of_an_outline() -> None:
    assert Footprint(0.2, 6).left_at(0.01) == pytest.approx(-0.1)
    assert Footprint(0.2, 4).left_at(-0.09) == pytest.approx(-0.1)
    assert Footprint(0.2).left_at(0.06) == pytest.approx(-0.08)
    assert math.isnan(Footprint(0.2).left_at(0.1))
