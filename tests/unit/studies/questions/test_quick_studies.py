"""Studies of the quick methods: rays, posts, trust. What they say adds up."""

from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import StepPatch
from pictures import check_files, check_lettering, check_units

from dispersion import checks
from dispersion.bands import third_octave_centres
from dispersion.gliding import gliding_deviation_db
from dispersion.paths.scene import CENTRED
from dispersion.ripple import Ripple
from dispersion.solvers import SOLVERS, solve_waves
from shapes.clashes import find_clashes
from studies.answer.columns import posts_name
from studies.design import Design, DesignError, parse_design
from studies.questions.posts.study import (
    PostsStudy,
    estimated,
    posts_study,
    usual_alternatives,
)
from studies.questions.posts.tables import posts_tables
from studies.questions.rays.figures import rays_figure
from studies.questions.rays.study import RayStudy, ray_study
from studies.questions.rays.tables import rays_tables
from studies.questions.trim.comparisons import OPINION_RAYS
from studies.questions.trim.study import trim
from studies.questions.trim.words import _rays
from studies.questions.trust.figures import trust_figure
from studies.questions.trust.study import REFERENCE, Trust, spread_of_cases, trust
from studies.questions.trust.tables import trust_tables
from studies.solving.grid import problem_of, run
from studies.solving.shaving import cut_candidate
from studies.solving.target import HOLLOW_LIMIT_DB

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
RAYS = 2**15


def small_design(*pairs: tuple[str, str]) -> Design:
    """Return the example with a narrow band, and whatever else is asked."""
    path = EXAMPLES / "reading_room.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in (('band = ["100 Hz", "16 kHz"]', "band = [630, 1250]"), *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


@pytest.fixture(scope="module")
def rays() -> RayStudy:
    return ray_study(small_design(), rays=RAYS)


@pytest.fixture(scope="module")
def methods() -> Trust:
    solvers = {
        "waves": solve_waves,
        "rays": partial(SOLVERS["rays"], rays=RAYS),
        "images": SOLVERS["images"],
    }
    return trust(small_design(), solvers, per_band=4)


def test_every_ray_is_accounted_for(rays: RayStudy) -> None:
    result = rays.result
    assert result.by_history.sum(axis=1) == pytest.approx(1.0, abs=1e-12)
    assert result.by_elevation.sum(axis=1) + result.trapped == pytest.approx(1.0, abs=1e-12)


def test_ray_tables_add_up_to_all_the_energy(rays: RayStudy) -> None:
    found = rays_tables(rays)
    for name in ("histories", "directions"):
        table = found.table(name)
        shares = [column.key for column in table.columns if column.key.startswith("share_")]
        assert shares
        for key in shares:
            assert sum(table.values(key)) == pytest.approx(100.0, abs=1e-9)


def lean(study: RayStudy) -> np.ndarray:
    """Amplitude of the first harmonic of the level over azimuth, (F,), dB."""
    edges = np.radians(study.result.azimuth_edges)
    turn = np.exp(0.5j * (edges[1:] + edges[:-1]))
    return 2.0 * np.abs(np.mean(study.around_db * turn, axis=1))


def test_what_hangs_off_the_axis_is_uneven_all_round(rays: RayStudy) -> None:
    askew = ray_study(rays.design, rays=RAYS, shift=0.02)
    assert rays.mounting == CENTRED
    assert lean(askew).min() > 3.0 * lean(rays).max()
    assert "off the axis" in " ".join(rays_tables(askew).answer)


def test_ray_picture_says_from_where_it_means_anything(rays: RayStudy) -> None:
    corners = np.array([[0.02, 0.0], [0.03, 0.03], [0.3, 0.05]])
    figure = rays_figure("title", rays.design.assembly(), [corners], "rays mean something above 4")
    assert "above 4" in figure.get_suptitle()
    legs = [line.get_xydata() for line in figure.axes[0].lines if len(line.get_xydata())]
    assert legs[0] == pytest.approx(np.array([[20.0, 0.0], [30.0, 30.0]]))
    for check in (check_files, check_lettering, check_units):
        check(figure)


def test_zones_and_azimuths_are_those_of_the_counted_rays(rays: RayStudy) -> None:
    zones, result = rays.zones, rays.result
    high = rays.design.window_deg[1]
    edges, share = result.elevation_edges, result.by_elevation
    assert zones.above == pytest.approx(share[:, edges[:-1] + edges[1:] > 2 * high].sum(axis=1))
    floor = share[:, edges[:-1] + edges[1:] < -60.0].sum(axis=1)
    assert zones.steep == pytest.approx(floor)
    whole = zones.above + zones.window + zones.low + zones.steep + result.trapped
    assert whole == pytest.approx(1.0, abs=1e-12)
    assert rays.azimuths_deg[0] == pytest.approx(0.5 * sum(result.azimuth_edges[:2]))


def test_deepest_notches_come_first_and_name_their_paths() -> None:
    wide = ray_study(small_design(("band = [630, 1250]", 'band = ["500 Hz", "16 kHz"]')), rays=RAYS)
    depths = [notch.depth_db for notch in wide.notches]
    assert depths and depths == sorted(depths, reverse=True)
    assert all("arrives" in notch.words and "kHz" in notch.words for notch in wide.notches)


@pytest.fixture(scope="module")
def around() -> PostsStudy:
    design = small_design(("band = [630, 1250]", "band = [3600, 4400]"))
    return posts_study(design, solve_waves)


def test_posts_of_the_file_come_first_and_thick_ones_ripple_more(around: PostsStudy) -> None:
    assert next(iter(around.ripples)) == "3 x 6 mm"
    thick, thin = (around.ripples[name].peak_to_peak_db.max() for name in ("3 x 12 mm", "3 x 6 mm"))
    assert thick > 1.5 * thin
    assert posts_tables(around).fact("ripple_db") == pytest.approx(thin)


def test_exact_posts_and_the_estimate_agree_where_it_is_good(around: PostsStudy) -> None:
    """Up to 4 kHz within 0.1 dB, found when both were first held against each other."""
    quick = estimated(around.design)
    assert (around.exact, quick.exact) == (True, False)
    assert np.abs(quick.own.level_db - around.own.level_db).max() < 0.1
    assert "by estimate" not in " ".join(posts_tables(around).answer)
    assert posts_tables(quick).evidence is None


def test_exact_posts_are_told_by_elevation_and_by_rods_on_sale(around: PostsStudy) -> None:
    told = posts_tables(around)
    seats = {seat.elevation_deg for seat in around.design.seats}
    assert {r.window_deg[0] for r in around.single} == {0.0, 10.0, 20.0, *seats}
    sold = told.table("on_sale")
    assert sold.rows[0][:2] == ("3 x 6 mm", 178.0)
    names = list(zip(sold.values("candidate"), sold.values("circle_mm"), strict=True))
    assert len(set(names)) == len(names) > 10
    assert {circle for _, circle in names} > {178.0}
    assert told.evidence is not None
    assert told.evidence.worst_power_error_db < 0.01


def test_posts_that_do_not_fit_are_told_with_their_reason() -> None:
    study = estimated(small_design(), [(3, 0.04)])
    assert list(study.ripples) == ["3 x 6 mm"]
    assert "3 x 40 mm" in study.left_out
    assert any("3 x 40 mm does not fit" in line for line in posts_tables(study).answer)


def test_a_design_without_posts_has_nothing_to_work_out() -> None:
    text = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")
    start, end = text.index("[posts]"), text.index("[air]")
    with pytest.raises(DesignError, match="no \\[posts\\] table"):
        estimated(parse_design(text[:start] + text[end:], EXAMPLES / "reading_room.toml"))


def test_usual_alternatives_are_one_more_and_twice_as_thick() -> None:
    own = small_design().assembly().posts
    named = [posts_name(replace(own, count=n, radius=d / 2)) for n, d in usual_alternatives(own)]
    assert named == ["4 x 6 mm", "3 x 12 mm", "4 x 12 mm"]


def test_every_case_of_the_trust_study_can_be_built() -> None:
    for case in spread_of_cases(small_design()):
        assert find_clashes(case.build()) == (), case.name


def test_trust_holds_methods_against_the_wave_solver(methods: Trust) -> None:
    assert methods.methods == ("rays", "images")
    exact = np.array([row.coverage.window_level_db for row in methods.rows[REFERENCE]])
    rays = np.array([row.coverage.window_level_db for row in methods.rows["rays"]])
    assert methods.difference_db("rays") == pytest.approx(rays - exact)
    assert methods.rms_db("rays") == pytest.approx(np.sqrt(np.mean((rays - exact) ** 2, axis=0)))
    table = trust_tables(methods).table("bands")
    assert table.values("rays_rms_db") == pytest.approx(methods.rms_db("rays"))


def test_trust_picture_shades_what_is_believed(methods: Trust) -> None:
    figure = trust_figure(methods)
    names = [text.get_text() for text in figure.legends[0].get_texts()]
    assert names == ["rays", "images", "believed"]
    (drawn, *_) = (patch for patch in figure.axes[0].patches if isinstance(patch, StepPatch))
    assert drawn.get_data().values == pytest.approx(methods.rms_db("rays"))
    for check in (check_files, check_lettering, check_units):
        check(figure)


class _Made(Trust):
    """A trust study whose differences are given."""

    def difference_db(self, method: str) -> np.ndarray:
        return np.array([[9.0, 1.0, 2.0, 9.0, 3.0, 2.9, 1.0, 9.0]])


def test_a_method_is_believed_in_its_longest_unbroken_range(methods: Trust) -> None:
    centres = 1000.0 * 10.0 ** (0.1 * np.arange(8))
    made = _Made(methods.design, ("one",), centres, {"waves": (), "rays": ()})
    assert made.believed("rays") == pytest.approx((centres[4], centres[6]))


def test_a_range_shorter_than_an_octave_is_two_curves_that_cross(methods: Trust) -> None:
    centres = 1000.0 * 10.0 ** (0.1 * np.arange(6))
    crossing = np.array([[9.0, 6.0, 2.0, -1.0, -4.0, -9.0]])
    pooled = _Pooled(methods.design, ("one",), centres, {"waves": (), "rays": ()}, crossing)
    assert pooled.believed("rays") is None


def test_a_method_outside_its_range_warns_once_with_numbers() -> None:
    """Edges up to ka 3 of a cone of 52 mm, 3.15 kHz; rays nowhere."""
    design = small_design(("band = [630, 1250]", "band = [4000, 5000]"))
    problem = problem_of(design, design.assembly(), 4)
    limit = 3.0 * design.air.speed / (2.0 * np.pi * 0.052)
    for method, words in (
        ("rays", "reasons, not levels"),
        ("edges", f"up to {limit:.0f} Hz only"),
    ):
        told = [one for one in checks.remarks_after(SOLVERS[method](problem)) if "believe" in one]
        assert len(told) == 1 and words in told[0]


def test_rays_stand_beside_the_wave_solver_in_a_trim() -> None:
    few = ("keep = { from = 15, to = 55, step = 1 }", "keep = [20, 40]")
    stays = ('hold = "nothing"', 'hold = "plate gap"')
    found = trim(small_design(few, stays), solve_waves)
    opinion = found.rays_opinion
    candidates = [cut_candidate(found.design, cut.ball_diameter, cut.keep) for cut in found.cuts]
    alone = run(found.design, candidates, partial(SOLVERS["rays"], rays=OPINION_RAYS), 4, "rays")
    favourite = min(zip(alone, found.cuts, strict=True), key=lambda pair: pair[0].score)[1]
    assert opinion.favourite is favourite
    assert favourite.row.response.method == "waves"
    assert opinion.best_by_rays.response.method == "rays"
    by_rays = next(row for row, cut in zip(alone, found.cuts, strict=True) if cut is found.best)
    apart = by_rays.coverage.window_level_db - found.best.row.coverage.window_level_db
    assert abs(apart[opinion.widest]) == max(abs(apart))
    assert opinion.agrees == (favourite is found.best)
    # What the choice passed over, whatever its score, is never told as a height that leads.
    other = next(cut for cut in found.cuts if cut is not found.best)
    disagreeing = replace(opinion, favourite=other)
    assert "passed over" not in _rays(replace(found, rays_opinion=disagreeing))[0]
    solved = other.row.found
    hollow = replace(solved.scorecard, hollow=HOLLOW_LIMIT_DB + 1.0)
    row = replace(other.row, found=replace(solved, scorecard=hollow))
    disagreeing = replace(opinion, favourite=replace(other, row=row))
    said = _rays(replace(found, rays_opinion=disagreeing))[0]
    assert "by the wave solver that is passed over." in said


@pytest.mark.long
def test_believed_ranges_are_those_that_the_examples_give() -> None:
    squares: dict[str, list[np.ndarray]] = {}
    for name in ("reading_room", "reading_room_cone", "reading_room_coaxial"):
        path = EXAMPLES / f"{name}.toml"
        found = trust(parse_design(path.read_text(encoding="utf-8"), path), SOLVERS)
        for method in found.methods:
            squares.setdefault(method, []).append(found.difference_db(method))
    for method, differences in squares.items():
        pooled = _Pooled(found.design, (), found.centres, {method: ()}, np.vstack(differences))
        believed, ka = pooled.believed(method), checks.BELIEVED_KA[method]
        if ka is None:
            assert believed is None
        else:
            # The cones of the three examples are alike.
            assert (believed[0], pooled.ka(believed[1])) == pytest.approx((100.0, ka), rel=0.01)


class _Pooled(Trust):
    """Differences of several trust studies taken together."""

    def __init__(self, design, cases, centres, rows, differences: np.ndarray) -> None:
        super().__init__(design, cases, centres, rows)
        object.__setattr__(self, "differences", differences)

    def difference_db(self, method: str) -> np.ndarray:
        return self.differences


def swinging(level_db: float) -> PostsStudy:
    """Posts that make every band swing three times round by this much either way."""
    design = small_design()
    azimuths = np.arange(360.0)
    centres = third_octave_centres(100.0, 10000.0)
    swing = np.tile(level_db * np.cos(3.0 * np.radians(azimuths)), (centres.size, 1))
    ripple = Ripple(design.assembly().posts, azimuths, centres, swing, design.window_deg)
    return PostsStudy(design, {"3 x 6 mm": ripple}, {})


def test_posts_are_held_against_the_limits_of_iso_3382_1() -> None:
    """Limits 1 dB up to 500 Hz, 3 dB at 1 kHz and more above; an arc smooths little of 3 lobes."""
    told = posts_tables(swinging(2.0))
    table = told.table("arcs")
    assert table.values("limit_db") == (1.0, 1.0, 1.0, 3.0, 5.0, 6.0, None)
    expected = float(gliding_deviation_db(2.0 * np.cos(3.0 * np.radians(np.arange(360.0)))))
    assert 1.0 < expected < 3.0
    assert table.values("arcs_3_x_6_mm_db") == pytest.approx([expected] * 7)
    (sentence,) = [line for line in told.answer if "ISO 3382-1" in line]
    assert "go beyond that at 125 Hz, 250 Hz and 500 Hz" in sentence
    assert f"{expected:.2f} dB off" in sentence
    (fine,) = [line for line in posts_tables(swinging(0.2)).answer if "ISO 3382-1" in line]
    assert "keep within that" in fine


def test_a_band_without_a_whole_octave_says_nothing_of_arcs() -> None:
    study = swinging(3.0)
    short = replace(study.own, centres=study.own.centres[:2], level_db=study.own.level_db[:2])
    told = posts_tables(replace(study, ripples={"3 x 6 mm": short}))
    assert all(table.name != "arcs" for table in told.tables)
    assert not any("ISO 3382-1" in line for line in told.answer)
