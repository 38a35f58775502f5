"""Columns with sides, boards, baffles: against plane geometry and polygons of shapely."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from shapes.assembly import Assembly
from shapes.carcass import carcass_of
from shapes.clashes import find_clashes
from shapes.clearances import list_clearances
from shapes.columns import Baffle, Column, Foot, computed_outline, post_angles
from shapes.footprints import Footprint, footprint_of_face
from shapes.making import Making, MakingError
from shapes.parts import AssemblyError, Driver, Posts, TopPlate
from shapes.reflectors import ball_cap
from shapes.weights import part_masses

SIDES = range(4, 13)
HEXAGON = Column(
    width=0.2, height=0.9, sides=6, wall=0.015, baffle=Baffle(Footprint(0.224), 0.018, 0.003)
)
BUILT = Assembly(
    column=HEXAGON,
    driver=Driver(effective_radius=0.06, frame_radius=0.075, cone_depth=0.02, cutout_radius=0.068),
    plate_gap=0.07,
    reflector=ball_cap(0.17, 0.05),
    plate=TopPlate(0.112, 0.015),
    posts=Posts(3, 0.004, 0.1, 0.008, 0.01),
)


def clash_of(**changes: object) -> tuple[str, str, str]:
    (clash,) = find_clashes(replace(BUILT, **changes))
    return clash.part, clash.message, clash.remedy


@pytest.mark.parametrize("sides", SIDES)
def test_polygons_are_those_of_shapely(sides: int) -> None:
    footprint = Footprint(0.2, sides)
    drawn = Polygon(footprint.corners)
    assert footprint.area == pytest.approx(drawn.area, rel=1e-12)
    assert footprint.face == pytest.approx(drawn.length / sides, rel=1e-12)
    assert footprint.inner_radius == pytest.approx(drawn.exterior.distance(Point(0, 0)), rel=1e-12)
    assert footprint.outer_radius == pytest.approx(drawn.hausdorff_distance(Point(0, 0)), rel=1e-12)
    assert math.pi * footprint.radius**2 == pytest.approx(drawn.area, rel=1e-12)
    inside = drawn.buffer(-0.015, join_style="mitre")
    assert footprint.inset(0.015).area == pytest.approx(inside.area, rel=1e-9)
    for radius, azimuth in ((0.03, 0.4), (0.09, 2.2), (0.08, math.pi / sides)):
        at = Point(radius * math.cos(azimuth), radius * math.sin(azimuth))
        assert footprint.room(radius, azimuth) == pytest.approx(drawn.exterior.distance(at))


@pytest.mark.parametrize("sides", SIDES)
def test_mitred_boards_fill_the_ring_between_outside_and_inside(sides: int) -> None:
    """A board is a trapezium whose ends lean by the bevel; N of them are the whole ring."""
    column = Column(width=0.2, height=0.9, sides=sides, wall=0.015)
    boards = carcass_of(column, 0.012).boards
    assert boards is not None
    shift = boards.thickness * math.tan(boards.off_square)
    half = boards.outside / 2
    board = Polygon([(-half, 0), (half, 0), (half - shift, -0.015), (shift - half, -0.015)])
    ring = Footprint(0.2, sides).area - Footprint(0.17, sides).area
    assert sides * board.area == pytest.approx(ring, rel=1e-12)
    assert boards.inside == pytest.approx(boards.outside - 2 * shift, rel=1e-12)
    assert math.degrees(boards.off_square) == pytest.approx(180 / sides)
    assert math.degrees(boards.from_face) == pytest.approx(90 - 180 / sides)
    assert len(boards.opposite) == (0 if sides % 2 else sides // 2)


def test_a_hexagon_of_120_mm_faces() -> None:
    """The trade's worked sizes: common practice, no source; the digits are theirs."""
    footprint = footprint_of_face(0.12, 6)
    assert footprint.width == pytest.approx(0.2078, abs=5e-5)
    assert footprint.across_corners == pytest.approx(0.24, abs=5e-5)
    assert footprint.inset(0.016).face == pytest.approx(0.1015, abs=5e-5)
    assert footprint.inset(0.016).area == pytest.approx(267.8e-4, abs=5e-6)


def test_lengths_follow_from_the_joints() -> None:
    laid = carcass_of(HEXAGON, 0.012)
    assert (laid.wall_length, laid.inside_height) == pytest.approx((0.9 - 0.033, 0.9 - 0.033))
    between = carcass_of(replace(HEXAGON, bottom_let_in=True), 0.012)
    assert between.wall_length == pytest.approx(0.9 - 0.018)
    assert between.inside_height == pytest.approx(0.9 - 0.033)
    standing = carcass_of(replace(HEXAGON, foot=Foot(Footprint(0.3), 0.02)), 0.012)
    assert standing.wall_length == pytest.approx(0.9 - 0.018 - 0.02)
    flush = Baffle(Footprint(0.17, 6), 0.018, let_in=True)
    sunk = carcass_of(replace(HEXAGON, baffle=flush), 0.012)
    assert (sunk.wall_length, sunk.inside_height) == pytest.approx((0.885, 0.867))
    assert sunk.volume == pytest.approx(Footprint(0.17, 6).area * 0.867)


def test_weights_are_those_of_the_boards() -> None:
    foot = Foot(Footprint(0.3), 0.02)
    built = replace(BUILT, column=replace(HEXAGON, foot=foot))
    volumes = {part.name: part.volume for part in part_masses(built, Making())}
    ring = Footprint(0.2, 6).area - Footprint(0.17, 6).area
    assert volumes["column walls"] == pytest.approx(ring * (0.9 - 0.038))
    assert volumes["baffle"] == pytest.approx(math.pi * (0.112**2 - 0.068**2) * 0.018)
    assert volumes["foot"] == pytest.approx(math.pi * 0.15**2 * 0.02)
    assert "column bottom" not in volumes


def test_the_outline_is_the_baffle_over_the_column_of_equal_area() -> None:
    """Its volume: column, baffle less the ring that its rounding takes, less the cone."""
    inside = Footprint(0.2, 6).area * (0.9 - 0.018) + math.pi * 0.112**2 * 0.018
    # A square of side 3 mm less its quarter circle, at its centroid (Pappus): 0.2234 r from
    # either side of the square.
    area, centroid = (1 - math.pi / 4) * 0.003**2, 0.112 - 0.2234 * 0.003
    inside -= 2 * math.pi * centroid * area
    inside -= math.pi * 0.06**2 * 0.02 / 3
    assert BUILT.lower.volume == pytest.approx(inside, rel=1e-6)
    out = [piece for piece in BUILT.lower.pieces if piece.part == "baffle underside"]
    (under,) = out
    assert under.start == pytest.approx((Footprint(0.2, 6).radius, -0.018))
    assert under.end == pytest.approx((0.112, -0.018))


def test_a_baffle_set_back_leaves_the_ends_of_the_walls() -> None:
    narrow = Column(width=0.2, height=0.9, wall=0.015, baffle=Baffle(Footprint(0.19), 0.018))
    lower = replace(BUILT, column=narrow, posts=None).lower
    (end,) = [piece for piece in lower.pieces if piece.part == "column top"]
    assert (end.start, end.end) == ((0.1, -0.018), (0.095, -0.018))


def test_what_was_made_round_is_said() -> None:
    words = computed_outline(HEXAGON)
    assert words is not None
    # Equal area: 0.2 sqrt(2 sqrt(3) / pi) = 210.0 mm across; (224 - 210.0) / 2 = 7.0 mm.
    assert "hexagonal column is computed as a round one of equal area, 210.0 mm" in words
    assert "round baffle, 224.0 mm" in words and "stands out over it by 7.0 mm" in words
    # Corners: 100 / cos 30 = 115.5 mm, 3.5 mm past 112 mm.
    assert "corners reach 3.5 mm" in words
    assert computed_outline(Column(width=0.2, height=0.9)) is None
    square = TopPlate(Footprint(0.2, 4).radius, 0.015, sides=4)
    assert "square top plate" in str(computed_outline(Column(width=0.2, height=0.9), square))


def test_a_plate_with_sides_keeps_its_width() -> None:
    plate = TopPlate(Footprint(0.2, 6).radius, 0.015, 0.002, sides=6)
    assert plate.footprint.width == pytest.approx(0.2)
    assert plate.flat_radius == pytest.approx(0.098)


def test_corners_past_the_baffle_are_allowed_and_said() -> None:
    assert find_clashes(BUILT) == ()
    rows = {row.name: row for row in list_clearances(BUILT)}
    assert rows["baffle past column"].value_m == pytest.approx(0.012)
    corners = rows["column's corners to edge of baffle"]
    assert corners.value_m == pytest.approx(0.112 - 0.1 / math.cos(math.pi / 6))
    assert "poke past the baffle" in corners.note
    assert rows["opening to walls"].value_m == pytest.approx(0.085 - 0.068)
    assert rows["wood under the sockets"].value_m == pytest.approx(0.008)
    # On the flats, 4 mm in radius, 100 mm out: half off a column 200 mm across its flats.
    assert rows["posts to outside of walls"].value_m == pytest.approx(-0.004)
    assert "half off" in rows["posts to outside of walls"].note


def test_what_does_not_fit_is_found_with_its_remedy() -> None:
    def column(**changes: object) -> Column:
        return replace(HEXAGON, **changes)

    part, message, remedy = clash_of(posts=replace(BUILT.standing_posts, socket_baffle=0.018))
    assert (part, "go through the baffle" in message) == ("posts", True)
    assert "18.0 mm" in remedy
    small = column(baffle=Baffle(Footprint(0.148), 0.018))
    clashes = find_clashes(replace(BUILT, column=small, posts=None))
    assert [clash.part for clash in clashes] == ["baffle", "baffle"]
    assert "wider than the flat of the baffle" in clashes[0].message
    # Room between the walls, across its corners: 170 / cos 30 = 196.3 mm.
    assert "196.3 mm" in clashes[1].message
    part, message, remedy = clash_of(column=column(wall=0.035))
    assert (part, "opening" in message, "136.0 mm" in remedy) == ("column", True, True)
    part, message, remedy = clash_of(posts=replace(BUILT.standing_posts, circle_radius=0.107))
    assert "210.0 mm" in remedy or "baffle larger" in remedy


def test_a_cone_that_comes_out_beside_the_column_is_found() -> None:
    # 2 mm under the face a cone of 88 mm and 22 mm deep is 88 (1 - 2 / 22) = 80 mm across.
    wide = Driver(effective_radius=0.044, frame_radius=0.0505, cone_depth=0.022)
    assert 2 * wide.radius_below(0.002) == pytest.approx(0.080)
    thin = Column(width=0.0799, height=0.4, baffle=Baffle(Footprint(0.114), 0.002))
    bare = Assembly(column=thin, driver=wide, plate_gap=0.1, reflector=None, plate=None)
    clashes = find_clashes(bare)
    assert [clash.part for clash in clashes] == ["baffle"]
    assert "80.0 mm" in clashes[0].message
    assert "22.0 mm" in clashes[0].remedy
    thick = replace(thin, baffle=Baffle(Footprint(0.114), 0.0221))
    assert find_clashes(replace(bare, column=thick)) == ()


def test_posts_turn_towards_the_corners_of_the_plate_too() -> None:
    square = TopPlate(Footprint(0.2, 4).radius, 0.015, sides=4)
    round_column, four = Column(width=0.26, height=0.9), Posts(4, 0.004, 0.11)
    assert post_angles(round_column, four)[0] == 0.0
    assert post_angles(round_column, four, square)[0] == pytest.approx(math.pi / 4)
    built = Assembly(
        column=round_column,
        driver=Driver(effective_radius=0.05, frame_radius=0.06),
        plate_gap=0.06,
        reflector=None,
        plate=square,
        posts=four,
    )
    assert find_clashes(built) == ()


def test_refused() -> None:
    with pytest.raises(AssemblyError, match="4 to 12"):
        Column(width=0.2, height=0.9, sides=3)
    with pytest.raises(AssemblyError, match="baffle"):
        Baffle(Footprint(0.2), 0.0)
    with pytest.raises(MakingError, match="no room inside"):
        carcass_of(replace(HEXAGON, wall=0.1), 0.012)


def test_a_circle_is_drawn_as_one() -> None:
    radii = np.hypot(*Footprint(0.2).corners.T)
    assert radii == pytest.approx(0.1)
    assert Footprint(0.2).face == 0.0
