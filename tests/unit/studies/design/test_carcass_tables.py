"""The tables of column, baffle, foot, port and plate: what they mean, what they refuse."""

import math

import pytest

from shapes.assembly import Assembly
from studies.design import DesignError, parse_design

REST = """
[driver]
effective_diameter = 104
frame_diameter = 130
cutout_diameter = 116

[reflector]
kind = "ball"
ball_diameter = 180
keep = 40

[target]
window = [0, 20]
"""
PLATE = "[plate]\ndiameter = 200\nthickness = 15\n"
BOARDS = "[column]\nsides = 6\nboard_width = 120\nboard_thickness = 16\nboard_length = 900\n"


def built(text: str, plate: str = PLATE) -> Assembly:
    head = 'title = "T"\nunit = "mm"\nplate_gap = 70\n'
    return parse_design(f"{head}{text}\n{plate}{REST}", "test.toml").assembly()


def mistakes(text: str, plate: str = PLATE) -> list[str]:
    with pytest.raises(DesignError) as error:
        built(text, plate)
    return [f"{mistake.key}: {mistake.message}" for mistake in error.value.mistakes]


@pytest.mark.parametrize(
    "more, height",
    [
        # Boards of 900 mm; baffle and bottom as thick as the boards, laid on.
        ("", 900 + 2 * 16),
        ('bottom = "let in"\n', 900 + 16),
        ('[baffle]\njoint = "let in"\n', 900 + 16),
        ("[baffle]\nthickness = 20\n", 900 + 16 + 20),
        ("[foot]\nthickness = 25\noverhang = 30\n", 900 + 16 + 25),
        ('bottom = "let in"\n[foot]\nthickness = 25\n', 900 + 16 + 25),
    ],
)
def test_the_height_follows_from_the_boards(more: str, height: float) -> None:
    column = built(BOARDS + more).column
    assert column.height == pytest.approx(height * 1e-3)
    assert column.width == pytest.approx(0.12 * math.sqrt(3))


@pytest.mark.parametrize(
    "column, width, sides",
    [
        ("width = 220\nheight = 900\n", 0.22, 0),
        ("diameter = 220\nwall = 10\nheight = 900\n", 0.22, 0),
        ('shape = "square"\nwidth = 220\nheight = 900\n', 0.22, 4),
        ("sides = 5\nacross_flats = 220\nheight = 900\n", 0.22, 5),
        # Eight faces of 90 mm: 90 (1 + sqrt(2)).
        ("sides = 8\nboard_width = 90\nheight = 900\n", 0.09 * (1 + math.sqrt(2)), 8),
    ],
)
def test_a_width_may_be_told_in_many_ways(column: str, width: float, sides: int) -> None:
    made = built(f"[column]\n{column}").column
    assert (made.width, made.sides) == (pytest.approx(width), sides)


@pytest.mark.parametrize(
    "baffle, width, sides",
    [
        ("diameter = 230\n", 0.23, 0),
        ("across_flats = 220\n", 0.22, 6),
        ("overhang = 10\n", 0.12 * math.sqrt(3) + 0.02, 6),
        ("set_back = 2\n", 0.12 * math.sqrt(3) - 0.004, 6),
        ('shape = "round"\noverhang = 15\n', 0.12 * math.sqrt(3) + 0.03, 0),
        ("thickness = 20\n", 0.12 * math.sqrt(3), 6),
    ],
)
def test_a_baffle_is_round_or_as_the_column(baffle: str, width: float, sides: int) -> None:
    column = built(f"{BOARDS}[baffle]\n{baffle}").column
    assert (column.face.width, column.face.sides) == (pytest.approx(width), sides)


def test_a_baffle_that_is_let_in_leaves_the_outline_of_the_column() -> None:
    """It fills the room between the walls, and the walls' ends lie flush round it."""
    column = built(f'{BOARDS}[baffle]\njoint = "let in"\nthickness = 18\n').column
    assert column.face == column.footprint
    assert column.baffle is not None
    assert column.baffle.footprint.width == pytest.approx(0.12 * math.sqrt(3) - 0.032)


def test_old_files_know_nothing_of_walls() -> None:
    column = built('[column]\nshape = "hexagonal"\nwidth = 200\nheight = 900\n').column
    assert (column.wall, column.baffle, column.foot) == (None, None, None)


def test_plates_with_sides() -> None:
    square = built(BOARDS, '[plate]\nshape = "square"\nacross_flats = 200\nthickness = 15\n')
    plate = square.hung_plate
    assert plate.footprint.width == pytest.approx(0.2)
    assert math.pi * plate.radius**2 == pytest.approx(0.04)


@pytest.mark.parametrize(
    "text, message",
    [
        ("[column]\nheight = 900\n", "column.width: is missing: add it"),
        ("[column]\nwidth = 200\n", "column.height: is missing: add it"),
        ("[column]\nwidth = 200\nheight = 900\nboard_width = 5\n", "add sides = 6"),
        ("[column]\nsides = 13\nwidth = 200\nheight = 900\n", "column.sides: must be at most 12"),
        ('[column]\nsides = 6\nshape = "round"\nwidth = 200\nheight = 900\n', "sides or shape"),
        ("[column]\nsides = 6\ndiameter = 200\nheight = 900\n", "write across_flats"),
        (BOARDS + "width = 200\n", "give width or board_width, one only"),
        (BOARDS + "height = 950\n", "give height or board_length, one only"),
        (BOARDS + "wall = 16\n", "give wall or board_thickness, one only"),
        (BOARDS + "[baffle]\ndiameter = 230\noverhang = 3\n", "give diameter or overhang"),
        (BOARDS + '[baffle]\nshape = "round"\nacross_flats = 230\n', "write diameter"),
        (BOARDS + '[baffle]\njoint = "let in"\ndiameter = 180\n', "takes its outline from"),
        (BOARDS + '[baffle]\nmaterial = "cheese"\n', '"cheese" is not known'),
        (BOARDS + "edge_radius = 3\n[baffle]\nthickness = 20\n", "write edge_radius below it"),
        (BOARDS + "[foot]\nthickness = 20\n[build]\nfoot_width = 300\n", "build.foot_width"),
        (BOARDS + "[port]\nwidth = 40\ndepth = 100\n", "width with height"),
        (BOARDS + "[port]\ndiameter = 130\ndepth = 60\n", "port: is 130.0 mm"),
    ],
)
def test_mistakes_name_the_key_and_the_remedy(text: str, message: str) -> None:
    found = mistakes(text)
    assert any(message in line for line in found), found


def test_a_plate_is_given_by_its_own_kind_of_width() -> None:
    wrong = '[plate]\nshape = "square"\ndiameter = 200\nthickness = 15\n'
    assert "given by across_flats" in mistakes(BOARDS, wrong)[0]
    assert "plate.diameter: is missing" in mistakes(BOARDS, "[plate]\nthickness = 15\n")[0]
