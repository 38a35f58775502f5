"""A first design file from three numbers: it loads, it can be built, or it says why not."""

import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest

from shapes.clashes import find_clashes
from studies.answer.writing import ExportError
from studies.design import parse_design, read_design
from studies.questions.draft.command import Brief, brief_of
from studies.questions.draft.sizes import DraftError
from studies.questions.draft.study import draft_design, write_draft, written

INCH = 0.0254
PLAIN = Brief(driver=0.13, ball=0.18, gap=0.06)
BUILD = Brief(
    driver=7 * INCH,
    ball=7 * INCH,
    gap=3.5 * INCH,
    sides=6,
    board_width=4.75 * INCH,
    baffle=9.25 * INCH,
    post_count=4,
    post_diameter=0.4375 * INCH,
    coaxial=True,
    unit="in",
)


def test_a_draft_holds_the_numbers_that_were_given() -> None:
    design = parse_design(draft_design(PLAIN), "draft.toml")
    assembly = design.assembly()
    assert assembly.driver.frame_radius == pytest.approx(0.065)
    assert assembly.plate_gap == pytest.approx(0.06)
    assert design.ball.diameter == pytest.approx(0.18)
    assert find_clashes(assembly) == ()


def values_of(text: str) -> dict[str, str]:
    """Remark by key, of every line that holds a number."""
    found = {}
    for line in text.splitlines():
        key, equals, value = line.partition(" = ")
        if line.startswith("#") or not equals or key in ("name", "title"):
            continue
        if re.search(r"\d", value.partition("#")[0]):
            found[f"{key} {len(found)}"] = value.partition("# ")[2]
    return found


@pytest.mark.parametrize("brief", ["PLAIN", "BUILD"])
def test_every_value_says_whether_it_is_a_guess(brief: str) -> None:
    given = {"PLAIN": PLAIN, "BUILD": BUILD}[brief]
    text = draft_design(given)
    marks = values_of(text)
    told = [key.split()[0] for key, words in marks.items() if words.startswith("as given")]
    wanted = ["plate_gap", "frame_diameter", "ball_diameter"]
    if given is BUILD:
        wanted = [
            "plate_gap", "sides", "board_width", "diameter", "frame_diameter", "ball_diameter",
            "count", "diameter",
        ]  # fmt: skip
    assert told == wanted
    others = {key: words for key, words in marks.items() if not words.startswith("as given")}
    assert all("guess" in words for words in others.values()), others


def test_what_a_builder_has_in_inches() -> None:
    text = draft_design(BUILD)
    assert 'unit = "in"' in text and not re.search(r"= [\d.]+ ?mm", text)
    assert 'board_width = "4 3/4 in"' in text and 'diameter = "7/16 in"' in text
    assembly = parse_design(text, "draft.toml").assembly()
    assert assembly.column.sides == 6
    assert assembly.column.width == pytest.approx(4.75 * 3**0.5 * 0.0254)
    assert assembly.column.face.width == pytest.approx(9.25 * 0.0254)
    assert assembly.standing_posts.count == 4
    assert assembly.tweeter is not None
    assert find_clashes(assembly) == ()


def test_the_tweeter_that_is_offered_can_be_taken() -> None:
    text = draft_design(PLAIN)
    start = text.index("# [tweeter]")
    block = text[start : text.index("[reflector]")]
    taken = text.replace(block, block.replace("\n# ", "\n").removeprefix("# "))
    assert parse_design(taken, "draft.toml").tables.tweeter is not None


@pytest.mark.parametrize(
    ("board", "posts", "unit", "words"),
    [
        ("4 3/4 x 5/8 in", "4 x 7/16 in", "in", 'board_thickness = "5/8 in"'),
        ("12 cm x 1.6 cm", "3", "cm", "board_width = 12 "),
        ("120 mm", None, "mm", "board_width = 120 "),
    ],
)
def test_boards_and_posts_as_they_are_typed(
    board: str, posts: str | None, unit: str, words: str
) -> None:
    sizes = {"in": ("7 in", "7 in", "4 in"), "cm": ("16 cm", "18 cm", "9 cm")}
    driver, ball, gap = sizes.get(unit, ("160 mm", "180 mm", "90 mm"))
    brief = brief_of(
        board=board, posts=posts, sides=6, coaxial=False, title=None,
        driver=driver, ball=ball, gap=gap, baffle={"in": "9 1/4 in"}.get(unit),
    )  # fmt: skip
    assert brief.unit == unit
    assert words in draft_design(brief)


@pytest.mark.parametrize(
    ("size", "unit", "text"),
    [
        (4.75 * 0.0254, "in", '"4 3/4 in"'),
        (0.3125 * 0.0254, "in", '"5/16 in"'),
        (7 * 0.0254, "in", "7"),
        (4.7 * 0.0254, "in", "4.7"),
        (0.0125, "mm", "12.5"),
        (0.0125, "cm", "1.25"),
    ],
)
def test_lengths_are_written_in_the_unit_of_the_file(size: float, unit: str, text: str) -> None:
    assert written(size, unit) == text


@pytest.mark.parametrize(
    ("driver", "ball", "gap"),
    list(itertools.product((0.05, 0.13, 0.38), (0.12, 0.4), (0.03, 0.06, 0.15))),
)
def test_a_draft_can_be_built_or_names_what_does_not_fit(
    driver: float, ball: float, gap: float
) -> None:
    try:
        text = draft_design(Brief(driver=driver, ball=ball, gap=gap))
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
    design = parse_design(draft_design(PLAIN), "draft.toml")
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
        draft_design(Brief(driver=numbers[0], ball=numbers[1], gap=numbers[2]))


def test_a_column_too_narrow_for_driver_and_posts() -> None:
    with pytest.raises(DraftError, match=r"^column width 140\.0 mm .*needs 162\.0 mm"):
        draft_design(replace(PLAIN, column=0.14))
    wider = parse_design(draft_design(replace(PLAIN, column=0.24)), "draft.toml")
    assert wider.assembly().column.width == pytest.approx(0.24)


def test_a_title_may_hold_quotes() -> None:
    text = draft_design(replace(PLAIN, title='The "quiet" corner, für später'))
    assert parse_design(text, "draft.toml").title == 'The "quiet" corner, für später'


def test_writing_is_all_or_nothing_and_never_over_another_file(tmp_path: Path) -> None:
    text = draft_design(PLAIN)
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
