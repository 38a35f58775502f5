"""Putting the parts together: outlines, gaps, areas, clearances and clashes."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from shapes.assembly import (
    Assembly,
    AssemblyError,
    Column,
    Driver,
    DustCap,
    FeltRing,
    Posts,
    TopPlate,
    Tweeter,
    Whizzer,
)
from shapes.clashes import find_clashes
from shapes.clearances import list_clearances
from shapes.gaps import highest_at, lowest_at, shortest_distance, vertical_gap
from shapes.reflectors import ball_cap, cone, flared, turned

DRIVER = Driver(
    effective_radius=0.052,
    frame_radius=0.075,
    cone_depth=0.02,
    centre=DustCap(0.02, 0.008),
    proud=0.002,
    excursion=0.004,
)
WHIZZER = Whizzer(0.03, 0.022, 0.015, DustCap(0.012, 0.005))
DOME = Tweeter(0.0125, 0.005, 0.003, 0.02)
BASE = Assembly(
    column=Column(width=0.2, height=0.9, edge_radius=0.01),
    driver=DRIVER,
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.045),
    plate=TopPlate(0.11, 0.018, edge_radius=0.009),
    posts=Posts(3, 0.004, 0.085, socket_plate=0.01, socket_baffle=0.008),
)
WAYS_TO_BUILD = {
    "plain": BASE,
    "bare edges": replace(
        BASE,
        column=Column(width=0.2, height=0.9),
        driver=replace(DRIVER, proud=0),
        plate=TopPlate(0.11, 0.018),
    ),
    "flat piston": replace(BASE, driver=Driver(effective_radius=0.052, frame_radius=0.075)),
    "cone to the axis": replace(
        BASE,
        driver=Driver(effective_radius=0.052, frame_radius=0.075, cone_depth=0.02, recess=0.003),
    ),
    "frame as wide as cone": replace(
        BASE, driver=Driver(effective_radius=0.052, frame_radius=0.052)
    ),
    "frame to the edge": replace(
        BASE, column=Column(width=0.17, height=0.9, edge_radius=0.01), posts=None
    ),
    "whizzer": replace(BASE, driver=replace(DRIVER, centre=WHIZZER)),
    "coaxial": replace(BASE, tweeter=DOME),
    "sunk coaxial": replace(BASE, tweeter=replace(DOME, face_height=-0.01)),
    "square": replace(BASE, column=Column(width=0.2, height=0.9, sides=4, edge_radius=0.01)),
    "no plate": replace(BASE, plate=None, posts=None),
    "no reflector": BASE.with_reflector(None),
    "bulging": replace(BASE, plate_gap=0.11, reflector=ball_cap(0.14, 0.1)),
    "flare": BASE.with_reflector(flared(0.075, 0.04)),
    "base as wide as the flat": replace(BASE, posts=None, reflector=cone(0.101, height=0.04)),
    "bare": BASE.without_upper(),
}


@pytest.fixture(params=WAYS_TO_BUILD.values(), ids=list(WAYS_TO_BUILD))
def assembly(request: pytest.FixtureRequest) -> Assembly:
    return request.param


def clash_parts(assembly: Assembly) -> list[str]:
    return [clash.part for clash in find_clashes(assembly)]


def test_what_can_be_built_has_no_clashes(assembly: Assembly) -> None:
    assert find_clashes(assembly) == ()
    assert all(row.value_m >= -1e-9 for row in list_clearances(assembly))
    assert len({row.name for row in list_clearances(assembly)}) == len(list_clearances(assembly))


def test_bodies_are_closed_and_walked_with_the_air_on_the_right(assembly: Assembly) -> None:
    for body in assembly.bodies:
        assert body.is_closed
        assert body.volume > 0
        assert body.self_intersections() == ()
        assert min(piece.length for piece in body.pieces) > 1e-6


def test_round_parts_have_the_volume_of_their_dimensions() -> None:
    flat = replace(
        BASE,
        column=Column(width=0.2, height=0.9),
        driver=Driver(effective_radius=0.052, frame_radius=0.075),
        reflector=None,
    )
    assert flat.lower.volume == pytest.approx(math.pi * 0.1**2 * 0.9)
    whole = replace(BASE, plate=TopPlate(0.11, 0.018))
    upper = math.pi * 0.11**2 * 0.018 + BASE.reflector.volume
    assert whole.upper.volume == pytest.approx(upper)


def test_a_full_round_edge_has_the_volume_of_pappus() -> None:
    plate = BASE.with_reflector(None).upper
    half = math.pi * 0.009**2 / 2
    centroid = 0.101 + 4 * 0.009 / (3 * math.pi)
    assert plate.volume == pytest.approx(
        math.pi * 0.101**2 * 0.018 + 2 * math.pi * centroid * half, rel=1e-12
    )
    assert len(plate.of_parts("plate edge")) == 2


def test_labels_follow_the_walk() -> None:
    assert replace(BASE, driver=replace(DRIVER, centre=WHIZZER)).lower.parts == (
        "column bottom",
        "column side",
        "baffle edge",
        "baffle",
        "frame",
        "recess",
        "cone",
        "whizzer",
        "dust cap",
    )
    assert replace(BASE, tweeter=DOME).lower.parts[-3:] == ("cone", "pod", "dome")
    assert BASE.upper.parts == ("reflector", "plate underside", "plate edge", "plate top")
    assert replace(BASE, plate=None).upper.parts == ("reflector", "reflector base")
    assert BASE.without_upper().upper is None


def test_ways_name_the_parts_that_move() -> None:
    [driver] = BASE.ways
    assert (driver.name, driver.parts) == ("driver", ("cone", "dust cap"))
    assert driver.effective_radius == 0.052
    both = replace(BASE, tweeter=DOME).ways
    assert [(way.name, way.parts) for way in both] == [
        ("driver", ("cone",)),
        ("tweeter", ("dome",)),
    ]


@pytest.mark.parametrize("centre", [None, DustCap(0.02, 0.008), WHIZZER])
def test_axial_motion_displaces_the_effective_area(centre: DustCap | Whizzer | None) -> None:
    """A rigid axial velocity v moves the volume v times the area, whatever the true surface."""
    lower = replace(BASE, driver=replace(DRIVER, centre=centre)).lower
    nodes, weights = np.polynomial.legendre.leggauss(20)
    moved = 0.0
    for piece in lower.of_parts("cone", "whizzer", "dust cap"):
        t = (1 + nodes) / 2
        rings = 2 * math.pi * piece.point(t)[:, 0] * -piece.derivative(t)[:, 0]
        moved += np.sum(weights / 2 * rings)
    assert moved == pytest.approx(DRIVER.area, rel=1e-12)


def test_columns_that_are_not_round_have_the_same_area() -> None:
    assert math.pi * Column(width=0.2, height=1, sides=4).radius ** 2 == pytest.approx(0.04)
    hexagon = math.sqrt(3) / 2 * 0.2**2
    assert math.pi * Column(width=0.2, height=1, sides=6).radius ** 2 == pytest.approx(hexagon)
    assert Column(width=0.2, height=1).radius == 0.1


def test_the_three_gaps() -> None:
    assert BASE.plate_gap == 0.06
    assert BASE.rim_gap == 0.06
    # Tip 15 mm above the baffle, dust cap's top 12 mm below it, 4 mm of excursion.
    assert BASE.tip_clearance == pytest.approx(0.027, abs=1e-9)
    assert BASE.tip_clearance_in_motion == pytest.approx(0.023, abs=1e-9)
    assert BASE.nearest_at_rest.part == "dust cap"
    assert BASE.height_of_ring == pytest.approx(0.93)
    assert BASE.post_length == pytest.approx(0.078)


def test_a_cylinder_at_the_rim_makes_the_rim_gap_smaller() -> None:
    lipped = turned([(0, -0.04), (0.07, -0.01), (0.07, 0)], smooth=False)
    assert BASE.with_reflector(lipped).rim_gap == pytest.approx(0.05)


def test_tip_clearance_over_each_centre() -> None:
    coaxial = replace(BASE, tweeter=DOME)
    # Dome's top 8 mm above the baffle; it does not move with the cone.
    assert coaxial.tip_clearance == pytest.approx(0.007, abs=1e-9)
    assert coaxial.tip_clearance_in_motion == pytest.approx(0.007, abs=1e-9)
    whizzer = replace(BASE, driver=replace(DRIVER, centre=WHIZZER))
    # Inside of the whizzer's rim, r 29 mm, 2 mm above the baffle.
    ball = 0.015 + 0.09 - math.sqrt(0.09**2 - 0.029**2)
    assert whizzer.tip_clearance == pytest.approx(ball - 0.002, abs=2e-6)
    assert whizzer.nearest_at_rest.part == "whizzer"
    assert whizzer.nearest_at_rest.radius == pytest.approx(0.029, abs=1e-4)


def test_tip_clearance_counts_the_fixed_frame_without_excursion() -> None:
    proud = replace(DRIVER, proud=0.012)
    wide = replace(BASE, driver=proud, posts=None, reflector=cone(0.1, height=0.04))
    frame_gap = 0.06 - 0.04 + 0.052 / 0.1 * 0.04 - 0.012
    cap_gap = 0.02 + 0.012
    assert wide.tip_clearance == pytest.approx(min(frame_gap, cap_gap), abs=2e-6)
    assert wide.tip_clearance_in_motion == pytest.approx(cap_gap - 0.004, abs=2e-6)
    assert wide.nearest_in_motion.part == "dust cap"


def test_tip_clearance_of_a_profile_that_doubles_back() -> None:
    hook = turned(
        [(0, -0.03), (0.04, -0.03), (0.05, -0.045), (0.06, -0.03), (0.045, -0.02), (0.05, 0)],
        smooth=False,
    )
    hooked = BASE.with_reflector(hook)
    # The hook's low point is at r 50 mm; further out it rises over the proud frame, 2 mm high.
    over_cone = 0.015 + 0.02 * 2 / 32
    over_frame = 0.015 + 0.015 * 2 / 10 - 0.002
    assert hooked.tip_clearance == pytest.approx(min(over_cone, over_frame), abs=1e-9)
    assert hooked.vertical_gap_at(0.0475) == pytest.approx(0.06 - 0.04125 + 0.02 * 4.5 / 32)


def test_nothing_above_is_open() -> None:
    bare = BASE.without_upper()
    assert bare.tip_clearance == math.inf
    assert bare.rim_gap == math.inf
    assert bare.throat_area == math.inf
    assert not bare.is_choked
    assert bare.height_of_ring == 0.9
    assert [row.name for row in list_clearances(bare)] == ["frame to edge of baffle"]


def test_exit_area_equals_the_drivers_at_half_its_radius() -> None:
    """Plain derivation: 2 pi a g = pi a^2 at g = a / 2."""
    flat = replace(BASE, driver=replace(DRIVER, proud=0), reflector=None)
    just = flat.with_gap(0.026)
    assert just.throat_area == pytest.approx(just.driver_area)
    # A ring of height H at the radius a has 2 pi a H, the driver pi a^2: the ratio is 2 H / a.
    ratio = 2.0 * flat.throat_gap / flat.driver.effective_radius
    assert flat.ring_over_driver == pytest.approx(ratio)
    assert flat.with_gap(0.0255).is_choked
    assert not flat.with_gap(0.0265).is_choked


def test_path_area_follows_the_radius() -> None:
    flat = replace(BASE, reflector=None)
    radii = np.array([0.08, 0.085, 0.1, 0.2])
    areas = flat.path_area(radii)
    assert areas[:2] == pytest.approx(2 * math.pi * radii[:2] * 0.06)
    # The column's edge is rounded away 10 mm and the plate's 9 mm, nearly all at the outside.
    assert areas[2] > 2 * math.pi * 0.1 * 0.06
    assert math.isinf(areas[3])
    assert flat.path_area(0.08).shape == ()


def test_changes_return_new_assemblies() -> None:
    assert BASE.with_gap(0.07).plate_gap == 0.07
    assert BASE.plate_gap == 0.06
    assert BASE.with_plate(None).plate is None
    assert BASE.with_reflector(None).plate is BASE.plate


@pytest.mark.parametrize(
    ("changed", "part", "says"),
    [
        (BASE.with_reflector(ball_cap(0.18, 0.07)), "reflector", "tall but the plate gap is 60.0"),
        (BASE.with_reflector(ball_cap(0.18, 0.0595)).with_gap(0.05), "reflector", "hang below"),
        (BASE.with_reflector(ball_cap(0.3, 0.055)), "reflector", "wider than the top plate"),
        (BASE.with_reflector(cone(0.105, height=0.04)), "reflector", "over its rounded edge"),
        (BASE.with_reflector(ball_cap(0.06, 0.06)), "reflector", "no flat to fix it by"),
        (
            replace(BASE, column=Column(width=0.16, height=0.9, edge_radius=0.01)),
            "column",
            "wider than the fl",
        ),
        (
            replace(BASE, column=Column(width=0.2, height=0.9, edge_radius=0.11)),
            "column",
            "edge radius of 110",
        ),
        (replace(BASE, column=Column(width=0.2, height=0.02)), "column", "foot of the column"),
        (replace(BASE, driver=replace(DRIVER, frame_radius=0.05)), "driver", "no wider than"),
        (replace(BASE, driver=replace(DRIVER, cutout_radius=0.08)), "driver", "the opening"),
        (replace(BASE, driver=replace(DRIVER, centre=DustCap(0.06, 0.01))), "dust cap", "wider"),
        (replace(BASE, driver=replace(DRIVER, centre=DustCap(0.02, 0.03))), "dust cap", "half a b"),
        (
            replace(BASE, driver=replace(DRIVER, centre=replace(WHIZZER, height=0.005))),
            "whizzer",
            "through the cone",
        ),
        (
            replace(BASE, driver=replace(DRIVER, centre=replace(WHIZZER, radius=0.01))),
            "whizzer",
            "does not open upwards",
        ),
        (
            replace(BASE, driver=replace(DRIVER, centre=replace(WHIZZER, cap=DustCap(0.015, 0)))),
            "dust cap",
            "the whizzer's neck",
        ),
        (replace(BASE, tweeter=replace(DOME, dome_radius=0.03)), "tweeter", "fit on its housing"),
        (replace(BASE, tweeter=replace(DOME, dome_height=0.02)), "tweeter", "half a ball"),
        (replace(BASE, tweeter=replace(DOME, face_height=-0.03)), "tweeter", "under the cone's"),
        (replace(BASE, plate=TopPlate(0.11, 0.018, 0.01)), "plate", "9.0 mm (a full round)"),
        (replace(BASE, plate=None), "posts", "no top plate"),
        (replace(BASE, posts=Posts(3, 0.004, 0.078)), "posts", "inside the driver's frame"),
        (replace(BASE, posts=Posts(3, 0.004, 0.08)), "posts", "inside the reflector"),
        (replace(BASE, posts=Posts(3, 0.004, 0.088)), "posts", "flat of the baffle"),
        (replace(BASE, posts=Posts(3, 0.004, 0.099)), "posts", "past the flat of the plate's"),
        (replace(BASE, posts=Posts(80, 0.004, 0.085)), "posts", "side by side"),
        (replace(BASE, posts=Posts(3, 0.004, 0.085, 0.018)), "posts", "go through the plate"),
    ],
)
def test_every_clash_is_found_and_named(changed: Assembly, part: str, says: str) -> None:
    found = [clash for clash in find_clashes(changed) if says in f"{clash.message}: {clash.remedy}"]
    assert [clash.part for clash in found] == [part]
    assert found[0].remedy


def test_a_tip_that_touches_only_in_motion() -> None:
    close = replace(BASE, tweeter=None, driver=replace(DRIVER, centre=DustCap(0.02, 0.02)))
    close = close.with_reflector(cone(0.07, height=0.0585))
    assert close.tip_clearance == pytest.approx(0.0015, abs=1e-6)
    [clash] = find_clashes(close)
    assert clash.part == "reflector"
    assert "moves out by 4.0 mm" in clash.message
    assert "by more than 2.5 mm" in clash.remedy


def test_a_tip_inside_the_driver_at_rest() -> None:
    deep = replace(BASE, driver=replace(DRIVER, centre=WHIZZER), plate_gap=0.042)
    assert deep.tip_clearance < 0
    [clash] = [clash for clash in find_clashes(deep) if "into the whizzer" in clash.message]
    assert "at rest" in clash.message


def test_the_flank_of_a_reflector_against_a_proud_frame() -> None:
    steep = replace(
        BASE, driver=replace(DRIVER, proud=0.03), reflector=cone(0.08, height=0.045), posts=None
    )
    assert steep.nearest_at_rest.part == "frame"
    assert find_clashes(steep) == ()
    low = steep.with_gap(0.0455)
    assert clash_parts(low) == ["reflector"]
    assert {row.name: row.value_m for row in list_clearances(low)}["closest approach"] == 0.0


def test_posts_in_the_corners_of_a_square_baffle() -> None:
    square = replace(
        BASE,
        column=Column(width=0.2, height=0.9, sides=4, edge_radius=0.01),
        plate=TopPlate(0.14, 0.018),
    )
    corners = replace(square, posts=Posts(4, 0.004, 0.115))
    assert find_clashes(corners) == ()
    assert clash_parts(replace(square, posts=Posts(3, 0.004, 0.115))) == ["posts"]


def test_several_clashes_are_told_at_once() -> None:
    bad = replace(BASE, plate=TopPlate(0.08, 0.018, 0.01), reflector=ball_cap(0.18, 0.08))
    assert {"plate", "reflector", "posts"} <= set(clash_parts(bad))


@pytest.mark.parametrize(
    "make",
    [
        lambda: Column(width=-0.2, height=0.9),
        lambda: Column(width=0.2, height=math.nan),
        lambda: Column(width=0.2, height=0.9, sides=3),
        lambda: Driver(effective_radius=0.0, frame_radius=0.1),
        lambda: Driver(effective_radius=0.05, frame_radius=0.07, excursion=-0.001),
        lambda: Driver(effective_radius=0.05, frame_radius=0.07, cutout_radius=-0.01),
        lambda: DustCap(0.02, -0.001),
        lambda: Whizzer(0.03, 0.0, 0.01),
        lambda: Tweeter(0.0125, 0.005, math.inf, 0.02),
        lambda: TopPlate(0.1, 0.0),
        lambda: Posts(0, 0.004, 0.08),
        lambda: BASE.with_gap(0.0),
    ],
)
def test_what_is_no_size_is_refused(make: Callable[[], object]) -> None:
    with pytest.raises(AssemblyError):
        make()


def test_gap_functions_on_plain_polylines() -> None:
    upper = np.array([[0.0, 1.0], [1.0, 0.5], [0.5, 2.0], [2.0, 2.0]])
    lower = np.array([[0.0, 0.0], [0.8, 0.0], [0.8, -1.0], [3.0, -1.0]])
    assert np.allclose(lowest_at(upper, np.array([0.0, 0.5, 0.75, 1.5])), [1, 0.75, 0.625, 2])
    assert np.isinf(lowest_at(upper, np.array([2.5])))
    assert np.allclose(highest_at(lower, np.array([0.5, 0.8, 1.0])), [0, 0, -1])
    gap, radius = vertical_gap(upper, lower)
    assert (gap, radius) == pytest.approx((0.6, 0.8))
    distance, _ = shortest_distance(upper, lower)
    # The lower line's corner (0.8, 0) is nearest to the upper one's corner (1, 0.5).
    assert distance == pytest.approx(math.hypot(0.2, 0.5))
    assert shortest_distance(upper, lower + [0, 0.7])[0] == 0.0
    far, nowhere = vertical_gap(upper, lower + [5, 0])
    assert math.isinf(far)
    assert math.isnan(nowhere)


FELTED = BASE.with_felt(FeltRing(0.005, 0.08, 0.09), FeltRing(0.003))


def test_felt_stands_out_of_its_flat_by_its_thickness() -> None:
    """Volume: pi (R^2 - r^2) t more on either body."""
    for plain, felted, band in (
        (BASE.lower, FELTED.lower, FELTED.baffle_felt),
        (BASE.hung_body, FELTED.hung_body, FELTED.plate_felt),
    ):
        assert felted.volume - plain.volume == pytest.approx(band.area * band.thickness)
        assert felted.is_closed
    _, face, _ = FELTED.lower.of_parts("baffle felt")
    assert (face.start, face.end) == ((0.09, 0.005), (0.08, 0.005))
    outwards, under, _ = FELTED.hung_body.of_parts("plate felt")
    assert outwards.start == pytest.approx((BASE.reflector.widest_radius, 0.06))
    assert under.end == pytest.approx((0.101, 0.057))  # to the flat of the plate
    assert not find_clashes(FELTED)


def test_felt_that_is_let_in_changes_no_outline() -> None:
    flush = BASE.with_felt(FeltRing(0.005, 0.08, 0.09, let_in=True), None)
    assert flush.lower.volume == pytest.approx(BASE.lower.volume)
    (face,) = flush.lower.of_parts("baffle felt")
    assert (face.start, face.end) == ((0.09, 0.0), (0.08, 0.0))
    assert flush.with_reflector(None).gap_over_felt == pytest.approx(0.06)


@pytest.mark.parametrize("thickness", [0.001, 0.002, 0.005])
def test_felt_against_the_frame_ends_at_it(thickness: float) -> None:
    """The frame stands out by 2 mm: felt that is lower, as high, higher; nothing runs back."""
    felted = BASE.with_felt(FeltRing(thickness), None)
    assert not find_clashes(felted)
    assert felted.lower.is_closed
    assert felted.baffle_felt.inner == DRIVER.frame_radius
    assert felted.lower.volume - BASE.lower.volume == pytest.approx(
        felted.baffle_felt.area * thickness
    )


def test_felt_follows_the_reflector_where_no_radius_is_given() -> None:
    smaller = FELTED.with_reflector(ball_cap(0.18, 0.02))
    assert smaller.plate_felt.inner == smaller.reflector.widest_radius
    assert FELTED.without_upper().plate_felt is None


def test_felt_takes_its_thickness_from_the_gap_over_it() -> None:
    """Plate alone: 60 mm less 5 mm below and 3 mm above."""
    alone = FELTED.with_reflector(None)
    assert alone.gap_over_felt == pytest.approx(0.052)
    assert alone.with_felt(None, FeltRing(0.003)).gap_over_felt == pytest.approx(0.055)  # proud 2
    assert math.isinf(BASE.gap_over_felt)
    named = {row.name: row.value_m for row in list_clearances(alone)}
    assert named["felt to what is opposite"] == pytest.approx(0.052)


@pytest.mark.parametrize(
    ("on_baffle", "under_plate", "part", "remedy"),
    [
        (FeltRing(0.003, 0.07), None, "felt on baffle", "150.0 mm or more"),
        (FeltRing(0.003, outer_radius=0.095), None, "felt on baffle", "180.0 mm or less"),
        (FeltRing(0.003, 0.08, 0.08), None, "felt on baffle", "leave it out"),
        (None, FeltRing(0.003, 0.05), "felt under plate", "or more"),
        (FeltRing(0.058), FeltRing(0.003), "felt on baffle", "thinner felt"),
    ],
)
def test_felt_that_does_not_fit(
    on_baffle: FeltRing | None, under_plate: FeltRing | None, part: str, remedy: str
) -> None:
    clashes = find_clashes(BASE.with_felt(on_baffle, under_plate))
    assert [clash.part for clash in clashes] == [part]
    assert remedy in clashes[0].remedy


def test_felt_without_a_plate_is_a_clash() -> None:
    (clash,) = find_clashes(BASE.without_upper().with_felt(None, FeltRing(0.003)))
    assert clash.part == "felt under plate"
