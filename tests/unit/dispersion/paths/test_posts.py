"""Ripple of the posts: limits, symmetry, words, refusals; its waves: test_rigid_cylinder.py."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import special

from dispersion.air import Air
from dispersion.bands import BandError, study_frequencies
from dispersion.paths.cylinders import far_pattern, line_source, scatter
from dispersion.paths.posts import (
    PostsError,
    compare_posts,
    mode_shares,
    post_centres,
    post_ripple,
    radial_wavenumbers,
    relative_power,
)
from dispersion.ripple import Ripple
from dispersion.waves import axial_motion, solve
from shapes.assembly import Assembly, Column, Driver, Posts, TopPlate

AIR = Air()
POSTS = Posts(count=3, radius=0.003, circle_radius=0.089)
THICK = Posts(count=4, radius=0.006, circle_radius=0.088)
DESIGN = Assembly(
    column=Column(width=0.2, height=0.3),
    driver=Driver(effective_radius=0.052, frame_radius=0.065),
    plate_gap=0.06,
    reflector=None,
    plate=TopPlate(radius=0.1, thickness=0.015),
    posts=POSTS,
)
LOW = study_frequencies(500.0, 2000.0)
"""Below c / 2H = 2.86 kHz: one mode."""


def shaped(level_db: np.ndarray) -> Ripple:
    return Ripple(POSTS, np.arange(0.0, 360.0, 30.0), np.array([1000.0, 2000.0]), level_db)


def test_posts_of_no_thickness_do_nothing() -> None:
    """The ripple goes with the posts' cross section, (ka)^2: a thousandth of it, a thousandth."""
    thin = post_ripple(DESIGN, AIR, LOW, replace(POSTS, radius=3e-5))
    assert np.abs(thin.level_db).max() < 1e-4


def test_low_notes_pass() -> None:
    low = relative_power(DESIGN, AIR, np.array([20.0]))
    assert np.abs(10.0 * np.log10(low)).max() < 0.01


def test_the_pattern_repeats_from_post_to_post() -> None:
    level = post_ripple(DESIGN, AIR, LOW).level_db
    assert np.roll(level, 120, axis=1) == pytest.approx(level, abs=1e-9)
    assert level[:, 1:][:, ::-1] == pytest.approx(level[:, 1:], abs=1e-9)


def test_one_mode_straight_out_is_the_pattern_in_the_plane() -> None:
    """At elevation 0 only the even mode arrives, and its rim passes it on unchanged."""
    f = 4000.0
    k, centres = 2.0 * np.pi * f / AIR.speed, post_centres(POSTS)
    sent = scatter(k, centres, POSTS.radius, line_source(k, centres, POSTS.radius))
    pattern = 1.0 + far_pattern(k, centres, sent, np.radians(np.arange(360.0)))
    found = relative_power(DESIGN, AIR, np.array([f]), window_deg=(0.0, 0.0))[0]
    assert found == pytest.approx(np.abs(pattern) ** 2, rel=1e-6)


def test_modes_that_travel() -> None:
    k = 2.0 * np.pi * 6000.0 / AIR.speed
    n = np.arange(3)
    assert radial_wavenumbers(k, 0.06) == pytest.approx(np.sqrt(k**2 - (n * np.pi / 0.06) ** 2))


def test_modes_at_their_edge_stand_in_the_gap() -> None:
    """A mode whose wavenumber is nothing does not travel and is left out."""
    assert radial_wavenumbers(np.pi / 0.06, 0.06).size == 1


def test_one_mode_needs_no_solution() -> None:
    assert all(share == pytest.approx([1.0]) for share in mode_shares(DESIGN, AIR, LOW))


def test_shares_of_the_modes_make_up_the_pressure_across_the_gap() -> None:
    """Parseval, with the pressure solved anew at other heights; what does not travel is small."""
    f, gap, radius = 4500.0, DESIGN.plate_gap, POSTS.circle_radius
    share = mode_shares(DESIGN, AIR, np.array([f]))[0]
    kappa = radial_wavenumbers(2.0 * np.pi * f / AIR.speed, gap)
    powers = share * np.abs(special.hankel1(0, kappa * radius)) ** 2
    drive = axial_motion("driver", DESIGN.ways[0].parts, AIR)
    x, weights = np.polynomial.legendre.leggauss(12)
    places = np.column_stack((np.full(12, radius), 0.5 * gap * (1.0 + x)))
    pressure = solve(DESIGN.bodies, f, [drive], AIR).pressure_at(places)[:, 0]
    assert share.size == 2
    mean_square = 0.5 * weights @ np.abs(pressure) ** 2
    assert powers[0] + 0.5 * powers[1] == pytest.approx(mean_square, rel=0.1)


def test_alternatives_by_name_and_the_thicker_ripples_more() -> None:
    """What thin posts scatter goes with their cross section: four times for twice the radius."""
    named = {"3 x 6 mm": POSTS, "3 x 12 mm": replace(THICK, count=3)}
    results = compare_posts(DESIGN, AIR, LOW, named)
    assert list(results) == list(named)
    thin, thick = results.values()
    assert np.all(thick.peak_to_peak_db > 2.0 * thin.peak_to_peak_db)
    assert thick.posts.radius == THICK.radius


def test_numbers_of_a_ripple() -> None:
    level = np.zeros((2, 12))
    level[1, 4] = -3.0
    ripple = shaped(level)
    assert ripple.minimum_db == pytest.approx([0.0, -3.0])
    assert ripple.maximum_db == pytest.approx([0.0, 0.0])
    mean = 10.0 * np.log10((11.0 + 10.0**-0.3) / 12.0)
    assert ripple.mean_db == pytest.approx([0.0, mean])
    assert ripple.worst_azimuth_deg[1] == 120.0
    assert ripple.audible_centres == pytest.approx([2000.0])
    advice = ripple.turn_advice()
    assert advice.startswith("turn the posts so that a post stands 0 degrees beside")
    assert "2 kHz" in advice
    assert "120 degrees" in advice


def test_a_small_ripple_needs_no_turning() -> None:
    level = np.zeros((2, 12))
    level[0, 3] = 0.4
    assert "as you like" in shaped(level).turn_advice()
    assert not shaped(level).audible_centres.size


@pytest.mark.parametrize(
    ("posts", "words"),
    [
        (replace(POSTS, circle_radius=0.05), "inside the driver's frame"),
        (replace(POSTS, circle_radius=0.12), "make the post circle at most"),
        (replace(POSTS, circle_radius=0.099), "make the post circle"),
    ],
)
def test_posts_that_do_not_fit(posts: Posts, words: str) -> None:
    with pytest.raises(PostsError, match=words):
        post_ripple(DESIGN, AIR, LOW, posts)


def test_no_posts_at_all() -> None:
    with pytest.raises(PostsError, match="no posts"):
        post_ripple(replace(DESIGN, posts=None), AIR, LOW)


def test_too_few_frequencies() -> None:
    with pytest.raises(BandError):
        post_ripple(DESIGN, AIR, [1000.0, 1010.0])


@pytest.mark.parametrize("window", [(20.0, 0.0), (0.0, 90.0), (float("nan"), 10.0)])
def test_windows_that_are_none(window: tuple[float, float]) -> None:
    with pytest.raises(PostsError, match="window"):
        post_ripple(DESIGN, AIR, LOW, window_deg=window)


def test_a_way_that_is_not_there() -> None:
    with pytest.raises(PostsError, match="take one of driver"):
        post_ripple(DESIGN, AIR, LOW, way="tweeter")


@pytest.mark.parametrize("count", [1, 2, 6])
def test_any_number_of_posts(count: int) -> None:
    """The level repeats `count` times round, up to 20 kHz with its seven modes."""
    posts = replace(POSTS, count=count)
    level = post_ripple(DESIGN, AIR, study_frequencies(20000.0, 20000.0), posts).level_db
    assert np.all(np.isfinite(level))
    assert np.roll(level, 360 // count, axis=1) == pytest.approx(level, abs=1e-9)
    assert np.ptp(level) > 0.1


@pytest.mark.parametrize("above", [1e-9, 1e-6, 1e-3])
def test_a_mode_that_has_just_begun_upsets_nothing(above: float) -> None:
    """Past its first frequency a mode may be slow, but the levels stay those of thin posts."""
    f = AIR.speed / DESIGN.plate_gap * (1.0 + above)
    power = relative_power(DESIGN, AIR, np.array([f]))
    assert np.abs(10.0 * np.log10(power)).max() < 3.0
