"""The picture of a contest: complete, lettered within its edges, those that failed shown too."""

from collections.abc import Sequence
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
from studies.design import Design
from studies.questions.contest.figures import contest_figure
from studies.questions.contest.study import Contest, at_their_own_gaps
from studies.solving.candidates import Candidate, Row

CENTRES = third_octave_centres(100.0, 16000.0)
CAP = Assembly(
    column=Column(width=0.2, height=0.9),
    driver=Driver(effective_radius=0.052, frame_radius=0.065, cone_depth=0.022),
    plate_gap=0.06,
    reflector=ball_cap(0.18, 0.044),
    plate=TopPlate(0.1, 0.015),
)


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


def test_entries_hang_where_they_score_best_unless_the_file_fixes_their_gap(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Scores made up of the gap alone: the best is 62 mm, and 66 is the written one."""

    def run(design: Design, candidates: Sequence[Candidate], *_: object) -> list[SimpleNamespace]:
        gaps = [candidate.build().plate_gap for candidate in candidates]
        return [SimpleNamespace(score=abs(gap - 0.062), is_contender=True) for gap in gaps]

    monkeypatch.setitem(at_their_own_gaps.__globals__, "run", run)
    design = small_design()
    found = at_their_own_gaps(design, design.contest_entries(), solve_waves, 4, None)
    assert [(one.name, round(one.plate_gap * 1e3)) for one in found] == [
        ("as designed", 60),
        ("as designed, plate moved", 62),
        ("cone", 64),
        ("turned bell", 62),
        ("bare top plate", 62),
    ]


def test_what_hangs_at_an_end_of_the_gaps_that_were_tried_is_said() -> None:
    """54 to 66 mm were tried: 66 is an end, 62 is none; 64 is what the file says of the cone."""
    design = small_design(('hold = "plate gap"', 'hold = "nothing"'))
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
