"""The picture of a contest: complete, lettered within its edges, those that failed shown too."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pictures import check_files, check_lettering, check_units, words_of
from small import small_design

from dispersion.bands import third_octave_centres
from dispersion.solvers import solve_waves
from shapes import Assembly, Column, Driver, TopPlate, ball_cap
from studies.answer.standing import hung_at_ends
from studies.design import ContestEntry, Design
from studies.questions.contest.figures import contest_figure
from studies.questions.contest.study import Contest
from studies.solving.candidates import Candidate, Row
from studies.solving.contestants import _space, finalists, most_solves

CENTRES = third_octave_centres(100.0, 16000.0)
CAP = Assembly(
    column=Column(width=0.2, height=0.9),
    driver=Driver(effective_radius=0.052, frame_radius=0.065, cone_depth=0.022),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.044),
    plate=TopPlate(0.1, 0.015),
)
CONE = 'design = "reading_room_cone.toml"\n'
KEEPS = ("keep = 44 ", "keep = 40 ")


def scored(name: str, score_db: float) -> Row:
    """Return the cap with a score and nothing else that was solved."""
    return Row(name, CAP, found=SimpleNamespace(scorecard=SimpleNamespace(score=score_db)))


def test_the_picture_is_complete_and_its_axes_say_their_units() -> None:
    figure = contest_figure("Contest", [scored("cap", 2.0)], CENTRES, np.full((1, 23), 2.0))
    check_files(figure)
    check_lettering(figure)
    check_units(figure)


def test_those_that_failed_are_shown() -> None:
    levels = np.vstack((np.ones(CENTRES.size), np.full(CENTRES.size, np.nan)))
    rows = [scored("cap", 2.0), Row("spike", reason="too sharp")]
    said = words_of(contest_figure("Contest", rows, CENTRES, levels))
    assert "cap\nscore 2.00 dB" in said
    assert "spike\ncannot be built" in said


@pytest.fixture
def synthetic(monkeypatch: pytest.MonkeyPatch) -> Callable[[ContestEntry], float]:
    """Scores made up of base and room: best over a base of 130 mm, 21 mm from baffle to tip."""

    def score(entry: ContestEntry) -> float:
        reflector = entry.reflector
        base, height = (
            (0.0, 0.0) if reflector is None else (reflector.base_radius, reflector.height)
        )
        room = (entry.plate_gap - height - 0.021) / 0.008
        return 3.0 + (2.0 * base - 0.13) ** 2 / 0.05**2 + room**2

    def run(design: Design, candidates: Sequence[Candidate], *_: object) -> list[SimpleNamespace]:
        entries = [candidate.build.args[1] for candidate in candidates]
        return [scored_row(score(entry)) for entry in entries]

    monkeypatch.setitem(finalists.__globals__, "run", run)
    return score


def scored_row(score_db: float) -> SimpleNamespace:
    return SimpleNamespace(score=score_db, solved=True, is_contender=True, per_band=4)


def chosen(design: Design, entries: Sequence[ContestEntry]) -> list[ContestEntry]:
    """Return of each entry the finalist of the lowest score."""
    found = finalists(design, entries, solve_waves, 4, None)
    return [min(few, key=lambda one: one.row.score).entry for few in found]


def test_what_the_file_does_not_hold_is_chosen(
    synthetic: Callable[[ContestEntry], float],
) -> None:
    """Each comes within 0.1 dB of the best of all that it may be, solving a tenth of them."""
    design = small_design(('hold = "plate gap"', 'hold = "nothing"'))
    written, straight, bell, _ = design.contest_entries()
    free = [straight, replace(written, stays=False, hold="nothing")]
    for entry, best in zip(free, chosen(design, free), strict=True):
        every = [one for group in _space(design, entry) for each in group for one in each]
        assert synthetic(best) <= min(map(synthetic, every)) + 0.1
        assert best.table.kind == entry.table.kind
        assert best.table != entry.table
    cone = chosen(design, [straight])[0].table
    assert cone.tip_radius == straight.table.tip_radius
    assert most_solves(design, straight) < 0.1 * len(
        [one for group in _space(design, straight) for each in group for one in each]
    )
    kept, turned = chosen(design, [written, bell])
    assert kept == written
    assert (turned.table, round(turned.plate_gap * 1e3)) == (bell.table, 62)


@pytest.mark.parametrize("hold", ["half angle", "base diameter", "sizes"])
def test_what_the_file_holds_of_a_cone_stays(
    hold: str, synthetic: Callable[[ContestEntry], float]
) -> None:
    design = small_design()
    cone = replace(design.contest_entries()[1], hold=hold)
    (found,) = chosen(design, [cone])
    assert found.plate_gap == cone.plate_gap
    about = ("half angle", "base diameter")
    stayed = {
        size: found.reflector.fact(size) == pytest.approx(cone.reflector.fact(size))
        for size in about
    }
    assert stayed == {size: hold in (size, "sizes") for size in about}


def test_a_cap_chooses_among_the_balls_on_sale(
    synthetic: Callable[[ContestEntry], float],
) -> None:
    """Of 120 mm no base of 130 mm can be cut; of 150 mm it can, at a keep of 37 mm."""
    sale = ("# balls_on_sale = [100, 120, 150, 180, 200]", "balls_on_sale = [120, 150]")
    design = small_design(sale, ("ball_diameter = 180 ", "ball_diameter = 100 "), KEEPS)
    own = replace(design.contest_entries()[0], hold="nothing")
    assert chosen(design, [own])[0].table.diameter == pytest.approx(0.15)
    held = replace(own, hold="ball diameter")
    assert chosen(design, [held])[0].table.diameter == pytest.approx(0.1)


def test_what_hangs_at_an_end_of_the_gaps_that_were_tried_is_said() -> None:
    """54 to 66 mm were tried: 66 is an end, 62 is none; 64 is what the file says of the cone."""
    kept = (CONE, f"{CONE}plate_gap = 64\n")
    design = small_design(('hold = "plate gap"', 'hold = "nothing"'), kept)
    entries = [
        replace(entry, plate_gap=gap) if not entry.stays else entry
        for entry, gap in zip(design.contest_entries()[1:], (0.0, 0.066, 0.062), strict=True)
    ]
    rows = tuple(scored(entry.name, 2.0) for entry in entries)
    judged = SimpleNamespace(regret_of=lambda row: row.score)
    found = Contest(design, tuple(entries), rows, judged=judged)
    ends = [one.entry.name for one in found.ranked if found.at_end_of_gaps(one)]
    assert ends == ["turned bell"]
    assert hung_at_ends(design, ends) == [
        "At an end of [gap], and perhaps better beyond: turned bell."
    ]
    assert not any(map(replace(found, judged=None).at_end_of_gaps, found.ranked))
