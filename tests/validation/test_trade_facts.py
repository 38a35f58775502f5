"""Sizes that the trade builds with, to hold the program against: common practice, no source.

Facts of the trade are the sizes named in the tests alone. What they leave open (effective radius,
frame, column, post circle) is filled in with ordinary values of the class; the geometry has to
come out possible, and nothing is said about how good it is.

What the score with its default weights and a window of 0 to 20 degrees says of them, never tuned
to: under a cap from an 8 in ball (plate gap 3 3/4 in) it moves between 9.3 (keep 1 in) and 10.8 (3
1/2 in), the plate alone has 9.9; exactly half of a 5 in ball (plate gap 3 in) has 9.6, keep 50 mm
8.5, the plate alone 9.3. In neither does the tallest cap do better than the plate alone.
"""

import pytest

from shapes.assembly import Assembly, Column, Driver, DustCap, Posts, TopPlate
from shapes.clashes import find_clashes
from shapes.clearances import list_clearances
from shapes.lengths import parse_length
from shapes.reflectors import ball_cap


def inches(text: str) -> float:
    return parse_length(f"{text} in")


def eight_inch_build(keep: float) -> Assembly:
    """8-inch-class driver, 7 1/4 in opening, 10 1/2 in plate, 4 1/2 in posts, 3/8 in sockets.

    Common practice, no source; keeps of 1 to 3 1/2 in are, too.
    """
    driver = Driver(
        effective_radius=0.083,
        frame_radius=inches("8 1/8") / 2,
        cone_depth=0.035,
        centre=DustCap(0.03, 0.012),
        proud=0.003,
        excursion=0.005,
        cutout_radius=inches("7 1/4") / 2,
    )
    sockets = inches("3/8")
    return Assembly(
        column=Column(width=inches("10 1/2"), height=0.9),
        driver=driver,
        plate_gap=inches("4 1/2") - 2 * sockets,
        reflector=ball_cap(inches("8"), keep),
        plate=TopPlate(inches("10 1/2") / 2, inches("3/4")),
        posts=Posts(4, inches("1/2") / 2, 0.119, socket_plate=sockets, socket_baffle=sockets),
    )


@pytest.mark.parametrize("keep", ["1", "2", "2 1/2", "3", "3 1/2"])
def test_a_trimmed_cap_of_an_eight_inch_ball_fits(keep: str) -> None:
    build = eight_inch_build(inches(keep))
    assert find_clashes(build) == ()
    assert build.post_length == pytest.approx(inches("4 1/2"))
    assert build.plate_gap == pytest.approx(inches("3 3/4"))
    assert build.tip_clearance_in_motion > 0
    assert all(row.value_m > 0 for row in list_clearances(build))


def test_half_an_eight_inch_ball_does_not_fit_those_posts() -> None:
    [clash] = find_clashes(eight_inch_build(inches("4")))
    assert clash.part == "reflector"
    assert "101.6 mm (4 in) tall but the plate gap is 95.3 mm (3 3/4 in)" in clash.message


@pytest.mark.parametrize("gap", ["2 3/4", "3", "3 1/2"])
def test_half_of_a_five_inch_ball_over_a_five_inch_driver_fits(gap: str) -> None:
    """5-inch-class driver, 8 in plate, half of a 5 in ball: common practice, no source."""
    build = Assembly(
        column=Column(width=inches("8"), height=0.9),
        driver=Driver(
            effective_radius=0.052,
            frame_radius=0.068,
            cone_depth=0.02,
            centre=DustCap(0.02, 0.008),
            excursion=0.004,
        ),
        plate_gap=inches(gap),
        reflector=ball_cap(inches("5"), inches("2 1/2")),
        plate=TopPlate(inches("8") / 2, inches("3/4")),
        posts=Posts(3, 0.004, 0.085),
    )
    assert find_clashes(build) == ()
    assert 2 * build.reflector.base_radius == pytest.approx(inches("5"))
    assert build.reflector.rim_slope == pytest.approx(1.5707963267948966)
    assert build.tip_clearance_in_motion > 0
