"""Whether felt pays: what is laid where, what it takes, and what is said of it."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import cache, partial

import numpy as np
import pytest
from pictures import check_files, check_lettering, check_units
from small import small_design

from dispersion.absorbers import PorousLayer
from dispersion.problem import FAR_AWAY
from dispersion.response import Response, Settling
from dispersion.solvers import solve_waves
from dispersion.waves import SharedBlocks
from shapes.assembly import TopPlate
from studies.answer.evidence import evidence_of
from studies.answer.table import Findings
from studies.design import Design, DesignError, parse_design
from studies.questions.felt.felted_file import PREFIX, felted_files, felted_text
from studies.questions.felt.figures import felt_pictures
from studies.questions.felt.study import (
    BOTH,
    NO_FELT,
    PLACES,
    UNDER_PLATE,
    FeltStudy,
    _judged,
    felt,
    laid,
)
from studies.questions.felt.tables import felt_tables
from studies.solving.candidates import Candidate, Row, winner_of
from studies.solving.ensemble import Judged
from studies.solving.grid import run, solve_again

BAND = ("band = [500, 800]", 'band = ["5 kHz", "6.3 kHz"]')
AIR = "[air]\ntemperature"
SHORT = (
    ("width = 200\nheight = 900", "width = 200\nheight = 300"),
    ("# window = [0, 20]", "window = [0, 20]"),
)
SOLVE = partial(solve_waves, shared=SharedBlocks(), workers=1)


def walled(table: str, *pairs: tuple[str, str]) -> Design:
    return small_design(BAND, (AIR, f"[walls]\n{table}\n\n{AIR}"), *pairs)


@cache
def found() -> FeltStudy:
    return felt(small_design(BAND, *SHORT), SOLVE, fineness=4)


@cache
def told() -> Findings:
    return felt_tables(found())


def test_every_place_width_and_thickness_is_tried_beside_none() -> None:
    study = found()
    assert len(study.choices) == 1 + 3 * 3 * 2
    assert study.bare.row.assembly.baffle_felt is None
    assert all(choice.row.solved for choice in study.choices)
    widest = [c for c in study.choices if c.place == BOTH and c.share == 1.0]
    built = widest[0].row.assembly
    # From the frame of 130 mm to the flat of 194 mm; from the cap to the plate's flat.
    assert widest[0].widths[0] == pytest.approx(0.032)
    assert widest[0].widths[1] == pytest.approx(0.097 - built.reflector.widest_radius)
    assert sorted(c.thickness for c in widest) == [5e-3, 10e-3]


def test_felt_keeps_the_power_balance() -> None:
    """What the driver gives off is found far away or in the felt, 0.05 dB being a requirement."""

    def lost_db(response: Response) -> float:
        """Largest imbalance over what the driver gives off; it is told over what is left of it."""
        arrived = response.arrived_by_way[:, :, 0, 0].real
        far = arrived[:, response.problem.destinations.index(FAR_AWAY)] / arrived.sum(axis=1)
        share = (10.0 ** (0.1 * response.power_error_db[0]) - 1.0) * far
        return float(np.abs(10.0 * np.log10(1.0 + share)).max())

    assert max(lost_db(choice.row.response) for choice in found().choices) < 0.05
    changes = [found().power_change_db(choice) for choice in found().choices[1:]]
    assert all(abs(change).max() > 0.1 for change in changes)


def test_octaves_are_the_mean_power_of_their_thirds_in_the_band() -> None:
    study = found()
    choice = study.best_in(BOTH)
    (four, eight) = study.lost_by_octave(choice)
    assert (four.centre, eight.centre) == pytest.approx((3981.07, 7943.28), rel=1e-5)
    assert four.window_db == pytest.approx(-study.window_change_db(choice)[0])  # 5 kHz alone
    assert eight.power_db == pytest.approx(-study.power_change_db(choice)[1])


def test_the_least_felt_is_near_best_and_no_more_than_the_best() -> None:
    study = found()
    assert study.best.row is winner_of([choice.row for choice in study.choices])
    least, best = study.least, study.best_felt
    assert study.pays == study.gain(best).gains
    if study.pays:
        assert least.row.score <= best.row.score + study.design.target.near_best_db
        assert least is best or least.row.score <= study.bare.row.score - 0.1
        assert least.amount <= best.amount
    else:
        assert least is None
        assert study.chosen is study.bare


@pytest.mark.parametrize(
    ("agree", "verdict"), [(24, "real"), (19, "probable"), (14, "cannot be told apart")]
)
def test_felt_pays_only_where_drivers_and_builds_bear_it(agree: int, verdict: str) -> None:
    """Scores of the members are made up: the last of the best rings gains in so many of them."""
    study = found()
    rows = tuple(choice.row for choice in study.best_of_each)
    scores = np.full((len(rows), 24), 2.0)
    scores[0] = 1.0
    scores[-1] = np.where(np.arange(24) < agree, 0.5, 1.2)
    levels = np.zeros((len(rows), 24, 2))
    judged = replace(study, judged=Judged(rows=rows, scores=scores, levels_db=levels))
    assert judged.best_felt.row is rows[-1]
    assert judged.gain(judged.best_felt).verdict == verdict
    assert judged.pays == (verdict != "cannot be told apart")
    told_of_it = felt_tables(judged)
    first = told_of_it.answer[0]
    assert first.startswith("Felt pays: " if judged.pays else "No felt: ")
    assert f"{verdict} ({agree} of 24 agree)" in first
    assert told_of_it.table("judged").values("candidate")


def test_every_felt_is_asked_with_its_own_thickness(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[float | None, int]] = []

    def made_up(design: Design, rows: Sequence[Row], *_: object) -> Judged:
        layer = dict(design.walls.absorbers).get("baffle felt")
        thick = {row.assembly.felt_on_baffle or row.assembly.felt_under_plate for row in rows}
        thickness = None if layer is None else layer.thickness
        asked.append((thickness, len(rows)))
        assert {ring and ring.thickness for ring in thick} == {thickness}
        shape = (len(rows), 24)
        return Judged(rows=tuple(rows), scores=np.zeros(shape), levels_db=np.zeros((*shape, 2)))

    monkeypatch.setattr(sys.modules[felt.__module__], "judge", made_up)
    judged = _judged(found(), SOLVE, 4, None)
    assert judged is not None
    assert sum(count for _, count in asked) == 1 + len(PLACES) == len(judged.rows)
    assert asked[0] == (None, 1)


def test_leaders_are_solved_again_with_their_own_felt() -> None:
    """The same numbers as a design that has this very felt."""
    study = found()
    choice = study.best_felt
    layer = PorousLayer(choice.thickness, 50e3)
    design = study.design.with_absorbers({"baffle felt": layer, "plate felt": layer})
    (again,) = solve_again(design, [choice.row], SOLVE, 12)
    assert again.score == pytest.approx(choice.row.score, abs=1e-9)


def test_the_answer_comes_first_and_names_the_price() -> None:
    verdict, price, *_ = told().answer
    assert verdict.startswith("Felt pays: " if found().pays else "No felt: ")
    assert price.startswith("It takes ")
    assert "of the power" in price
    assert any("common practice, no source" in line for line in told().answer)


def test_tables_list_every_ring_the_best_first() -> None:
    table = told().table("rings")
    leaders = found().best_of_each[0].row.per_band
    scores = [c.row.score for c in found().solved if c.row.per_band == leaders]
    assert list(table.values("score_db"))[: len(scores)] == sorted(scores)
    assert table.values("place").count(NO_FELT) == 1
    assert len(told().table("octaves").rows) == 2 * len(PLACES)


def test_pictures_say_their_units() -> None:
    pictures = felt_pictures(found())
    for name in ("score", "changes"):
        check_files(pictures[name].figure)
        check_lettering(pictures[name].figure)
        check_units(pictures[name].figure)
    words = [text.get_text() for text in pictures["score"].figure.legends[0].get_texts()]
    (chosen,) = [one for one in words if one.startswith("chosen")]
    assert chosen.endswith(f"score {found().chosen.row.score:.2f} dB")


def test_without_losses_there_is_no_felt() -> None:
    with pytest.raises(DesignError, match=r"walls.losses: .*leave it out"):
        felt(walled('losses = "none"'), SOLVE, fineness=4)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(
    "walls",
    ["", 'baffle = "cork"', '[walls.felt_under_plate]\nmaterial = "carpet"\nouter_diameter = 190'],
    ids=["none", "other walls", "other felt"],
)
def test_the_felted_file_is_the_design_with_the_felt_that_was_solved(
    place: str, walls: str
) -> None:
    choice = found().best_in(place)
    design = walled(walls) if walls else small_design(BAND)
    again = parse_design(felted_text(design, choice, 50e3), design.path)
    assert again.title == PREFIX + design.title
    built, solved = again.assembly(), choice.row.assembly
    for one, other in (
        (built.baffle_felt, solved.baffle_felt),
        (built.plate_felt, solved.plate_felt),
    ):
        assert (one is None) == (other is None)
        if one is not None:
            assert (one.inner, one.outer, one.proud) == pytest.approx(
                (other.inner, other.outer, other.proud), abs=1e-6
            )
    layers = dict(again.walls_on(built).absorbers)
    assert all(
        layers[label] == PorousLayer(choice.thickness, 50e3) for label in layers if "felt" in label
    )
    assert ("baffle" in layers) == ("cork" in walls)


def test_a_file_is_written_where_felt_pays_and_named() -> None:
    study, said = found(), " ".join(told().answer)
    assert ("felted.toml" in felted_files(study)) == study.pays
    assert ("felted.toml is the design with it" in said) == study.pays


def test_power_out_of_balance_is_told_with_its_felt_and_the_pitch_that_was_solved() -> None:
    """By need, more pitches are read than were solved: the balance is of those solved."""
    choice = found().best_in(BOTH)
    response = choice.row.response
    pitches = np.array([1000.0, 5100.0, 9000.0])
    settling = Settling(
        frequencies=pitches,
        within_db=0.05,
        doubt_db=np.zeros(2),
        near_power=np.zeros((2, 0)),
        resonances=(),
    )
    off = replace(response, settling=settling, power_error_db=np.array([[0.0, 0.3, 0.0]]))
    row = replace(choice.row, found=replace(choice.row.found, response=off))
    said = " ".join(evidence_of([row], row).remarks)
    assert "off by 0.30 dB near 5100 Hz" in said
    assert f"felt {1e3 * choice.thickness:.1f} mm thick" in said


def test_felt_in_the_file_gives_its_resistivity() -> None:
    layer = "felt_on_baffle = { thickness = 4, flow_resistivity = 30000 }"
    design = walled(layer)
    study = FeltStudy(design, found().choices, 30e3)
    assert "30000 Pa s/m2 (as in the file)" in " ".join(felt_tables(study).answer)


def test_a_ring_too_narrow_to_cut_is_not_laid() -> None:
    """A third of 12 mm from the cap to the plate's flat."""
    bare = small_design().trimmed(0.18, 0.065).with_plate(TopPlate(0.098, 0.015))
    free = 0.098 - bare.reflector.widest_radius
    assert 0.005 < free < 0.015
    with pytest.raises(ValueError, match="free flat leave no room for such a ring"):
        laid(bare, UNDER_PLATE, 1 / 3, 5e-3)
    assert laid(bare, UNDER_PLATE, 1.0, 5e-3).plate_felt.width == pytest.approx(free)


def test_a_solver_sees_felt_only_where_it_is_laid() -> None:
    """Felt that a design would lay, on an assembly without it, is the assembly without it."""
    plain = small_design(BAND)
    felted = plain.with_absorbers({"plate felt": PorousLayer(5e-3, 50e3)})
    assert felted.walls_on(plain.assembly()).absorbers == ()
    bare = [Candidate("bare", plain.assembly)]
    (row,), (other,) = (run(design, bare, SOLVE, 4, "test") for design in (plain, felted))
    assert row.score == other.score
