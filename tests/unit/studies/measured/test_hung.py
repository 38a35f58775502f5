"""What hung over the driver while it was measured: said in sheet and index, or refused."""

from pathlib import Path

import pytest

from studies.design import Design, parse_design
from studies.measured.index import EXAMPLE
from studies.measured.positions import by_hung, by_place
from studies.measured.reading import read_measurements
from studies.measured.sheet import header
from studies.measured.text_files import MeasurementError

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"


def example(name: str = "reading_room.toml") -> Design:
    path = EXAMPLES / name
    return parse_design(path.read_text(encoding="utf-8"), path)


@pytest.fixture(scope="module")
def design() -> Design:
    return example()


def file(folder: Path, content: str, name: str) -> Path:
    path = folder / name
    path.write_text(content, encoding="utf-8")
    return path


SHEET = (
    ",".join((*header("mm"), "hung"))
    + """
left,2000,1150,30,1000,,70,nothing
left,2000,1150,30,1000,,71,keep 55 mm
left,2000,1150,30,1000,,72,
"""
)


def test_a_sheet_says_what_hung_over_the_driver(tmp_path: Path, design: Design) -> None:
    """The example keeps 44 mm: 55 mm are 11 mm more, under the same plate."""
    bare, uncut, written = read_measurements([file(tmp_path, SHEET, "sheet.csv")], design)
    names = [one.position.name for one in (bare, uncut, written)]
    assert names == ["left, nothing hung", "left, keep 55.0 mm", "left"]
    said = [one.position.hung.in_words(design) for one in (bare, uncut, written)]
    assert said == ["nothing", "keep 55.0 mm", "what the file says"]
    assert [one.level_db.tolist() for one in (bare, uncut, written)] == [[70.0], [71.0], [72.0]]
    assembly = design.assembly()
    nothing = bare.position.hung.of(assembly)
    assert (nothing.reflector, nothing.plate, nothing.posts) == (None, None, None)
    assert nothing.driver == assembly.driver
    cap = uncut.position.hung.of(assembly)
    assert cap.reflector.fact("keep") == pytest.approx(0.055, abs=1e-9)
    assert cap.plate_gap == assembly.plate_gap
    assert written.position.hung.of(assembly) is assembly
    places = [one.position for one in (written, uncut, bare)]
    assert by_place(places, range(3)) == [[0], [1], [2]]
    assert list(by_hung(places[::-1]).values()) == [[2], [0], [1]]


def test_an_index_says_what_hung_over_the_driver(tmp_path: Path, design: Design) -> None:
    file(tmp_path, "100 80\n200 81\n400 80\n", "p1.txt")
    path = file(tmp_path, f'{EXAMPLE}\nhung = "keep 2 1/8 in"\n', "index.toml")
    (found,) = read_measurements([path], design)
    kept = found.position.hung.of(design.assembly()).reflector.fact("keep")
    assert kept == pytest.approx(2.125 * 0.0254, abs=1e-6)


@pytest.mark.parametrize(
    ("hung", "remedy"),
    [
        ("cap", r"'cap' is unknown: write \"nothing\", \"keep 55 mm\", or left empty"),
        ("keep tall", "keep tall"),
        ("keep 75 mm", "does not fit under the plate of .*correct the keep, or plate_gap"),
        ("keep 190 mm", "keep 190.0 mm"),
    ],
)
def test_what_cannot_have_hung_is_refused(
    tmp_path: Path, design: Design, hung: str, remedy: str
) -> None:
    path = file(tmp_path, SHEET.replace("keep 55 mm", hung), "sheet.csv")
    with pytest.raises(MeasurementError, match=rf"line 3 and on: position 'left': .*{remedy}"):
        read_measurements([path], design)


def test_a_height_of_cap_needs_a_ball(tmp_path: Path) -> None:
    cone = example("reading_room_cone.toml")
    with pytest.raises(MeasurementError, match="is no ball: leave it empty"):
        read_measurements([file(tmp_path, SHEET, "sheet.csv")], cone)
