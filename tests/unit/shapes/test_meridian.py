"""Pieces and chains in the half plane."""

import math

import numpy as np
import pytest

from shapes.meridian import Arc, Conic, Curve, Line, Meridian, MeridianError, Piece

# A parabola r = p / (1 - sin(angle)) about a focus on the axis: its vertex is p / 2 below.
PARABOLA = Conic((0.0, -0.02), (0.04, 0.0), (0.0, 0.0), (0.0, 1.0), "conic")
PIECES = [
    Line((0.01, 0.02), (0.05, -0.03), "line"),
    Arc((0.0, -0.1), (0.0, 0.1), (0.0, 0.0), clockwise=False, part="arc"),
    Arc((0.02, 0.0), (0.0, 0.02), (0.0, 0.0), clockwise=False, part="arc"),
    Arc((0.05, 0.03), (0.03, 0.05), (0.05, 0.05), clockwise=True, part="arc"),
    PARABOLA,
    Curve(((0.0, -0.05), (0.02, -0.045), (0.05, -0.02), (0.06, 0.0)), "curve"),
]


@pytest.fixture(params=PIECES, ids=lambda piece: type(piece).__name__)
def piece(request: pytest.FixtureRequest) -> Piece:
    return request.param


def sphere(radius: float = 0.1) -> Meridian:
    return Meridian((Arc((0.0, -radius), (0.0, radius), (0.0, 0.0), clockwise=False, part="ball"),))


def test_pieces_meet_their_ends_exactly(piece: Piece) -> None:
    assert tuple(piece.point(0.0)) == piece.start
    assert tuple(piece.point(1.0)) == piece.end


def test_points_and_derivatives_take_arrays(piece: Piece) -> None:
    t = np.linspace(0, 1, 6).reshape(2, 3)
    assert piece.point(t).shape == (2, 3, 2)
    assert piece.derivative(t).shape == (2, 3, 2)
    assert piece.point(0.5).shape == (2,)
    assert np.array_equal(piece.point(t)[1, 2], piece.point(t[1, 2]))


def test_derivative_is_that_of_the_points(piece: Piece) -> None:
    t, step = np.linspace(0.01, 0.99, 41), 1e-5
    differences = (piece.point(t + step) - piece.point(t - step)) / (2 * step)
    assert np.allclose(piece.derivative(t), differences, atol=1e-9)


def test_length_is_the_sum_of_short_chords(piece: Piece) -> None:
    chords = np.diff(piece.point(np.linspace(0, 1, 4001)), axis=0)
    assert piece.length == pytest.approx(np.hypot(*chords.T).sum(), rel=1e-6)


def test_reversed_shifted_and_relabelled(piece: Piece) -> None:
    t = np.linspace(0, 1, 11)
    assert np.allclose(piece.reversed().point(t), piece.point(1 - t), atol=1e-15)
    assert np.allclose(piece.shifted(0.3).point(t), piece.point(t) + [0, 0.3], atol=1e-15)
    assert piece.relabelled("other").part == "other"
    assert piece.reversed().reversed() == piece
    assert hash(piece.shifted(0.0)) == hash(piece)


def test_smallest_radius_of_curvature() -> None:
    assert PIECES[0].min_radius == math.inf
    assert PIECES[1].min_radius == pytest.approx(0.1)
    # A parabola is tightest at its vertex, with the semi-latus rectum as radius.
    assert PARABOLA.min_radius == pytest.approx(0.04)
    angles = np.linspace(-math.pi / 2, math.pi / 2, 41)
    circle = Curve(tuple((0.1 * math.cos(a), 0.1 * math.sin(a)) for a in angles), "curve")
    assert circle.min_radius == pytest.approx(0.1, rel=0.01)


def test_curves_are_compared_by_value() -> None:
    first = Curve(((0, 0), (0.1, 0.1), (0.2, 0.1)), "curve")
    second = Curve([[0.0, 0.0], [0.1, 0.1], [0.2, 0.1]], "curve")  # type: ignore[arg-type]
    assert first == second
    assert hash(first) == hash(second)


def test_an_arc_goes_round_the_way_it_is_told() -> None:
    quarter = Arc((0.1, 0.0), (0.0, 0.1), (0.0, 0.0), clockwise=False, part="arc")
    assert quarter.length == pytest.approx(0.1 * math.pi / 2)
    around = Arc((1.1, 0.0), (1.0, 0.1), (1.0, 0.0), clockwise=True, part="arc")
    assert around.length == pytest.approx(0.1 * 3 * math.pi / 2)


def test_an_arc_with_a_wrong_centre_is_refused() -> None:
    with pytest.raises(MeridianError, match=r"100.000 mm and 200.000 mm"):
        Arc((0.1, 0.0), (0.0, 0.2), (0.0, 0.0), clockwise=False, part="arc")


def test_a_conic_with_wrong_ends_is_refused() -> None:
    with pytest.raises(MeridianError, match="one branch"):
        Conic((0.0, -0.02), (0.05, 0.0), (0.0, 0.0), (0.0, 1.0), "conic")


def test_a_curve_refuses_repeated_points() -> None:
    with pytest.raises(MeridianError, match="points 2 and 3 are the same"):
        Curve(((0, 0), (0.01, 0.01), (0.01, 0.01), (0.02, 0)), "curve")
    with pytest.raises(MeridianError, match="at least two"):
        Curve(((0, 0),), "curve")


def test_volume_is_positive_when_walked_upwards() -> None:
    ball = sphere()
    assert ball.volume == pytest.approx(4 / 3 * math.pi * 1e-3, rel=1e-13)
    assert ball.reversed().volume == pytest.approx(-ball.volume, rel=1e-13)
    assert ball.area == pytest.approx(4 * math.pi * 1e-2, rel=1e-13)
    assert ball.shifted(0.25).centroid_z == pytest.approx(0.25, rel=1e-12)
    assert ball.is_closed


def test_centroid_of_a_cone() -> None:
    cone = Meridian((Line((0, 0), (0.1, 0.2), "side"), Line((0.1, 0.2), (0, 0.2), "top")))
    assert cone.centroid_z == pytest.approx(0.15)
    assert cone.parts == ("side", "top")
    assert cone.length == pytest.approx(math.hypot(0.1, 0.2) + 0.1)


@pytest.mark.parametrize("chord_error", [1e-3, 1e-5])
def test_samples_stay_within_the_chord_error(piece: Piece, chord_error: float) -> None:
    line = Meridian((piece,)).sample(chord_error)
    dense = piece.point(np.linspace(0, 1, 2001))
    start, step = line[:-1], np.diff(line, axis=0)
    apart = dense[:, None] - start
    share = np.clip(np.sum(apart * step, -1) / np.sum(step * step, -1), 0, 1)
    off = np.linalg.norm(apart - share[..., None] * step, axis=-1).min(axis=1)
    assert off.max() <= 1.02 * chord_error


def test_samples_keep_corners_and_order() -> None:
    zigzag = Meridian(
        (
            Line((0, 0), (0.1, 0.05), "a"),
            Line((0.1, 0.05), (0.05, 0.1), "b"),
            Line((0.05, 0.1), (0.1, 0.15), "c"),
        )
    )
    corners = [[0, 0], [0.1, 0.05], [0.05, 0.1], [0.1, 0.15]]
    assert np.array_equal(zigzag.sample(1e-4), corners)
    with pytest.raises(MeridianError, match="positive"):
        zigzag.sample(0.0)


def test_a_chain_must_hang_together() -> None:
    with pytest.raises(MeridianError, match=r"'a' ends at r 100.0 mm, z 0.0 mm but 'b'"):
        Meridian((Line((0, 0), (0.1, 0), "a"), Line((0.2, 0), (0, 0.1), "b")))
    with pytest.raises(MeridianError, match="no length"):
        Meridian((Line((0, 0), (0, 0), "a"),))
    with pytest.raises(MeridianError, match="at least one piece"):
        Meridian(())


def test_a_chain_must_stay_on_its_side_of_the_axis() -> None:
    with pytest.raises(MeridianError, match="across the axis"):
        Meridian((Line((0.1, 0), (-0.01, 0), "a"),))
    with pytest.raises(MeridianError, match="across the axis"):
        Meridian((Arc((0.05, -0.1), (0.05, 0.1), (0.05, 0.0), clockwise=True, part="a"),))
    with pytest.raises(MeridianError, match="finite"):
        Meridian((Line((0.1, math.nan), (0.2, 0), "a"),))


def test_joined_leaves_out_pieces_of_no_length() -> None:
    whole = Line((0, 0), (0.1, 0), "a")
    nothing = Arc((0.1, 0), (0.1, 0), (0.1, 0), clockwise=False, part="b")
    assert Meridian.joined((whole, nothing)).pieces == (whole,)


def test_doubling_back_is_no_crossing() -> None:
    bulge = Meridian(
        (
            Arc((0.0, -0.15), (math.sqrt(0.0075), 0.0), (0.0, -0.05), clockwise=False, part="ball"),
            Line((math.sqrt(0.0075), 0.0), (0.0, 0.0), "flat"),
        )
    )
    assert bulge.self_intersections() == ()
    assert sphere().self_intersections() == ()


def test_crossings_are_found_where_they_are() -> None:
    loop = Meridian(
        (
            Line((0.0, 0.0), (0.1, 0.1), "a"),
            Line((0.1, 0.1), (0.1, 0.0), "b"),
            Line((0.1, 0.0), (0.0, 0.05), "c"),
        )
    )
    [(r, z)] = loop.self_intersections()
    assert (r, z) == pytest.approx((1 / 30, 1 / 30))


def test_an_arc_that_crosses_a_line_is_found() -> None:
    corner = math.sqrt(0.1**2 - 0.06**2)
    chain = Meridian(
        (
            Arc((0.0, -0.1), (0.0, 0.1), (0.0, 0.0), clockwise=False, part="ball"),
            Line((0.0, 0.1), (0.0, 0.12), "axis"),
            Line((0.0, 0.12), (0.2, 0.06), "out"),
            Line((0.2, 0.06), (0.01, 0.06), "through"),
        )
    )
    found = chain.self_intersections(1e-7)
    assert any(math.dist(point, (corner, 0.06)) < 2e-6 for point in found)


def test_running_back_and_touching_count_as_crossings() -> None:
    back = Meridian((Line((0, 0), (0.1, 0.1), "a"), Line((0.1, 0.1), (0.05, 0.05), "b")))
    assert back.self_intersections() == (pytest.approx((0.1, 0.1)),)
    touching = Meridian(
        (
            Line((0.0, 0.0), (0.1, 0.0), "a"),
            Line((0.1, 0.0), (0.1, 0.1), "b"),
            Line((0.1, 0.1), (0.05, 0.0), "c"),
            Line((0.05, 0.0), (0.0, 0.1), "d"),
        )
    )
    assert touching.self_intersections() == (pytest.approx((0.05, 0.0)),)


def test_pieces_by_part() -> None:
    chain = Meridian((Line((0, 0), (0.1, 0), "a"), Line((0.1, 0), (0, 0.1), "b")))
    assert chain.of_parts("b") == (chain.pieces[1],)
    assert chain.of_parts("c") == ()
