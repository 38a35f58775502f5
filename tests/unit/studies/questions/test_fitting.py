"""Sizes fitted to readings: found, bounded, separated or not, never claimed to be known better.

Most of it runs on a made-up solver whose levels are straight lines in the sizes, so that what must
come out follows from formulas.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from dispersion.bands import third_octave_centres
from dispersion.problem import Problem
from dispersion.reference import Reference, flat
from dispersion.response import Response
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from shapes.clashes import find_clashes
from studies.design import Design, DesignError, parse_design
from studies.design.fit_table import CONE_LOSS
from studies.design.parameters import REACH, cone_loss, parameter_text, parameters_of
from studies.measured.hung import Hung
from studies.measured.positions import MeasuredBands, Position
from studies.questions.overlay.cross_validation import MOST_GROUPS, groups_of
from studies.questions.overlay.estimating import (
    STATED_COUNTS,
    centred,
    correlations_of,
    covariance_of,
    degrees_of_freedom,
    free_readings,
    half_width,
    level_error,
    residual_deviation,
)
from studies.questions.overlay.fit_tables import fitting_tables
from studies.questions.overlay.fit_words import fit_words
from studies.questions.overlay.fitted_file import PREFIX, fitted_files, fitted_text
from studies.questions.overlay.fitting import FitError, Fitted
from studies.questions.overlay.fitting import fit as fit_at
from studies.questions.overlay.off_axis import OffAxis
from studies.questions.overlay.search import ALONG
from studies.questions.overlay.trials import MOST_EVALUATIONS
from studies.solving.grid import COARSE_BY_NEED, Fineness
from studies.solving.memory import Remembering

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
CENTRES = third_octave_centres(2000, 5000)
HEIGHTS = (0.5, 0.8, 0.93, 1.1, 1.4, 1.8)
PLACES = tuple(Position(f"at {height:g} m", 1.0, height) for height in HEIGHTS)
SIZES = ("effective diameter", "shrink frequency", "driver proud height", "plate gap", "keep")
fit = partial(fit_at, fineness=4)
LESS_THAN_A_STEP = 1e-2
"""Prior widths: the search stops when it gains less than a thousandth of its cost."""


def example(
    *pairs: tuple[str, str], name: str = "reading_room.toml", whole: bool = False
) -> Design:
    """An example with a narrow band, without what a fit does not need unless it is asked for."""
    path = EXAMPLES / name
    text = path.read_text(encoding="utf-8")
    if not whole:
        text = text.split("[trim]")[0]
    for old, new in (('band = ["100 Hz", "16 kHz"]', "band = [2000, 5000]"), *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_design(text, path)


def widths_in(problem: Problem) -> np.ndarray:
    """How many prior widths the sizes of a problem are from the example as written, (5,)."""
    assembly, (way,) = problem.assembly, problem.ways
    return np.array(
        [
            (2.0 * assembly.driver.effective_radius - 0.104) / (0.05 * 0.104),
            np.log2(way.lets_go.frequency / 4000.0) / 0.5,
            (assembly.driver.proud - 0.003) / 2e-3,
            (assembly.plate_gap - 0.060) / 2e-3,
            (assembly.reflector.height - 0.044) / 1.5e-3,
        ]
    )


def patterns(problem: Problem) -> np.ndarray:
    """Change of the level by each size, (5, F, P) dB for each prior width: all of them unlike."""
    x = 2.0 * np.log2(problem.frequencies / 3000.0)[:, None]
    y = 2.0 * problem.points[None, :, 1]
    return np.array(
        [
            np.cos(x + y),
            x * y,
            np.sin(2.0 * x - y),
            np.cos(2.0 * y) * x,
            np.sin(3.0 * y) * (1.0 + x),
        ]
    )


def straight(
    problem: Problem,
    progress: Callable[[int], None] | None = None,
    shape: Callable[[np.ndarray], np.ndarray] = lambda slopes: slopes,
) -> Response:
    """Solve nothing: levels are straight lines in the sizes."""
    levels = np.tensordot(widths_in(problem), shape(patterns(problem)), 1)
    if progress is not None:
        progress(len(problem.frequencies))
    count = len(problem.frequencies)
    return Response(
        problem=problem,
        reference=Reference(problem.ways, flat(len(problem.ways))),
        method="waves",
        settings={},
        far_by_way=np.ones((1, count, len(problem.elevations)), dtype=complex),
        near_by_way=10.0 ** (levels[None] / 20.0) + 0j,
        power_error_db=np.zeros((1, count)),
        unknowns=np.full(count, 100),
    )


def readings(
    built: Design,
    noise_db: float = 0.0,
    seed: int = 6,
    places: tuple[Position, ...] = PLACES,
    solver: Callable[..., Response] = straight,
    fineness: Fineness = 4,
) -> MeasuredBands:
    """What a meter reads on a speaker: its own zero, a driver with a curve, and noise."""
    from studies.solving.predicting import predict

    found = predict(built, built.assembly(), places, solver, fineness)
    curve = np.linspace(-2.0, 3.0, len(found.centres))
    noise = np.random.default_rng(seed).normal(0.0, noise_db, found.level_db.shape)
    return MeasuredBands(places, found.centres, found.level_db + 84.0 + curve + noise)


GAP_AND_KEEP = (("plate_gap = 60 ", "plate_gap = 61.5 "), ("keep = 44 ", "keep = 42.7 "))


@pytest.fixture(scope="module")
def true() -> Fitted:
    """A speaker with another plate gap and another keep, read all but perfectly."""
    return fit(example(whole=True), readings(example(*GAP_AND_KEEP)), straight, stated_db=0.02)


def of(fitted: Fitted, name: str) -> object:
    return next(one for one in fitted.estimates if one.parameter.name == name)


# Formulas ----------------------------------------------------------------------------------------


def test_removing_what_is_common_is_fitting_it_along() -> None:
    """Against ordinary least squares with one unknown a band, or one in all."""
    random = np.random.default_rng(1)
    values, known = random.normal(size=(4, 3)), random.random((4, 3)) > 0.2
    flat, band = values[known], np.nonzero(known)[1]
    for by_band, columns in (
        (True, (band[:, None] == np.arange(3))),
        (False, np.ones((len(flat), 1))),
    ):
        columns = columns.astype(float)
        left = flat - columns @ np.linalg.lstsq(columns, flat, rcond=None)[0]
        assert centred(values, known, by_band=by_band) == pytest.approx(left, abs=1e-12)
        assert free_readings(known, by_band=by_band) == len(flat) - np.linalg.matrix_rank(columns)


def test_covariance_is_that_of_all_unknowns_together() -> None:
    """Sizes and level in one system: the same block, and the same error of the level."""
    random = np.random.default_rng(2)
    known = np.ones((6, 4), dtype=bool)
    slopes = random.normal(size=(3, 6, 4))
    together = np.vstack((slopes.reshape(3, -1), np.ones(24)))
    information = together @ together.T / 0.7**2 + np.diag([1.0, 1.0, 1.0, 0.0])
    both = np.linalg.inv(information)
    assert covariance_of(centred(slopes, known, by_band=False), 0.7) == pytest.approx(both[:3, :3])
    # t(0.975; 10) = 2.228 (any table of the t-distribution)
    error = level_error(slopes.reshape(3, -1), 0.7, 10.0)
    assert error == pytest.approx(2.228 * np.sqrt(both[3, 3]), rel=1e-3)


def test_scale_is_stated_where_nothing_is_read_and_found_where_much_is() -> None:
    assert residual_deviation(np.zeros(0), 1.8, degrees_of_freedom(0, 0)) == pytest.approx(1.8)
    many = np.random.default_rng(3).normal(0.0, 0.4, 40_000)
    assert residual_deviation(many, 1.8, degrees_of_freedom(many.size, 0)) == pytest.approx(
        0.4, rel=0.02
    )
    few = residual_deviation(np.full(4, 0.4), 1.8, STATED_COUNTS + 4.0)
    assert few == pytest.approx(np.sqrt(0.5 * (1.8**2 + 0.4**2)))


@pytest.mark.parametrize("noise_db", [0.2, 1.8])
def test_intervals_cover(noise_db: float) -> None:
    """Sizes off as their priors say, readings with noise: 95 % intervals hold them as often.

    Where the noise is less than stated (1.8 dB) they may hold them more often, never less.
    """
    random = np.random.default_rng(4)
    known, tried, held = np.ones((6, 5), dtype=bool), 400, 0
    for _ in range(tried):
        slopes, sizes = random.normal(size=(4, 6, 5)), random.normal(size=4)
        flat = centred(slopes, known, by_band=True)
        read = centred(np.tensordot(sizes, slopes, 1), known, by_band=True)
        read = read + centred(random.normal(0.0, noise_db, (6, 5)), known, by_band=True)
        freedom = degrees_of_freedom(free_readings(known, by_band=True), 4)
        scale, found = 1.8, np.zeros(4)
        for _ in range(4):
            covariance = covariance_of(flat, scale)
            found = covariance @ flat @ read / scale**2
            scale = residual_deviation(read - found @ flat, 1.8, freedom)
        held += np.sum(np.abs(found - sizes) <= half_width(covariance_of(flat, scale), freedom))
    share = held / (4 * tried)
    # Three standard errors of a share of 0.95 among 1600.
    assert share >= 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / (4 * tried))
    assert noise_db < 1.8 or share <= 0.99


# Finding sizes -----------------------------------------------------------------------------------


def test_true_sizes_are_found_whatever_driver_and_meter(true: Fitted) -> None:
    assert true.settled
    assert true.curve_removed
    assert true.level_db is None
    for name, value in (("plate gap", 0.0615), ("keep", 0.0427)):
        one = of(true, name)
        assert abs(one.value - value) < LESS_THAN_A_STEP * one.parameter.prior
        assert one.low < value < one.high
        assert one.differs
        assert one.determined
    for name in ("effective diameter", "shrink frequency", "driver proud height"):
        assert not of(true, name).differs
    assert true.residuals.rms_fitted_db < 0.02 < true.residuals.rms_written_db
    assert true.held_out.improved


def test_a_frequency_of_which_others_fit_as_well_is_not_known() -> None:
    """A made-up cone that sounds alike at every frequency that is tried: nine values from bound to
    bound, so the prior alone is left of it, a deviation of 1; its Jacobian says less than 0.1."""

    def alike(problem: Problem, progress: Callable[[int], None] | None = None) -> Response:
        (way,) = problem.ways
        period = 2.0 * REACH / (ALONG - 1) * 0.5  # octaves
        waves = np.sin(2.0 * np.pi * np.log2(way.lets_go.frequency / 4000.0) / period)
        same = replace(way, lets_go=replace(way.lets_go, frequency=4000.0 * 2.0 ** (0.5 * waves)))
        found = straight(replace(problem, ways=(same,)), progress)
        return replace(found, problem=problem)

    design = example()
    found = fit(design, readings(design, solver=alike), alike, stated_db=0.05)
    place = [one.parameter.name for one in found.estimates].index("shrink frequency")
    assert found.estimates[place].width_left == pytest.approx(1.0, abs=0.1)
    assert not found.estimates[place].determined
    said = " ".join(fit_words(found))
    assert "Other values of the shrink frequency fit about as well as" in said
    assert "next to nothing" not in said
    # The other sizes are as sure as they were.
    sure = [one.width_left for n, one in enumerate(found.estimates) if n != place]
    assert max(sure) < 0.2


def test_the_search_begins_where_a_frequency_promises_most() -> None:
    """A made-up cone whose levels rise by w + 0.6 sin 3w of the prior widths w: with 2 true, steps
    from 0 end at the bend where 1 + 1.8 cos 3w = 0, w = 0.72, 5.1 kHz."""

    def bent(problem: Problem, progress: Callable[[int], None] | None = None) -> Response:
        (way,) = problem.ways
        widths = np.log2(way.lets_go.frequency / 4000.0) / 0.5
        moved = 4000.0 * 2.0 ** (0.5 * (widths + 0.6 * np.sin(3.0 * widths)))
        same = replace(way, lets_go=replace(way.lets_go, frequency=moved))
        return replace(straight(replace(problem, ways=(same,)), progress), problem=problem)

    built = example(('above = "4 kHz"', 'above = "8 kHz"'))
    found = of(fit(example(), readings(built, solver=bent), bent, stated_db=0.05), SIZES[1])
    assert found.low < 8000.0 < found.high
    assert found.value == pytest.approx(8000.0, rel=0.01)


def test_it_stays_within_its_solves(true: Fitted) -> None:
    reported: list[tuple[str, int, int]] = []
    noisy = readings(example(*GAP_AND_KEEP), 1.5)
    fitted = fit(example(), noisy, straight, lambda *some: reported.append(some))
    assert max(true.evaluations, fitted.evaluations) <= MOST_EVALUATIONS
    assert reported[-1][1] == reported[-1][2]
    done = [count for _, count, _ in reported]
    assert done == sorted(done)


def test_noise_alone_does_not_move_sizes_out_of_their_intervals() -> None:
    held = []
    for seed in range(4):
        fitted = fit(example(), readings(example(), 0.5, seed), straight)
        held += [one.low <= one.parameter.written <= one.high for one in fitted.estimates]
        written, found = fitted.held_out.rms_written_db, fitted.held_out.rms_fitted_db
        assert abs(found - written) < 0.5 * written
    # Twenty intervals of 95 %: fewer than 17 hold what is true once in 370 times (binomial).
    assert sum(held) >= 17


def test_a_level_is_fitted_where_the_driver_is_known() -> None:
    design = example()
    built = readings(example(*GAP_AND_KEEP))
    flat = replace(built, level_db=built.level_db - np.linspace(-2.0, 3.0, len(built.centres)))
    fitted = fit(design, flat, straight, curve_removed=False, stated_db=0.02)
    assert fitted.level_db == pytest.approx(84.0, abs=fitted.level_error_db)
    assert fitted.level_error_db < 0.1
    assert abs(of(fitted, "plate gap").value - 0.0615) < 2e-3 * LESS_THAN_A_STEP
    assert "One level was fitted along, +84.0 dB" in " ".join(fit_words(fitted))


def test_missing_readings_are_left_out() -> None:
    design, built = example(), readings(example(*GAP_AND_KEEP))
    levels = built.level_db.copy()
    levels[np.random.default_rng(5).random(levels.shape) < 0.2] = np.nan
    levels[1:, -1] = np.nan  # one reading in the last band says nothing of a size
    fitted = fit(design, replace(built, level_db=levels), straight, stated_db=0.02)
    assert fitted.measured.centres[-1] < CENTRES[-1]
    assert abs(of(fitted, "keep").value - 0.0427) < 1.5e-3 * LESS_THAN_A_STEP


def alike(slopes: np.ndarray) -> np.ndarray:
    """Keep does to every level what the plate gap does, only more."""
    return np.array([*slopes[:4], 1.5 * slopes[3]])


def test_sizes_that_cannot_be_separated_are_named() -> None:
    solver = partial(straight, shape=alike)
    fitted = fit(example(), readings(example(*GAP_AND_KEEP), solver=solver), solver, stated_db=0.1)
    (pair,) = fitted.inseparable
    one, other = pair.one, pair.other
    assert {one.name, other.name} == {"plate gap", "keep"}
    assert pair.correlation < -0.9
    words = " ".join(fit_words(fitted))
    assert "cannot tell plate gap from keep" in words
    assert "a larger plate gap and a larger keep undo each other" in words
    # The priors part what they share as they are wide and as it counts: 1 to 1.5 in prior widths.
    gap, keep = (one.widths_of(of(fitted, one.name).value) for one in (one, other))
    assert keep == pytest.approx(1.5 * gap, abs=0.05)


def deaf(slopes: np.ndarray) -> np.ndarray:
    """The plate gap changes nothing."""
    return slopes * np.array([1.0, 1.0, 1.0, 0.0, 1.0])[:, None, None]


def test_a_size_of_which_readings_say_nothing_stays_as_written() -> None:
    solver = partial(straight, shape=deaf)
    fitted = fit(example(), readings(example(*GAP_AND_KEEP), solver=solver), solver, stated_db=0.1)
    gap = of(fitted, "plate gap")
    assert not gap.determined
    assert gap.width_left == pytest.approx(1.0)
    assert gap.value == pytest.approx(0.060)
    assert not fitted.inseparable
    assert "next to nothing of plate gap" in " ".join(fit_words(fitted))
    assert fitting_tables(fitted)[0].values("remark")[3] == "not told"


def test_a_size_at_its_bound_is_named() -> None:
    far = readings(example(("plate_gap = 60 ", "plate_gap = 70 ")))
    fitted = fit(example(), far, straight, stated_db=0.02)
    gap = of(fitted, "plate gap")
    assert gap.at_bound
    assert gap.value == pytest.approx(0.060 + REACH * 2e-3, abs=1e-4)
    assert "The plate gap stands at the end of what it may be" in " ".join(fit_words(fitted))


TAKES = ("[air]", "[walls]\ncone = { admittance = 0.024 }\n\n[air]")


def taking(problem: Problem, progress: Callable[[int], None] | None = None) -> Response:
    """As `straight`, and the cone's admittance changes levels in a way of its own."""
    response = straight(problem, progress)
    cone = dict(problem.walls.absorbers).get("cone")
    beta = 0.0 if cone is None else cone.absorber.beta.real
    x = 2.0 * np.log2(problem.frequencies / 3000.0)[:, None]
    levels = 20.0 * beta * np.sin(x - 4.0 * problem.points[None, :, 1])
    return replace(response, near_by_way=response.near_by_way * 10.0 ** (levels / 20.0))


def test_what_the_cone_takes_is_found_with_its_doubt_and_written() -> None:
    built = readings(example(*GAP_AND_KEEP, TAKES), solver=taking)
    fitted = fit(example(), built, taking, stated_db=0.02, with_cone=True)
    cone = of(fitted, "cone's admittance")
    assert abs(cone.value - 0.024) < LESS_THAN_A_STEP * cone.parameter.prior
    assert 0.0 < cone.low < 0.024 < cone.high < 0.1
    assert (cone.differs, cone.at_bound) == (True, False)
    said = " ".join(fit_words(fitted))
    assert "cone's admittance 2.4 %, 95 % interval" in said
    assert "where 0.0 % is written" in said
    # 4 beta / (1 + beta)^2 of 0.024.
    assert "above 4 kHz the cone takes 9 per cent of the sound that meets it head on" in said
    again = parse_design(fitted_text(fitted), fitted.design.path)
    absorber = dict(again.walls.absorbers)["cone"].absorber
    assert absorber.beta == pytest.approx(cone.value)
    # Without being asked for, it is no size of the fit.
    assert len(fit(example(), built, taking).estimates) == len(SIZES)


@pytest.mark.slow
def test_a_driver_is_found_by_waves_within_the_stated_intervals() -> None:
    """Readings of a short speaker, bare and under a tall cap, with noise: another gap, another
    cone of known loss that lets go elsewhere."""
    short = (("height = 900 ", "height = 100 "), ("band = [2000, 5000]", "band = [4000, 6300]"))
    written = example(*short, ('above = "4 kHz"', 'above = "2.5 kHz"'))
    built = example(
        *short,
        ('above = "4 kHz"', 'above = "3.4 kHz"'),
        ("cone_depth = 22 ", "cone_depth = 20.5 "),
        GAP_AND_KEEP[0],
        (TAKES[0], TAKES[1].replace("0.024", "0.03")),
    )
    solver = partial(solve_waves, shared=SharedBlocks(), store=Remembering(None), workers=1)
    places = tuple(replace(place, height=place.height - 0.8) for place in PLACES[1:])
    both = (*at(BARE, places), *at(UNCUT, places))
    read = readings(built, 0.1, places=both, solver=solver, fineness=COARSE_BY_NEED)
    fitted = fit_at(written, read, solver, None, COARSE_BY_NEED, stated_db=0.3, with_cone=True)
    for name, value in (("depth of the cone", 0.0205), ("shrink frequency", 3400.0)):
        assert of(fitted, name).low < value < of(fitted, name).high
        assert of(fitted, name).determined
    cone, gap = of(fitted, CONE_LOSS), of(fitted, "plate gap")
    assert (cone.determined, cone.differs) == (True, True)
    assert 0.0 < cone.low < 0.03 < cone.high < 0.1
    assert gap.low < 0.0615 < gap.high
    # 4 beta / (1 + beta)^2: 11.3 per cent for the 0.03 that is true.
    low, _, high = fitted.cone.taken_head_on
    assert low < 0.113 < high


def test_a_hard_cone_stays_at_zero_and_is_no_bound_to_wonder_about() -> None:
    fitted = fit(example(), readings(example()), taking, stated_db=0.02, with_cone=True)
    cone = of(fitted, "cone's admittance")
    assert cone.value == pytest.approx(0.0, abs=1e-3)
    assert (cone.low, cone.differs, cone.at_bound) == (0.0, False, False)


@pytest.mark.parametrize(
    ("walls", "said"),
    [
        ('cone = "bare foam"', r"walls\.cone: says what the cone takes.*leave out --fit-cone"),
        ('losses = "none"', r"walls\.losses: is \"none\".*leave out --fit-cone"),
    ],
)
def test_a_cone_that_the_file_knows_is_not_fitted(walls: str, said: str) -> None:
    design = example(("[air]", f"[walls]\n{walls}\n\n[air]"))
    with pytest.raises(DesignError, match=said):
        fit(design, readings(example()), taking, with_cone=True)


def test_a_cone_is_not_fitted_where_it_takes_nothing() -> None:
    design = example(('above = "4 kHz"', 'above = "6 kHz"'))
    with pytest.raises(FitError, match="no reading lies above 6000 Hz"):
        fit(design, readings(example()), taking, with_cone=True)


@pytest.mark.parametrize(
    "walls",
    ["", '[walls]\nbaffle = "cork"', '[walls.felt_on_baffle]\nmaterial = "felt 5 mm"'],
    ids=["none", "table", "table within"],
)
def test_the_cone_is_written_beside_other_walls(walls: str) -> None:
    design = example(("[air]", f"{walls}\n\n[air]"))
    text = parameter_text(design, [cone_loss(design)], [0.0125])
    again = parse_design(text, design.path)
    assert dict(again.walls.absorbers)["cone"].absorber.beta == 0.0125
    assert set(design.walls.absorbers) < set(again.walls.absorbers)


def test_a_frame_does_not_sink_below_the_baffle() -> None:
    design = example(("proud = 3 ", "proud = 1 "))
    flush = readings(example(("proud = 3 ", "proud = 0 ")))
    # Levels of `straight` are counted from 3 mm: the common part of what is written drops out.
    proud = of(fit(design, flush, straight, stated_db=0.02), "driver proud height")
    assert proud.low == 0.0
    assert 0.0 <= proud.value < 2e-3 * 2 * LESS_THAN_A_STEP


def at(hung: Hung, places: tuple[Position, ...] = PLACES) -> tuple[Position, ...]:
    return tuple(replace(one, name=f"{one.name}, {hung}", hung=hung) for one in places)


BARE, UNCUT = Hung(nothing=True), Hung(taller=0.008)
BOTH = (*at(BARE), *at(UNCUT))


def hanging(problem: Problem, progress: Callable[[int], None] | None = None) -> Response:
    """Under a cap the plate gap does what the diameter does; over the bare column nothing of it."""
    shape, solved = problem.assembly, problem
    if shape.reflector is None:
        cap = replace(example().assembly(), driver=shape.driver)
        solved = replace(problem, assembly=cap)

    def slopes(every: np.ndarray) -> np.ndarray:
        diameter, shrink, proud, _, keep = every
        there = 0.0 if shape.reflector is None else 1.0
        return np.array([diameter, shrink, proud, there * diameter, there * keep])

    return replace(straight(solved, progress, slopes), problem=problem)


def test_bare_column_and_uncut_cap_tell_together_what_neither_tells_alone() -> None:
    design, larger = example(), ("effective_diameter = 104 ", "effective_diameter = 106 ")
    built = example(larger, *GAP_AND_KEEP)
    found = {
        name: fit(design, readings(built, places=places, solver=hanging), hanging, stated_db=0.02)
        for name, places in (("bare", at(BARE)), ("uncut", at(UNCUT)), ("both", BOTH))
    }
    for name, value in (("effective diameter", 0.106), ("plate gap", 0.0615), ("keep", 0.0427)):
        one = of(found["both"], name)
        assert abs(one.value - value) < LESS_THAN_A_STEP * one.parameter.prior
        assert one.low < value < one.high
    assert not of(found["bare"], "plate gap").determined
    assert {"effective diameter", "plate gap"} == {
        size.name for pair in found["uncut"].inseparable for size in (pair.one, pair.other)
    }
    assert not found["both"].inseparable
    # What is left of the doubt is written with its correlations, and read back.
    known = parse_design(fitted_text(found["both"]), EXAMPLES / "fitted.toml").known
    names = [one.parameter.name for one in found["both"].estimates]
    places = [names.index(size) for size in known.sizes]
    assert known.sizes == (*SIZES[:3], "depth of the cone", "height of the dust cap")
    assert correlation(known.covariance) == pytest.approx(
        correlation(found["both"].covariance[np.ix_(places, places)]), abs=1e-3
    )


def correlation(covariance: np.ndarray) -> np.ndarray:
    deviation = np.sqrt(np.diag(covariance))
    return covariance / np.outer(deviation, deviation)


def test_a_height_that_was_measured_before_the_cut_must_fit_in_every_trial() -> None:
    """52 mm and 8 mm more just fit under a plate at 60 mm: a quarter of a prior more does not."""
    design = example(("keep = 44 ", "keep = 52 "))
    tall = replace(UNCUT, taller=UNCUT.taller + 0.25 * 1.5e-3)
    assert find_clashes(tall.of(design.assembly()))
    built = readings(example(("keep = 44 ", "keep = 51 ")), places=BOTH, solver=hanging)
    fitted = fit(design, built, hanging, stated_db=0.05)
    assert not find_clashes(UNCUT.of(fitted.fitted.assembly()))
    assert of(fitted, "keep").value == pytest.approx(0.051, abs=1.5e-3 * 2 * LESS_THAN_A_STEP)


def test_what_cannot_be_built_is_stepped_round() -> None:
    """The tip all but touches the cone as written: many steps would make it touch."""
    tight = ("keep = 44 ", "keep = 52 ")
    design = example(tight)
    built = readings(example(("keep = 44 ", "keep = 51 ")))
    fitted = fit(design, built, straight, stated_db=0.05)
    assert not find_clashes(fitted.fitted.assembly())
    assert of(fitted, "keep").value == pytest.approx(0.051, abs=1.5e-3 * 2 * LESS_THAN_A_STEP)


# Refusals ----------------------------------------------------------------------------------------


def test_one_position_is_refused_unless_the_driver_is_known() -> None:
    design, one = example(), readings(example(*GAP_AND_KEEP), places=PLACES[:1])
    with pytest.raises(FitError, match=r"two positions or more.*\[driver\] curve"):
        fit(design, one, straight)
    with pytest.raises(FitError, match="too few for 5 sizes"):
        fit(design, one, straight, curve_removed=False)
    # More bands: eleven readings are enough, but no angle can be left out.
    wide = example(("proud = 3 ", "proud = 3 "))
    wide = replace(
        wide, tables=wide.tables.model_copy(update={"target": wide.tables.target.model_copy(
            update={"band": (500.0, 5000.0)})})
    )  # fmt: skip
    fitted = fit(design, readings(wide, places=PLACES[:1]), straight, curve_removed=False)
    assert fitted.held_out is None
    assert "No angle could be left out" in " ".join(fit_words(fitted))


def test_too_few_readings_are_refused_with_the_count() -> None:
    two = readings(example(), places=PLACES[:2])
    with pytest.raises(FitError, match="10 readings, of which 5 go to the driver.*Measure in more"):
        fit(example(), two, straight)
    nothing = replace(two, level_db=np.full(two.level_db.shape, np.nan))
    with pytest.raises(FitError, match="two positions or more"):
        fit(example(), nothing, straight)


# Holding out -------------------------------------------------------------------------------------


def test_places_are_left_out_together_and_each_once() -> None:
    round_about = tuple(Position(f"{n}", 1.0, 0.5 + 0.1 * (n // 2), 60.0 * n) for n in range(24))
    groups = groups_of(round_about, np.arange(24) != 23)
    assert len(groups) == MOST_GROUPS
    assert sorted(one for group in groups for one in group) == list(range(23))
    assert all({one ^ 1 for one in group} - {23} <= set(group) | {22} for group in groups)


def test_a_fit_that_learned_nothing_general_is_not_recommended(true: Fitted) -> None:
    held = replace(true.held_out, fitted_db=2.0 * true.held_out.written_db)
    assert "Do not use it" in " ".join(fit_words(replace(true, held_out=held)))
    assert "knows something of angles" in " ".join(fit_words(true))
    same = replace(true.held_out, fitted_db=true.held_out.written_db)
    assert "adds nothing" in " ".join(fit_words(replace(true, held_out=same)))


# The fitted design -------------------------------------------------------------------------------


def test_the_fitted_design_is_the_users_text_and_the_very_thing_solved(true: Fitted) -> None:
    files = fitted_files(true)
    text = files["fitted.toml"].decode()
    read = parse_design(text, EXAMPLES / "fitted.toml")
    assert read.assembly() == true.fitted.assembly() == true.response.problem.assembly
    assert read.ways == true.fitted.ways == true.response.problem.ways
    assert read.title == PREFIX + true.design.title
    old, new = true.design.text.splitlines(), text.splitlines()
    changed = [line for line in old if line not in new]
    # Title, plate gap, effective diameter, proud, lets_go, keep: one line each, comments kept.
    assert len(changed) == 6
    assert any(line.startswith("plate_gap = ") and "# baffle face" in line for line in new)
    assert set(files) == {"fitted.toml", *(name for name, _ in true.design.companions)}
    assert "# plate gap: 61.5 mm" in text
    assert fitted_files(true) == files


def test_the_fitted_design_says_how_sure_it_is_of_its_driver(true: Fitted) -> None:
    known = parse_design(fitted_text(true), EXAMPLES / "fitted.toml").known
    assert known.sizes == SIZES[:3]
    # Prior widths: 5 per cent of the diameter, half an octave, 2 mm.
    widths = np.array([0.05 * 0.104, 0.5, 2e-3])
    expected = true.covariance[:3, :3] * np.outer(widths, widths)
    assert known.covariance == pytest.approx(expected, rel=0.02, abs=1e-4 * expected.max())
    # Fitted once more it forgets: sizes that are tried are not those that were found.
    again = parameter_text(true.fitted, [], [])
    assert "[[fit]]" not in again


def test_a_design_of_that_name_is_not_written_over(true: Fitted) -> None:
    again = replace(true, design=replace(true.design, path=EXAMPLES / "fitted.toml"))
    assert set(fitted_files(again)) >= {"fitted_again.toml"}
    assert "fitted.toml" not in fitted_files(again)


@pytest.mark.parametrize(
    "pairs",
    [
        (("keep = 44 ", "cut_off = 136 "),),
        (("effective_diameter = 104 ", 'effective_area = "84.9 cm2" '),),
        (("plate_gap = 60 ", 'plate_gap = "2 3/8 in" '),),
        (("proud = 3 ", "# proud = 3 "),),
        (("recess = 0\n", "recess = 0\nlets_go.above = 4000\nlets_go.down_to = 34\n"),
         ("lets_go = {", "# lets_go = {")),
    ],
)  # fmt: skip
def test_every_way_of_writing_a_size_is_written_back(pairs: tuple[tuple[str, str], ...]) -> None:
    design = example(*pairs)
    parameters = parameters_of(design)
    assert tuple(one.name for one in parameters) == SIZES
    values = [one.at(0.4) for one in parameters]
    built = parse_design(parameter_text(design, parameters, values), design.path)
    for one, value, found in zip(parameters, values, parameters_of(built), strict=True):
        assert found.written == pytest.approx(value, abs=1e-7 if one.unit.symbol == "mm" else 1e-3)
        assert found.written != pytest.approx(one.written, rel=1e-4)
    for line in design.text.splitlines():
        if line.startswith("#"):
            assert line in parameter_text(design, parameters, values)


def test_other_reflectors_have_their_own_size() -> None:
    names = [one.name for one in parameters_of(example(name="reading_room_cone.toml"))]
    assert names[-1] == "half angle"
    bare = example(
        ('kind = "ball"\n', 'kind = "none"\n'),
        ("ball_diameter = 180 ", "# "),
        ("keep = 44 ", "# "),
    )
    assert [one.name for one in parameters_of(bare)][-1] == "plate gap"


def test_correlations_are_of_the_readings() -> None:
    slopes = np.array([[1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0, 4.1]])
    assert correlations_of(slopes, 0.1)[0, 1] < -0.99
    assert correlations_of(np.eye(2), 0.1) == pytest.approx(np.eye(2))


def test_the_text_names_what_was_fitted(true: Fitted) -> None:
    assert fitted_text(true).startswith("# Fitted by roundcast to measurements, from reading_room")
    assert "plate gap 61.5 mm" in fit_words(true)[0]


def test_what_azimuths_told_is_in_the_fitted_file_if_it_is_more_than_chance(true: Fitted) -> None:
    told = OffAxis(
        shift=0.00142,
        towards_deg=359.8,
        uncertainty=0.0002,
        rms_straight_db=0.5,
        rms_db=0.2,
        count=40,
    )
    text = fitted_text(true, off_axis=told)
    assert "only title, [askew] and these sizes" in text
    hangs = parse_design(text, EXAMPLES / "fitted.toml").tables.askew
    assert (hangs.shift, hangs.towards, hangs.tilt) == (pytest.approx(1.42e-3), 0.0, 0.0)
    assert "[askew]" not in fitted_text(true, off_axis=replace(told, uncertainty=0.001))
