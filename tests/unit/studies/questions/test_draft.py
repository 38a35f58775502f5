"""A first design file from three numbers: it loads, it can be built, or it says why not."""

import itertools
from pathlib import Path

import pytest

from shapes.clashes import find_clashes
from studies.answer.exports import ExportError
from studies.design import parse_design, read_design
from studies.questions.draft.study import DraftError, draft_design, write_draft


def test_a_draft_holds_the_numbers_that_were_given() -> None:
    design = parse_design(draft_design(0.13, 0.18, 0.06), "draft.toml")
    assembly = design.assembly()
    assert assembly.driver.frame_radius == pytest.approx(0.065)
    assert assembly.plate_gap == pytest.approx(0.06)
    assert design.ball.diameter == pytest.approx(0.18)
    assert find_clashes(assembly) == ()


def test_every_guess_says_that_it_is_one() -> None:
    text = draft_design(0.13, 0.18, 0.06)
    assert '"guess" marks a rule of thumb (common practice, no source)' in text
    guessed = ("width", "effective_diameter", "cutout_diameter", "cone_depth", "proud", "keep = 4")
    for key in guessed:
        (line,) = (line for line in text.splitlines() if line.startswith(key))
        assert "# guess" in line, line


@pytest.mark.parametrize(
    ("driver", "ball", "gap"),
    list(itertools.product((0.05, 0.13, 0.2032, 0.38), (0.12, 0.2032, 0.4), (0.03, 0.06, 0.15))),
)
def test_a_draft_can_be_built_or_names_what_does_not_fit(
    driver: float, ball: float, gap: float
) -> None:
    try:
        text = draft_design(driver, ball, gap)
    except DraftError as error:
        # Only these two of the grid's numbers can be out of proportion to the driver.
        assert str(error).startswith(("ball ", "gap "))
        return
    design = parse_design(text, "draft.toml")
    assert find_clashes(design.assembly()) == ()
    assert design.assembly().tip_clearance_in_motion >= 0.003 - 1e-9
    for candidate in design.trim_candidates():
        assert find_clashes(design.trimmed(*candidate)) == ()
    for entry in design.contest_entries():
        built = design.assembly().with_gap(entry.plate_gap).with_reflector(entry.reflector)
        assert find_clashes(built) == ()


def test_the_plain_case_asks_useful_questions() -> None:
    design = parse_design(draft_design(0.13, 0.18, 0.06), "draft.toml")
    keeps = [keep for _, keep in design.trim_candidates()]
    assert min(keeps) < design.ball.kept < max(keeps)
    assert 20 <= len(keeps) <= 41
    assert design.gap_candidates()[0] < 0.06 < design.gap_candidates()[-1]
    assert len(design.contest_entries()) == 3


@pytest.mark.parametrize(
    ("numbers", "message"),
    [
        ((0.13, 0.18, 0.006), r"^gap 6\.0 mm \(1/4 in\) does not fit: 1\d\.\d mm"),
        ((0.13, 0.03, 0.06), r"^ball 30\.0 mm"),
        ((130.0, 0.18, 0.06), r"^driver 130000\.0 mm .*did you mean 130\.0 mm\?"),
        ((0.13, -0.18, 0.06), r"^ball -180\.0 mm"),
    ],
)
def test_the_number_that_does_not_fit_is_named(
    numbers: tuple[float, float, float], message: str
) -> None:
    with pytest.raises(DraftError, match=message):
        draft_design(*numbers)


def test_a_column_too_narrow_for_driver_and_posts() -> None:
    with pytest.raises(DraftError, match=r"^column width 140\.0 mm .*needs 162\.0 mm"):
        draft_design(0.13, 0.18, 0.06, column_width=0.14)
    wider = parse_design(draft_design(0.13, 0.18, 0.06, column_width=0.24), "draft.toml")
    assert wider.assembly().column.width == pytest.approx(0.24)


def test_a_title_may_hold_quotes() -> None:
    text = draft_design(0.13, 0.18, 0.06, title='The "quiet" corner, für später')
    assert parse_design(text, "draft.toml").title == 'The "quiet" corner, für später'


def test_writing_is_all_or_nothing_and_never_over_another_file(tmp_path: Path) -> None:
    text = draft_design(0.13, 0.18, 0.06)
    path = tmp_path / "mine.toml"
    write_draft(path, text, overwrite=False)
    assert read_design(path).text == text
    with pytest.raises(DraftError, match=r"mine\.toml exists already"):
        write_draft(path, "other", overwrite=False)
    assert path.read_text(encoding="utf-8") == text
    with pytest.raises(ExportError, match="cannot be written"):
        write_draft(tmp_path / "nowhere" / "mine.toml", text, overwrite=False)
    write_draft(path, "other", overwrite=True)
    assert path.read_text(encoding="utf-8") == "other"
    assert [entry.name for entry in tmp_path.iterdir()] == ["mine.toml"]
