"""Designs in inches: no page and no picture says millimetres but in parentheses, behind inches."""

import html
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure

from shapes.lengths import written_in
from studies.answer.charts.style import length_axis
from studies.cli import main
from studies.design import DesignError, parse_design, read_design

TESTS = Path(__file__).resolve().parents[3]
EXAMPLE = TESTS.parent / "studies" / "examples" / "reading_room_boards.toml"
TALL, SMALL = TESTS / "data" / "tall_build.toml", TESTS / "data" / "small_build.toml"
BARE = re.compile(r"[^<>()\n]{0,40}(?<!--stl-unit )\bmm\b(?!\))")
"""Millimetres that do not close a parenthesis."""


def words_of(page: str) -> str:
    """Text of a page, letters of its pictures included, without styles and scripts."""
    text = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.S)
    text = re.sub(r"<[^>]*>", "\n", re.sub(r"<!--.*?-->", " ", text, flags=re.S))
    return html.unescape(text).replace("\u00a0", " ")


def asked(words: str, path: Path, out: Path) -> str:
    result = CliRunner().invoke(main, [*words.split(), str(path), "--out", str(out)])
    assert result.exit_code == 0, result.output
    pages = "\n".join(words_of(page.read_text("utf-8")) for page in out.glob("*.html"))
    return f"{result.output}\n{pages}"


@pytest.mark.parametrize(
    ("command", "path"),
    [
        *(
            (command, path)
            for command in ("section", "cut --paper letter")
            for path in (TALL, SMALL)
        ),
        ("section", EXAMPLE),
        ("rays --rays 1000", SMALL),
    ],
)
def test_inches_stand_first(command: str, path: Path, tmp_path: Path) -> None:
    said = asked(command, path, tmp_path)
    # A table on the screen may break a line inside the parenthesis.
    assert not BARE.findall(re.sub(r"\s+", " ", said))
    assert re.search(r"\d in \(\d+\.\d mm\)", said) or command.startswith("rays")


def inches(least: float, most: float) -> object:
    """Millimetres from the one to the other, in."""
    return pytest.approx(12.7 * (least + most), abs=12.7 * (most - least) + 0.01)


# What each build was told when this was written: sizes within what is near-best, levels roughly.
HEADLINES = {
    TALL: {
        "cut": {"board_count": 6, "bevel_off_square_deg": pytest.approx(30.0)},
        "spread": {"score_db": pytest.approx(4.3, abs=0.2)},
        "trim": {"keep_mm": inches(2.25, 3.0), "plate_gap_mm": inches(3.25, 3.875)},
        "gap": {"plate_gap_mm": inches(3.625, 3.875)},
        "posts": {"ripple_db": pytest.approx(5.3, abs=0.7)},
        "contest": {"winner": "as designed, at its best", "verdict": "real"},
    },
    SMALL: {
        "cut": {"board_count": 8, "bevel_off_square_deg": pytest.approx(22.5)},
        "spread": {"score_db": pytest.approx(2.3, abs=0.2)},
        "trim": {"keep_mm": inches(1.75, 2.125), "plate_gap_mm": inches(2.5, 2.875)},
        "gap": {"plate_gap_mm": inches(2.625, 2.875)},
        "posts": {"ripple_db": pytest.approx(2.7, abs=0.5)},
    },
}


@pytest.mark.long
@pytest.mark.parametrize("path", HEADLINES, ids=("tall", "small"))
def test_builds_go_through_every_command(path: Path, tmp_path: Path) -> None:
    """Nothing fails, no bare millimetre, the headline is what it was."""
    solved, headlines = "--per-band 4 --workers 1 --yes", HEADLINES[path]
    plain = ("section", "cut", "rays", "slice --at 1kHz")
    studies = ("spread", "trim", "gap", "tolerance", "meter", "seat", "posts", "felt", "export")
    contest = ("contest",) if "contest" in headlines else ()
    for words in (*plain, *(f"{name} {solved}" for name in (*studies, *contest))):
        name = words.split()[0]
        said = re.sub(r"\s+", " ", asked(words, path, tmp_path / name))
        assert not BARE.findall(said), words
        told = json.loads((tmp_path / name / f"{name}.json").read_text("utf-8"))["facts"]
        due = headlines.get(name, {})
        assert {key: told[key] for key in due} == due
    blank = (tmp_path / "meter" / "meter-to-fill.csv").read_text("utf-8")
    sheet = tmp_path / "filled in.csv"
    sheet.write_text(re.sub(r"(?m),(-?\d+\.\d\d),$", r",\1,\1", blank), "utf-8")
    result = CliRunner().invoke(
        main, ["overlay", str(path), str(sheet), *solved.split(), "--out", str(tmp_path / "o")]
    )
    assert result.exit_code == 0, result.output
    assert not BARE.findall(re.sub(r"\s+", " ", result.output))
    assert "The model explains this measurement" in result.output


def test_an_axis_of_lengths_is_marked_as_a_rule() -> None:
    """From 1 1/2 to 3 in: marks every 1/4 in, in fractions; the data stay in millimetres."""
    axes = Figure().subplots()
    axes.set_xlim(1.5 * 25.4, 3 * 25.4)
    with written_in("in"):
        length_axis(axes.xaxis, "keep")
        marks = [mark.get_text() for mark in axes.get_xticklabels()]
    assert axes.get_xlabel() == "keep, in"
    assert marks == ["1 1/2", "1 3/4", "2", "2 1/4", "2 1/2", "2 3/4", "3"]
    assert axes.get_xticks() == pytest.approx([25.4 * (1.5 + 0.25 * at) for at in range(7)])


def test_a_file_without_a_unit_is_in_that_of_most_of_its_lengths() -> None:
    text = SMALL.read_text("utf-8")
    assert read_design(SMALL).unit == "in"
    bare = re.sub(r"(?m)^(\w+ = )(\d+)$", r'\1"\2 in"', text.replace('unit = "in"\n', ""))
    bare = bare.replace('count = "3 in"', "count = 3").replace('sides = "8 in"', "sides = 8")
    bare = re.sub(r"= (\d+\.\d+)", r'= "\1 in"', bare)
    assert parse_design(bare, SMALL).unit == "in"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'distance = "60 in"',
            "distance = 5",
            "to 98 ft 5 in is possible: did you mean 5 ft?",
        ),
        ('plate_gap = "2 3/4 in"', "plate_gap = 70", "did you mean 70 mm?"),
        ('cone_depth = "5/8 in"', "cone_depth = 15", "3 1/4 in across"),
    ],
)
def test_a_number_in_another_unit_is_answered_with_what_it_may_be(
    old: str, new: str, words: str
) -> None:
    text = SMALL.read_text("utf-8")
    assert old in text
    with pytest.raises(DesignError) as caught:
        parse_design(text.replace(old, new), SMALL)
    assert words in str(caught.value)
    assert not BARE.findall(str(caught.value).replace("did you mean 70 mm", ""))
